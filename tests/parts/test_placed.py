"""Places of written parts against where the sound was put, by the law of constant power.

A source g_L = cos a, g_R = sin a has the position (g_R - g_L) / (g_R + g_L) and right less left
over the whole sin(a)^2 - cos(a)^2 (Bennett, Barker and Edeko 1985, JAES 33, 314-321, from memory,
for the law).
"""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.aspects import balance, placement
from mixcompare.aspects.placement.values import MovedElement
from mixcompare.aspects.placement.words import element_finding
from mixcompare.audio.recording import Recording
from mixcompare.elements.panned import Panned, find_panned
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.findings import Finding
from mixcompare.knowledge.notes import PartNotes
from mixcompare.knowledge.score import Score
from mixcompare.pair.pair import Pair
from mixcompare.parts.fit import Cells, Fitted
from mixcompare.parts.levels import levels_of
from mixcompare.parts.placed import movers, places_of
from mixcompare.parts.values import Levels, Place
from tests import samples
from tests.elements.test_panned import PLACES, SECONDS, mix, mixed, pair_of, reference, stem

FloatArray = npt.NDArray[np.float64]
BANDS, FRAMES = 40, 320


def share_of(position: float) -> float:
    """Right less left over the whole, of a position."""
    ratio = (1 + position) / (1 - position)
    return float((ratio**2 - 1) / (ratio**2 + 1))


# --- made-up cells -----------------------------------------------------------------------------


def model(parts: int, soft: float = 1.0) -> tuple[Cells, Fitted]:
    """Parts that fill cells at random; the last one so softly."""
    rng = np.random.default_rng(2)
    power = rng.random((parts, BANDS, FRAMES)) ** 4
    power[-1] *= soft
    whole = power.sum(axis=0)
    shares = power / whole
    cells = Cells(np.ones(BANDS), whole, whole, power, power, np.ones((BANDS, FRAMES), bool))
    zeros = np.zeros(parts)
    fitted = Fitted(zeros, np.eye(parts), zeros, shares, shares, np.zeros_like(whole), 0.1)
    return cells, fitted


def seen(fitted: Fitted, places: list[float], noise: float = 0.0, seed: int = 3) -> FloatArray:
    lies = np.einsum("p,pft->ft", [share_of(place) for place in places], fitted.shares)
    return np.asarray(lies + noise * np.random.default_rng(seed).standard_normal(lies.shape))


@pytest.mark.parametrize("exact", [True, False])
def test_every_part_is_found_where_it_was_put(exact: bool) -> None:
    cells, fitted = model(3)
    images = seen(fitted, [-0.5, 0.0, 0.4]), seen(fitted, [-0.5, 0.3, 0.4])
    found = places_of(cells, fitted, images, exact)
    for place, before, after in zip(found, [-0.5, 0.0, 0.4], [-0.5, 0.3, 0.4], strict=True):
        assert place is not None
        assert place.reference == pytest.approx(before, abs=0.02)
        assert place.candidate == pytest.approx(after, abs=0.02)
        assert place.interval[0] < after - before < place.interval[1]
        # A move may be read small, so that the interval reaches farther than nearer.
        far, near = sorted((abs(edge - place.difference) for edge in place.interval), reverse=True)
        assert far - near == pytest.approx(0.6 * abs(place.difference), abs=0.01)


def test_between_performances_the_interval_is_wider_than_in_one_take() -> None:
    cells, fitted = model(3)
    places = [-0.5, 0.0, 0.4]
    images = seen(fitted, places, 0.3, 3), seen(fitted, places, 0.3, 4)
    widths = []
    for exact in (True, False):
        (first, *_) = places_of(cells, fitted, images, exact)
        assert first is not None
        widths.append(np.ptp(first.interval))
    assert widths[0] < widths[1]


