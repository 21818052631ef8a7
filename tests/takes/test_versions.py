"""What was mended, what became worse, what remains: made-up findings whose course is known."""

from __future__ import annotations

from typing import Any

import pytest

from mixcompare.takes.values import Told
from mixcompare.takes.versions import alike, followed


def told(subject: str = "bass line", difference: float = 5.0, **other: Any) -> Told:
    """A finding of balance in the bass, 20 s long; ``other`` as wanted."""
    values: dict[str, Any] = {
        "aspect": "balance",
        "kind": f"bass_{'louder' if difference > 0 else 'weaker'}",
        "subject": subject,
        "amount": f"{difference:+.1f} dB",
        "text": "",
        "cause": "likely mix",
        "difference": difference,
        "unit": "dB",
        "jnd": abs(difference),
        "rank": 1,
        "spans_s": ((0.0, 20.0),),
        "band_hz": (60.0, 240.0),
        "advice": (),
    }
    return Told(**{**values, **other})


def figure(difference: float = 6.0, **other: Any) -> Told:
    subject = other.pop("subject", "repeating high figure, 5.3 notes a second")
    kind = f"repeating_figure_{'louder' if difference > 0 else 'weaker'}"
    return told(subject, difference, kind=kind, **{"band_hz": (900.0, 2700.0), **other})


@pytest.mark.parametrize(
    ("course", "states"),
    [
        ((5.0, 5.0), ("remains", "remains")),
        ((5.0, 5.9), ("remains", "remains")),
        ((5.0, 3.0), ("remains", "smaller")),
        ((3.0, 5.0), ("remains", "worse")),
        ((5.0, None), ("remains", "mended")),
        ((5.0, -3.0), ("remains", "overdone")),
        ((5.0, None, 4.0), ("remains", "mended", "back")),
        ((None, 4.0), ("", "new")),
        ((5.0, None, None), ("remains", "mended", "mended")),
    ],
)
def test_a_matter_is_followed(course: tuple[float | None, ...], states: tuple[str, ...]) -> None:
    """A step of one just-noticeable difference counts; here a decibel is one."""
    versions = [[told(difference=size)] if size is not None else [] for size in course]
    (item,) = followed(versions)
    assert item.states == states
    assert item.state == states[-1]
    assert [one and one.difference for one in item.found] == list(course)


def test_a_version_that_could_not_be_compared_changes_nothing() -> None:
    (item,) = followed([[told()], None, [told(difference=2.0)]])
    assert item.states == ("remains", "", "smaller")
    (item,) = followed([[told()], None])
    assert item.state == "remains"
    assert item.is_open
    (item,) = followed([None, [told()]])
    assert item.state == "remains"  # the first that could be compared


def test_what_is_open_comes_first_the_largest_before_the_others() -> None:
    sizes = [item.last.difference for item in followed([[figure(3.0), told(difference=9.0)]])]
    assert sizes == [9.0, 3.0]
    items = followed(
        [
            [told(difference=9.0), figure(), told("leading line", 2.0, kind="line_louder")],
            [figure(3.0), told("leading line", 4.0, kind="line_louder")],
            [told("leading line", 4.0, kind="line_louder")],
        ]
    )
    assert [item.state for item in items] == ["remains", "mended", "mended"]
    assert [item.last.subject[:7] for item in items] == ["leading", "repeati", "bass li"]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (figure(), figure(subject="repeating high figure, 5.1 notes a second")),
        (told(), told(band_hz=(70.0, 250.0))),
        (told(), told("low strings", band_hz=(55.0, 220.0))),
        (told(), told(spans_s=((4.0, 9.0),))),
        (told(band_hz=None), told(band_hz=None)),
        (told(), told(difference=-5.0)),
    ],
)
def test_the_same_matter(one: Told, other: Told) -> None:
    assert alike(one, other) > 0
    assert alike(one, one) == pytest.approx(1.0)
    assert alike(one, other) == pytest.approx(alike(other, one))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (told(), told(aspect="tone")),
        (told(), told(unit="%")),
        (told(), told(spans_s=((20.0, 25.0),))),
        (told(), told(band_hz=(600.0, 2400.0))),  # registers of one name
        (told(), told("low strings", band_hz=(100.0, 1000.0))),  # of a kind, 1.3 of 4.1 octaves
        (told(band_hz=None), told("another", band_hz=None)),
        (figure(), told("leading line", kind="leading_line_louder", band_hz=(900.0, 2700.0))),
    ],
)
def test_another_matter(one: Told, other: Told) -> None:
    assert alike(one, other) == 0


def test_of_two_likely_pairings_the_better_one_is_taken() -> None:
    """Both overlap with both; by band and place each has one that fits it better."""
    low, high = told(band_hz=(60.0, 240.0)), told(band_hz=(90.0, 360.0), difference=3.0)
    items = followed([[low, high], [high, low]])
    assert all(item.states == ("remains", "remains") for item in items)
    assert all(item.found[0] == item.found[1] for item in items)
