"""The match of two recordings: the grid in common, and the same pair with exchanged roles."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from mixcompare.alignment.result import SAME_PASSAGE, SAME_TAKE, UNRELATED, Alignment
from mixcompare.alignment.timemap import TimeMap
from mixcompare.analysis import _placed
from mixcompare.findings import Cause, Finding
from mixcompare.knowledge.notes import Bars, PartNotes
from mixcompare.pair.match import Match
from mixcompare.pair.pair import aligned
from tests.by_hand import said

SLOPE, OFFSET_S = 1.06, 0.75
SLOWER = TimeMap.linear(OFFSET_S, SLOPE, 2.0, 12.0, 30.0)
OBOE = PartNotes(
    "oboe",
    np.array([[2.5, 3.0, 74.0], [4.0, 6.0, 76.0]]),
    np.array([[2.5, 5.0, 50.0]]),
)
MATCH = Match(SLOWER, False, -2.5, 3, 12.0, True, 8.0, (OBOE,))


def laid(found: Alignment) -> Match:
    return aligned(None, None, found).match  # type: ignore[arg-type]


def finding(*spans_s: tuple[float, float], **changed: object) -> Finding:
    base = Finding(
        "tone", "tone_brighter", "it", 1.0, (0.5, 1.5), "dB", 1.0, said(0.9), spans_s, None,
        Cause(0.2, 0.2, 0.6), "", (),
    )  # fmt: skip
    return replace(base, **changed)  # type: ignore[arg-type]


# --- grid ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [5.0, 25.0, 1 / 0.3])
def test_the_grid_holds_every_multiple_of_its_step_within_the_matched_span(rate_hz: float) -> None:
    time_map = TimeMap.linear(OFFSET_S, SLOPE, 2.05, 11.93)
    expected = [k / rate_hz for k in range(200 * 25) if 2.05 <= k / rate_hz <= 11.93]
    assert Match(time_map).grid_s(rate_hz) == pytest.approx(expected)


def test_both_ends_of_the_span_are_on_the_grid() -> None:
    grid = MATCH.grid_s(5.0)
    assert (grid[0], grid[-1], len(grid)) == (2.0, 12.0, 51)


def test_what_has_no_counterpart_is_not_on_the_grid() -> None:
    nodes = np.array([0.0, 4.0, 6.0, 10.0])
    gap = TimeMap(nodes, np.array([0.0, 4.0, 4.1, 8.1]), np.array([9.0, np.inf, np.inf, 9.0]))
    grid = Match(gap).grid_s(2.0)
    assert not ((grid > 4.0) & (grid < 6.0)).any()
    assert {0.0, 3.5, 6.5, 10.0} <= set(grid.tolist())


# --- exchanged ----------------------------------------------------------------------------------


def test_mirrored_turns_what_has_a_sign_and_keeps_what_has_none() -> None:
    back = MATCH.mirrored()
    assert back.gain_db == 2.5
    assert back.transposition_semitones == -3
    assert back.tuning_cents == -12.0
    assert back.same_take is False
    assert back.channels_swapped is True
    assert back.uncertainty_ms == 8.0
    assert replace(MATCH, same_take=True, channels_swapped=False).mirrored().same_take is True


def test_the_mirrored_map_leads_back() -> None:
    back = MATCH.mirrored().time_map
    assert back.span_s == pytest.approx((OFFSET_S + SLOPE * 2.0, OFFSET_S + SLOPE * 12.0))
    assert back.candidate_span_s == (2.0, 12.0)
    assert back.to_candidate(OFFSET_S + SLOPE * 7.0) == pytest.approx(7.0)
    assert back.half_width_ms == pytest.approx([30.0, 30.0])
    assert len(MATCH.mirrored().grid_s(5.0)) == 53  # 10 s last 10.6 s there


def test_the_notes_of_the_parts_go_over_to_the_candidate() -> None:
    """Onsets and ends by the map, pitches by the transposition."""
    (part,) = MATCH.mirrored().parts
    assert part.name == "oboe"
    assert part.notes == pytest.approx(
        np.array([[3.4, 3.93, 77.0], [4.99, 7.11, 79.0]])
    )  # 0.75 + 1.06 t
    assert part.others == pytest.approx(np.array([[3.4, 6.05, 53.0]]))


def test_velocities_and_bars_go_over_as_they_are() -> None:
    loud = PartNotes("oboe", np.array([[2.5, 3.0, 72.0, 96.0]]), np.zeros((0, 4)))
    bars = Bars(np.array([2.5, 4.0]), np.array([4.0, 6.0]), np.array([7, 8]), np.array([3, 4]))
    there = replace(MATCH, parts=(loud,), bars=bars).mirrored()
    assert there.parts[0].notes == pytest.approx(np.array([[3.4, 3.93, 75.0, 96.0]]))
    assert there.bars is not None
    assert there.bars.start_s == pytest.approx([3.4, 4.99])  # 0.75 + 1.06 t
    assert there.bars.end_s == pytest.approx([4.99, 7.11])
    assert there.bars.number.tolist() == [7, 8]
    assert MATCH.mirrored().bars is None


def test_mirrored_twice_is_the_match_itself() -> None:
    twice = MATCH.mirrored().mirrored()
    for item in fields(Match):
        if item.name not in ("time_map", "parts", "bars"):
            assert getattr(twice, item.name) == getattr(MATCH, item.name), item.name
    assert twice.time_map.candidate_s == pytest.approx(SLOWER.candidate_s)
    assert twice.parts[0].notes == pytest.approx(OBOE.notes)
    assert twice.parts[0].others == pytest.approx(OBOE.others)


# --- from an alignment --------------------------------------------------------------------------


def alignment(relation: str, **changed: object) -> Alignment:
    base = Alignment(relation, 0.9, SLOWER, 0.75, None, None, True, -2, 7.0, 1.06, 8.0)
    return replace(base, **changed)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("relation", "same"), [(SAME_TAKE, True), (SAME_PASSAGE, False), (UNRELATED, False)]
)
def test_only_the_same_take_is_the_same_take(relation: str, same: bool) -> None:
    assert alignment(relation).same_take is same
    assert laid(alignment(relation)).same_take is same


def test_the_match_is_what_the_alignment_found() -> None:
    found = laid(alignment(SAME_PASSAGE))
    assert found == Match(SLOWER, False, 0.0, -2, 7.0, True, 8.0)
    assert laid(alignment(SAME_TAKE, channels_swapped=None)).channels_swapped is False


# --- both clocks --------------------------------------------------------------------------------


def test_candidate_times_are_on_the_candidates_clock() -> None:
    there = _placed(finding((2.0, 3.0), (5.0, 11.5)), SLOWER)
    assert there.spans_s == ((2.0, 3.0), (5.0, 11.5))
    assert np.array(there.candidate_spans_s) == pytest.approx(
        np.array([[2.87, 3.93], [6.05, 12.94]])
    )
    assert all(type(end) is float for span in there.candidate_spans_s for end in span)


def test_a_span_at_the_edge_of_the_map_goes_on_with_its_slope() -> None:
    there = _placed(finding((1.0, 13.0)), SLOWER)
    assert there.candidate_spans_s[0] == pytest.approx((1.81, 14.53))


def test_nothing_begins_before_the_candidate_does() -> None:
    earlier = TimeMap.linear(-1.0, 1.0, 0.0, 12.0, 30.0)
    there = _placed(finding((0.0, 3.0)), earlier)
    assert there.candidate_spans_s[0] == pytest.approx((0.0, 2.0))


def test_what_an_analyzer_said_of_the_candidates_clock_gives_way_to_the_map() -> None:
    there = _placed(finding((2.0, 3.0), candidate_spans_s=((2.0, 3.0),)), SLOWER)
    assert there.candidate_spans_s[0] == pytest.approx((2.87, 3.93))
