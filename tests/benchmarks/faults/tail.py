"""Faults in the tail put on the reference, and in what is read under it."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/elements/panned.py",
        ("tests/elements/test_panned.py",),
        ("moved = shares[1] - shares[0]", "moved = shares[0] - shares[1]"),
        ("_STAYING_DB, _STAYING = 1.0, 0.38", "_STAYING_DB, _STAYING = 1.0, 0.0"),
        (
            "away_db = np.abs(spectra.difference_db - exact_split(spectra).tone_db)",
            "away_db = np.zeros_like(weight)",
        ),
        ("_DOMINATED = 0.75", "_DOMINATED = 0.0"),
        ("return np.asarray((right - left) / (right + left))", "return np.asarray(inside)"),
        ("for sign in (1.0, -1.0)", "for sign in (1.0,)"),
        ("return np.asarray(cells & stirred)", "return np.zeros_like(cells)"),
        ("low, high), change.energy, size)", "low, high), change.energy, 0.0)"),
        ("if abs(end - start) < LEAST_MOVE or", "if abs(end - start) < 9 or"),
        ("if abs(end - start) < LEAST_MOVE or alike < _ONE_WAY * weight.sum():", "if False:"),
    ),
    *each(
        "mixcompare/pair/image.py",
        ("tests/elements/test_panned.py",),
        ("(images[0][..., 0], right - left), wholes", "(images[0][..., 0], left - right), wholes"),
    ),
    *each(
        "mixcompare/pair/tail_frames.py",
        ("tests/pair/test_tail.py",),
        ("self._polarity = -1.0 if both.sum() < 0 else 1.0", "self._polarity = 1.0"),
    ),
    *each(
        "mixcompare/pair/tail_frames.py",
        ("tests/pair/test_tail_frames.py",),
        ("turn = 2j * np.pi * np.fft.rfftfreq(size)", "turn = -2j * np.pi * np.fft.rfftfreq(size)"),
        ("return np.asarray(frames * by[:, self.column], np.complex64)", "return frames"),
    ),
    *each(
        "mixcompare/aspects/tone/aspect.py",
        ("tests/aspects/test_tone.py",),
        ("if found.difference * shelf_db <= 0 or", "if shelf_db == 0 or"),
        ("(found.band_hz or (0.0, 0.0))[1] < THIRDS_ABOVE_HZ", "False"),
        ("_OF_A_SHELF = 0.5", "_OF_A_SHELF = 0.0"),
        ("return [_in_attacks(one, shelf_db) for one in out]", "return out"),
    ),
    *each(
        "mixcompare/pair/tail_direct.py",
        ("tests/pair/test_tail_direct.py",),
        (
            "np.log10((after + 1e-30) / (before + 1e-30))",
            "np.log10((before + 1e-30) / (after + 1e-30))",
        ),
        ("_REACH_OCTAVES = 0.3", "_REACH_OCTAVES = 3.0"),
        ("_FEWEST, _FEWEST_ABOUT = 1000, 60", "_FEWEST, _FEWEST_ABOUT = 0, 0"),
        ("level_db = registers_db", "pass"),
        ("changed.made(plain, times_s) if changed else plain", "plain"),
        ("self.filter_db[HIGHEST_BIN - 1]", "self.bin_db[HIGHEST_BIN - 1]"),
        ("loud & ~lately", "loud & rise"),
        (
            "huber_fit(line, moved[heard]).coefficients[1]",
            "huber_fit(line, moved[heard]).coefficients[0]",
        ),
        ("if heard.sum() < _FEWEST_MOMENTS", "if False"),
    ),
    *each(
        "mixcompare/pair/tail.py",
        ("tests/pair/test_tail.py",),
        ("gram[np.diag_indices(_LAGS)] += 1 / _PRIOR", "gram[np.diag_indices(_LAGS)] += 1e6"),
        ("_LAGS = 95", "_LAGS = 3"),
        ("LOWEST_HZ = 80.0", "LOWEST_HZ = 20.0"),
        ("        level_db - float(by_db),", "        3.0,"),
    ),
    *each(
        "mixcompare/elements/take.py",
        ("tests/elements/test_detectable.py",),
        ("_LEFT_BESIDE_TAIL = 0.7", "_LEFT_BESIDE_TAIL = 1.0"),
    ),
    *each(
        "mixcompare/elements/take.py",
        ("tests/elements/test_take.py",),
        ("LEAST_MOVED, _MOVED_DB = 0.0275,", "LEAST_MOVED, _MOVED_DB = 0.0,"),
        ("LEAST_MOVED, _MOVED_DB = 0.0275,", "LEAST_MOVED, _MOVED_DB = 0.055,"),
        ("_moved_share(still, one)", "_moved_share(spectra, one) / 3"),
        ("if one.difference_db * change.difference_db > 0", "if True"),
        (
            "return Split(tuple(changes), tone_db, scatter_db, one_tail=True, ended=ended)",
            "return Split(tuple(changes), tone_db, scatter_db, ended=ended)",
        ),
    ),
    *each(
        "mixcompare/elements/take.py",
        ("tests/elements/test_take.py",),
        ("down_to_its_lowest(change, spectra, one.level_db)", "change"),
    ),
    *each(
        "mixcompare/elements/lowest.py",
        ("tests/elements/test_lowest.py",),
        ("_WITH_IT = 0.07, 0.2", "_WITH_IT = 0.07, 2.0"),
        ("_WITH_IT = 0.07, 0.2", "_WITH_IT = -0.9, 0.2"),
        ("_WITH_IT = 0.07, 0.2", "_WITH_IT = 1.9, 0.2"),
        ("_ODD_PARTIALS = (19, 28)", "_ODD_PARTIALS = (12, 24)"),
        ("(own - own.mean(axis=0))", "own"),
        ("(moved_db - level_db)", "moved_db"),
    ),
    *each(
        "mixcompare/elements/ended.py",
        ("tests/elements/test_ended.py",),
        ("_ALSO = 0.4, 0.5, 0.35", "_ALSO = 1.0, 1.0, 0.35"),
        ("_ALSO = 0.4, 0.5, 0.35", "_ALSO = 0.4, 0.5, 0.5"),
        ("one.difference_db * most.difference_db > 0", "True"),
        ("_WITH_ATTACKS = 0.5", "_WITH_ATTACKS = 1.5"),
        ("louder = asked[row] & (", "louder = ("),
        ("_WITH_ATTACKS = 0.5", "_WITH_ATTACKS = -0.5"),
    ),
    *each(
        "mixcompare/elements/take.py",
        ("tests/elements/test_ended.py",),
        ("one_tail=True, ended=ended)", "one_tail=True)"),
    ),
    *each(
        "mixcompare/aspects/balance/words.py",
        ("tests/parts/test_sample.py",),
        ("if it was played so: {steps};", "if it was played so;"),
    ),
    *each(
        "mixcompare/aspects/balance/words.py",
        ("tests/elements/test_ended.py",),
        (
            "    if change.difference_db < 0:\n        ends",
            "    if change.difference_db > 0:\n        ends",
        ),
    ),
    *each(
        "mixcompare/aspects/balance/words.py",
        ("tests/elements/test_take.py",),
        ('return (*apart, "room", "articulation")', "return apart"),
    ),
]
