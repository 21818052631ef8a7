"""Levels of written parts, on music whose voices were played louder or softer by a known amount."""

from __future__ import annotations

import pytest

from mixcompare.alignment import align
from mixcompare.aspects.balance.words import players_named
from mixcompare.elements.take import split_pair
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import aligned
from mixcompare.parts.heard import SILENT_DB
from mixcompare.parts.levels import levels_of
from mixcompare.parts.values import Levels, Players
from tests.parts.written import VOICES, features, levels, pair_of, parts, played_again


def assert_unchanged(found: Levels, moved: str = "", most_db: float = 2.0) -> None:
    for part in found.parts:
        if part.name != moved and part.level_db is not None:
            assert part.level_db_interval is not None
            low, high = part.level_db_interval
            assert low <= 0 <= high
            assert abs(part.level_db) < most_db


@pytest.mark.parametrize("by_db", [5.0, -5.0])
@pytest.mark.parametrize("voice", VOICES)
def test_in_one_take_who_moved_is_told_with_the_exact_size(voice: str, by_db: float) -> None:
    found = levels(features(**{voice: by_db}))
    assert found.players == (Players((voice,)),)
    (change,) = found.changes
    assert change.difference_db == pytest.approx(by_db, abs=0.5)
    assert change.interval[0] <= by_db <= change.interval[1]
    (own,) = [part for part in found.parts if part.name == voice]
    assert own.level_db == change.difference_db
    assert own.level_db_interval == change.interval
    assert own.is_resolved
    assert_unchanged(found, voice)


@pytest.mark.parametrize(("voice", "by_db"), [("figure", 5.0), ("melody", -5.0), ("bass", 5.0)])
def test_what_a_part_does_that_the_score_lacks_is_nobody_elses(voice: str, by_db: float) -> None:
    found = levels(features(**{voice: by_db}), tuple(p for p in parts() if p.name != voice))
    assert found.players == (Players(),)
    assert_unchanged(found, most_db=1.0)  # the just-noticeable difference of balance


@pytest.mark.parametrize(("voice", "by_db"), [("figure", 5.0), ("melody", -5.0), ("pad", 5.0)])
def test_between_performances_who_moved_is_told_with_its_doubt(voice: str, by_db: float) -> None:
    found = levels(played_again(**{voice: by_db}))
    assert found.players == (Players((voice,)),)
    (change,) = found.changes
    assert change.difference_db * by_db > 0
    assert change.interval[0] <= by_db <= change.interval[1]
    assert change.difference_db == pytest.approx(by_db, abs=2.0)
    assert_unchanged(found, voice)


def test_a_bass_that_a_chord_doubles_is_told_by_no_more_than_it_moved() -> None:
    # The chord's root lies an octave above the bass, always with it.
    found = levels(played_again(bass=5.0))
    assert found.players == (Players(("bass",)),)
    assert 0 < found.changes[0].interval[0] < 5.0


def test_nothing_moved_in_an_unchanged_take_or_in_one_played_again() -> None:
    for candidate in (features(), played_again()):
        found = levels(candidate)
        assert found.changes == ()
        assert [part.name for part in found.parts] == list(VOICES)
        assert_unchanged(found, most_db=1.0)  # the just-noticeable difference of balance


def test_a_part_that_doubles_the_one_that_moved_is_named_with_it() -> None:
    written = parts()
    figure = written[0]
    above = figure.notes + [0.0, 0.0, 12.0, 0.0]
    score = (*written, type(figure)("piccolo", above, figure.others))
    found = levels(features(figure=5.0), score)
    (players,) = found.players
    assert players.names == ("figure", "piccolo")
    assert players_named(players) == "figure and piccolo parts"


def test_parts_of_one_line_cannot_be_told_apart() -> None:
    written = parts()
    twin = type(written[1])("second melody", written[1].notes, written[1].others)
    found = levels(features(), (*written, twin))
    together = {part.name: part.together_with for part in found.parts}
    assert together["melody"] == ("second melody",)
    assert together["second melody"] == ("melody",)
    assert together["bass"] == ()


def test_shares_of_energy_and_of_the_time_heard_are_shares() -> None:
    found = levels(features())
    assert sum(part.energy_share for part in found.parts) == pytest.approx(1.0)
    heard = {part.name: part.audible_share for part in found.parts}
    assert all(0.0 <= share <= 1.0 for share in heard.values())
    assert heard["melody"] > 0.9  # it leads
    assert heard["bass"] > 0.9  # nothing lies as low


