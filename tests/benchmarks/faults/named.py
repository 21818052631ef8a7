"""Faults that once went through all tests: none of them may survive again."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/findings/ranking.py",
        ("tests/findings/test_finding.py",),
        (
            "return float(finding.jnd * max(share, 0.01) ** 0.25 * finding.confidence)",
            "return float(finding.confidence)",
            "ranking by confidence alone",
        ),
    ),
    *each(
        "mixcompare/report/document.py",
        ("tests/report/test_report_contract.py",),
        (
            '"reference": plain(results.reference)',
            '"reference": plain(results.candidate)',
            "reference and candidate exchanged in report.json",
        ),
        (
            '"reference": plain(measured.reference)',
            '"reference": plain(measured.candidate)',
            "measurements exchanged in report.json",
        ),
    ),
    *each(
        "mixcompare/aspects/balance/words.py",
        ("tests/aspects/test_balance.py",),
        (
            "take{s} {_percent(shares[1])} of",
            "take{s} {_percent(shares[0])} of",
            "shares in a sentence exchanged",
        ),
    ),
    *each(
        "mixcompare/findings/folding.py",
        ("tests/findings/test_folding.py",),
        (
            "if any(_explains(rule, cause, effect) for rule in rules):",
            "if False:",
            "nothing is folded any more",
        ),
    ),
    *each(
        "mixcompare/alignment/passage.py",
        ("tests/alignment",),
        (
            "events=laid.events + end_events(reference, candidate, time_map, places),",
            "events=end_events(reference, candidate, time_map, places),",
            "cuts and repeats never found",
        ),
    ),
    *each(
        "mixcompare/alignment/coarse.py",
        ("tests/alignment",),
        (
            "LARGEST_TRANSPOSITION = 7",
            "LARGEST_TRANSPOSITION = 4",
            "transpositions up to 4 semitones only",
        ),
    ),
    *each(
        "mixcompare/aspects/room/aspect.py",
        ("tests/aspects/test_room.py",),
        (
            "100 * (candidate.decay_time_s / reference.decay_time_s - 1)",
            "100 * (reference.decay_time_s / candidate.decay_time_s - 1)",
            "decay ratio inverted",
        ),
    ),
    *each(
        "mixcompare/aspects/loudness.py",
        ("tests/aspects/test_loudness.py",),
        (
            "or candidate is None else candidate - reference",
            "or candidate is None else reference - candidate",
            "sign of every loudness difference flipped",
        ),
    ),
    *each(
        "mixcompare/aspects/dynamics/aspect.py",
        ("tests/aspects/test_dynamics.py",),
        (
            "crest_db=_crest_db(candidate) - _crest_db(reference)",
            "crest_db=_crest_db(reference) - _crest_db(candidate)",
            "sign of the crest's difference flipped",
        ),
    ),
    *each(
        "mixcompare/aspects/width/aspect.py",
        ("tests/aspects/test_width.py",),
        (
            "loss = of_candidate.fold_down_loss_db() - of_reference.fold_down_loss_db()",
            "loss = of_reference.fold_down_loss_db() - of_candidate.fold_down_loss_db()",
            "sign of the fold-down loss flipped",
        ),
    ),
    *each(
        "mixcompare/aspects/placement/aspect.py",
        ("tests/aspects/test_placement.py",),
        (
            "delay_us = later - earlier",
            "delay_us = earlier - later",
            "sign of the time between the channels flipped",
        ),
    ),
    *each(
        "mixcompare/aspects/tempo/aspect.py",
        ("tests/aspects/test_tempo.py",),
        (
            "percent = 100 * (ratio - 1)",
            "percent = 100 * (1 - ratio)",
            "sign of the tempo's difference flipped",
        ),
    ),
    *each(
        "mixcompare/aspects/articulation/aspect.py",
        ("tests/aspects/test_articulation.py",),
        (
            "gap_depth_db=float(np.median(_changes",
            "gap_depth_db=-float(np.median(_changes",
            "sign of the gap's difference flipped",
        ),
    ),
    *each(
        "mixcompare/statistics.py",
        ("tests/test_statistics.py",),
        (
            "tail = 100 * (1 - coverage) / 2",
            "tail = 100 * (1 - 0.6) / 2",
            "a 95 % interval of 60 %",
        ),
    ),
    *each(
        "mixcompare/pair/agreement.py",
        ("tests/pair/test_agreement.py",),
        ("[2.5, 97.5]", "[20.0, 80.0]", "95 % intervals per band of 60 %"),
    ),
    *each(
        "mixcompare/analysis.py",
        ("tests/pair/test_match.py",),
        (
            "time_map.to_candidate(span) for span",
            "span for span",
            "candidate times equal to reference times",
        ),
    ),
    *each(
        "mixcompare/standards/tech3342.py",
        ("tests/standards/test_bs1770.py", "tests/published/test_ebu_tech_3341_3342.py"),
        (
            "PERCENTILES = (10, 95)",
            "PERCENTILES = (10, 90)",
            "a range between the wrong percentiles",
        ),
        ("PERCENTILES = (10, 95)", "PERCENTILES = (5, 95)"),
        ("GATE_LU = -20.0", "GATE_LU = -10.0"),
        ("> bs1770.ABSOLUTE_GATE_LUFS", "> -np.inf"),
    ),
]
