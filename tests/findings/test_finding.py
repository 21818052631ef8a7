"""Sizes, thresholds, ranking and words of findings; expected values worked out by hand."""

from __future__ import annotations

import math

import pytest

from mixcompare.aspects import JUST_NOTICEABLE
from mixcompare.findings import (
    LEAST_CONFIDENCE,
    Cause,
    bars_named,
    between,
    clock,
    is_listed,
    joined_spans,
    places,
    ranked,
    salience,
    signed,
    size_in_jnd,
)
from tests.by_hand import finding

# --- sizes --------------------------------------------------------------------------------------


def test_just_noticeable_differences_are_those_of_their_sources() -> None:
    """The sources stand in the table itself; what is 'our proposal' there is one here too."""
    assert {name: (jnd.size, jnd.unit) for name, jnd in JUST_NOTICEABLE.items()} == {
        "balance": (1.0, "dB"),  # ISO 3382-1:2009 Table A.1
        "tone": (1.5, "dB"),  # Buecklein 1981, from memory, and a proposal
        "tone_tilt": (0.2, "dB/octave"),  # proposal
        "loudness_range": (2.0, "LU"),  # EBU Tech 3342, doubled
        "dynamics": (0.1, "dB/dB"),  # proposal
        "level of the whole": (1.0, "dB"),  # ISO 3382-1:2009 Table A.1
        "level of a passage": (2.0, "dB"),  # proposal
        "tempo": (2.0, "%"),  # Drake and Botte 1993
        "tempo of one moment": (6.0, "%"),  # Drake and Botte 1993
        "freedom of tempo": (3.0, "%"),  # from memory
        "tuning": (5.0, "cents"),  # Marmel 2008 and a proposal
        "articulation": (0.08, ""),  # Friberg and Sundberg 1994, from memory
        "width": (1.5, "dB"),  # Cox, Davies and Lam 1993
        "correlation": (0.1, ""),  # Cox, Davies and Lam 1993
        "correlation near one": (0.04, ""),  # Gabriel and Colburn 1981, from memory
        "placement": (0.1, ""),  # common practice, no source
        "time between channels": (100.0, "\N{MICRO SIGN}s"),  # Klumpp and Eady 1956, a proposal
        "decay": (20.0, "%"),  # Blevins et al. 2013, from memory
        "wetness": (1.5, "dB"),  # ISO 3382-1:2009 Table A.1 and a proposal
        "noise": (3.0, "dB"),  # a proposal
        "clipping": (0.25, "%"),  # a proposal
        "reverberation in gaps": (1.0, "dB"),  # ISO 3382-1:2009 Table A.1
    }
    assert all(jnd.source for jnd in JUST_NOTICEABLE.values())


@pytest.mark.parametrize(
    ("difference", "interval", "jnd", "size"),
    [
        # Standard deviation 1 (a 95 % interval of +-1.96): 4 shrinks by 1/16 to 3.75.
        (4.0, (2.04, 5.96), 1.0, 3.75),
        (-4.0, (-5.96, -2.04), 1.0, 3.75),
        (4.0, (2.04, 5.96), 1.5, 2.5),
        # Standard deviation 1, difference 2: a quarter of its square is chance.
        (2.0, (0.04, 3.96), 1.0, 1.5),
        (2.0, (2.0, 2.0), 0.5, 4.0),
        # An interval that leans away may be wider than twice the difference; no less than none.
        (1.0, (0.5, 10.0), 1.0, 0.0),
        (2.0, (-0.1, 4.1), 1.0, 0.0),
        (2.0, (0.0, 4.0), 1.0, 0.0),
        (-2.0, (-4.0, 0.0), 1.0, 0.0),
        (0.0, (0.0, 0.0), 1.0, 0.0),
    ],
)
def test_size_shrinks_by_the_share_of_its_square_that_chance_explains(
    difference: float, interval: tuple[float, float], jnd: float, size: float
) -> None:
    """James and Stein (1961) for one value: kept = 1 - variance / square, not below 0."""
    assert size_in_jnd(difference, interval, jnd) == pytest.approx(size, abs=1e-9)


