"""Small faults in steady noise, cut filters and clipping."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/pair/steady_power.py",
        ("tests/pair/test_steady_power.py", "tests/pair/test_noise.py", "tests/pair/test_hiss.py"),
        ("_STEADY_DB = 1.0", "_STEADY_DB = 20.0"),
        ("(noise > 0) & (most < near * noise)", "(noise > 0)"),
    ),
    *each(
        "mixcompare/pair/clean_and_noisy.py",
        ("tests/pair/test_hiss.py",),
        ("return clean * self.ridden[:, None], noisy", "return clean, noisy"),
        ("max(whole - power, 1e-20) / max(power, 1e-20)", "max(power, 1e-20) / whole"),
    ),
    *each(
        "mixcompare/pair/hiss.py",
        ("tests/pair/test_hiss.py",),
        ("in_candidate=pair.noisy_is_candidate", "in_candidate=not pair.noisy_is_candidate"),
        ("level = float(power[shown].sum())", "level = float(power.sum() / 2)"),
        ("_FAR_OVER_DB, _AUDIBLE_DB = 20.0, 50.0", "_FAR_OVER_DB, _AUDIBLE_DB = 200.0, 50.0"),
        ("_FAR_OVER_DB, _AUDIBLE_DB = 20.0, 50.0", "_FAR_OVER_DB, _AUDIBLE_DB = 20.0, 99.0"),
        ("found.quiet[shown].sum(), _NOTHING)", "found.quiet[shown].sum(), 1e-20)"),
    ),
    *each(
        "mixcompare/pair/hum.py",
        ("tests/pair/test_hum.py", "tests/pair/test_noise.py"),
        ("_LINE_LEAST_OVER_DB = 8.0", "_LINE_LEAST_OVER_DB = 3.0"),
        ("/ _LINE_S / number)", "/ _LINE_S)"),
        ('np.argsort(-stands.sum(axis=1), kind="stable")', "np.arange(1)"),
        ("_ALONE_DB, _ALONE_MULTIPLE = 15.0, 3", "_ALONE_DB, _ALONE_MULTIPLE = 15.0, 10"),
    ),
    *each(
        "mixcompare/pair/noise.py",
        ("tests/pair/test_noise.py",),
        ("if not match.same_take or", "if"),
    ),
    *each(
        "mixcompare/pair/noise_shared.py",
        ("tests/pair/test_noise_shared.py",),
        ("found.noise / found.gain, 0.0).reshape(BANDS, 2)", "found.noise, 0.0).reshape(BANDS, 2)"),
        ("np.maximum(one.power, dense)", "one.power"),
        ("np.maximum(one.power, dense)", "dense"),
        ("below = np.arange(BANDS) < lowest", "below = np.arange(BANDS) != lowest"),
        ("quieter = np.minimum(of_reference", "quieter = np.maximum(of_reference"),
        ("(of_reference * gain, of_candidate)", "(of_reference, of_candidate)"),
        ("limit * (1.0 if one.in_candidate else gain)", "limit"),
        ("limit = 10 ** (_CLEAR_DB / 10) * np.maximum", "limit = np.maximum"),
    ),
    *each(
        "mixcompare/aspects/tone/curve.py",
        ("tests/aspects/test_steady.py",),
        ("    weight[hidden_by(pair.noise, of_reference, of_candidate, pair.gain_db)] = 0\n", ""),
    ),
    *each(
        "mixcompare/aspects/tone/steady.py",
        ("tests/aspects/test_steady.py",),
        ("sign = 1.0 if one.in_candidate else -1.0", "sign = -1.0 if one.in_candidate else 1.0"),
        ("bool((one.power > least[band]).any())", "False"),
    ),
    *each(
        "mixcompare/aspects/tone/cuts.py",
        ("tests/aspects/test_cuts.py",),
        ("inside[longest[0] : longest[-1] + 1] = True", "inside[longest] = True"),
        ("longest = max(stretches, key=len)", "longest = stretches[0]"),
        ("_SINGLE = 2 ", "_SINGLE = 3 "),
        ("_STILL_EDGE_DB = 0.4", "_STILL_EDGE_DB = 0.8"),
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
