"""Faults that the contract of the analyzers, the match and the report's contract must notice."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/pair/match.py",
        ("tests/pair/test_match.py",),
        ("gain_db=-self.gain_db", "gain_db=self.gain_db"),
        (
            "transposition_semitones=-self.transposition_semitones",
            "transposition_semitones=self.transposition_semitones",
        ),
        ("tuning_cents=-self.tuning_cents", "tuning_cents=self.tuning_cents"),
        ("time_map=self.time_map.inverse()", "time_map=self.time_map"),
        ("notes[:, 2] + self.transposition_semitones", "notes[:, 2]"),
        ("self.time_map.to_candidate(notes[:, :2])", "self.time_map.to_reference(notes[:, :2])"),
        ("moved(part.notes), moved(part.others)", "moved(part.notes), part.others"),
        ("np.floor(end * rate_hz) + 1)", "np.floor(end * rate_hz))"),
        ("return times[self.time_map.covers(times)]", "return times"),
    ),
    *each(
        "mixcompare/alignment/result.py",
        ("tests/pair/test_match.py",),
        ("self.relation == SAME_TAKE", "self.relation != UNRELATED"),
    ),
    *each(
        "mixcompare/analysis.py",
        ("tests/pair/test_match.py",),
        (
            "time_map.to_candidate(span) for span in finding.spans_s",
            "span for span in finding.spans_s",
        ),
        (
            "time_map.to_candidate(span) for span in finding.spans_s",
            "time_map.to_reference(span) for span in finding.spans_s",
        ),
    ),
    *each(
        "mixcompare/pair/pair.py",
        ("tests/pair/test_match.py",),
        ("same_take=alignment.same_take,", "same_take=True,"),
        ("transposition_semitones=alignment.transposition_semitones,", ""),
    ),
    *each(
        "mixcompare/analysis.py",
        ("tests/aspects/test_contract.py",),
        ("return pair.with_gain(level.gain_db), level", "return pair.with_gain(0.0), level"),
    ),
    *each(
        "mixcompare/aspects/loudness.py",
        ("tests/aspects/test_contract.py",),
        (
            "_true_peak_dbtp(candidate) - _true_peak_dbtp(reference)",
            "abs(_true_peak_dbtp(candidate) - _true_peak_dbtp(reference))",
        ),
        (
            "peak_to_loudness_db=_difference(integrated, peak_db)",
            "peak_to_loudness_db=_difference(None if integrated is None else -integrated, peak_db)",
        ),
    ),
    *each(
        "mixcompare/aspects/balance/aspect.py",
        ("tests/aspects/test_contract.py",),
        (
            "None or candidate is None else candidate - reference",
            "None or candidate is None else abs(candidate - reference)",
        ),
    ),
    *each(
        "mixcompare/elements/audibility.py",
        ("tests/aspects/test_contract.py",),
        ("change.difference_db + tone_db) / 10", "change.difference_db) / 10"),
    ),
    *each(
        "mixcompare/elements/one_take.py",
        ("tests/aspects/test_contract.py",),
        ("before_tone = spectra.reference / np.maximum(expected, 1e-30)", "before_tone = 1.0"),
    ),
    *each(
        "mixcompare/aspects/tone/curve.py",
        ("tests/aspects/test_contract.py",),
        ("difference -= pair.match.gain_db", "difference += pair.match.gain_db"),
        (
            "audible_bands(of_reference) | audible_bands(of_candidate)",
            "audible_bands(of_reference)",
        ),
    ),
    *each(
        "mixcompare/aspects/tone/aspect.py",
        ("tests/aspects/test_contract.py",),
        (
            "(line.slope + around[0], line.slope + around[1])",
            "(line.slope + around[0], line.slope + 2 * around[1])",
        ),
    ),
    *each(
        "mixcompare/aspects/width/aspect.py",
        ("tests/aspects/test_contract.py",),
        (
            "loss = of_candidate.fold_down_loss_db() - of_reference.fold_down_loss_db()",
            "loss = of_candidate.fold_down_loss_db()",
        ),
        (
            "total = np.sqrt(of_reference.total() * of_candidate.total())",
            "total = of_reference.total()",
        ),
        (
            "low_correlation=(of_reference.low_correlation(), of_candidate.low_correlation())",
            "low_correlation=(of_reference.low_correlation(), of_reference.low_correlation())",
        ),
    ),
    *each(
        "mixcompare/aspects/placement/aspect.py",
        ("tests/aspects/test_contract.py",),
        ("(powers[0] * powers[1]) ** 0.25", "powers[0] ** 0.5"),
        ("delay_us = later - earlier", "delay_us = later"),
    ),
    *each(
        "mixcompare/aspects/room/aspect.py",
        ("tests/aspects/test_contract.py",),
        (
            "candidate.decay_time_s / reference.decay_time_s - 1",
            "1 - reference.decay_time_s / candidate.decay_time_s",
        ),
        (
            "reference_decay_time_s=of_reference.decay_time_s",
            "reference_decay_time_s=of_candidate.decay_time_s",
        ),
    ),
    *each(
        "mixcompare/aspects/dynamics/aspect.py",
        ("tests/aspects/test_contract.py",),
        ("_crest_db(candidate) - _crest_db(reference)", "_crest_db(candidate)"),
        (
            "contour_db=_contour(of_candidate - of_reference, music)",
            "contour_db=_contour(of_candidate, music)",
        ),
    ),
    *each(
        "mixcompare/aspects/dynamics/words.py",
        ("tests/aspects/test_contract.py",),
        ("size_in_jnd(float(np.log(slope.value))", "size_in_jnd(float(slope.value - 1)"),
    ),
    *each(
        "mixcompare/aspects/tempo/aspect.py",
        ("tests/aspects/test_contract.py",),
        ("percent = 100 * (ratio - 1)", "percent = 100 * (1 - 1 / ratio)"),
        ("own[0][1] - own[0][0] if own", "own[0][1] if own"),
        ("100 * (local / ratio - 1)", "100 * (local - ratio)"),
    ),
    *each(
        "mixcompare/aspects/tuning.py",
        ("tests/aspects/test_contract.py",),
        ("cents = aligned_cents + apart", "cents = abs(aligned_cents + apart)"),
        ("100 * (2 ** (total / 1200) - 1)", "100 * total / 1731"),
    ),
    *each(
        "mixcompare/aspects/articulation/stretch.py",
        ("tests/aspects/test_contract.py",),
        (
            "changes = ratios[:, 1] - ratios[:, 0]\n    middle",
            "changes = ratios[:, 1] - ratios[:, 0] + 0.05\n    middle",
        ),
        ("reference_ratio=reference_share,\n", "reference_ratio=candidate_share,\n"),
    ),
    *each(
        "mixcompare/aspects/articulation/aspect.py",
        ("tests/aspects/test_contract.py",),
        (
            "value(candidate) - value(reference) for",
            "value(candidate) for",
        ),
    ),
    *each(
        "mixcompare/report/document.py",
        ("tests/report/test_report_contract.py",),
        ('"reference": plain(results.reference)', '"reference": plain(results.candidate)'),
        ('"candidate": plain(measured.candidate)', '"candidate": plain(measured.reference)'),
        ("[points.reference_s, points.candidate_s]", "[points.candidate_s, points.reference_s]"),
        ('"tuning_cents": alignment.tuning_cents', '"tuning_cents": -alignment.tuning_cents'),
        (
            'if item.metadata.get("report", True)',
            'if item.metadata.get("report", True) and not item.name.endswith("interval")',
        ),
        ("results = results.on_file_clocks()", ""),
    ),
    *each(
        "mixcompare/results.py",
        ("tests/report/test_report_contract.py",),
        (
            "moved(span, second) for span in finding.candidate_spans_s",
            "moved(span, first) for span in finding.candidate_spans_s",
        ),
        ("offset_s=float(time_map.to_candidate(0.0))", "offset_s=self.alignment.offset_s"),
    ),
    *each(
        "mixcompare/aspects/tempo/values.py",
        ("tests/report/test_report_contract.py",),
        (
            'labelled("Time taken, candidate against reference", "%")',
            'labelled("Time taken, candidate against reference")',
        ),
    ),
    *each(
        "mixcompare/units.py",
        ("tests/report/test_report_contract.py",),
        ('    Unit("\\N{MICRO SIGN}s", "_us", 0),\n', ""),
    ),
    *each(
        "mixcompare/report/report.schema.json",
        ("tests/report/test_report_contract.py",),
        ('"enum": ["same_take", "same_passage", "unrelated"]', '"type": "string"'),
    ),
    *each(
        "mixcompare/report/tables.py",
        ("tests/report/test_report_contract.py",),
        (
            "sides = (_number(reference.get(name)), _number(candidate.get(name)))",
            "sides = (_number(candidate.get(name)), _number(reference.get(name)))",
        ),
    ),
]