def test_nothing_is_told_of_a_part_that_dominates_too_little_or_of_two_in_the_same_cells() -> None:
    cells, fitted = model(3, soft=0.001)
    images = seen(fitted, [-0.5, 0.0, 0.4]), seen(fitted, [-0.5, 0.0, 0.4])
    *others, soft = places_of(cells, fitted, images, exact=False)
    assert soft is None
    assert None not in others
    cells, fitted = model(3)
    cells = replace(cells, heard=np.arange(FRAMES)[None, :] < np.full((BANDS, 1), 6))
    assert places_of(cells, fitted, images, exact=True) == [None, None, None]


def test_who_moved_is_named_with_its_doubles_that_are_not_known_to_have_stayed() -> None:
    cells, fitted = model(3)
    images = seen(fitted, [-0.5, 0.0, 0.4]), seen(fitted, [-0.5, 0.3, 0.4])
    moved = Panned(0.0, 0.3, (0.25, 0.35), np.zeros((FRAMES, BANDS)))
    onset_s = np.arange(20) * 0.5
    line = np.column_stack([onset_s, onset_s + 0.4, 60 + np.arange(20) % 7, np.full(20, 80.0)])
    other = line + [0.2, 0.2, 1.0, 0.0]
    parts = [
        PartNotes(name, notes, line) for name, notes in zip("abc", (other, line, line), strict=True)
    ]
    assert movers(moved, cells, fitted, images, parts, [None, None, None]) == (1,)
    both = images[0], seen(fitted, [-0.5, 0.3, 0.7])
    assert movers(moved, cells, fitted, both, parts, [None, None, None]) == (1, 2)
    stayed = Place(0.4, 0.4, (-0.05, 0.05))
    assert movers(moved, cells, fitted, both, parts, [None, None, stayed]) == (1,)
    assert movers(moved, cells, fitted, both, parts, [None, stayed, None]) == (2,)
    assert movers(moved, cells, fitted, both, parts, [None, stayed, stayed]) == ()
    back = replace(moved, from_position=0.3, to_position=0.0)
    less = Place(0.4, 0.5, (0.06, 0.16))
    assert movers(moved, cells, fitted, both, parts, [None, less, None]) == (2,)
    far = replace(less, interval=(0.1, 0.3))
    assert movers(moved, cells, fitted, both, parts, [None, far, less]) == (1,)
    # One band moved, whoever plays in it.
    stray = images[0], images[0] + 0.3 * (np.arange(BANDS) == 3)[:, None]
    assert movers(moved, cells, fitted, stray, parts, [None, None, None]) == ()
    assert movers(back, cells, fitted, images[::-1], parts, [None, None, stayed]) == (1,)


# --- the sample's stems ------------------------------------------------------------------------


@functools.cache
def score() -> tuple[PartNotes, ...]:
    laid = Score.open(samples.FOLDER / "score.mid").over(reference())
    return tuple(part for part in laid.parts if part.name in PLACES)


def levels(candidate: Features) -> tuple[Pair, Levels]:
    pair = pair_of(candidate).with_parts(score())
    found = levels_of(pair, split_pair(pair))
    assert found is not None
    return pair, found


def test_parts_of_an_unchanged_take_lie_where_they_were_put_and_none_moved() -> None:
    _, found = levels(reference())
    assert found.movers == ()
    told = [part for part in found.parts if part.position is not None]
    assert len(told) >= 4
    for part in told:
        assert part.reference_position == pytest.approx(part.candidate_position, abs=1e-4)
        assert part.reference_position == pytest.approx(PLACES[part.name], abs=0.2)
        assert part.position == pytest.approx(0.0, abs=1e-4)
        assert part.position_interval is not None
        assert part.position_interval[0] < 0 < part.position_interval[1]


@pytest.mark.parametrize(
    ("name", "to", "names"),
    [("violins", 0.2, ("violins",)), ("violas", -0.4, ("violas",))],
)
def test_a_part_that_was_panned_is_named_with_who_plays_the_same(
    name: str, to: float, names: tuple[str, ...]
) -> None:
    _, found = levels(mixed({name: to}))
    assert [players.names for players in found.movers] == [names]
    for part in found.parts:
        moved = to - PLACES[name] if part.name in names else 0.0
        if part.position is None or part.position_interval is None:
            assert part.name not in names
            continue
        low, high = part.position_interval
        assert low - 0.05 <= moved <= high + 0.05
        assert part.position == pytest.approx(moved, abs=0.15)


