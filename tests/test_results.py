"""Times on the clocks of the whole files, where spans of them were compared."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.alignment.result import SAME_PASSAGE, Alignment, Event, Place
from mixcompare.alignment.timemap import TimeMap
from mixcompare.results import Results, Source
from tests.by_hand import finding


def results(reference_start_s: float, candidate_start_s: float) -> Results:
    """A candidate at slope 1.06 whose 0.5 s fall on the reference's 0, with one of everything."""
    sources = [
        Source(name, 48_000, 2, 20.0, (start, start + 20.0), "WAV", (0.0, 20_000.0))
        for name, start in (("a.wav", reference_start_s), ("b.wav", candidate_start_s))
    ]
    time_map = TimeMap.linear(0.5, 1.06, 1.0, 15.0, 20.0)
    events = (
        Event("cut", (3.0, 5.0), (3.5, 3.5), "The candidate leaves out 2.0 s."),
        Event("tail", (15.0, 20.0), (16.4, 20.0), "The last 5.0 s have no counterpart."),
    )
    alignment = Alignment(
        SAME_PASSAGE, 0.9, time_map, 0.5, None, None, None, 0, 0.0, 1.06, 10.0, events,
        places=(Place("candidate", (1.0, 15.0), (16.0, 30.0), 0.8, 0.9, True),),
    )  # fmt: skip
    findings = (finding(spans_s=((2.0, 4.0), (7.0, 8.0)), candidate_spans_s=((2.62, 4.74),)),)
    bars = ((1.0, 5), (3.0, 6), (5.0, 5))  # a repeat: the number as printed
    return Results(*sources, alignment, None, {}, findings, "One thing.", (), bar_starts=bars)


def test_times_count_from_the_starts_of_the_files() -> None:
    moved = results(100.0, 30.0).on_file_clocks()
    assert moved.findings[0].spans_s == ((102.0, 104.0), (107.0, 108.0))
    assert moved.findings[0].candidate_spans_s == ((32.62, 34.74),)
    cut, tail = moved.alignment.events
    assert (cut.reference_s, cut.candidate_s) == ((103.0, 105.0), (33.5, 33.5))
    assert (tail.reference_s, tail.candidate_s) == ((115.0, 120.0), (46.4, 50.0))
    (place,) = moved.alignment.places
    assert (place.reference_s, place.own_s) == ((101.0, 115.0), (46.0, 60.0))
    assert moved.alignment.time_map.span_s == pytest.approx((101.0, 115.0))
    # 30 + 0.5 + 1.06 t falls on 100 + t.
    assert moved.alignment.time_map.to_candidate([101.0, 110.0]) == pytest.approx([31.56, 41.1])
    assert moved.alignment.time_map.uncertainty_ms(110.0) == pytest.approx(20.0)
    # Candidate time at the reference file's 0: 30 + 0.5 - 1.06 x 100.
    assert moved.alignment.offset_s == pytest.approx(-75.5)


def test_a_note_is_of_the_bar_that_it_begins_in() -> None:
    found = results(100.0, 30.0)
    told = {at: found.bar_at(at) for at in (0.5, 0.95, 1.0, 2.8, 2.96, 4.0, 9.0)}
    # Right before a bar line, as nearly as an onset is known, a note is of the bar behind it.
    assert told == {0.5: None, 0.95: 5, 1.0: 5, 2.8: 5, 2.96: 6, 4.0: 6, 9.0: 5}
    assert found.on_file_clocks().bar_at(104.0) == 6


@pytest.mark.parametrize("starts", [(100.0, 0.0), (0.0, 30.0)])
def test_one_span_alone_moves_only_its_own_clock(starts: tuple[float, float]) -> None:
    still, moved = results(0.0, 0.0), results(*starts).on_file_clocks()
    assert moved.findings[0].spans_s[0] == (2.0 + starts[0], 4.0 + starts[0])
    assert moved.findings[0].candidate_spans_s[0] == (2.62 + starts[1], 4.74 + starts[1])
    mapped = np.subtract(moved.alignment.time_map.candidate_s, still.alignment.time_map.candidate_s)
    assert mapped == pytest.approx([starts[1]] * 2)
    offset = moved.alignment.offset_s
    assert offset == pytest.approx(0.5 + starts[1] - 1.06 * starts[0])


def test_whole_files_keep_their_times() -> None:
    whole = results(0.0, 0.0)
    assert whole.on_file_clocks() is whole


def test_nothing_but_times_is_moved() -> None:
    before, after = results(100.0, 30.0), results(100.0, 30.0).on_file_clocks()
    assert after.reference == before.reference
    assert after.candidate == before.candidate
    assert after.findings[0].difference == before.findings[0].difference
    assert after.alignment.tempo_ratio == 1.06