def test_cause_weights_sum_to_one_and_the_largest_is_the_likeliest() -> None:
    assert Cause.weighing(2.0, 1.0, 1.0) == Cause(0.5, 0.25, 0.25)
    assert Cause.weighing(0.2, 0.1, 0.1) == Cause(0.5, 0.25, 0.25)
    assert Cause(0.5, 0.25, 0.25).likeliest == "players"
    assert Cause(0.2, 0.5, 0.3).likeliest == "room"
    assert Cause(0.3, 0.2, 0.5).likeliest == "mix"


# --- what is listed -----------------------------------------------------------------------------


@pytest.mark.parametrize(("jnd", "listed"), [(1.0, True), (math.nextafter(1.0, 0.0), False)])
def test_listed_from_exactly_one_just_noticeable_difference(jnd: float, listed: bool) -> None:
    assert is_listed(finding(jnd=jnd)) is listed


@pytest.mark.parametrize(
    ("confidence", "listed"), [(0.6, True), (math.nextafter(0.6, 0.0), False), (0.61, True)]
)
def test_listed_from_the_least_confidence(confidence: float, listed: bool) -> None:
    assert LEAST_CONFIDENCE == 0.6
    assert is_listed(finding(confidence=confidence)) is listed


@pytest.mark.parametrize(
    ("difference", "interval", "listed"),
    [
        (3.0, (0.0, 6.0), False),
        (3.0, (1e-9, 6.0), True),
        (3.0, (-1.0, 6.0), False),
        (-3.0, (-6.0, 0.0), False),
        (-3.0, (-6.0, -1e-9), True),
    ],
)
def test_nothing_whose_interval_touches_zero_is_listed(
    difference: float, interval: tuple[float, float], listed: bool
) -> None:
    assert is_listed(finding(difference, interval=interval)) is listed


# --- ranking ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spans_s", "weight"),
    [
        (((0.0, 16.0),), 1.0),
        (((0.0, 1.0),), 0.5),  # a sixteenth of the passage: fourth root 1/2
        (((0.0, 0.5), (8.0, 8.5)), 0.5),  # the same in two places
        (((0.0, 20.0),), 1.0),  # never more than the whole
        (((3.0, 3.0),), 0.01**0.25),  # never less than a hundredth
    ],
)
def test_salience_is_size_by_fourth_root_of_share_by_confidence(
    spans_s: tuple[tuple[float, float], ...], weight: float
) -> None:
    assert salience(finding(jnd=3.0, confidence=0.8, spans_s=spans_s), 16.0) == pytest.approx(
        3.0 * 0.8 * weight
    )


def test_salience_of_an_empty_passage_takes_the_share_as_whole() -> None:
    assert salience(finding(jnd=3.0, confidence=0.8), 0.0) == pytest.approx(2.4)


def test_most_salient_comes_first_and_ranks_count_from_one() -> None:
    whole = ((0.0, 16.0),)
    short_and_big = finding(jnd=6.5, confidence=0.9, spans_s=((0.0, 1.0),), subject="short")  # 2.9
    long_and_sure = finding(jnd=3.0, confidence=1.0, spans_s=whole, subject="sure")  # 3.0
    long_unsure = finding(jnd=4.0, confidence=0.7, spans_s=whole, subject="unsure")  # 2.8
    too_small = finding(jnd=0.9, confidence=1.0, spans_s=whole, subject="too small")
    listed = ranked([long_unsure, too_small, short_and_big, long_and_sure], 16.0)
    assert [(entry.rank, entry.subject) for entry in listed] == [
        (1, "sure"),
        (2, "short"),
        (3, "unsure"),
    ]


def test_a_bigger_finding_comes_before_a_surer_one() -> None:
    """Size counts: by confidence alone the order would be the other way round."""
    big = finding(jnd=6.0, confidence=0.7, subject="big")
    sure = finding(jnd=1.5, confidence=0.99, subject="sure")
    assert [entry.subject for entry in ranked([sure, big], 10.0)] == ["big", "sure"]


def test_ranking_does_not_look_at_the_sign() -> None:
    less = finding(-5.0, jnd=5.0, subject="less")
    more = finding(3.0, jnd=3.0, subject="more")
    assert [entry.subject for entry in ranked([more, less], 10.0)] == ["less", "more"]


# --- words --------------------------------------------------------------------------------------