def findings_of(moved: dict[str, float], level_db: dict[str, float] | None = None) -> list[Finding]:
    pair = pair_of(mixed(moved, level_db)).with_parts(score())
    pair.differences["balance"] = balance.analyzer.compare(pair)
    difference = placement.analyzer.compare(pair)
    return placement.analyzer.findings(difference, pair)


def test_the_finding_says_who_moved() -> None:
    (finding,) = findings_of({"violas": -0.4})
    assert finding.subject == "violas part"
    assert finding.text.startswith("In the candidate the violas part lies further left:")
    # Two that moved the same way by as much are one element without the score, or none.
    found = findings_of({"violas": -0.4, "basses": -0.2})
    assert {one.subject for one in found} == {"violas part", "basses part"}


def test_several_players_speak_in_the_plural() -> None:
    element = MovedElement(
        "Flute and Oboe parts", (500.0, 2000.0), ((1.0, 9.0),), -0.5, 0.2, 0.7, (0.6, 0.8),
        players=("Flute", "Oboe"),
    )  # fmt: skip
    finding = element_finding(element, pair_of(reference()))
    assert finding.text.startswith("In the candidate the Flute and Oboe parts lie further right:")
    assert finding.text.endswith("; their level stayed.")
    assert finding.advice[0].startswith("Pan the spots that carry them about")


def test_a_part_too_low_for_an_element_is_found_by_the_score() -> None:
    assert find_panned(pair_of(mixed({"basses": -0.2}))) == ()
    (finding,) = findings_of({"basses": -0.2})
    assert finding.subject == "basses part"
    assert finding.kind == "moved_left"
    assert finding.difference == pytest.approx(-0.7, abs=0.1)
    assert finding.interval[0] <= -0.7 <= finding.interval[1]
    assert "its level stayed" in finding.text
    assert finding.band_hz is not None
    assert finding.band_hz[0] < 70  # the sample's basses go down to a low D or C
    assert finding.spans_s[-1][1] <= SECONDS + 2


@pytest.mark.parametrize("name", ["violins", "basses", "clarinets"])
def test_a_part_that_was_raised_did_not_move(name: str) -> None:
    assert findings_of({}, {name: 5.0}) == []
    _, found = levels(mixed(None, {name: 5.0}))
    for part in found.parts:
        if part.position_interval is not None:
            assert part.position_interval[0] < 0 < part.position_interval[1]


def test_a_louder_part_draws_its_cells_along_and_stays() -> None:
    cells, fitted = model(3)
    louder = np.array([1.0, 1.0, 6.0])[:, None, None] * fitted.shares
    after = replace(fitted, candidate_shares=louder / louder.sum(axis=0))
    there = seen(replace(after, shares=after.candidate_shares), [-0.5, 0.0, 0.4])
    for place in places_of(cells, after, (seen(fitted, [-0.5, 0.0, 0.4]), there), exact=True):
        assert place is not None
        assert place.difference == pytest.approx(0.0, abs=0.02)


def test_exchanged_channels_are_put_right_first() -> None:
    rate_hz = stem("violins")[1]
    pair = pair_of(Features.of(Recording.from_array(mix()[:, ::-1], rate_hz)))
    pair = replace(pair, match=replace(pair.match, channels_swapped=True))
    assert pair.lies is not None
    loud = pair.spectra.reference > 1e-4 * pair.spectra.reference.max()
    np.testing.assert_allclose(pair.lies[0][loud], pair.lies[1][loud], atol=1e-6)


def test_of_a_mono_recording_nothing_is_told() -> None:
    mono = Features.of(Recording.from_array(mix().mean(axis=1), stem("violins")[1]))
    _, found = levels(mono)
    assert all(part.position is None for part in found.parts)
    assert found.movers == ()
