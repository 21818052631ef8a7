"""Faults that once went through all tests: none of them may survive again."""

from __future__ import annotations

from tests.benchmarks.mutations import Fault

_FINDINGS, _CHAIN = ("tests/findings/test_finding.py",), ("tests/test_comparison.py",)
_REPORT = ("tests/report/test_report_contract.py",)
_ALIGNMENT = ("tests/alignment",)


def _of(aspect: str, find: str, put: str, note: str) -> Fault:
    tests = (f"tests/aspects/test_{aspect}.py",)
    return Fault(f"mixcompare/analyzers/{aspect}.py", find, put, tests, note)


FAULTS = [
    Fault(
        "mixcompare/findings/finding.py",
        "return float(finding.jnd * max(share, 0.01) ** 0.25 * finding.confidence)",
        "return float(finding.confidence)",
        _FINDINGS,
        "ranking by confidence alone",
    ),
    Fault(
        "mixcompare/report/document.py",
        '"reference": plain(results.reference)',
        '"reference": plain(results.candidate)',
        _REPORT,
        "reference and candidate exchanged in report.json",
    ),
    Fault(
        "mixcompare/report/document.py",
        '"reference": plain(measured.reference)',
        '"reference": plain(measured.candidate)',
        _REPORT,
        "measurements exchanged in report.json",
    ),
    _of(
        "balance",
        'f" It takes {_percent(shares[1])} of',
        'f" It takes {_percent(shares[0])} of',
        "shares in a sentence exchanged",
    ),
    Fault(
        "mixcompare/findings/folding.py",
        "if any(_explains(rule, cause, effect) for rule in RULES):",
        "if False:",
        ("tests/findings/test_folding.py",),
        "nothing is folded any more",
    ),
    Fault(
        "mixcompare/alignment/__init__.py",
        "events=tuple(events) + _ends(reference, candidate, time_map),",
        "events=(),",
        _ALIGNMENT,
        "cuts and repeats never found",
    ),
    Fault(
        "mixcompare/alignment/coarse.py",
        "LARGEST_TRANSPOSITION = 7",
        "LARGEST_TRANSPOSITION = 4",
        _ALIGNMENT,
        "transpositions up to 4 semitones only",
    ),
    _of(
        "room",
        "100 * (candidate.decay_time_s / reference.decay_time_s - 1)",
        "100 * (reference.decay_time_s / candidate.decay_time_s - 1)",
        "decay ratio inverted",
    ),
    _of(
        "loudness",
        "or candidate is None else candidate - reference",
        "or candidate is None else reference - candidate",
        "sign of every loudness difference flipped",
    ),
    _of(
        "dynamics",
        "crest_db=_crest_db(candidate) - _crest_db(reference)",
        "crest_db=_crest_db(reference) - _crest_db(candidate)",
        "sign of the crest's difference flipped",
    ),
    _of(
        "width",
        "loss = after.fold_down_loss_db() - before.fold_down_loss_db()",
        "loss = before.fold_down_loss_db() - after.fold_down_loss_db()",
        "sign of the fold-down loss flipped",
    ),
    _of(
        "placement",
        "delay_us = later - earlier",
        "delay_us = earlier - later",
        "sign of the time between the channels flipped",
    ),
    _of(
        "tempo",
        "percent=100 * (ratio - 1)",
        "percent=100 * (1 - ratio)",
        "sign of the tempo's difference flipped",
    ),
    _of(
        "articulation",
        "b.hinge.gap_depth_db - a.hinge.gap_depth_db",
        "a.hinge.gap_depth_db - b.hinge.gap_depth_db",
        "sign of the gap's difference flipped",
    ),
    Fault(
        "mixcompare/statistics.py",
        "tail = 100 * (1 - coverage) / 2",
        "tail = 100 * (1 - 0.6) / 2",
        ("tests/test_statistics.py",),
        "a 95 % interval of 60 %",
    ),
    Fault(
        "mixcompare/pair/agreement.py",
        "[2.5, 97.5]",
        "[20.0, 80.0]",
        ("tests/pair/test_agreement.py",),
        "95 % intervals per band of 60 %",
    ),
    Fault(
        "mixcompare/comparison.py",
        "time_map.to_candidate(span) for span",
        "span for span",
        ("tests/pair/test_match.py",),
        "candidate times equal to reference times",
    ),
    Fault(
        "mixcompare/standards/bs1770.py",
        "np.percentile(kept, [10, 95])",
        "np.percentile(kept, [10, 90])",
        ("tests/published/test_ebu_tech_3341_3342.py",),
        "loudness range between the wrong percentiles",
    ),
    Fault(
        "mixcompare/pair/levels.py",
        "np.percentile(loud[loud >= gate], [10, 95])",
        "np.percentile(loud[loud >= gate], [5, 95])",
        ("tests/pair/test_levels.py", "tests/aspects/test_loudness.py"),
        "interval of the loudness range between the wrong percentiles",
    ),
]