def test_signed_amounts_as_a_person_writes_them() -> None:
    assert signed(5.84, "dB") == "+5.8 dB"
    assert signed(-5.86, "dB") == "-5.9 dB"
    assert signed(-5.86, "%", 0) == "-6 %"
    assert signed(0.25, "") == "+0.2"
    assert finding(-5.66, unit="%").amount == "-5.7 %"
    assert finding(-0.254, unit="dB/octave").amount == "-0.25 dB/octave"
    assert finding(0.126, unit="dB/dB").amount == "+0.13 dB/dB"
    held = finding(-0.384, unit="", noticeable=JUST_NOTICEABLE["articulation"])
    assert (held.amount, held.spoken) == (
        "-38 points", "-38 percentage points of the notes' length",
    )  # fmt: skip
    moved = finding(0.384, unit="", noticeable=JUST_NOTICEABLE["placement"])
    assert (moved.amount, moved.spoken) == ("+0.38", "+0.38")


def test_bounds_beside_a_size_whose_direction_is_said() -> None:
    assert between((4.94, 6.66)) == "between 4.9 and 6.7"
    assert between((-6.66, -4.94)) == "between 4.9 and 6.7"
    assert between((-1.2, 5.0), 0) == "between 0 and 5"


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.0, "0:00"),
        (7.4, "0:07"),
        (59.4, "0:59"),
        (59.6, "1:00"),
        (125.0, "2:05"),
        (3599.6, "1:00:00"),
        (3723.0, "1:02:03"),
    ],
)
def test_clock(seconds: float, words: str) -> None:
    assert clock(seconds) == words


def test_joined_spans_are_in_order_and_joined_where_they_touch() -> None:
    assert joined_spans([(5.0, 6.0), (0.0, 2.0), (2.0, 3.0)]) == ((0.0, 3.0), (5.0, 6.0))
    assert joined_spans([(0.0, 9.0), (1.0, 2.0), (8.0, 10.0)]) == ((0.0, 10.0),)
    assert joined_spans([(0.0, 1.0), (1.001, 2.0)]) == ((0.0, 1.0), (1.001, 2.0))
    assert joined_spans([(5.0, 6.0), (0.0, 2.0), (3.5, 4.0)], gap_s=1.0) == ((0.0, 2.0), (3.5, 6.0))
    assert joined_spans([]) == ()


def test_places_as_words() -> None:
    spans = [(5.0, 12.0), (20.0, 28.0), (31.0, 33.0), (40.0, 41.0), (50.0, 51.0)]
    assert places([]) == ""
    assert places(spans[:1]) == "0:05-0:12"
    assert places(spans[:2]) == "0:05-0:12 and 0:20-0:28"
    assert places(spans[:3]) == "0:05-0:12, 0:20-0:28 and 0:31-0:33"
    assert places(spans) == "0:05-0:12, 0:20-0:28, 0:31-0:33 and 2 more"
    assert places(spans, limit=1) == "0:05-0:12 and 4 more"


def test_bars_as_words_besides_the_times() -> None:
    spans = [(5.0, 12.0), (20.0, 28.0)]
    assert places(spans, bars=((9, 12),)) == "0:05-0:12 and 0:20-0:28 (bars 9-12)"
    assert places(spans, bars=None) == places(spans, bars=()) == "0:05-0:12 and 0:20-0:28"
    assert bars_named([(9, 9)]) == "bar 9"
    assert bars_named([(1, 3), (5, 5)]) == "bars 1-3 and 5"
    assert bars_named([(1, 3), (5, 5), (7, 8), (9, 10)]) == "bars 1-3, 5, 7-8 and 1 more"


def test_duration_is_that_of_all_spans_together() -> None:
    assert finding(spans_s=((1.0, 2.5), (4.0, 8.0))).duration_s == pytest.approx(5.5)


@pytest.mark.parametrize(
    ("weights", "spoken"),
    [((0.1, 0.1, 0.8), "likely mix"), ((0.45, 0.1, 0.45), "players or mix"),
     ((0.3, 0.3, 0.4), "cause open"), ((0.5, 0.3, 0.2), "likely players")],
)  # fmt: skip
def test_what_can_not_be_told_apart_is_not_called_likely(
    weights: tuple[float, float, float], spoken: str
) -> None:
    assert Cause(*weights).spoken == spoken
