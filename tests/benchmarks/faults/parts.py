"""Small faults in what the score says of levels."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/parts/templates.py",
        ("tests/parts/test_templates.py",),
        ("_PARTIALS, _FALL = 16, 1.6", "_PARTIALS, _FALL = 16, 0.6"),
        ("_RELEASE_PER_S = 8.0", "_RELEASE_PER_S = 2.0"),
        ("row /= max(float((weight @ row).sum()), 1e-30)", "row /= max(float(row.sum()), 1e-30)"),
        ("lobe**2, 0.0)", "lobe, 0.0)"),
        ("time_s - onset_s + _ATTACK_S", "time_s - onset_s - 1.0"),
    ),
    *each(
        "mixcompare/parts/fit.py",
        ("tests/parts/test_fit.py",),
        ("return of_candidate - of_reference,", "return of_candidate + of_reference,"),
        ("of_candidate[:, 2 * count, self.tone] = self.hats", "pass"),
        ("energy=whole / whole.sum()", "energy=whole"),
        ("heard &= judged", "heard |= judged"),
    ),
    *each(
        "mixcompare/parts/sizes.py",
        ("tests/parts/test_sizes.py",),
        ("_SURE = 3.0", "_SURE = 100.0"),
        ("left = difference_db - _tone_db(difference_db, rest)[:, None]", "left = difference_db"),
        ("own = heard & (share > _ITS_OWN) & (others < _ITS_OWN)", "own = heard & (share > 0.2)"),
        ("likelihood[best] - 1.92", "likelihood[best] - 0.02"),
    ),
    *each(
        "mixcompare/parts/changed.py",
        ("tests/parts/test_changed.py",),
        ("_LEAST_DEVIATIONS = 3.0", "_LEAST_DEVIATIONS = 0.6"),
        ("return Moved(rest, None, -level,", "return Moved(rest, None, level,"),
        ("share > _HALF_OF_ALL", "share > 1"),
        ("_LEAST_DB = 1.0", "_LEAST_DB = 0.1"),
        ("len(one & other) >= least * len(one)", "len(one & other) >= least * len(other)"),
        ("if not taken & set(one[0])", "if True"),
        ('"woodwinds": ("piccolo",', '"woods": ("piccolo",'),
    ),
    *each(
        "mixcompare/parts/levels.py",
        ("tests/parts/test_levels.py",),
        ("named = self._with_doublings(named)", "pass"),
        ("if other != place", "if True"),
        ("heavy[sorted(moved)] = 0.0", "pass"),
        ("else _COVERED if plays else _RESTS", "else _RESTS if plays else _COVERED"),
        ("own, whole - own, self.cells", "own, whole, self.cells"),
        ("level, interval = sizes[place].difference_db, sizes[place].interval", "pass"),
        ("near = sign * (abs(near) * (1 - ", "near = sign * (abs(near) * (1 + "),
    ),
    *each(
        "mixcompare/report/document.py",
        ("tests/parts/test_sample.py",),
        ('"resolved": level is not None and level.is_resolved', '"resolved": level is not None'),
        ("plain(level.level_db) if level else None", "0.0"),
        ("level.audible_share if level else None", "level.energy_share - 1"),
    ),
    *each(
        "mixcompare/aspects/balance/words.py",
        ("tests/parts/test_sample.py",),
        ('"stand" if len(element.players) > 1', '"stand" if len(element.players) > 9'),
    ),
]
