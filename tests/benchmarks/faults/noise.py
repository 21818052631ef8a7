"""Small faults in steady noise, cut filters and clipping."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/pair/noise.py",
        ("tests/pair/test_noise.py",),
        ("_STEADY_DB = 1.0", "_STEADY_DB = 20.0"),
        ("_LINE_LEAST_OVER_DB = 8.0", "_LINE_LEAST_OVER_DB = 3.0"),
        ("(noise > 0) & (most < near * noise)", "(noise > 0)"),
        ("if not match.same_take or", "if"),
    ),
    *each(
        "mixcompare/pair/noise_shared.py",
        ("tests/pair/test_noise.py",),
        ("found.noise / found.gain, 0.0).reshape(BANDS, 2)", "found.noise, 0.0).reshape(BANDS, 2)"),
    ),
    *each(
        "mixcompare/aspects/tone/steady.py",
        ("tests/pair/test_noise.py",),
        ("sign = 1.0 if one.in_candidate else -1.0", "sign = -1.0 if one.in_candidate else 1.0"),
        ("bool((one.power > least[band]).any())", "False"),
    ),
    *each(
        "mixcompare/aspects/tone/cuts.py",
        ("tests/aspects/test_cuts.py",),
        ("PER_ORDER_DB = 6.02", "PER_ORDER_DB = 3.01"),
        ("if cost < best:", "if True:"),
        ("return self.slope_db_per_octave < 0", "return self.slope_db_per_octave > 0"),
    ),
    *each(
        "mixcompare/features/clipping.py",
        ("tests/features/test_clipping.py",),
        ("_FEWEST_PLACES = 2", "_FEWEST_PLACES = 1"),
        ("(row > 0) & (top > 0)", "(top > 0)"),
        ("waiting[whole * self._frame :]", "waiting[:0]"),
    ),
]
