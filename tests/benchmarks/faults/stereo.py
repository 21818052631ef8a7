"""Small faults in bands, steady values, shaping, spectra, width, placement and tone."""

from __future__ import annotations

from tests.benchmarks.mutations import Fault

_BANDS = "mixcompare/standards/iec61260.py"
_PER_BAND = "mixcompare/pair/thirds.py"
_STEADY = "mixcompare/pair/agreement.py"
_SHAPING = "mixcompare/aspects/tone/shaping.py"
_SPECTRA = "mixcompare/pair/spectra.py"
_WIDTH = "mixcompare/aspects/width/aspect.py"
_PLACEMENT = "mixcompare/aspects/placement/aspect.py"
_TONE = "mixcompare/aspects/tone/aspect.py"

_TESTS = {
    _BANDS: ("tests/standards/test_iec61260.py", "tests/published/test_iec61260.py"),
    _PER_BAND: ("tests/pair/test_thirds.py",),
    _STEADY: ("tests/pair/test_agreement.py",),
    _SHAPING: ("tests/aspects/test_shaping.py",),
    _SPECTRA: ("tests/pair/test_spectra.py",),
    _WIDTH: ("tests/aspects/test_width.py",),
    _PLACEMENT: ("tests/aspects/test_placement.py",),
    _TONE: ("tests/aspects/test_tone.py",),
}


def _faults(module: str, *changes: tuple[str, str]) -> list[Fault]:
    return [Fault(module=module, find=find, put=put, tests=_TESTS[module]) for find, put in changes]


