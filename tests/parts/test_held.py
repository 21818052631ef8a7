"""Levels of parts whose notes one recording plays shorter, on music with known note lengths.

The notes are as loud while they are held: so a level is what was added, and 0 dB where nothing was.
"""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.aspects.balance.words import untold_words
from mixcompare.pair.pair import Pair
from mixcompare.parts.fit import Cells, Fitted, fit
from mixcompare.parts.held import held_alike, surely_shorter, tried_in
from mixcompare.parts.laid import Played, cells_over
from mixcompare.parts.values import Levels, PartLevel, Players
from tests.parts.written import levels, pair_of, parts, played_again, played_shorter

NAMES = [part.name for part in parts()]


def fitted(pair: Pair) -> tuple[Played, Cells, Fitted]:
    """The fit with all notes held as they are written."""
    played = Played(pair.of_elements, parts())
    cells = cells_over(pair.of_elements, played.full)
    return played, cells, fit(cells)


def level_of(voice: str, share: float, by_db: float = 0.0) -> tuple[PartLevel, list[str]]:
    """How a voice stands, and who is told to stand elsewhere."""
    found = levels(played_shorter(voice, share, **{voice: by_db}))
    (own,) = [part for part in found.parts if part.name == voice]
    return own, [name for players in found.players for name in players.names]


@pytest.mark.parametrize("voice", ["melody", "pad", "bass"])
@pytest.mark.parametrize("share", [0.5, 0.7])
def test_shorter_notes_are_no_softer(voice: str, share: float) -> None:
    own, told = level_of(voice, share)
    assert told == []
    assert own.level_db_interval is not None
    assert own.level_db_interval[0] <= 0 <= own.level_db_interval[1]
    assert own.level_db == pytest.approx(0.0, abs=1.2)
    over_time = [one.level_db for one in own.course]
    assert np.median(over_time) == pytest.approx(0.0, abs=1.2)


@pytest.mark.parametrize(("voice", "by_db"), [("melody", -5.0), ("pad", 5.0)])
def test_a_level_is_told_beside_shorter_notes(voice: str, by_db: float) -> None:
    own, told = level_of(voice, 0.5, by_db)
    assert told == [voice]
    assert own.level_db == pytest.approx(by_db, abs=2.0)
    assert own.level_db_interval is not None
    assert own.level_db_interval[0] <= by_db <= own.level_db_interval[1]


@pytest.mark.parametrize("mirrored", [False, True])
def test_who_plays_shorter_is_found_in_either_recording(mirrored: bool) -> None:
    pair = pair_of(played_shorter("pad", 0.5))
    pair = pair.mirrored() if mirrored else pair
    played = Played(pair.of_elements, pair.match.parts)
    cells = cells_over(pair.of_elements, played.full)
    (found,) = surely_shorter(tried_in(cells, fit(cells), played, range(len(NAMES))))
    assert NAMES[found.part] == "pad"
    assert found.side == (0 if mirrored else 1)
    assert found.share == pytest.approx(0.5, abs=0.15)  # the nearest that are tried
    assert found.gain > 3.0
    assert found.louder_db >= 1.0


def test_cells_in_which_only_one_recording_holds_a_note_are_left_out() -> None:
    pair = pair_of(played_shorter("pad", 0.5))
    played, cells, found = fitted(pair)
    alike = held_alike(pair.of_elements, played, cells, found)
    pad = NAMES.index("pad")
    left_out = cells.heard & ~alike.cells.heard
    shares = found.shares[pad][left_out]
    assert left_out.sum() > 100
    assert np.median(shares) > 0.3  # they are the pad's
    notes = parts()[pad].notes
    times_s = pair.of_elements.times_s[::3]
    for onset_s, end_s, *_ in notes[:3]:
        early = (times_s >= onset_s + 0.2) & (times_s < onset_s + 0.3 * (end_s - onset_s))
        assert left_out[:, early].mean() < left_out.mean()
    assert alike.fitted.scatter_db < found.scatter_db


def test_where_notes_are_held_alike_nothing_is_changed() -> None:
    pair = pair_of(played_again())
    played, cells, found = fitted(pair)
    assert surely_shorter(tried_in(cells, found, played, range(len(NAMES)))) == ()
    alike = held_alike(pair.of_elements, played, cells, found)
    assert alike.cells is cells
    assert alike.fitted is found
    assert (alike.unseen_db >= 0).all()
    # Of notes as long as the pad's shorter ones would be seen.
    assert alike.unseen_db[:, NAMES.index("pad")].max() == 0.0


def test_of_notes_too_short_to_tell_the_interval_holds_shorter_ones_too() -> None:
    """The notes of the figure last 0.2 s: held for half, less than a window of the spectra."""
    own, told = level_of("figure", 0.5)
    assert "figure" not in told
    assert own.level_db_interval is not None
    assert own.level_db_interval[0] <= 0 <= own.level_db_interval[1]


def test_what_a_window_does_not_resolve_is_read_as_level() -> None:
    """Half the length in a window is half the energy: 3 dB."""
    pair = pair_of(played_again())
    played, cells, found = fitted(pair)
    figure = NAMES.index("figure")
    assert played.lengths_s[figure] == pytest.approx(0.2)
    played.lengths_s = tuple(0.1 for _ in NAMES)
    unseen_db = held_alike(pair.of_elements, played, cells, found).unseen_db
    assert set(np.round(unseen_db, 1).ravel().tolist()) <= {0.0, 1.0, 1.9, 3.0}
    assert unseen_db.max() >= 0.9


def test_what_is_not_listed_for_that_has_its_words() -> None:
    flute = Players(("Flute",))
    (words,) = untold_words(Levels((), (), (), shorter=((flute, -3.0),)))
    assert words.startswith("The Flute part sounds softer in the candidate; but of notes as short")
    two = Players(("Flute", "Oboe"))
    (words,) = untold_words(Levels((), (), (), shorter=((two, 3.0),)))
    assert words.startswith("The Flute and Oboe parts sound softer in the reference")
    (words,) = untold_words(Levels((), (), (), other_instruments=True))
    assert words.startswith("Other instruments seem to play than in the reference.")
    (words,) = untold_words(Levels((), (), (flute, Players())))
    assert words.startswith("Not all that changed has the name of a part")
    assert untold_words(Levels((), (), (flute,))) == []
