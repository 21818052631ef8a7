"""Unpitched percussion: whose strokes are whose.

Keys are those of the percussion key map of General MIDI level 1 (from memory): 36 bass drum, 38
snare drum, 49 crash cymbal, 57 another, 81 open triangle, 80 a muted one.
"""

from __future__ import annotations

from mixcompare.knowledge.struck import UNKNOWN, Stroke, by_instrument


def stroke(part: str, onset_s: float, key: int, velocity: float = 80.0) -> Stroke:
    return Stroke(part, onset_s, onset_s + 0.5, key, velocity, False)


def test_a_player_of_several_instruments_is_told_by_each() -> None:
    found = by_instrument(
        [stroke("Percussion", 1.0, 49), stroke("Percussion", 0.0, 36), stroke("Percussion", 2, 57)],
        [],
    )
    assert [name for name in found] == ["Percussion: cymbal", "Percussion: bass drum"]
    assert [one[0] for one in found["Percussion: cymbal"]] == [1.0, 2.0]
    found = by_instrument([stroke("Drums", 0.0, 38), stroke("Drums", 0.0, 37)], [])
    assert list(found) == ["Drums: snare drum", "Drums: side stick"]


def test_one_instrument_keeps_the_name_of_its_part() -> None:
    found = by_instrument([stroke("Grosse Trommel", 0.0, 36)], [])
    assert list(found) == ["Grosse Trommel"]
    # Muted and open; an instrument that a file calls a shaker, in a part for cymbals.
    found = by_instrument([stroke("Triangle", 1.0, 80), stroke("Triangle", 0.0, 81)], [])
    assert [one[0] for one in found["Triangle"]] == [0.0, 1.0]
    found = by_instrument([stroke("Cymbals", 0.0, 49), stroke("Cymbals", 1.0, 82)], [])
    assert list(found) == ["Cymbals"]
    assert list(by_instrument([stroke("Beats", 0.0, UNKNOWN)], [])) == ["Beats"]


def test_strokes_of_a_part_with_a_pitch_have_a_name_of_their_own() -> None:
    found = by_instrument([stroke("Timpani", 0.0, 49)], ["Timpani"])
    assert list(found) == ["Timpani: cymbal"]


def test_two_strokes_at_once_are_one() -> None:
    found = by_instrument([stroke("Drum", 0.0, 38, 80), stroke("Drum", 0.0, 38, 96)], [])
    assert found["Drum"] == [(0.0, 0.5, 96, False)]