def test_without_a_score_or_with_one_part_only_there_are_no_levels() -> None:
    for score in ((), parts()[:1]):
        pair = pair_of(features(), score)
        assert levels_of(pair, split_pair(pair)) is None


def test_a_part_that_rests_throughout_has_no_level_and_says_why() -> None:
    written = parts()
    resting = type(written[0])(
        "tuba", written[0].notes + [100.0, 100.0, 0.0, 0.0], written[0].others
    )
    found = levels(features(), (*written, resting))
    (tuba,) = [part for part in found.parts if part.name == "tuba"]
    assert tuba.level_db is None
    assert tuba.level_db_interval is None
    assert tuba.reason == "Does not play in what both recordings have in common."


@pytest.mark.parametrize(
    ("players", "spoken"),
    [
        (Players(), ""),
        (Players(("Horn",)), "Horn part"),
        (Players(("Horn", "Trumpet", "Tuba")), "Horn, Trumpet and Tuba parts"),
        (Players(("Flute", "Oboe"), "woodwinds"), "woodwinds (Flute, Oboe)"),
    ],
)
def test_players_are_named(players: Players, spoken: str) -> None:
    assert players_named(players) == spoken


def test_written_dynamics_are_those_of_most_of_a_part() -> None:
    first, *others = parts()
    notes = first.notes.copy()
    notes[:, 3] = 48.0
    notes[: len(notes) // 4, 3] = 96.0
    notes[-1, 3] = 127.0  # one note is not most of it
    marked = type(first)(first.name, notes, first.others, is_marked=True)
    found = {part.name: part.written for part in levels(features(), (marked, *others)).parts}
    assert found == {"figure": "p to f", "melody": None, "pad": None, "bass": None}


def test_who_is_covered_is_told_with_who_lies_over_it() -> None:
    found = {part.name: part for part in levels(features(figure=-18.0)).parts}
    assert found["figure"].audible_share > 0.8
    assert found["figure"].candidate_audible_share < found["figure"].audible_share
    assert found["melody"].covered_by == ()
    buried = {part.name: part for part in levels(features(figure=-40.0)).parts}["figure"]
    assert buried.candidate_audible_share < 0.5
    assert 1 <= len(buried.covered_by) <= 2
    assert set(buried.covered_by) <= {"melody", "pad", "bass"}


@pytest.mark.parametrize("voice", ["figure", "melody", "pad"])
def test_a_part_that_was_left_out_is_told_as_hardly_heard_and_its_level_is_open(voice: str) -> None:
    for candidate in (features(**{voice: -80.0}), played_again(**{voice: -80.0})):
        found = levels(candidate)
        assert found.players == (Players((voice,)),)  # and nothing that its absence lifts
        (change,) = found.changes
        low, high = change.interval
        assert low == -SILENT_DB
        assert low < change.difference_db < high < -6


def test_a_part_that_the_reference_lacks_is_told_the_other_way_round() -> None:
    pair = aligned(features(melody=-80.0), features(), align(features(melody=-80.0), features()))
    pair = pair.with_parts(parts())
    pair = pair.with_gain(match_level(pair).gain_db)
    found = levels_of(pair, split_pair(pair))
    assert found is not None
    assert found.players == (Players(("melody",)),)
    assert found.changes[0].interval[1] == SILENT_DB


def test_a_part_that_only_became_softer_keeps_its_interval() -> None:
    (change,) = levels(features(melody=-5.0)).changes
    assert change.interval[0] > -10.0


def test_a_part_that_nobody_plays_is_told_as_heard_nowhere() -> None:
    """Another edition has one part more: it doubles the melody, and is not in the sound."""
    written = parts()
    melody = written[1]
    extra = type(melody)("oboe", melody.notes - [0.0, 0.0, 24.0, 0.0], melody.others)
    found = {part.name: part for part in levels(features(), (*written, extra)).parts}
    oboe = found["oboe"]
    assert max(oboe.audible_share, oboe.candidate_audible_share) < 0.03
    assert oboe.reason is not None
    assert oboe.reason.startswith("Heard in neither recording: too soft, covered by")
    assert not oboe.is_resolved
    assert oboe.together_with[0] in oboe.reason
    assert found["melody"].reason is None
    # Told as one with what lies over it, no surer than that.
    over = found[oboe.together_with[0]]
    assert oboe.level_db == over.level_db
    assert oboe.level_db_interval is not None
    assert over.level_db_interval is not None
    assert oboe.level_db_interval[0] <= over.level_db_interval[0]
    assert over.level_db_interval[1] <= oboe.level_db_interval[1]
