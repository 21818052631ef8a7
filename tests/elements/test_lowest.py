"""Notes below what is told apart under another tail: of a bass line, and of no other voice."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.elements.change import Change
from mixcompare.elements.lowest import down_to_its_lowest
from mixcompare.pair.spectra import PairSpectra
from tests.elements.voices import CENTRE_HZ, TIMES_S, VOICES, voice

FloatArray = npt.NDArray[np.float64]

LOW = CENTRE_HZ < 80
FLOOR = 1e-8


def played(bass_db: float, tail_db: float = 0.0) -> PairSpectra:
    """The made-up voices and the same with the bass raised, the lowest notes by a tail besides."""
    reference = sum(voice(name) for name in VOICES) + np.full((1, len(CENTRE_HZ)), FLOOR)
    candidate = reference + (10 ** (bass_db / 10) - 1) * voice("bass")
    candidate[:, LOW] *= 10 ** (tail_db / 10)
    return PairSpectra(TIMES_S, CENTRE_HZ, reference, candidate)


def found(name: str, change_db: float) -> Change:
    """A voice as it is found above 80 Hz; MIDI 36 to 39 of the bass lie below."""
    energy = np.where(LOW, 0.0, voice(name))
    return Change(change_db, (change_db - 1, change_db + 1), 1.0, energy)


@pytest.mark.parametrize("change_db", [5.0, -5.0])
def test_a_bass_line_goes_down_to_its_lowest_notes(change_db: float) -> None:
    spectra = played(change_db)
    change = down_to_its_lowest(found("bass", change_db), spectra, 0.0)
    assert change.energy[:, LOW] == pytest.approx(spectra.reference[:, LOW])
    assert change.energy[:, ~LOW] == pytest.approx(voice("bass")[:, ~LOW])
    assert change.difference_db == change_db


def test_an_octave_above_the_bass_only_even_partials_are_alike() -> None:
    """A voice that doubles the bass an octave higher, and moved; the bass did as well."""
    spectra = played(5.0)
    octave = np.zeros_like(spectra.reference)
    octave[:, 12:] = voice("bass")[:, :-12]
    reference = spectra.reference + octave
    candidate = spectra.candidate + 10**0.5 * octave
    both = PairSpectra(TIMES_S, CENTRE_HZ, reference, candidate)
    change = Change(5.0, (4.0, 6.0), 1.0, np.where(LOW, 0.0, octave))
    assert down_to_its_lowest(change, both, 0.0) is change


@pytest.mark.parametrize("name", ["melody", "middle", "tenor"])
def test_other_voices_have_no_lower_notes_than_their_own(name: str) -> None:
    change = found(name, 5.0)
    assert down_to_its_lowest(change, played(5.0), 0.0) is change


def test_lowest_notes_that_did_not_move_are_anothers() -> None:
    change = found("bass", 5.0)
    assert down_to_its_lowest(change, played(0.0), 0.0) is change
    # What the pair's gain holds of the tail hides that they moved.
    hidden = played(5.0, tail_db=-5.0)
    assert down_to_its_lowest(change, hidden, 0.0) is change
    assert down_to_its_lowest(change, hidden, -5.0) is not change


def test_where_nothing_low_is_heard_nothing_is_added() -> None:
    spectra = played(5.0)
    silent = [np.where(LOW, 0.0, power) for power in (spectra.reference, spectra.candidate)]
    change = found("bass", 5.0)
    assert down_to_its_lowest(change, PairSpectra(TIMES_S, CENTRE_HZ, *silent), 0.0) is change