FAULTS = [
    *_faults(
        _BANDS,
        ("OCTAVE_RATIO = 10**0.3", "OCTAVE_RATIO = 2.0"),
        ("(np.arange(-17, 15) - 0.5) / 3)", "(np.arange(-17, 15) - 0.45) / 3)"),
        ("low = (np.arange(bins) - 0.5) * bin_hz", "low = np.arange(bins) * bin_hz"),
        ("np.clip(overlap, 0, None) / bin_hz", "np.clip(overlap, 0, None) / overlap.max()"),
        ("- 69 + tuning_cents / 100) / 12))", "- 69 - tuning_cents / 100) / 12))"),
        ("np.arange(lowest, highest + 2) - 0.5", "np.arange(lowest, highest + 2) - 0.25"),
    ),
    *_faults(
        _PER_BAND,
        ("(float(low[band]), float(high[band]))", "(float(high[band]), float(low[band]))"),
        ("float(array[band]) if known[band] else None", "float(array[band]) if known[0] else None"),
        ("digits = 1 - math", "digits = 2 - math"),
        ("if rounded >= 1000 else", "if frequency_hz >= 1000 else"),
    ),
    *_faults(
        _STEADY,
        ("SHORTEST_S = 3.0", "SHORTEST_S = 2.5"),
        ("[2.5, 97.5]", "[20.0, 80.0]"),
        ("np.maximum(high - value, 0), 1.96", "np.maximum(high - value, 0), 1.0"),
        ("np.maximum(value - low, 0), 1.96 * scatter", "np.maximum(value - low, 0), 0.0 * scatter"),
        ("_EXPONENT = 0.15", "_EXPONENT = 0.3"),
        ("np.percentile(power, 95, axis=0)", "np.percentile(power, 50, axis=0)"),
        ("10 ** (-0.1 * band_range_db)", "10 ** (-0.05 * band_range_db)"),
        ("10 ** (-0.1 * frame_range_db)", "10 ** (-0.2 * frame_range_db)"),
        ("/ (2 * 1.96), 1e-9)", "/ 1.96, 1e-9)"),
        ("math.sqrt(2)), most)", "math.sqrt(2)), 1.0)"),
        ("fourth / math.sqrt(70)", "fourth / math.sqrt(35)"),
        ("step * (_peaks(density) - half)", "step * (half - _peaks(density))"),
        ("return min(found, key=abs)", "return min(found)"),
        ("w[inside])", "np.ones(inside.sum()))"),
        ("_AGREEING_SHARE = 3", "_AGREEING_SHARE = 1.05"),
        ("_SILENCE = 1e-13", "_SILENCE = 1e-14"),
        ("step = width / 4\n        reach", "step = width / 2\n        reach"),
    ),
    *_faults(
        _SHAPING,
        ("a = 10 ** (gain_db / 40)", "a = 10 ** (gain_db / 20)"),
        (
            "return np.asarray(a**2 * falling / rising)",
            "return np.asarray(a**2 * rising / falling)",
        ),
        ("SMALLEST_GAIN_DB = 0.7", "SMALLEST_GAIN_DB = 0.3"),
        ("MOST_FILTERS = 5", "MOST_FILTERS = 6"),
        ("_PER_PARAMETER = 2.0", "_PER_PARAMETER = 0.2"),
        ("_TILT_SHARE = 0.6", "_TILT_SHARE = 0.3"),
        ("key=lambda entry: entry.frequency_hz", "key=lambda entry: -entry.frequency_hz"),
        ("if inside.sum() < 7:", "if inside.sum() < 6:"),
        ("base * np.minimum(1.0, 1.5 * spread", "base * np.maximum(1.0, 1.5 * spread"),
        ("/ np.hypot(np.where(inside, deviation, 1.0), 0.5) ** 2", "/ 0.5**2"),
        ("extra = 1.96 * scatter_db", "extra = scatter_db"),
        ("share = np.sqrt(2.0) /", "share = 1.0 /"),
        ("np.clip(_OCTAVES, low, high)", "_OCTAVES"),
        ("np.median((curve - line)[heard])", "np.median(curve - line) * 0"),
        ("TILT_RANGE_HZ = (90.0, 11_000.0)", "TILT_RANGE_HZ = (180.0, 11_000.0)"),
        (
            "residual = left[: len(self._curve)] / self._weight",
            "residual = left[: len(self._curve)]",
        ),
        ("np.array([-0.35, 0.0, 0.35])", "np.array([0.0, 0.0, 0.0])"),
        ("misfit < filtered.misfit + parameters", "misfit < filtered.misfit - parameters"),
    ),
    *_faults(
        _SPECTRA,
        ("gain = 10 ** (-match.gain_db / 10)", "gain = 10 ** (match.gain_db / 10)"),
        (
            "(self.candidate + floor) / (self.reference + floor)",
            "(self.reference + floor) / (self.candidate + floor)",
        ),
        ("self.candidate, self.reference)", "self.reference, self.candidate)"),
        ("return round((total - grids) / 100)", "return round((total + grids) / 100)"),
        (
            "100 * match.transposition_semitones + match.tuning_cents",
            "100 * match.transposition_semitones",
        ),
        ("b[:, columns + shift], b_upper]", "b[:, columns], b_upper]"),
        ("sample_frames(second, rate_hz, places_s)", "sample_frames(second, rate_hz, times_s)"),
        ("        BAND_RATE_HZ,\n        times,", "        SEMITONE_RATE_HZ,\n        times,"),
        ("_AUDIBLE_DB = 50.0", "_AUDIBLE_DB = 60.0"),
        ("louder > 1e-3 * band", "louder > 1e-4 * band"),
        ("louder > 1e-7 * louder.max()", "louder > 1e-8 * louder.max()"),
        ("RATE_HZ = 20.0", "RATE_HZ = 25.0"),
        ("_LOWEST_HZ = 40.0", "_LOWEST_HZ = 60.0"),
        (
            "candidate.band_power.sum(axis=2)[:, upper]",
            "candidate.band_power.mean(axis=2)[:, upper]",
        ),
    ),
    *_faults(
        _WIDTH,
        (
            "after.ratio_db() - before.ratio_db(), weight",
            "before.ratio_db() - after.ratio_db(), weight",
        ),
        (
            "after.correlation() - before.correlation()",
            "before.correlation() - after.correlation()",
        ),
        (
            "loss = after.fold_down_loss_db() - before.fold_down_loss_db()",
            "loss = before.fold_down_loss_db() - after.fold_down_loss_db()",
        ),
        (
            "(after.ratio_db() - before.ratio_db())[:, BANDS]",
            "(before.ratio_db() - after.ratio_db())[:, BANDS]",
        ),
        ("return out[0], out[1]", "return out[1], out[0]"),
        (
            "(before.low_correlation(), after.low_correlation())",
            "(after.low_correlation(), before.low_correlation())",
        ),
        ("mid = np.maximum(total + 2 * cross, 1e-30)", "mid = np.maximum(total + cross, 1e-30)"),
        ("float(10 * np.log10(1 + _side_to_mid", "float(20 * np.log10(1 + _side_to_mid"),
        (
            "mono_fold_down_loss_db=10 * math.log10(1 + whole_ratio)",
            "mono_fold_down_loss_db=10 * math.log10(whole_ratio)",
        ),
        ("_LOW_HZ = (60.0, 500.0)", "_LOW_HZ = (60.0, 800.0)"),
        ("_AGREEING_SHARE = 0.6", "_AGREEING_SHARE = 0.5"),
        (">= 0.5 * abs(whole)", ">= 0.0 * abs(whole)"),
        ("_JND_NEAR_ONE = 0.04", "_JND_NEAR_ONE = 0.1"),
        ("_JND_CORRELATION = 0.1", "_JND_CORRELATION = 0.04"),
        ("value = after - before\n", "value = before - after\n"),
        ("value = low[1] - low[0]", "value = low[0] - low[1]"),
        ("_INVERTED = 0.3", "_INVERTED = 0.2"),
        ("wider = value > 0", "wider = value < 0"),
        ("'down' if wider else 'up'", "'up' if wider else 'down'"),
        ("abs(direct) < 0.5 * abs(decay)", "abs(direct) > 0.5 * abs(decay)"),
        (
            "after = _Moments.of(candidate, match.time_map.to_candidate(times), smooth_s)",
            "after = _Moments.of(candidate, times, smooth_s)",
        ),
        (
            "candidate_spans_s=(difference.candidate_span_s,)",
            "candidate_spans_s=(difference.span_s,)",
        ),
        (
            "_DECAY_DB, _DIRECT_DB, _LOOK_BACK_S = -8.0, -3.0, 1.0",
            "_DECAY_DB, _DIRECT_DB, _LOOK_BACK_S = -8.0, -30.0, 1.0",
        ),
        ("FLOOR = 1e-6", "FLOOR = 1e-4"),
        ("0.99 if difference.same_take else 0.9)", "0.9 if difference.same_take else 0.99)"),
        (
            "band_correlation=values(shift, np.isfinite(shift[:BANDS]))",
            "band_correlation=values(ratio, np.isfinite(shift[:BANDS]))",
        ),
        ("origin=back // 2", "origin=-(back // 2)"),
    ),
    *_faults(
        _PLACEMENT,
        (
            "return np.asarray((right - left) / (right + left))",
            "return np.asarray((left - right) / (right + left))",
        ),
        ("steady.agreed(positions[1] - positions[0]", "steady.agreed(positions[0] - positions[1]"),
        ("delay_us = later - earlier", "delay_us = earlier - later"),
        ("later_draws - earlier_draws)", "earlier_draws - later_draws)"),
        ("later, later_draws = -later, -later_draws", "later, later_draws = later, -later_draws"),
        ("own = moved - expected", "own = moved + expected"),
        ("turn_us = 1e6 / (2 * np.pi", "turn_us = 1e3 / (2 * np.pi"),
        ("_COHERENT = 0.6", "_COHERENT = 0.3"),
        ("_HIGHEST_TIMED_HZ = 700.0", "_HIGHEST_TIMED_HZ = 900.0"),
        (
            "turn = math.tanh(self.turn_db * math.log(10) / 40)",
            "turn = math.tanh(self.turn_db * math.log(10) / 20)",
        ),
        (
            "float(np.median(after - before) * 40 / math.log(10))",
            "float(np.median(before - after) * 40 / math.log(10))",
        ),
        ("sampled[:, :, ::-1] if swapped else sampled", "sampled"),
        (
            "reference_position=values(start, known)",
            "reference_position=values(start + moved, known)",
        ),
        ("image_scale=image.scale", "image_scale=1 / image.scale"),
        ("LIMIT_DB = 40.0", "LIMIT_DB = 20.0"),
        ("_LEAST_BANDS = 6", "_LEAST_BANDS = 4"),
        ("_LOWEST_PLACED_HZ = 90.0", "_LOWEST_PLACED_HZ = 50.0"),
        ("_CONSISTENT = 0.7", "_CONSISTENT = 0.5"),
        ("len(run) >= 2", "len(run) >= 1"),
        ("moves[band - 1] == direction", "True"),
        ('if value > 0 else ("left", "right")', 'if value < 0 else ("left", "right")'),
        ('back = "left" if value > 0 else "right"', 'back = "right" if value > 0 else "left"'),
        ("_degrees(end) - _degrees(start)", "_degrees(end)"),
        ("end = start + mean", "end = mean"),
        (
            "math.atan(position * math.tan(math.radians(30)))",
            "math.asin(position * math.sin(math.radians(30)))",
        ),
        ("far = 2 * float", "far = float"),
        ("_SILENT_DB = 30.0", "_SILENT_DB = 20.0"),
        ("pairs(low - expected, high - expected, known)", "pairs(low, high, known)"),
        ("there = match.time_map.to_candidate(times)", "there = times"),
        (
            "_time_difference_us(candidate, match.mirrored())",
            "_time_difference_us(candidate, match)",
        ),
        ("extra = typical * 40 / math.log(10)", "extra = 5 * typical * 40 / math.log(10)"),
        ("scatter = np.hypot(local, 2 * typical)", "scatter = np.hypot(local, 0 * typical)"),
    ),
    *_faults(
        _TONE,
        (
            "np.maximum(after, 1e-30) / np.maximum(before, 1e-30)",
            "np.maximum(before, 1e-30) / np.maximum(after, 1e-30)",
        ),
        ("difference -= match.gain_db", "difference += match.gain_db"),
        ("-= match.gain_db", "-= 0.5 * match.gain_db"),
        (
            "match.time_map.warp(after, BAND_RATE_HZ, times)",
            "sample_frames(after, BAND_RATE_HZ, times)",
        ),
        ("PLAYBACK_DB_SPL = 75.0", "PLAYBACK_DB_SPL = 85.0"),
        ("_audible(before) | _audible(after)", "_audible(before) & _audible(after)"),
        ("_MANY_PARTIALS_HZ = 450.0", "_MANY_PARTIALS_HZ = 1450.0"),
        ("typical_db * (3 + 2 * typical_db)", "typical_db * 1"),
        ("_BALANCE_DB = 0.8", "_BALANCE_DB = 0.3"),
        ("brighter = line.slope > 0", "brighter = line.slope < 0"),
        ("abs(line.slope) * math.log2(100)", "abs(line.slope) * math.log2(1000)"),
        ("'cut' if more else 'boost'", "'boost' if more else 'cut'"),
        ("{'more' if more else 'less'}\"", "{'less' if more else 'more'}\""),
        (
            'kind = "tone_brighter" if more else "tone_darker"',
            'kind = "tone_darker" if more else "tone_brighter"',
        ),
        ('kind = "tone_band_louder" if more', 'kind = "tone_band_louder" if not more'),
        (
            "curve -= np.clip(explained, np.minimum(curve, 0), np.maximum(curve, 0))",
            "curve -= explained",
        ),
        (
            "explained = np.asarray(difference.explained_db)",
            "explained = -np.asarray(difference.explained_db)",
        ),
        (
            "total = np.asarray(self.explained_db) + np.asarray(band_db, np.float64)",
            "total = np.asarray(band_db, np.float64)",
        ),
        ("_OTHER_INSTRUMENTS_DB = 0.6", "_OTHER_INSTRUMENTS_DB = 0.8"),
        ("clear[bands].sum() >= 2", "clear[bands].sum() >= 1"),
        (">= 0.5 * abs(curve[peak]))", ">= 0.1 * abs(curve[peak]))"),
        ("THIRD_OCTAVE_EDGES_HZ[bands[-1] + 1])", "THIRD_OCTAVE_EDGES_HZ[bands[-1]])"),
        ("(pair[1] - pair[0]) / 2 if pair", "(pair[1] - pair[0]) if pair"),
        ("curve = curve - shaping.Line.clipped", "curve = curve + shaping.Line.clipped"),
        ("residual_db=float(np.sqrt(np.mean(left**2)))", "residual_db=float(np.mean(left**2))"),
        ("shaping_gain_db=tuple(entry.gain_db", "shaping_gain_db=tuple(-entry.gain_db"),
        ("_HIGHS_HZ = 1800.0", "_HIGHS_HZ = 4800.0"),
        (
            "low, high = around[0] - whole + line.slope, around[1] - whole + line.slope",
            "low, high = line.slope - 0.5, line.slope + 0.5",
        ),
        ("return 0.99 if difference.same_take else 0.9", "return 0.99"),
        ("heard = known & np.asarray(difference.audible)", "heard = known"),
        (
            "10 * np.log10(np.maximum(power, 1e-30) / power.sum())",
            "20 * np.log10(np.maximum(power, 1e-30) / power.sum())",
        ),
        ("_spend_skirts(free, np.abs", "(lambda *_: None)(free, np.abs"),
    ),
]
