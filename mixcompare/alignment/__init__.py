"""Where the candidate lies against the reference: one take, one passage, or neither."""

from mixcompare.alignment.align import align
from mixcompare.alignment.result import SAME_PASSAGE, SAME_TAKE, UNRELATED, Alignment, Event
from mixcompare.alignment.timemap import TimeMap

__all__ = ["SAME_PASSAGE", "SAME_TAKE", "UNRELATED", "Alignment", "Event", "TimeMap", "align"]
