"""Faults in what was cut out of one take or put in."""

from tests.benchmarks.mutations import Fault

EDITS = "mixcompare/alignment/edits.py"
ALIGN = "mixcompare/alignment/__init__.py"
TESTS = ("tests/alignment/test_edits.py",)

FAULTS = [
    Fault(EDITS, "_LEAST_SHARE = 0.6", "_LEAST_SHARE = 0.1", TESTS),
    Fault(EDITS, "_NO_MATCH = 0.3", "_NO_MATCH = 0.0", TESTS),
    Fault(EDITS, "    chain = _merged(chain)\n", "", TESTS),
    Fault(EDITS, "agreeing_s = middles_s[part.clear]", "agreeing_s = middles_s", TESTS),
    Fault(EDITS, "offsets = [one.offset_s for one in chain]\n", "offsets = []\n", TESTS),
    Fault(
        EDITS,
        "max(0.0, before.offset_s - after.offset_s)",
        "max(0.0, after.offset_s - before.offset_s)",
        TESTS,
    ),
    Fault(EDITS, "Stretch(float(times[0] + start * _STEP_S)", "Stretch(after.start_s", TESTS),
    Fault(EDITS, "float(times[0] + end * _STEP_S)", "before.end_s", TESTS),
    Fault(EDITS, "min(start[0] - end[0], start[1] - end[1])", "start[1] - end[1]", TESTS),
    Fault(EDITS, "< 2e-3", "< 2e-1", TESTS),
    Fault(ALIGN, "take.is_same or len(chain) > 1", "take.is_same", TESTS),
    Fault(ALIGN, "_SPLICE_S = 0.3", "_SPLICE_S = 1.3", TESTS),
    Fault(ALIGN, "float(gap[1] - gap[0])", "float(gap[0] - gap[1])", TESTS),
    Fault(ALIGN, "width[: 2 * len(inner)] = width[", "width[", TESTS),
    Fault(
        "mixcompare/alignment/exact.py",
        "    if most.mean() > _MOSTLY:\n        return whole\n",
        "    if most.mean() > 0.0:\n        return whole\n",
        TESTS,
    ),
]
