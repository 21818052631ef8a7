"""Small faults in what stems say."""

from tests.benchmarks.mutations import Fault, each

_JUDGE = ("tests/stems/test_judge.py",)

FAULTS: list[Fault] = [
    *each(
        "mixcompare/features/together.py",
        _JUDGE,
        ("joined[:, take:]], left - take\n    bins", "joined[:, :0]], left - take\n    bins"),
    ),
    *each(
        "mixcompare/audio/resampled.py",
        ("tests/stems/test_files.py",),
        ("if not np.isfinite(kept).all():", "if False:"),
    ),
    *each(
        "mixcompare/stems/explained.py",
        _JUDGE,
        ("own.conj() @ own.swapaxes(2, 3)", "own @ own.swapaxes(2, 3)"),
        ("is_inverted=peak < 0", "is_inverted=peak > 0"),
        (
            "late = np.where(place > taps * _FINER // 2, place - taps * _FINER, place)",
            "late = 2 * place",
        ),
        ("spectra.sum(axis=1, keepdims=True) / 2", "spectra[:, :1] - spectra[:, 1:]"),
        (
            "taps = np.arange(self.filters.shape[2]) + self.first_tap",
            "taps = np.arange(self.filters.shape[2])",
        ),
    ),
    *each(
        "mixcompare/stems/take.py",
        _JUDGE,
        (
            "np.abs(reference.direct) / np.abs(candidate.direct)",
            "np.abs(candidate.direct) / np.abs(reference.direct)",
        ),
        ("20 * np.log10(np.abs", "10 * np.log10(np.abs"),
    ),
    *each(
        "mixcompare/stems/take.py",
        ("tests/stems/test_take.py",),
        ("plays = (in_block > _PLAYS) & np.isfinite(trims_db)", "plays = np.isfinite(trims_db)"),
        ("(ratio[:, band] - trim)[inside]", "(0 * ratio[:, band] - trim)[inside]"),
        ("(_OF_REST * rest) ** 2", "0"),
        ("ratio_db - level, 0.0)", "ratio_db, 0.0)"),
        ("np.where(says.any(axis=1), trim + level, np.nan)", "trim + level"),
    ),
    *each(
        "mixcompare/stems/paired.py",
        ("tests/stems/test_paired.py",),
        ("if sounds <= SOUNDS}", "if False}"),
        ("gains.trim_db + level_db", "level_db"),
        ("np.hypot(gains.deviation_db, doubt_db)", "gains.deviation_db"),
        ("time_map.covers(edges_s[:-1] + _CELL_S / 2)", "edges_s[:-1] > 1"),
        ("whole[0] / whole[1]", "whole[1] / whole[0]"),
        (', " ", name.casefold())', ', " ", name)'),
        ("there_s = time_map.to_candidate(edges_s)", "there_s = edges_s"),
    ),
    *each(
        "mixcompare/stems/judge.py",
        ("tests/stems/test_paired.py",),
        ("found.trim_db + shift)", "found.trim_db)"),
    ),
    *each(
        "mixcompare/comparison.py",
        ("tests/stems/test_paired.py",),
        ("if reference_stems is not None:\n            raise", "if False:\n            raise"),
    ),
    *each(
        "mixcompare/stems/trims.py",
        _JUDGE,
        ("gain = 10 ** (trim / 20)", "gain = 10 ** (trim / 10)"),
        ("left = wanted_db - model\n        common", "left = wanted_db + model\n        common"),
    ),
    *each(
        "mixcompare/stems/cells.py",
        _JUDGE,
        ("(mixed - whole,) * 2", "(mixed,) * 2"),
        (
            "cross[row], rows, bands, twice[row] * (both @ weights)",
            "cross[row], rows, bands, (first == 0) * (both @ weights)",
        ),
    ),
    *each(
        "mixcompare/stems/judge.py",
        _JUDGE,
        ("trim = float(trim_db[place]) - common", "trim = common - float(trim_db[place])"),
        ("half = 1.96 * float(deviation[place])", "half = 0.02 * float(deviation[place])"),
        ("share_percent=100 * float(own[place])", "share_percent=float(own[place])"),
        ("if making.alike[one, other] > _COPY:", "if False:"),
        ("if making.with_mix[place] > _THE_MIX:", "if False:"),
        ("elif making.sounds[place] <= SOUNDS:", "elif False:"),
        ("{343 * abs(late_s):.1f}", "{34.3 * abs(late_s):.1f}"),
        ("loud & (share > _HOLE)", "loud & (share > 1)"),
    ),
    *each(
        "mixcompare/stems/judge.py",
        _JUDGE,
        ("10 ** (ride_db / 20))", "10 ** (0 * ride_db / 20))"),
        ("/ RATE_HZ - offset", "/ RATE_HZ + 4 + offset"),
    ),
    *each(
        "mixcompare/stems/bus.py",
        ("tests/stems/test_bus.py",),
        ("20 * np.log10(along[heard]", "10 * np.log10(along[heard]"),
        ("decibels - ndimage.gaussian_filter1d(decibels, _SLOWLY_S * rate_hz)", "decibels"),
        ("loud & (along > _ALONG * made)", "loud & (along > 0)"),
        ("any(_slope(*quarter) > _SURELY for quarter in quarters)", "False"),
        ("heard.sum() < 4 * _FEWEST", "heard.sum() < _FEWEST"),
    ),
    *each(
        "mixcompare/stems/cells.py",
        _JUDGE,
        ("(whole, whole), (mixed, whole))", "(whole, whole), (mixed, mixed))"),
    ),
    *each(
        "mixcompare/stems/files.py",
        ("tests/stems/test_files.py",),
        ("if len(files) > MOST:", "if False:"),
        ("if len(out) < 2:", "if len(out) < 1:"),
        ('and not path.name.startswith(".")', ""),
    ),
    *each(
        "mixcompare/stems/values.py",
        _JUDGE,
        ("not self.interval[0] <= 0 <= self.interval[1]", "self.interval[0] <= 0"),
    ),
    *each(
        "mixcompare/stems/values.py",
        ("tests/stems/test_words.py",),
        ("LEAST_DB = 0.5", "LEAST_DB = 0.01"),
        ("key=lambda one: -abs(one.due_db)", "key=lambda one: abs(one.due_db)"),
    ),
    *each(
        "mixcompare/listening/preview.py",
        ("tests/stems/test_preview.py",),
        ("anew += 10 ** (one.trim_db / 20) * sound", "anew += 10 ** (one.trim_db / 10) * sound"),
        ("left -= sound", "pass"),
        ("lowered_db = max(peak_db - CEILING_DBTP, 0.0)", "lowered_db = 0.0"),
        ("sound[: taps - 1] += tail", "pass"),
        ("shaped / 1.5", "shaped"),
    ),
    *each(
        "mixcompare/report/stems.py",
        ("tests/stems/test_words.py",),
        ("if stems.preview.lowered_db > 0.05:", "if False:"),
        ("if stem.is_inverted:", "if False:"),
    ),
    *each(
        "mixcompare/plots/stems.py",
        ("tests/stems/test_sample.py",),
        ("colour if stem.is_due else style.PAPER", "colour"),
        ("shares.barh(row, stem.share_percent", "shares.barh(row, 100 - stem.share_percent"),
    ),
    *each(
        "mixcompare/trimmed.py",
        ("tests/stems/test_sample.py",),
        ("trim_db=stem.due_db", "trim_db=-stem.due_db"),
        ('if one.aspect == "balance"', ""),
    ),
    *each(
        "mixcompare/trimmed.py",
        ("tests/stems/test_trimmed.py",),
        ("level_db=after.level.gain_db", "level_db=results.level.gain_db"),
    ),
    *each(
        "mixcompare/report/writer.py",
        ("tests/stems/test_sample.py",),
        ("if pair is not None and pair.preview is not None:", "if False:"),
    ),
]
