"""Faults that the contract of the analyzers, the match and the report's contract must notice."""

from __future__ import annotations

from tests.benchmarks.mutations import Fault

_CONTRACT = ("tests/analyzers/test_contract.py",)
_MATCH = ("tests/test_match.py",)
_REPORT = ("tests/report/test_report_contract.py",)

FAULTS = [
    Fault("mixcompare/match.py", "gain_db=-self.gain_db", "gain_db=self.gain_db", _MATCH),
    Fault(
        "mixcompare/match.py",
        "transposition_semitones=-self.transposition_semitones",
        "transposition_semitones=self.transposition_semitones",
        _MATCH,
    ),
    Fault(
        "mixcompare/match.py",
        "tuning_cents=-self.tuning_cents",
        "tuning_cents=self.tuning_cents",
        _MATCH,
    ),
    Fault(
        "mixcompare/match.py", "time_map=self.time_map.inverse()", "time_map=self.time_map", _MATCH
    ),
    Fault(
        "mixcompare/match.py",
        "notes[:, 2] + self.transposition_semitones",
        "notes[:, 2]",
        _MATCH,
    ),
    Fault(
        "mixcompare/match.py",
        "self.time_map.to_candidate(notes[:, :2])",
        "self.time_map.to_reference(notes[:, :2])",
        _MATCH,
    ),
    Fault(
        "mixcompare/match.py",
        "moved(part.notes), moved(part.others)",
        "moved(part.notes), part.others",
        _MATCH,
    ),
    Fault(
        "mixcompare/match.py", "np.floor(end * rate_hz) + 1)", "np.floor(end * rate_hz))", _MATCH
    ),
    Fault(
        "mixcompare/match.py", "return times[self.time_map.covers(times)]", "return times", _MATCH
    ),
    Fault(
        "mixcompare/match.py", "self.relation == SAME_TAKE", "self.relation != UNRELATED", _MATCH
    ),
    Fault(
        "mixcompare/comparison.py",
        "time_map.to_candidate(span) for span in finding.spans_s",
        "span for span in finding.spans_s",
        _MATCH,
    ),
    Fault(
        "mixcompare/comparison.py",
        "time_map.to_candidate(span) for span in finding.spans_s",
        "time_map.to_reference(span) for span in finding.spans_s",
        _MATCH,
    ),
    Fault(
        "mixcompare/comparison.py",
        "room, mix = (cause.room / rest, cause.mix / rest)",
        "room, mix = (cause.mix / rest, cause.room / rest)",
        _MATCH,
    ),
    Fault("mixcompare/comparison.py", "same_take=alignment.same_take,", "same_take=True,", _MATCH),
    Fault(
        "mixcompare/comparison.py",
        "match = replace(match, gain_db=level.gain_db)",
        "match = replace(match, gain_db=-level.gain_db)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/comparison.py",
        "analyzer.aspect, analyzer.measure(reference), analyzer.measure(candidate), difference",
        "analyzer.aspect, analyzer.measure(candidate), analyzer.measure(reference), difference",
        _REPORT,
    ),
    Fault(
        "mixcompare/analyzers/loudness.py",
        "_true_peak_dbtp(candidate) - _true_peak_dbtp(reference)",
        "abs(_true_peak_dbtp(candidate) - _true_peak_dbtp(reference))",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/loudness.py",
        "peak_to_loudness_db=_difference(integrated, peak_db)",
        "peak_to_loudness_db=_difference(None if integrated is None else -integrated, peak_db)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/balance.py",
        "None or candidate is None else candidate - reference",
        "None or candidate is None else abs(candidate - reference)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/balance.py",
        "change.difference_db + tone_db) / 10",
        "change.difference_db) / 10",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/elements/changes.py",
        "before_tone = pair.reference / np.maximum(expected, 1e-30)",
        "before_tone = 1.0",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/tone.py",
        "difference -= match.gain_db",
        "difference += match.gain_db",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/tone.py",
        "(tilt + around[0], tilt + around[1])",
        "(tilt + around[0], tilt + 2 * around[1])",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/tone.py",
        "_audible(before) | _audible(after)",
        "_audible(before)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/width.py",
        "loss = after.fold_down_loss_db() - before.fold_down_loss_db()",
        "loss = after.fold_down_loss_db()",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/width.py",
        "total = np.sqrt(before.total() * after.total())",
        "total = before.total()",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/width.py",
        "low_correlation=(before.low_correlation(), after.low_correlation())",
        "low_correlation=(before.low_correlation(), before.low_correlation())",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/placement.py",
        "(powers[0] * powers[1]) ** 0.25",
        "powers[0] ** 0.5",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/placement.py",
        "delay_us = later - earlier",
        "delay_us = later",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/room.py",
        "candidate.decay_time_s / reference.decay_time_s - 1",
        "1 - reference.decay_time_s / candidate.decay_time_s",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/room.py",
        "early_decay_time_s=_minus(theirs.early_decay_time_s, ours.early_decay_time_s)",
        "early_decay_time_s=theirs.early_decay_time_s",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/room.py",
        "reference_decay_time_s=ours.decay_time_s",
        "reference_decay_time_s=theirs.decay_time_s",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/dynamics.py",
        "_crest_db(candidate) - _crest_db(reference)",
        "_crest_db(candidate)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/dynamics.py",
        "contour_db=_contour(theirs - ours, music)",
        "contour_db=_contour(theirs, music)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/dynamics.py",
        "candidate_spans_s=_on_candidate(spans_s, match)",
        "candidate_spans_s=spans_s",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/dynamics.py",
        "size_in_jnd(float(np.log(slope.value))",
        "size_in_jnd(float(slope.value - 1)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/tempo.py",
        "percent=100 * (ratio - 1)",
        "percent=100 * (1 - 1 / ratio)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/tempo.py",
        "own[0][1] - own[0][0] if own",
        "own[0][1] if own",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/tempo.py",
        "100 * (local / ratio - 1)",
        "100 * (local - ratio)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/tuning.py",
        "cents = aligned_cents + apart",
        "cents = abs(aligned_cents + apart)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/tuning.py",
        "100 * (2 ** (total / 1200) - 1)",
        "100 * total / 1731",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/articulation.py",
        "changes = ratios[:, 1] - ratios[:, 0]\n    middle",
        "changes = ratios[:, 1] - ratios[:, 0] + 0.05\n    middle",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/articulation.py",
        "reference_ratio=ours,\n",
        "reference_ratio=theirs,\n",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/articulation.py",
        "b.hinge.accent_db - a.hinge.accent_db",
        "b.hinge.accent_db",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/analyzers/articulation.py",
        "_release_s(b) - _release_s(a)",
        "_release_s(b)",
        _CONTRACT,
    ),
    Fault(
        "mixcompare/report/document.py",
        '"reference": plain(results.reference)',
        '"reference": plain(results.candidate)',
        _REPORT,
    ),
    Fault(
        "mixcompare/report/document.py",
        '"candidate": plain(measured.candidate)',
        '"candidate": plain(measured.reference)',
        _REPORT,
    ),
    Fault(
        "mixcompare/report/document.py",
        "[points.reference_s, points.candidate_s]",
        "[points.candidate_s, points.reference_s]",
        _REPORT,
    ),
    Fault(
        "mixcompare/report/document.py",
        '"tuning_cents": alignment.tuning_cents',
        '"tuning_cents": -alignment.tuning_cents',
        _REPORT,
    ),
    Fault(
        "mixcompare/report/document.py",
        'if item.metadata.get("report", True)',
        'if item.metadata.get("report", True) and not item.name.endswith("interval")',
        _REPORT,
    ),
    Fault("mixcompare/report/document.py", "results = results.on_file_clocks()", "", _REPORT),
    Fault(
        "mixcompare/results.py",
        "_moved(span, second) for span in finding.candidate_spans_s",
        "_moved(span, first) for span in finding.candidate_spans_s",
        _REPORT,
    ),
    Fault(
        "mixcompare/results.py",
        "offset_s=float(time_map.to_candidate(0.0))",
        "offset_s=self.alignment.offset_s",
        _REPORT,
    ),
    Fault(
        "mixcompare/report/wording.py",
        '    "percent": ("Time taken, candidate against reference", "%"),\n',
        "",
        _REPORT,
    ),
    Fault("mixcompare/report/wording.py", '    ("_us", "\\N{MICRO SIGN}s"),\n', "", _REPORT),
    Fault(
        "mixcompare/report/report.schema.json",
        '"enum": ["same_take", "same_passage", "unrelated"]',
        '"type": "string"',
        _REPORT,
    ),
    Fault(
        "mixcompare/report/tables.py",
        "sides = (_number(reference.get(name)), _number(candidate.get(name)))",
        "sides = (_number(candidate.get(name)), _number(reference.get(name)))",
        _REPORT,
    ),
]
