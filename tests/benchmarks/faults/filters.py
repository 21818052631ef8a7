"""Faults in filters beside elements of one take."""

from tests.benchmarks.mutations import Fault, each

_FILTERS = ("tests/elements/test_filters.py",)

FAULTS: list[Fault] = [
    *each(
        "mixcompare/pair/shapes.py",
        _FILTERS,
        (
            "ratio, half = (centre_hz / corner_hz) ** (2 * slope)",
            "ratio, half = (centre_hz / corner_hz) ** slope",
        ),
        ("(1 + ratio * half) / (1 + ratio / half)", "(1 + ratio / half) / (1 + ratio * half)"),
        ("return gain_db + high_shelf_db(", "return high_shelf_db("),
        ("(away + half) / (away + 1 / half)", "(away + half) / (away + half / 2)"),
    ),
    *each(
        "mixcompare/elements/filters.py",
        _FILTERS,
        ("gained < MORE_ON_IT or np.ptp(further_db[heard]) < _LEAST_DB", "gained < MORE_ON_IT"),
        ("curve_db = curve_db + further_db", "curve_db = curve_db - further_db"),
        ("_BLUR_DB = 0.1, 15.0, 0.25, 0.8", "_BLUR_DB = 0.1, 15.0, 0.25, 8.0"),
        ("for shape in SHAPES]", "for shape in SHAPES[:1]]"),
        (
            "away = (spectra.difference_db - curve_db) / _ON_IT_DB",
            "away = (spectra.difference_db + curve_db) / _ON_IT_DB",
        ),
        ("    Shape(low_shelf_db, (150.0, 800.0)", "    Shape(low_shelf_db, (50.0, 800.0)"),
        (
            "_STEP_DB * density[heard].argmax(axis=1) - _FURTHEST_DB",
            "density[heard].argmax(axis=1)",
        ),
        ("np.interp(octave, octave[heard], most_db)", "np.interp(octave, octave[heard], -most_db)"),
    ),
    *each(
        "mixcompare/elements/one_take.py",
        _FILTERS,
        ("elif gained > MORE_ON_IT or _not_bent(around[1], changes, gained):", "elif gained > 9:"),
        ("    if shaped is not None:", "    if False:"),
        ("on_it.sum() > max(_HALF, told.sum() + _FAR_MORE)", "on_it.sum() > _HALF"),
        ("return [] if mirrored else sure", "return sure"),
        ("_ELSEWHERE_DB, _MISSED = 1.0, 0.6", "_ELSEWHERE_DB, _MISSED = 1.0, 2.0"),
        ("if more or gained < -MORE_ON_IT:", "if more or gained < MORE_ON_IT:"),
        (
            "return 0 < len(around) < len(changes) or (len(around) == len(changes) and gained > 0)",
            "return False",
        ),
        ("rest = spectra.difference_db - filtered", "rest = spectra.difference_db"),
        ("weight, (0.2, 0.25", "weight, (0.5, 0.25"),
        ("return filtered + tone, changes", "return tone, changes"),
        ("filter_db=filtered)", "filter_db=-filtered)"),
        ("if beside is not None:", "if False:"),
        ("gained > -_AS_MUCH", "gained > MORE_ON_IT"),
        ("more = len(around[1]) == len(changes) and", "more = False and"),
        ("_STRAIGHTER = 0.01, 0.3", "_STRAIGHTER = 0.01, 0.0"),
        ("if fewer or more else None", "if True else None"),
        ("on_curve(spectra, weight, tone + size) for", "on_curve(spectra, weight, tone) for"),
    ),
    *each(
        "mixcompare/elements/filters.py",
        _FILTERS,
        ("[left_db - size for size", "[left_db + size for size"),
    ),
    *each(
        "mixcompare/aspects/tone/aspect.py",
        ("tests/aspects/test_tone.py",),
        ("np.minimum(half, _ON_THE_CURVE_DB)", "half"),
        ("_ON_THE_CURVE_DB = 0.5", "_ON_THE_CURVE_DB = 0.1"),
        ("np.where(explained != 0, np.minimum", "np.where(explained == 0, np.minimum"),
    ),
    *each(
        "mixcompare/aspects/tone/aspect.py",
        _FILTERS,
        (
            "half = np.maximum(sure, np.abs(curve - filter_db))",
            "half = np.minimum(sure, np.abs(curve - filter_db))",
        ),
        ("if of_it * found.difference <= 0 or", "if of_it * found.difference >= 0 or"),
        (
            "difference = replace(difference, filter_db=_filter_db(pair))",
            "difference = replace(difference)",
        ),
    ),
    *each(
        "mixcompare/elements/one_take.py",
        ("tests/elements/test_seats.py",),
        ("more = len(around[1]) > max(len(changes), 1)", "more = False"),
    ),
    *each(
        "mixcompare/aspects/tone/aspect.py",
        ("tests/aspects/test_tone.py",),
        ("if of_it * found.difference <= 0 or", "if"),
    ),
    *each(
        "mixcompare/elements/seats.py",
        ("tests/elements/test_seats.py",),
        ("candidate=spectra.candidate * 10 ** (-tone_db / 10))", "candidate=spectra.candidate)"),
        (
            "_LEAST_OF_OTHER * strength.max() and spread",
            "_LEAST_OF_OTHER * strength.max() or spread",
        ),
        ("spread[weaker] > _NO_PLACE", "spread[weaker] < _NO_PLACE"),
    ),
]
