"""Faults in levels, loudness, dynamics, tempo, tuning and what they rest on."""

from __future__ import annotations

from tests.benchmarks.mutations import Fault

_BS1770 = ("tests/standards/test_bs1770.py", "tests/published/test_itu_bs1770.py",
           "tests/published/test_ebu_tech_3341_3342.py")  # fmt: skip
_LEVELS = ("tests/pair/test_levels.py",)
_SWING = ("tests/aspects/test_slope.py",)
_PULSE = ("tests/pair/test_beatrate.py",)
_GAIN = ("tests/pair/test_gain.py",)
_STATISTICS = ("tests/test_statistics.py",)
_FEATURES = ("tests/features/test_features.py",)
_RECORDING = ("tests/audio/test_recording.py",)
_TIMEMAP = ("tests/alignment/test_timemap.py",)
_LOUDNESS = ("tests/aspects/test_loudness.py",)
_DYNAMICS = ("tests/aspects/test_dynamics.py",)
_TEMPO = ("tests/aspects/test_tempo.py",)
_TUNING = ("tests/aspects/test_tuning.py",)


def _fault(module: str, tests: tuple[str, ...], find: str, put: str) -> Fault:
    return Fault(module=f"mixcompare/{module}.py", find=find, put=put, tests=tests)


FAULTS = [
    # statistics
    _fault(
        "statistics", _STATISTICS, "tail = 100 * (1 - coverage) / 2", "tail = 100 * (1 - 0.6) / 2"
    ),
    _fault(
        "statistics", _STATISTICS, "np.cumsum(w[order]) - 0.5 * w[order]", "np.cumsum(w[order])"
    ),
    _fault("statistics", _STATISTICS, "(x - peak) / width) ** 2", "(x - peak) / (2 * width)) ** 2"),
    _fault(
        "statistics",
        _STATISTICS,
        "starts[:, None] + np.arange(block_length)[None]",
        "starts[:, None] + 0 * np.arange(block_length)[None]",
    ),
    _fault(
        "statistics",
        _STATISTICS,
        "rng.integers(0, blocks, count)",
        "rng.integers(0, max(blocks - block_length, 1), count)",
    ),
    _fault("statistics", _STATISTICS, "free = max(blocks - 1, 1.0)", "free = max(blocks + 9, 1.0)"),
    _fault("statistics", _STATISTICS, "* (1 + 1 / free) ** 0.5)", ")"),
    _fault(
        "statistics",
        _STATISTICS,
        "return float(np.interp(quantile * w.sum()",
        "return float(np.interp(0.5 * w.sum()",
    ),
    # gain
    _fault("gain", _GAIN, "gain = match.gain_db + about + mode", "gain = about + mode"),
    _fault(
        "gain",
        _GAIN,
        "pair = replace(pair, candidate=pair.candidate * 10 ** (-about / 10))",
        "about = 0.0",
    ),
    _fault(
        "gain",
        _GAIN,
        "mode = robust_mode(difference, weight, width)",
        "mode = float(np.average(difference, weights=weight))",
    ),
    _fault("gain", _GAIN, "return few_blocks(seconds / _BLOCK_S) * draws", "return 0.7 * draws"),
    _fault(
        "gain",
        _GAIN,
        "(gain + min(low, 0.0), gain + max(high, 0.0))",
        "(gain - max(high, 0.0), gain - 0.5 * min(low, 0.0))",
    ),
    _fault("gain", _GAIN, "_LOUDNESS_EXPONENT = 0.3", "_LOUDNESS_EXPONENT = 0.5"),
    # BS.1770
    _fault("bs1770", _BS1770, "_SURROUND = 1.41", "_SURROUND = 1.0"),
    _fault(
        "bs1770", _BS1770, "4: (1.0, 1.0, _SURROUND, _SURROUND),", "4: (1.0, 1.0, 1.0, _SURROUND),"
    ),
    _fault(
        "bs1770",
        _BS1770,
        "8: (1.0, 1.0, 1.0, 0.0, 1.0, 1.0, _SURROUND, _SURROUND),",
        "8: (1.0, 1.0, 1.0, 0.0, _SURROUND, _SURROUND, 1.0, 1.0),",
    ),
    _fault("bs1770", _BS1770, "np.percentile(kept, [10, 95])", "np.percentile(kept, [5, 95])"),
    _fault("bs1770", _BS1770, "np.percentile(kept, [10, 95])", "np.percentile(kept, [10, 90])"),
    _fault("bs1770", _BS1770, "RANGE_GATE_LU = -20.0", "RANGE_GATE_LU = -25.0"),
    _fault("bs1770", _BS1770, "RELATIVE_GATE_LU = -10.0", "RELATIVE_GATE_LU = -14.0"),
    _fault("bs1770", _BS1770, "ABSOLUTE_GATE_LUFS = -70.0", "ABSOLUTE_GATE_LUFS = -73.0"),
    _fault(
        "bs1770",
        _BS1770,
        "blocks = window_powers(step_power, MOMENTARY_STEPS, hop=10)",
        "blocks = window_powers(step_power, MOMENTARY_STEPS, hop=40)",
    ),
    _fault(
        "bs1770", _BS1770, "factor = max(int(np.ceil(192_000 / sample_rate_hz)), 2)", "factor = 1"
    ),
    _fault(
        "bs1770", _BS1770, "loud = windows[to_lufs(windows) > ABSOLUTE_GATE_LUFS]", "loud = windows"
    ),
    _fault(
        "bs1770",
        _BS1770,
        "STEP_S = 0.01\nMOMENTARY_STEPS = 40",
        "STEP_S = 0.01\nMOMENTARY_STEPS = 30",
    ),
    # levels
    _fault("levels", _LEVELS, "(2 if power.shape[1] == 1 else 1)", "1"),
    _fault(
        "levels",
        _LEVELS,
        "candidate.k_power[inverse.covers(_step_times_s(candidate))]",
        "candidate.k_power[match.time_map.covers(_step_times_s(candidate))]",
    ),
    _fault(
        "levels", _LEVELS, "    value = to_range - from_range", "    value = from_range - to_range"
    ),
    _fault("levels", _LEVELS, "_RANGE_BLOCK_S = 12.0", "_RANGE_BLOCK_S = 2.0"),
    _fault("levels", _LEVELS, "reach = 1.96 *", "reach = 0.84 *"),
    _fault("levels", _LEVELS, "MUSIC_GATE_LU = -25.0", "MUSIC_GATE_LU = -28.0"),
    _fault("levels", _LEVELS, "CONTOUR_WINDOW_S = 1.0", "CONTOUR_WINDOW_S = 2.0"),
    _fault("levels", _LEVELS, "pair[1] - pair[0], np.nan)", "pair[0] - pair[1], np.nan)"),
    _fault("levels", _LEVELS, "    single -= np.nanmedian(single, axis=0)\n", ""),
    _fault("levels", _LEVELS, "= np.nanmedian(single, axis=1)", "= np.nanmean(single, axis=1)"),
    _fault("levels", _LEVELS, "_AUDIBLE_BAND_DB = 30.0", "_AUDIBLE_BAND_DB = 50.0"),
    _fault(
        "levels",
        _LEVELS,
        "np.round(times / bs1770.STEP_S - steps / 2)",
        "np.round(times / bs1770.STEP_S - steps)",
    ),
    _fault(
        "levels", _LEVELS, "int(np.argmin(np.where(chosen, told, np.inf)))", "int(np.argmin(told))"
    ),
    # loudness
    _fault(
        "analyzers/loudness", _LOUDNESS, "else candidate - reference", "else reference - candidate"
    ),
    _fault(
        "analyzers/loudness",
        _LOUDNESS,
        "peak_db = _true_peak_dbtp(candidate) - _true_peak_dbtp(reference)",
        "peak_db = _true_peak_dbtp(reference) - _true_peak_dbtp(candidate)",
    ),
    _fault(
        "analyzers/loudness",
        _LOUDNESS,
        "float(20 * np.log10(features.true_peak))",
        "float(20 * np.log10(features.sample_peak) - 0.5)",
    ),
    _fault(
        "analyzers/loudness", _LOUDNESS, "momentary.max(initial=0.0)", "short_term.max(initial=0.0)"
    ),
    _fault(
        "analyzers/loudness",
        _LOUDNESS,
        "peak_to_loudness_db=_difference(integrated, peak_db)",
        "peak_to_loudness_db=_difference(peak_db, integrated)",
    ),
    _fault("analyzers/loudness", _LOUDNESS, "_reasons(ours) + _reasons(theirs)", "_reasons(ours)"),
    # dynamics
    _fault(
        "analyzers/dynamics",
        _DYNAMICS,
        "crest_db=_crest_db(candidate) - _crest_db(reference)",
        "crest_db=_crest_db(reference) - _crest_db(candidate)",
    ),
    _fault("analyzers/dynamics", _DYNAMICS, "else peaks[1] - peaks[0]", "else peaks[0] - peaks[1]"),
    _fault(
        "analyzers/dynamics",
        _DYNAMICS,
        "softest_difference_db=_at(against, softest)",
        "softest_difference_db=_at(against, loudest)",
    ),
    _fault(
        "analyzers/dynamics",
        _DYNAMICS,
        "contour_db=_contour(theirs - ours, music)",
        "contour_db=_contour(ours - theirs, music)",
    ),
    _fault(
        "analyzers/dynamics",
        _DYNAMICS,
        "as_stereo=True) - match.gain_db\n        against",
        "as_stereo=True)\n        against",
    ),
    _fault(
        "analyzers/dynamics", _DYNAMICS, 'loud, soft = "up", "down"', 'loud, soft = "down", "up"'
    ),
    _fault(
        "analyzers/dynamics",
        _DYNAMICS,
        "return low > least or high < 1 / least",
        "return slope.value > least or slope.value < 1 / least",
    ),
    _fault("analyzers/dynamics", _DYNAMICS, "_STEEPEST_ALONE = 3.0", "_STEEPEST_ALONE = 5.0"),
    _fault(
        "analyzers/dynamics",
        _DYNAMICS,
        "difference.loud_candidate_spans_s if only_loud else difference.candidate_spans_s",
        "difference.loud_spans_s if only_loud else difference.spans_s",
    ),
    _fault(
        "analyzers/dynamics",
        _DYNAMICS,
        "return Cause(0.0, 0.0, 1.0)",
        "return Cause(1.0, 0.0, 0.0)",
    ),
    _fault("analyzers/dynamics", _DYNAMICS, "interval=(low - 1, high - 1)", "interval=(low, high)"),
    _fault(
        "analyzers/dynamics",
        _DYNAMICS,
        "reference_range_db = 2 * difference.level_range_db / (1 + slope.value)",
        "reference_range_db = difference.level_range_db",
    ),
    # swing
    _fault("swing", _SWING, "np.percentile(values, [5, 95])", "np.percentile(values, [10, 95])"),
    _fault(
        "swing",
        _SWING,
        "stdtrit(max(blocks - 2, 1.0), 0.975)",
        "stdtrit(max(blocks - 2, 1.0), 0.8)",
    ),
    _fault("swing", _SWING, "SHORTEST_BLOCK_S = 3.0", "SHORTEST_BLOCK_S = 2.0"),
    _fault("swing", _SWING, "SMALLEST_RANGE_DB = 6.0", "SMALLEST_RANGE_DB = 5.0"),
    _fault(
        "swing",
        _SWING,
        "reference, candidate = mean_db - change_db / 2, mean_db + change_db / 2",
        "reference, candidate = mean_db + change_db / 2, mean_db - change_db / 2",
    ),
    _fault(
        "swing",
        _SWING,
        "return low < 1 < high and high > LOOSEST * low",
        "return high > LOOSEST * low",
    ),
    _fault("swing", _SWING, "    return (2 + inside) / (2 - inside)", "    return 1 + inside"),
    _fault(
        "swing",
        _SWING,
        "Knee(float(knees[best] - level / 2), slope)",
        "Knee(float(knees[best] - level / 2) + 4, slope)",
    ),
    _fault(
        "swing", _SWING, "if max(ranges) < SMALLEST_RANGE_DB", "if min(ranges) < SMALLEST_RANGE_DB"
    ),
    _fault("swing", _SWING, "_HUBER = 1.5", "_HUBER = 1000.0"),
    # pulse and tempo
    _fault(
        "pulse",
        _PULSE,
        "level[_RISE_FRAMES:] - level[:-_RISE_FRAMES]",
        "level[:-_RISE_FRAMES] - level[_RISE_FRAMES:]",
    ),
    _fault(
        "pulse",
        _PULSE,
        "np.asarray(slide * step, np.float64)",
        "np.asarray(-slide * step, np.float64)",
    ),
    _fault(
        "pulse",
        _PULSE,
        "speed_cents = -1200 * math.log2(ratio)",
        "speed_cents = 1200 * math.log2(ratio)",
    ),
    _fault(
        "pulse",
        _PULSE,
        "_LEAST_CENTS, _SAME_CENTS, _STRAIGHT_MS = 1.0, 8.0, 30.0",
        "_LEAST_CENTS, _SAME_CENTS, _STRAIGHT_MS = 1.0, 14.0, 30.0",
    ),
    _fault(
        "pulse",
        _PULSE,
        "_LEAST_CENTS, _SAME_CENTS, _STRAIGHT_MS = 1.0, 8.0, 30.0",
        "_LEAST_CENTS, _SAME_CENTS, _STRAIGHT_MS = 1.0, 8.0, 60.0",
    ),
    _fault("pulse", _PULSE, "max(_STRAIGHT_MS, 2 * match.uncertainty_ms)", "_STRAIGHT_MS"),
    _fault(
        "pulse",
        _PULSE,
        "100 * match.transposition_semitones + match.tuning_cents",
        "match.tuning_cents",
    ),
    _fault("pulse", _PULSE, "60 * (len(at_s) - 1)", "60 * (len(at_s) + 2)"),
    _fault(
        "pulse", _PULSE, "np.arange(len(frames)) * hop + size / 2", "np.arange(len(frames)) * hop"
    ),
    _fault("analyzers/tempo", _TEMPO, "_DEVIATIONS_90 = 1.645", "_DEVIATIONS_90 = 2.8"),
    _fault(
        "analyzers/tempo",
        _TEMPO,
        "around = (ratio - 1.96 * deviation, ratio + 1.96 * deviation)",
        "around = (ratio - deviation, ratio + deviation)",
    ),
    _fault(
        "analyzers/tempo",
        _TEMPO,
        "return candidate / reference, np.sqrt",
        "return reference / candidate, np.sqrt",
    ),
    _fault(
        "analyzers/tempo",
        _TEMPO,
        "(100 * (local / ratio - 1)).tolist()",
        "(100 * (local - 1)).tolist()",
    ),
    _fault("analyzers/tempo", _TEMPO, "_SURE = 1.2 ", "_SURE = 9.0 "),
    _fault(
        "analyzers/tempo", _TEMPO, "max(seen - float(np.mean((error / ratio) ** 2)), 0.0)", "seen"
    ),
    _fault(
        "analyzers/tempo",
        _TEMPO,
        "own_spread_difference_percent=own[0][1] - own[0][0]",
        "own_spread_difference_percent=own[0][0] - own[0][1]",
    ),
    _fault(
        "analyzers/tempo",
        _TEMPO,
        "100 * (after[index].std() - before[index].std())",
        "100 * (before[index].std() - after[index].std())",
    ),
    _fault(
        "analyzers/tempo",
        _TEMPO,
        "(percent, around[1], around[0])",
        "(percent, around[0], around[1])",
    ),
    _fault(
        "analyzers/tempo",
        _TEMPO,
        'f" {own[1]:.0f} % about its mean, the reference\'s by {own[0]:.0f} %."',
        'f" {own[0]:.0f} % about its mean, the reference\'s by {own[1]:.0f} %."',
    ),
    _fault(
        "analyzers/tempo",
        _TEMPO,
        "spans_s=(whole,), candidate_spans_s=((first, last),)",
        "spans_s=(whole,), candidate_spans_s=(whole,)",
    ),
    _fault(
        "analyzers/tempo",
        _TEMPO,
        "'Keep moving' if holds else 'Take more time'",
        "'Take more time' if holds else 'Keep moving'",
    ),
    _fault(
        "analyzers/tempo",
        _TEMPO,
        "return TempoMeasurement(counts[1], (counts[0], counts[1]))",
        "return TempoMeasurement(counts[0], (counts[0], counts[1]))",
    ),
    # tuning
    _fault("analyzers/tuning", _TUNING, "HARMONIC_BIAS_CENTS = -0.4", "HARMONIC_BIAS_CENTS = 1.4"),
    _fault(
        "analyzers/tuning",
        _TUNING,
        "draws = few_blocks(len(phasors) / block) * block_bootstrap(",
        "draws = 0.5 * block_bootstrap(",
    ),
    _fault(
        "analyzers/tuning",
        _TUNING,
        "_wrapped(after - before - aligned_cents)",
        "_wrapped(before - after - aligned_cents)",
    ),
    _fault(
        "analyzers/tuning",
        _TUNING,
        "speed_percent = 100 * (2 ** (total / 1200) - 1)",
        "speed_percent = 100 * (2 ** (-total / 1200) - 1)",
    ),
    _fault(
        "analyzers/tuning",
        _TUNING,
        "around = (around[0] + total - cents, around[1] + total - cents)",
        "around = (around[0], around[1])",
    ),
    _fault(
        "analyzers/tuning",
        _TUNING,
        "error = 1200 * math.log2(1 + 2e-3 *",
        "error = 1200 * math.log2(1 + 1e-3 *",
    ),
    _fault(
        "analyzers/tuning",
        _TUNING,
        "for features, span in zip((reference, candidate), spans, strict=True)",
        "for features, span in zip((reference, candidate), spans[::-1], strict=True)",
    ),
    _fault(
        "analyzers/tuning",
        _TUNING,
        "before, after = difference.a4_hz",
        "after, before = difference.a4_hz",
    ),
    _fault("analyzers/tuning", _TUNING, "_SAME_CENTS = 8.0", "_SAME_CENTS = 60.0"),
    _fault(
        "analyzers/tuning", _TUNING, "_STRETCHED_CENTS = 0.5, 2.0", "_STRETCHED_CENTS = 0.5, 0.5"
    ),
    # features, recordings, maps
    _fault(
        "features",
        _FEATURES,
        'cross = spectra[0] * spectra[1].conj()\n            self._add("high_cross"',
        'cross = spectra[1] * spectra[0].conj()\n            self._add("high_cross"',
    ),
    _fault(
        "features",
        _FEATURES,
        'cross = spectra[0] * spectra[1].conj()\n        self._add("low_cross"',
        'cross = spectra[1] * spectra[0].conj()\n        self._add("low_cross"',
    ),
    _fault("features", _FEATURES, "self.scale = 2.0 /", "self.scale = 1.0 /"),
    _fault(
        "features",
        _FEATURES,
        "averaged: npt.NDArray[Any] = 0.5 * even + 0.25 * (odd + before)",
        "averaged: npt.NDArray[Any] = 0.25 * even + 0.25 * (odd + before)",
    ),
    _fault(
        "features",
        _FEATURES,
        "low[1::2] = 0.5 * (low[:-1:2] + low[2::2])",
        "low[1::2] = low[:-1:2] * 0.1",
    ),
    _fault(
        "features", _FEATURES, "shift = 0.5 * (before - after)", "shift = 0.5 * (after - before)"
    ),
    _fault(
        "features",
        _FEATURES,
        "run = full[2:] & full[1:-1] & full[:-2]",
        "run = full[2:] & full[1:-1]  & full[1:-1]",
    ),
    _fault(
        "features",
        _FEATURES,
        "inside - highest_above[beyond] > 20",
        "inside - highest_above[beyond] > 90",
    ),
    _fault("features", _FEATURES, "moves = loud > 10**0.4 * soft", "moves = loud > 0 * soft"),
    _fault(
        "features",
        _FEATURES,
        "self._buffer = np.zeros((2, size // 2), np.float32)",
        "self._buffer = np.zeros((2, 0), np.float32)",
    ),
    _fault(
        "recording",
        _RECORDING,
        "4: [[1, 0, _DOWN, 0], [0, 1, 0, _DOWN]]",
        "4: [[1, 0, 0, _DOWN], [0, 1, _DOWN, 0]]",
    ),
    _fault("recording", _RECORDING, "_DOWN = np.sqrt(0.5)", "_DOWN = 0.5"),
    _fault(
        "recording",
        _RECORDING,
        "SILENCE_PEAK = 10 ** (-90 / 20)",
        "SILENCE_PEAK = 10 ** (-84 / 20)",
    ),
    _fault(
        "recording",
        _RECORDING,
        "offset = round(self.span_s[0] * self.sample_rate_hz) + first",
        "offset = first",
    ),
    _fault("recording", _RECORDING, "3600 * h + 60 * m + s", "3600 * h + 6 * m + s"),
    _fault("recording", _RECORDING, "float(min(end, length_s))", "float(end)"),
    _fault(
        "timemap",
        _TIMEMAP,
        "return TimeMap(self.candidate_s, self.reference_s, self.half_width_ms)",
        "return TimeMap(self.reference_s, self.candidate_s, self.half_width_ms)",
    ),
    _fault(
        "timemap",
        _TIMEMAP,
        "width = np.hypot(self.uncertainty_ms(nodes), other.uncertainty_ms(middle))",
        "width = self.uncertainty_ms(nodes) + other.uncertainty_ms(middle)",
    ),
    _fault(
        "timemap",
        _TIMEMAP,
        "after = to_s[-1] + (times - from_s[-1]) * last",
        "after = to_s[-1] + (times - from_s[-1]) * first",
    ),
    _fault(
        "timemap",
        _TIMEMAP,
        "self.candidate_s + candidate_by_s",
        "self.candidate_s + reference_by_s",
    ),
]
