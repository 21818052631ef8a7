"""Faults in what was cut out of one take or put in."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/alignment/edits.py",
        ("tests/alignment/test_edits.py",),
        ("_LEAST_SHARE = 0.6", "_LEAST_SHARE = 0.1"),
        ("_NO_MATCH = 0.3", "_NO_MATCH = 0.0"),
        ("    chain = _merged(chain)\n", ""),
        ("agreeing_s = middles_s[part.clear]", "agreeing_s = middles_s"),
        ("offsets = [one.offset_s for one in chain]\n", "offsets = []\n"),
        (
            "max(0.0, before.offset_s - after.offset_s)",
            "max(0.0, after.offset_s - before.offset_s)",
        ),
        ("Stretch(float(times[0] + start * _STEP_S)", "Stretch(after.start_s"),
        ("float(times[0] + end * _STEP_S)", "before.end_s"),
        ("min(start[0] - end[0], start[1] - end[1])", "start[1] - end[1]"),
        ("< 2e-3", "< 2e-1"),
    ),
    *each(
        "mixcompare/alignment/take.py",
        ("tests/alignment/test_edits.py",),
        ("take.is_same or len(chain) > 1", "take.is_same"),
        ("_SPLICE_S = 0.3", "_SPLICE_S = 1.3"),
        ("float(gap[1] - gap[0])", "float(gap[0] - gap[1])"),
        ("width[: 2 * len(inner)] = width[", "width["),
    ),
    *each(
        "mixcompare/alignment/exact.py",
        ("tests/alignment/test_edits.py",),
        (
            "    if most.mean() > _MOSTLY:\n        return whole\n",
            "    if most.mean() > 0.0:\n        return whole\n",
        ),
    ),
]
