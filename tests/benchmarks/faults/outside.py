"""Small faults that a real take, changed by general libraries, brings to light."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/aspects/tone/curve.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[bell]",
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[bell_cut]",
        ),
        (
            "np.maximum(of_candidate, 1e-30) / np.maximum(of_reference, 1e-30)",
            "np.maximum(of_reference, 1e-30) / np.maximum(of_candidate, 1e-30)",
        ),
    ),
    *each(
        "mixcompare/aspects/tone/words.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[bell_cut]",
        ),
        ("value = float(np.mean(curve[bands]))", "value = float(np.max(np.abs(curve[bands])))"),
    ),
    *each(
        "mixcompare/aspects/tone/words.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[dark]",
        ),
        ("    more = value > 0\n", "    more = value < 0\n"),
    ),
    *each(
        "mixcompare/pair/wetness.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[hall_soft]",
        ),
        ("added = (10 ** (abs(wetness) / 10) - 1) / 2", "added = 10 ** (abs(wetness) / 10) - 1"),
    ),
    *each(
        "mixcompare/aspects/room/words.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[hall_soft]",
        ),
        ('kind="wetter" if wetter else "drier"', 'kind="drier" if wetter else "wetter"'),
    ),
    *each(
        "mixcompare/aspects/placement/words.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[turned_right]",
        ),
        ("math.tanh(level * math.log(10) / 40)", "math.tanh(level * math.log(10) / 20)"),
    ),
    *each(
        "mixcompare/aspects/placement/words.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[turned_left]",
        ),
        (
            'side, other = ("right", "left") if value > 0 else ("left", "right")',
            'side, other = ("left", "right") if value > 0 else ("right", "left")',
        ),
    ),
    *each(
        "mixcompare/aspects/width/aspect.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[narrow]",
        ),
        (
            "return np.asarray(10 * np.log10(side_to_mid(self.total(), self.cross)))",
            "return np.asarray(20 * np.log10(side_to_mid(self.total(), self.cross)))",
        ),
    ),
    *each(
        "mixcompare/aspects/width/words.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[wide]",
        ),
        ('kind = "wider" if wider else "narrower"', 'kind = "narrower" if wider else "wider"'),
    ),
    *each(
        "mixcompare/aspects/tempo/words.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[slower]",
        ),
        ("slower = value < 0", "slower = value > 0"),
    ),
    *each(
        "mixcompare/aspects/tempo/values.py",
        ("tests/aspects/test_tempo.py",),
        ("100 * (100 / max(100 + part, 1.0) - 1)", "-part"),
    ),
    *each(
        "mixcompare/pair/beatrate.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[fast]",
        ),
        ("speed_cents = -1200 * math.log2(ratio)", "speed_cents = 1200 * math.log2(ratio)"),
    ),
    *each(
        "mixcompare/aspects/tuning.py",
        ("tests/aspects/test_tuning.py",),
        (
            "total = None if cents is None else 100 * match.transposition_semitones + cents",
            "total = None if cents is None else cents",
        ),
    ),
    *each(
        "mixcompare/elements/one_take.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[figure]",
        ),
        (
            "size = clear * typical + (1 - clear) * (high + highest) / 2",
            "size = clear * typical / 2 + (1 - clear) * (high + highest) / 2",
        ),
    ),
    *each(
        "mixcompare/aspects/balance/words.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[figure_softer]",
        ),
        (
            "    louder = element.difference_db > 0\n    return Finding(",
            "    louder = element.difference_db < 0\n    return Finding(",
        ),
    ),
    *each(
        "mixcompare/pair/gain.py",
        (
            "tests/published/test_real_recordings.py::test_a_take_that_is_the_same_to_the_ear_has_no_finding[gain]",
        ),
        ("gain = pair.gain_db + about + mode", "gain = pair.gain_db - about - mode"),
    ),
    *each(
        "mixcompare/pair/gain.py",
        (
            "tests/published/test_real_recordings.py::test_a_take_that_is_the_same_to_the_ear_has_no_finding[resampled]",
        ),
        ("pair.spectra.audible, 0.5)", "pair.spectra.audible, 0.6)"),
    ),
    *each(
        "mixcompare/pair/spectra.py",
        (
            "tests/published/test_real_recordings.py::test_the_cells_of_one_take_agree_between_frames",
        ),
        (
            "times_s = times_s - (frames - np.round(frames)) / 2 / rate_hz",
            "times_s = times_s + (frames - np.round(frames)) / 2 / rate_hz",
        ),
    ),
    *each(
        "mixcompare/pair/spectra.py",
        ("tests/published/test_real_recordings.py::test_the_same_take_begun_later_has_no_finding",),
        ("_EDGE_S = 0.2", "_EDGE_S = 0.0"),
    ),
    *each(
        "mixcompare/alignment/exact.py",
        (
            "tests/published/test_real_recordings.py::test_alignment_tells_polarity_exchange_and_offset",
        ),
        (
            "polarity=1 if table[chosen, 3].sum() >= 0 else -1",
            "polarity=-1 if table[chosen, 3].sum() >= 0 else 1",
        ),
    ),
    *each(
        "mixcompare/alignment/relation.py",
        ("tests/alignment/test_again.py",),
        ("_OTHER_MUSIC, _LEAST_OTHER_S = 0.25, 3.0", "_OTHER_MUSIC, _LEAST_OTHER_S = -1.0, 3.0"),
        ("_OTHER_MUSIC, _LEAST_OTHER_S = 0.25, 3.0", "_OTHER_MUSIC, _LEAST_OTHER_S = 0.99, 3.0"),
        ("_OTHER_MUSIC, _LEAST_OTHER_S = 0.25, 3.0", "_OTHER_MUSIC, _LEAST_OTHER_S = 0.25, 30.0"),
        (
            "_of_other_music(more), _of_other_music(more[::-1])",
            "_of_other_music(more[::-1]), _of_other_music(more)",
        ),
        ("float(times_s[-1 - behind])", "float(times_s[-1])"),
        ("float(times_s[before])", "float(times_s[0])"),
    ),
    *each(
        "mixcompare/alignment/laid.py",
        ("tests/alignment/test_again.py",),
        ("if common and common_s != time_map.span_s:", "if False:"),
    ),
    *each(
        "mixcompare/alignment/events.py",
        ("tests/alignment/test_again.py",),
        ('" ".join(tails)', "tails[0]"),
        ('" ".join(heads)', "heads[0]"),
    ),
    *each(
        "mixcompare/alignment/events.py",
        (
            "tests/published/test_real_recordings.py::test_alignment_tells_polarity_exchange_and_offset",
        ),
        ("return correlation < 0", "return correlation > 0"),
        ("        if begins_s > 1.0:", "        if begins_s > 2.0:"),
    ),
    *each(
        "mixcompare/alignment/passage.py",
        ("tests/published/test_real_recordings.py::test_speed_is_told_with_pitch_and_tempo",),
        (
            "100 * laid.semitones + candidate.grid_tuning_cents - reference.grid_tuning_cents",
            "100 * laid.semitones - candidate.grid_tuning_cents + reference.grid_tuning_cents",
        ),
    ),
    *each(
        "mixcompare/findings/ranking.py",
        (
            "tests/published/test_real_recordings.py::test_what_was_done_is_told_and_nothing_else[turned_right]",
        ),
        (
            "kept = max(1 - (deviation / difference) ** 2, 0.0)",
            "kept = max(1 - (deviation / difference) ** 2, 0.0) / 4",
        ),
    ),
]
