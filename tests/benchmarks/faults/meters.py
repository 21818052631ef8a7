"""Faults in levels, loudness, dynamics, tempo, tuning and what they rest on."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/statistics.py",
        ("tests/test_statistics.py",),
        ("tail = 100 * (1 - coverage) / 2", "tail = 100 * (1 - 0.6) / 2"),
        ("np.cumsum(w) - 0.5 * w, x", "np.cumsum(w), x"),
        ("away = (x - peak) / width", "away = (x - peak) / (2 * width)"),
        ("np.sort(np.where(chosen, values, np.inf), axis=0)", "np.sort(values, axis=0)"),
        ("low + (place - below) * (high - low)", "low"),
        (
            "(starts + np.arange(block_length)) % blocks",
            "(starts + 0 * np.arange(block_length)) % blocks",
        ),
        ("rng.integers(0, blocks, (", "rng.integers(0, max(blocks - block_length, 1), ("),
        ("free = max(blocks - 1, 1.0)", "free = max(blocks + 9, 1.0)"),
        ("* (1 + 1 / free) ** 0.5)", ")"),
        (
            "np.interp(quantiles * total - below",
            "np.interp(0.5 * total - below",
        ),
    ),
    *each(
        "mixcompare/pair/gain.py",
        ("tests/pair/test_gain.py",),
        ("gain = pair.gain_db + about + mode", "gain = pair.gain_db - about - mode"),
        ("pair.spectra.raised(-about)", "pair.spectra.raised(about)"),
        (
            "mode = robust_mode(difference, weight, width)",
            "mode = float(np.average(difference, weights=weight))",
        ),
        ("few_blocks(seconds / _BLOCK_S) * draws", "0.7 * draws"),
        (
            "(gain + min(low, 0.0), gain + max(high, 0.0))",
            "(gain - max(high, 0.0), gain - 0.5 * min(low, 0.0))",
        ),
        ("_LOUDNESS_EXPONENT = 0.3", "_LOUDNESS_EXPONENT = 0.5"),
    ),
    *each(
        "mixcompare/standards/bs1770.py",
        (
            "tests/standards/test_bs1770.py",
            "tests/published/test_itu_bs1770.py",
            "tests/published/test_ebu_tech_3341_3342.py",
        ),
        ("_SURROUND = 1.41", "_SURROUND = 1.0"),
        ("self.sample_peak) / self._most_gain", "self.sample_peak)"),
        ("4: (1.0, 1.0, _SURROUND, _SURROUND),", "4: (1.0, 1.0, 1.0, _SURROUND),"),
        (
            "8: (1.0, 1.0, 1.0, 0.0, 1.0, 1.0, _SURROUND, _SURROUND),",
            "8: (1.0, 1.0, 1.0, 0.0, _SURROUND, _SURROUND, 1.0, 1.0),",
        ),
        ("RELATIVE_GATE_LU = -10.0", "RELATIVE_GATE_LU = -14.0"),
        ("ABSOLUTE_GATE_LUFS = -70.0", "ABSOLUTE_GATE_LUFS = -73.0"),
        (
            "GATING_HOP_STEPS = 10 ",
            "GATING_HOP_STEPS = 40 ",
        ),
        ("factor = max(int(np.ceil(192_000 / sample_rate_hz)), 2)", "factor = 1"),
        ("STEP_S = 0.01\nMOMENTARY_STEPS = 40", "STEP_S = 0.01\nMOMENTARY_STEPS = 30"),
    ),
    *each(
        "mixcompare/pair/levels.py",
        ("tests/pair/test_levels.py",),
        ("(2 if power.shape[1] == 1 else 1)", "1"),
        (
            "candidate.k_power[inverse.covers(_step_times_s(candidate))]",
            "candidate.k_power[match.time_map.covers(_step_times_s(candidate))]",
        ),
        ("    value = to_range - from_range", "    value = from_range - to_range"),
        ("_RANGE_BLOCK_S = 12.0", "_RANGE_BLOCK_S = 2.0"),
        ("reach = 1.96 *", "reach = 0.84 *"),
        ("MUSIC_GATE_LU = -25.0", "MUSIC_GATE_LU = -28.0"),
        ("CONTOUR_WINDOW_S = 1.0", "CONTOUR_WINDOW_S = 2.0"),
        ("pair[1] - pair[0], np.nan)", "pair[0] - pair[1], np.nan)"),
        ("    single -= np.nanmedian(single, axis=0)\n", ""),
        ("= np.nanmedian(single, axis=1)", "= np.nanmean(single, axis=1)"),
        ("_AUDIBLE_BAND_DB = 30.0", "_AUDIBLE_BAND_DB = 50.0"),
        ("np.round(times / bs1770.STEP_S - steps / 2)", "np.round(times / bs1770.STEP_S - steps)"),
        ("int(np.argmin(np.where(chosen, told, np.inf)))", "int(np.argmin(told))"),
    ),
    *each(
        "mixcompare/aspects/loudness.py",
        ("tests/aspects/test_loudness.py",),
        ("else candidate - reference", "else reference - candidate"),
        (
            "peak_db = _true_peak_dbtp(candidate) - _true_peak_dbtp(reference)",
            "peak_db = _true_peak_dbtp(reference) - _true_peak_dbtp(candidate)",
        ),
        (
            "float(20 * np.log10(features.true_peak))",
            "float(20 * np.log10(features.sample_peak) - 0.5)",
        ),
        ("momentary.max(initial=0.0)", "short_term.max(initial=0.0)"),
        (
            "peak_to_loudness_db=_difference(integrated, peak_db)",
            "peak_to_loudness_db=_difference(peak_db, integrated)",
        ),
        ("_reasons(of_reference) + _reasons(of_candidate)", "_reasons(of_reference)"),
    ),
    *each(
        "mixcompare/aspects/dynamics/aspect.py",
        ("tests/aspects/test_dynamics.py",),
        (
            "crest_db=_crest_db(candidate) - _crest_db(reference)",
            "crest_db=_crest_db(reference) - _crest_db(candidate)",
        ),
        ("else peaks[1] - peaks[0]", "else peaks[0] - peaks[1]"),
        (
            "softest_difference_db=_at(against, softest)",
            "softest_difference_db=_at(against, loudest)",
        ),
        (
            "contour_db=_contour(of_candidate - of_reference, music)",
            "contour_db=_contour(of_reference - of_candidate, music)",
        ),
        ("as_stereo=True) - match.gain_db\n        against", "as_stereo=True)\n        against"),
    ),
    *each(
        "mixcompare/aspects/dynamics/words.py",
        ("tests/aspects/test_dynamics.py",),
        ('loud, soft = "up", "down"', 'loud, soft = "down", "up"'),
        (
            "return low > least or high < 1 / least",
            "return slope.value > least or slope.value < 1 / least",
        ),
        ("STEEPEST_ALONE = 3.0", "STEEPEST_ALONE = 5.0"),
        ("            Differs.SWING,\n", "            Differs.WIDTH,\n"),
        ("interval=(low - 1, high - 1)", "interval=(low, high)"),
        (
            "reference_range_db = 2 * difference.level_range_db / (1 + slope.value)",
            "reference_range_db = difference.level_range_db",
        ),
    ),
    *each(
        "mixcompare/aspects/dynamics/slope.py",
        ("tests/aspects/test_slope.py",),
        ("np.percentile(values, [5, 95])", "np.percentile(values, [10, 95])"),
        ("stdtrit(max(blocks - 2, 1.0), 0.975)", "stdtrit(max(blocks - 2, 1.0), 0.8)"),
        ("SHORTEST_BLOCK_S = 3.0", "SHORTEST_BLOCK_S = 2.0"),
        ("SMALLEST_RANGE_DB = 6.0", "SMALLEST_RANGE_DB = 5.0"),
        (
            "reference, candidate = mean_db - change_db / 2, mean_db + change_db / 2",
            "reference, candidate = mean_db + change_db / 2, mean_db - change_db / 2",
        ),
        ("return low < 1 < high and high > LOOSEST * low", "return high > LOOSEST * low"),
        ("    return (2 + inside) / (2 - inside)", "    return 1 + inside"),
        (
            "Knee(float(knee), slope)",
            "Knee(float(knee) + 4, slope)",
        ),
        ("if max(ranges) < SMALLEST_RANGE_DB", "if min(ranges) < SMALLEST_RANGE_DB"),
    ),
    *each(
        "mixcompare/statistics.py",
        ("tests/aspects/test_slope.py",),
        ("_HUBER = 1.5", "_HUBER = 1000.0"),
    ),
    *each(
        "mixcompare/pair/beatrate.py",
        ("tests/pair/test_beatrate.py",),
        (
            "level[_RISE_FRAMES:] - level[:-_RISE_FRAMES]",
            "level[:-_RISE_FRAMES] - level[_RISE_FRAMES:]",
        ),
        ("np.asarray(slide * step, np.float64)", "np.asarray(-slide * step, np.float64)"),
        ("speed_cents = -1200 * math.log2(ratio)", "speed_cents = 1200 * math.log2(ratio)"),
        (
            "_LEAST_CENTS, _SAME_CENTS, _STRAIGHT_MS = 1.0, 8.0, 30.0",
            "_LEAST_CENTS, _SAME_CENTS, _STRAIGHT_MS = 1.0, 14.0, 30.0",
        ),
        (
            "_LEAST_CENTS, _SAME_CENTS, _STRAIGHT_MS = 1.0, 8.0, 30.0",
            "_LEAST_CENTS, _SAME_CENTS, _STRAIGHT_MS = 1.0, 8.0, 60.0",
        ),
        ("max(_STRAIGHT_MS, 2 * match.uncertainty_ms)", "_STRAIGHT_MS"),
        ("100 * match.transposition_semitones + match.tuning_cents", "match.tuning_cents"),
        ("60 * (len(at_s) - 1)", "60 * (len(at_s) + 2)"),
        ("np.arange(len(frames)) * hop + size / 2", "np.arange(len(frames)) * hop"),
    ),
    *each(
        "mixcompare/aspects/tempo/aspect.py",
        ("tests/aspects/test_tempo.py",),
        (
            "around = (ratio - 1.96 * deviation, ratio + 1.96 * deviation)",
            "around = (ratio - deviation, ratio + deviation)",
        ),
        ("(100 * (local / ratio - 1)).tolist()", "(100 * (local - 1)).tolist()"),
        ("max(seen - float(np.mean((error / ratio) ** 2)), 0.0)", "seen"),
        (
            "own_spread_difference_percent=own[0][1] - own[0][0]",
            "own_spread_difference_percent=own[0][0] - own[0][1]",
        ),
        (
            "100 * (after[index].std() - before[index].std())",
            "100 * (before[index].std() - after[index].std())",
        ),
        (
            "return TempoMeasurement(counts[1], (counts[0], counts[1]))",
            "return TempoMeasurement(counts[0], (counts[0], counts[1]))",
        ),
    ),
    *each(
        "mixcompare/aspects/tempo/values.py",
        ("tests/aspects/test_tempo.py",),
        ("(percent, around[1], around[0])", "(percent, around[0], around[1])"),
    ),
    *each(
        "mixcompare/aspects/tempo/words.py",
        ("tests/aspects/test_tempo.py",),
        ("a_minute * (1 + tempo_percent / 100)", "a_minute * (1 - tempo_percent / 100)"),
        (
            'f" {own[1]:.0f} % about its mean, the reference\'s by {own[0]:.0f} %."',
            'f" {own[0]:.0f} % about its mean, the reference\'s by {own[1]:.0f} %."',
        ),
        (
            "'Keep moving' if holds else 'Take more time'",
            "'Take more time' if holds else 'Keep moving'",
        ),
    ),
    *each(
        "mixcompare/aspects/tuning.py",
        ("tests/aspects/test_tuning.py",),
        ("HARMONIC_BIAS_CENTS = -0.4", "HARMONIC_BIAS_CENTS = 1.4"),
        (
            "few_blocks(len(phasors) / block) * np.degrees(drawn)",
            "0.5 * np.degrees(drawn)",
        ),
        (
            "_wrapped(of_candidate - of_reference - aligned_cents)",
            "_wrapped(of_reference - of_candidate - aligned_cents)",
        ),
        (
            "speed_percent = 100 * (2 ** (total / 1200) - 1)",
            "speed_percent = 100 * (2 ** (-total / 1200) - 1)",
        ),
        (
            "around = (around[0] + total - cents, around[1] + total - cents)",
            "around = (around[0], around[1])",
        ),
        ("error = 1200 * math.log2(1 + 2e-3 *", "error = 1200 * math.log2(1 + 1e-3 *"),
        (
            "for features, span in zip((reference, candidate), spans, strict=True)",
            "for features, span in zip((reference, candidate), spans[::-1], strict=True)",
        ),
        (
            "of_reference, of_candidate = difference.a4_hz",
            "of_candidate, of_reference = difference.a4_hz",
        ),
        ("_SAME_CENTS = 8.0", "_SAME_CENTS = 60.0"),
        ("_STRETCHED_CENTS = 0.5, 2.0", "_STRETCHED_CENTS = 0.5, 0.5"),
    ),
    *each(
        "mixcompare/features/passes.py",
        ("tests/features/test_features.py",),
        (
            "map(self._high_bands, cross_of(spectra))",
            "map(self._high_bands, cross_of(spectra[::-1]))",
        ),
        (
            "cross = cross_of(spectra)",
            "cross = cross_of(spectra[::-1])",
        ),
        (
            "averaged: npt.NDArray[Any] = 0.5 * even + 0.25 * (odd + before)",
            "averaged: npt.NDArray[Any] = 0.25 * even + 0.25 * (odd + before)",
        ),
        ("low[1::2] = 0.5 * (low[:-1:2] + low[2::2])", "low[1::2] = low[:-1:2] * 0.1"),
        ("run = full[2:] & full[1:-1] & full[:-2]", "run = full[2:] & full[1:-1]  & full[1:-1]"),
    ),
    *each(
        "mixcompare/features/frames.py",
        ("tests/features/test_features.py",),
        ("self.scale = 2.0 /", "self.scale = 1.0 /"),
        (
            "self._buffer = np.zeros((2, size // 2), np.float32)",
            "self._buffer = np.zeros((2, 0), np.float32)",
        ),
    ),
    *each(
        "mixcompare/features/tuning.py",
        ("tests/features/test_features.py",),
        ("shift = 0.5 * (before - after)", "shift = 0.5 * (after - before)"),
    ),
    *each(
        "mixcompare/features/usable.py",
        ("tests/features/test_features.py",),
        ("inside - highest_above[beyond] > 20", "inside - highest_above[beyond] > 90"),
        ("moves = loud > 10**0.4 * soft", "moves = loud > 0 * soft"),
    ),
    *each(
        "mixcompare/audio/stereo.py",
        ("tests/audio/test_stereo.py",),
        ("4: [[1, 0, _DOWN, 0], [0, 1, 0, _DOWN]]", "4: [[1, 0, 0, _DOWN], [0, 1, _DOWN, 0]]"),
        ("_DOWN = np.sqrt(0.5)", "_DOWN = 0.5"),
    ),
    *each(
        "mixcompare/audio/checks.py",
        ("tests/audio/test_checks.py",),
        ("SILENCE_PEAK = 10 ** (-90 / 20)", "SILENCE_PEAK = 10 ** (-84 / 20)"),
    ),
    *each(
        "mixcompare/audio/file.py",
        ("tests/audio/test_file.py",),
        ("frames < 0.98 * info.frames", "frames < 0.1 * info.frames"),
    ),
    *each(
        "mixcompare/audio/recording.py",
        ("tests/audio/test_recording.py",),
        ("offset = round(self.span_s[0] * self.sample_rate_hz) + first", "offset = first"),
    ),
    *each(
        "mixcompare/audio/span.py",
        ("tests/audio/test_span.py", "tests/audio/test_checks.py"),
        ("3600 * h + 60 * m + s", "3600 * h + 6 * m + s"),
        ("float(min(end, length_s))", "float(end)"),
    ),
    *each(
        "mixcompare/alignment/timemap.py",
        ("tests/alignment/test_timemap.py",),
        (
            "return TimeMap(self.candidate_s, self.reference_s, self.half_width_ms)",
            "return TimeMap(self.reference_s, self.candidate_s, self.half_width_ms)",
        ),
        (
            "width = np.hypot(self.uncertainty_ms(nodes), other.uncertainty_ms(middle))",
            "width = self.uncertainty_ms(nodes) + other.uncertainty_ms(middle)",
        ),
        (
            "after = to_s[-1] + (times - from_s[-1]) * last",
            "after = to_s[-1] + (times - from_s[-1]) * first",
        ),
        ("self.candidate_s + candidate_by_s", "self.candidate_s + reference_by_s"),
    ),
]
