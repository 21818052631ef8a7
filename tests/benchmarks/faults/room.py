"""Faults in rooms, articulation, balance, elements and scores."""

from __future__ import annotations

from tests.benchmarks.mutations import Fault

_ROOM = ("tests/aspects/test_room.py",)
_WETNESS = ("tests/pair/test_wetness.py",)
_TAILS = ("tests/aspects/test_freedecay.py",)
_ISO = ("tests/published/test_iso3382.py",)
_ARTICULATION = ("tests/aspects/test_articulation.py",)
_NOTEOFF = ("tests/aspects/test_noteoff.py",)
_VOICES = ("tests/pair/test_lines.py",)
_BALANCE = ("tests/aspects/test_balance.py",)
_ELEMENTS = ("tests/elements/test_changes.py",)
_AUDIBILITY = ("tests/elements/test_audibility.py",)
_SCORE = ("tests/knowledge/test_score.py",)


def _faults(module: str, tests: tuple[str, ...], *changes: tuple[str, str]) -> list[Fault]:
    return [
        Fault(module=f"mixcompare/{module}.py", find=find, put=put, tests=tests)
        for find, put in changes
    ]


FAULTS = [
    *_faults(
        "analyzers/room",
        _ROOM,
        (
            "candidate.decay_time_s / reference.decay_time_s - 1",
            "reference.decay_time_s / candidate.decay_time_s - 1",
        ),
        (
            "else candidate - reference",
            "else reference - candidate",
        ),
        (
            'f"it dies away in {theirs:.1f} s against {ours:.1f} s", theirs > ours',
            'f"it dies away in {ours:.1f} s against {theirs:.1f} s", theirs > ours',
        ),
        (
            'f"The sound dies away in {difference.candidate_decay_time_s:.1f} s against"',
            'f"The sound dies away in {difference.reference_decay_time_s:.1f} s against"',
        ),
        (
            "spread = width * (100 + change)",
            "spread = width * 100",
        ),
        (
            "reference_decay_time_s=ours.decay_time_s",
            "reference_decay_time_s=theirs.decay_time_s",
        ),
        (
            "systematic = float(np.hypot(systematic, _RELATIVE * value))",
            "systematic = float(systematic)",
        ),
        ("_TEMPO_DB * abs(float(np.log(tempo)))", "_TEMPO_DB * float(np.log(tempo))"),
        ("_SYSTEMATIC_DB = {True: 0.3, False: 1.0}", "_SYSTEMATIC_DB = {True: 1.0, False: 0.3}"),
        ('kind="wetter" if wetter else "drier"', 'kind="drier" if wetter else "wetter"'),
        ('kind="decay_longer" if longer', 'kind="decay_longer" if not longer'),
        ("if fit.even_db * value <= 0:", "if fit.even_db * value < -1e9:"),
        ("doubtful and not same_take and not tails_agree", "doubtful and not tails_agree"),
        (
            "candidate_span_s=candidate_span,",
            "candidate_span_s=span,",
        ),
        (
            "share = _UNCERTAINTY[is_noise] / (np.sqrt(time)",
            "share = 0.5 * _UNCERTAINTY[is_noise] / (np.sqrt(time)",
        ),
        ("most = _BOUND * max(times)", "most = max(times) / _BOUND"),
        ("theirs > 1.1 * bound", "theirs > 0.9 * bound"),
        ("explained=fit.gain if fit", "explained=fit.even_db if fit"),
    ),
    *_faults(
        "wetness",
        _WETNESS,
        ("added = (10 ** (abs(wetness) / 10) - 1) / 2", "added = 10 ** (abs(wetness) / 10) - 1"),
        (
            "float(np.exp(-3 * np.log(10) * 2 / (time_s * BAND_RATE_HZ)))",
            "float(np.exp(-3 * np.log(10) / (time_s * BAND_RATE_HZ)))",
        ),
        ("elif wetness > 0:", "elif wetness < 0:"),
        ("REGISTERS_HZ = (0.0, 280.0, 900.0,", "REGISTERS_HZ = (0.0, 280.0, 1400.0,"),
        ("if blocks < 2 or", "if blocks < 3 or"),
        ("_MOST_UNLIKE = 4.5", "_MOST_UNLIKE = 5.5"),
        ("_MOST_TOP = 2.6", "_MOST_TOP = 1.6"),
        ("if np.any(values * self.wetness_db <= 0) or", "if"),
        ("keep &= settled[:, None]", "keep &= True"),
        ("return bool(lowest_moves or lowest_tells)", "return bool(lowest_moves and lowest_tells)"),
        ("line / (2 * square))", "line / square)"),
        ("return self.held_share > _MOST_HELD", "return self.held_share > 3 * _MOST_HELD"),
    ),
    *_faults(
        "tails",
        _TAILS,
        ("FALL_DB = 35.0", "FALL_DB = 30.0"),
        ("level[start:] > lowest + 3", "level[start:] > lowest + 8"),
        ("start + int(np.flatnonzero(level[start:end] > top - 4)[-1])", "start"),
        ("begun += _plateau_end(level[begun:end])", "begun += 0"),
        ("MID_OCTAVES_HZ = (500.0, 1000.0)", "MID_OCTAVES_HZ = (1000.0, 2000.0)"),
        ("first / ANALYSIS_RATE_HZ", "peak / ANALYSIS_RATE_HZ"),
        ("octave_hz / np.sqrt(2), min", "octave_hz / 2, min"),
        ("return slopes.early_s, slopes.late_s", "return slopes.late_s, slopes.early_s"),
        ("_STOPPING_S + 0.5 * time", "_STOPPING_S + 0.25 * time"),
        ("for at in range(7, 25, 3)", "for at in range(10, 28, 3)"),
    ),
    *_faults(
        "iso3382",
        _ISO,
        ("_EARLY_S = 0.08", "_EARLY_S = 0.05"),
        (
            "_time(level, rate_hz, 0.0, -10.0, range_db)",
            "_time(level, rate_hz, 0.0, -15.0, range_db)",
        ),
        (
            "_time(level, rate_hz, -5.0, -25.0, range_db)",
            "_time(level, rate_hz, 0.0, -20.0, range_db)",
        ),
        (
            "_time(level, rate_hz, -5.0, -35.0, range_db)",
            "_time(level, rate_hz, -5.0, -30.0, range_db)",
        ),
        ("np.log10((total - late) / late)", "np.log10(total / late)"),
        ("_NOISE_HEADROOM_DB = 10.0", "_NOISE_HEADROOM_DB = 0.0"),
        ("kept = energy[:stop] - noise", "kept = energy[:stop]"),
        ("tail *= rate_hz / (-slope * np.log(10) / 10)", "tail *= 0"),
        ("halves[1] < 0.7 * halves[0]", "halves[1] < 0.07 * halves[0]"),
        ("_LEAST_EVIDENCE = 4.0", "_LEAST_EVIDENCE = -1.0"),
    ),
    *_faults(
        "analyzers/articulation",
        _ARTICULATION,
        ("changes = ratios[:, 1] - ratios[:, 0]", "changes = ratios[:, 0] - ratios[:, 1]"),
        (
            "b.hinge.gap_depth_db - a.hinge.gap_depth_db for",
            "a.hinge.gap_depth_db - b.hinge.gap_depth_db for",
        ),
        ("b.hinge.attack_s - a.hinge.attack_s for", "a.hinge.attack_s - b.hinge.attack_s for"),
        ("b.hinge.accent_db - a.hinge.accent_db for", "a.hinge.accent_db - b.hinge.accent_db for"),
        ("_release_s(b) - _release_s(a) for", "_release_s(a) - _release_s(b) for"),
        ("return 10.0 / max(note", "return 20.0 / max(note"),
        ('manner = f"{theirs} against {ours}"', 'manner = f"{ours} against {theirs}"'),
        (
            'held = _listed([f"{100 * stretch.candidate_ratio:.0f} %"',
            'held = _listed([f"{100 * stretch.reference_ratio:.0f} %"',
        ),
        ('kind="notes_more_detached" if detached', 'kind="notes_more_detached" if not detached'),
        ("(float(to_candidate(start)), float(to_candidate(end)))", "(float(start), float(end))"),
        ("sum((a is None) != (b is None) for", "sum(a is None or b is None for"),
        (
            "_PER_ROOM_DB * max(room_db, 0.0), high - _PER_ROOM_DB * min(room_db, 0.0)",
            "_PER_ROOM_DB * min(room_db, 0.0), high - _PER_ROOM_DB * max(room_db, 0.0)",
        ),
        ("if ratio >= 0.75:", "if ratio >= 0.7:"),
        ("_SYSTEMATIC_OTHERS = 0.12", "_SYSTEMATIC_OTHERS = 0.06"),
        (
            "middle - float(np.hypot(middle - low, systematic))",
            "middle - 0.45 * float(np.hypot(middle - low, systematic))",
        ),
        ("weights @ (changes * middle > 0)", "weights @ (changes * middle >= -1)"),
        ("_PART_NOTES = 12", "_PART_NOTES = 10"),
        ("match.parts},\n        }", "match.parts[:0]},\n        }"),
        (
            "and abs(voice.stretch.sounding_ratio) < _LEAST_SAME_TAKE",
            "and abs(voice.stretch.sounding_ratio) < 0",
        ),
    ),
    *_faults(
        "noteoff",
        _NOTEOFF,
        (
            "- _SLOPES_DB_PER_S[:, None] * np.maximum(t - off, 0)",
            "- _SLOPES_DB_PER_S[:, None] * np.maximum(t - off + 0.06, 0)",
        ),
        ("(risen >= 0.9)", "(risen >= 0.6)"),
        ("if repeated and depth < _LEAST_FALL_DB:", "if repeated and depth < 3 * _LEAST_FALL_DB:"),
        (
            "depth = max(-float(level[late].min()), 0.0)",
            "depth = max(-float(level[late].max()), 0.0)",
        ),
        (
            "level[struck].max() - np.median(level[held])",
            "np.median(level[held]) - level[struck].max()",
        ),
        (
            "(one.hinge.held_s - late_s) / one.interval_s",
            "(one.hinge.held_s + late_s) / one.interval_s",
        ),
        ("np.clip(lengths, 0.2, 0.8) ** 2", "np.clip(lengths, 0.2, 0.8)"),
        ("own = clear if clear.any() else own", "own = own"),
        ("_MOST_RISE_DB = 5.0", "_MOST_RISE_DB = 15.0"),
        ("len(rises) >= FEWEST_NOTES", "len(rises) >= FEWEST_NOTES - 1"),
        ("note.pitch + shift, float(expected[0])", "note.pitch, float(expected[0])"),
        ("before > 0.35", "before > 0.9"),
    ),
    *_faults(
        "voices",
        _VOICES,
        ("np.roll(weights, -shift, axis=1)", "np.roll(weights, shift, axis=1)"),
        (
            "grids = reference.grid_tuning_cents - candidate",
            "grids = -reference.grid_tuning_cents + candidate",
        ),
        (
            "_path(weights, LOWEST_LEAD, HIGHEST_LEAD, _HIGH_VOICE)",
            "_path(weights, LOWEST_LEAD, HIGHEST_LEAD, -9.0)",
        ),
        ("_SHORTEST_NOTE_S = 0.24", "_SHORTEST_NOTE_S = 0.1"),
        ("_LONGEST_GAP_S = 1.0", "_LONGEST_GAP_S = 0.2"),
        ("np.clip(after - before, -12, 12)", "np.clip(before - after, -12, 12)"),
        ("float(times[steepest].mean()) - ATTACK_LAG_S", "float(times[steepest].mean())"),
        ("centre = around_s - lag_s", "centre = around_s + lag_s"),
        ("_LOWEST_CLEAR_HZ = 300.0", "_LOWEST_CLEAR_HZ = 100.0"),
        ("_REATTACK_DB = 4.0", "_REATTACK_DB = 40.0"),
        ("_LONGEST_NOTE_S = 4.0", "_LONGEST_NOTE_S = 5.0"),
    ),
    *_faults(
        "analyzers/balance",
        _BALANCE,
        ("else candidate - reference", "else reference - candidate"),
        ("after - before for before, after in", "before - after for before, after in"),
        ('f" It takes {_percent(shares[1])} of', 'f" It takes {_percent(shares[0])} of'),
        ("rest {_percent(heard[1])} of", "rest {_percent(heard[0])} of"),
        ("levels.append(float(10 * np.log10(b / a))", "levels.append(float(10 * np.log10(a / b))"),
        ("np.log10(power[carried].sum() / total)", "np.log10(total / power[carried].sum())"),
        (
            "after = np.minimum(gain * before, pair.candidate)",
            "after = np.minimum(before / gain, pair.candidate)",
        ),
        (
            "reference_loudness_share=stands[0].loudness_share",
            "reference_loudness_share=stands[1].loudness_share",
        ),
        (
            "candidate_audible_share=stands[1].audible_share",
            "candidate_audible_share=stands[1].loudness_share",
        ),
        (
            "float(10 * np.log10(after / before)) if before > 0",
            "float(10 * np.log10(before / after)) if before > 0",
        ),
        ("{element.kind}_{'louder' if louder else", "{element.kind}_{'louder' if not louder else"),
        ("register_{'louder' if louder else", "register_{'louder' if not louder else"),
        ("* np.log(parts)).sum() / np.log(len(shares))", "* np.log(parts)).sum()"),
        (
            "low, high = sorted(abs(edge) for edge in interval)",
            "high, low = sorted(abs(edge) for edge in interval)",
        ),
        ("down = element.difference_db > 0", "down = element.difference_db < 0"),
    ),
    *_faults(
        "elements/changes",
        _ELEMENTS,
        ("difference_db=sign * size,", "difference_db=size,"),
        (
            "near, far = sign * (size - half), sign * (size + half + hidden)",
            "near, far = sign * (size - 0.2 * half), sign * (size + 0.2 * half)",
        ),
        ("for q in (0.8, 0.9, 0.97)", "for q in (0.5, 0.6, 0.97)"),
        ("factor = abs(10 ** (sign * size / 10) - 1)", "factor = abs(10 ** (size / 10) - 1)"),
        ("_LEAST_CHANGE_DB = 1.0", "_LEAST_CHANGE_DB = 4.0"),
        ("q in (0.2, 0.8))", "q in (0.5, 0.5))"),
    ),
    *_faults(
        "elements/describe",
        _ELEMENTS,
        ("teeth - 0.5) * period", "teeth - 0.1) * period"),
        ("float(1 / periods[best])", "float(2 / periods[best])"),
        ("np.searchsorted(total, 0.06)", "np.searchsorted(total, 0.3)"),
        ("times_s[frames[-1]] + 1 / RATE_HZ)", "times_s[frames[0]] + 1 / RATE_HZ)"),
        ("monophony > 0.6 and leads", "monophony > 2.0 and leads"),
        ("carries(own, pair) > 0.5", "carries(own, pair) > 5"),
        ("level, 5) > 0.025 * loud", "level, 41) > 0.025 * loud"),
        ("share >= 0.75 * best)", "share >= 0.1 * best)"),
    ),
    *_faults(
        "elements/local",
        _ELEMENTS,
        ("sign * values > 0.5 * abs(size)", "sign * values > -99"),
        ("_SHORTEST_S = 1.5", "_SHORTEST_S = 0.5"),
        ("_LEAST_DB, _LEAST_TIMES = 2.0, 3.5", "_LEAST_DB, _LEAST_TIMES = 1.0, 3.5"),
        ("for sign in (1.0, -1.0):", "for sign in (1.0,):"),
        ("band = (lower.band_hz[0], upper.band_hz[1])", "band = lower.band_hz"),
        ("exact = same_take and", "exact = same_take or"),
        ("factor * change.energy, 0.05 * expected", "0 * change.energy, 0.05 * expected"),
        ("    expected = pair.reference\n", "    expected = pair.candidate\n"),
    ),
    *_faults(
        "elements/audibility",
        _AUDIBILITY,
        ("np.gradient(centre_hz) / erb_hz(centre_hz)", "np.ones(len(centre_hz))"),
        ("EXPONENT = 0.2", "EXPONENT = 0.3"),
        (
            "np.where(sounds < filters, shallow, sharp)",
            "np.where(sounds < filters, sharp, shallow)",
        ),
        ("24.7 * (4.37", "24.7 * (4.67"),
        ("_PLAYING_DB = 16.0", "_PLAYING_DB = 30.0"),
        ("(13.0, 8.0, 3.0, -1.0, -3.0)", "(13.0, 8.0, 3.0, -1.0, 3.0)"),
        ("others * (1 + threshold_ratio(centre_hz))", "own * (1 + threshold_ratio(centre_hz))"),
        (
            "return Audibility(float(heard.mean()), float(share))",
            "return Audibility(float(share), float(heard.mean()))",
        ),
    ),
    *_faults(
        "score",
        _SCORE,
        ("0.5 / file.ticks_per_beat", "0.6 / file.ticks_per_beat"),
        ("_PERCUSSION = 9", "_PERCUSSION = 8"),
        ("held[key].pop(0)", "held[key].pop()"),
        ("key = (message.channel, message.note)", "key = (0, message.note)"),
        ("notes[inside, 2] + found", "notes[inside, 2] - found"),
        ("times = notes[:, :2] + _LEAD_S", "times = notes[:, :2] - _LEAD_S"),
        ("(times[:, 1] <= end)", "(times[:, 0] <= end)"),
        ("for other, own in laid if other != name", "for other, own in laid if other == name"),
        ("for tick, per_tick in sorted(changes):", "for tick, per_tick in changes[:1]:"),
        ("0 <= pitch <= 127", "0 <= pitch <= 128"),
        ("np.array(sorted(row[1:] for", "np.array(list(row[1:] for"),
    ),
]
