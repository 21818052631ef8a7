"""Notes that end sooner or later, between two mixes of one take, are told apart from a level."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from mixcompare.aspects.balance import analyzer
from mixcompare.aspects.balance.unseen import unseen
from mixcompare.aspects.balance.words import ended_words
from mixcompare.elements.describe import describe
from mixcompare.elements.ended import _after_ends, cells_of, ends_apart
from mixcompare.elements.one_take import exact_split
from mixcompare.elements.take import _without_ends, split_pair
from mixcompare.pair.spectra import PairSpectra
from mixcompare.pair.undo import not_judged
from tests import synthetic
from tests.elements.voices import CENTRE_HZ, LOWEST, PARTIALS, TIMES_S, voice
from tests.pair.test_tail import OTHER, OWN, pair_of, played

EVERY_S = 0.6
DECAY_DB_PER_S = 60.0  # a room of one second
REST = voice("bass") + voice("tenor") + 1e-5


def theme(held: float) -> np.ndarray:
    """A line of its own pitches, every note held for a share of its time, then dying away."""
    rng = np.random.default_rng(4)
    out = np.zeros_like(REST)
    for number, pitch in enumerate(rng.choice(np.arange(67, 84), 200)):
        if number % 4 == 3:
            continue  # what never rests is tone
        since = TIMES_S - EVERY_S * number
        past = np.maximum(since - held * EVERY_S, 0.0)
        level_db = np.where(since >= 0, -DECAY_DB_PER_S * past, -200.0)
        for step, partial_db in PARTIALS[:3]:
            if pitch - LOWEST + step < out.shape[1]:
                out[:, pitch - LOWEST + step] += 10 ** ((level_db + partial_db + 6) / 10)
    return out


def cells(before: np.ndarray, after: np.ndarray) -> PairSpectra:
    return PairSpectra(TIMES_S, CENTRE_HZ, before, after)


@pytest.mark.parametrize(
    ("held", "sign", "word"), [((0.95, 0.5), -1, "end sooner"), ((0.5, 0.95), 1, "ring on longer")]
)
def test_a_theme_whose_notes_end_elsewhere_is_as_loud_as_it_was(
    held: tuple[float, float], sign: int, word: str
) -> None:
    spectra = cells(*(REST + theme(share) for share in held))
    split = exact_split(spectra)
    assert [np.sign(change.difference_db) for change in split.changes] == [sign]
    apart = ends_apart(split, spectra)
    assert apart.changes == ()
    (ended,) = apart.ended
    assert ended is split.changes[0]
    assert f" {word} than in the reference" in ended_words(describe(ended.energy, spectra), ended)


@pytest.mark.parametrize("gain_db", [5.0, -5.0])
@pytest.mark.parametrize("held", [0.95, 0.5])
def test_a_theme_that_is_louder_or_softer_is_no_matter_of_its_ends(
    gain_db: float, held: float
) -> None:
    line = theme(held)
    spectra = cells(REST + line, REST + 10 ** (gain_db / 10) * line)
    split = exact_split(spectra)
    assert [change.difference_db for change in split.changes] == [pytest.approx(gain_db, abs=0.5)]
    apart = ends_apart(split, spectra)
    assert apart.changes == split.changes
    assert apart.ended == ()


# At two attacks of three a short, louder sound on the same pitch hides what the line does.
@pytest.mark.parametrize("gain_db", [5.0, -5.0])
def test_a_line_whose_attacks_others_cover_is_louder_or_softer(gain_db: float) -> None:
    line, plucked = theme(0.95), 10 * theme(0.1)
    plucked[(TIMES_S // EVERY_S).astype(int) % 3 == 0] = 0.0
    spectra = cells(REST + plucked + line, REST + plucked + 10 ** (gain_db / 10) * line)
    split = exact_split(spectra)
    (change,) = split.changes
    assert _after_ends(change, spectra, split.tone_db) > 0.4
    apart = ends_apart(split, spectra)
    assert apart.changes == split.changes
    assert apart.ended == ()


# Around every attack a compressor's gain moves, and no cell is asked.
@pytest.mark.parametrize("gain_db", [5.0, -5.0])
def test_attacks_that_are_not_asked_say_nothing_of_a_level(gain_db: float) -> None:
    line = theme(0.95)
    spectra = cells(REST + line, REST + 10 ** (gain_db / 10) * line)
    attacks = np.broadcast_to((TIMES_S % EVERY_S < 0.25)[:, None], line.shape)
    hidden = not_judged(spectra, attacks)
    split = exact_split(hidden)
    (change,) = split.changes
    assert _after_ends(change, hidden, split.tone_db) < 0.4
    assert ends_apart(split, hidden).changes == split.changes


def test_another_element_is_found_beside_notes_that_end_sooner() -> None:
    bass = voice("bass")
    spectra = cells(REST + theme(0.95), REST + theme(0.5) + (10**0.5 - 1) * bass)
    split = _without_ends(exact_split(spectra), spectra)
    assert [change.difference_db for change in split.changes] == [pytest.approx(5.0, abs=0.5)]
    assert split.ended
    assert all(one.difference_db < 0 for one in split.ended)
    assert split.hidden is not None
    assert split.hidden[cells_of(split.ended)].all()


@pytest.mark.parametrize("response", [OWN, OTHER])
def test_a_melody_cut_short_is_said_and_no_level(
    response: tuple[int, float, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """In one room and under another tail."""
    legato, written = played(OWN), synthetic.score

    def cut_short(*asked: Any) -> dict[str, list[synthetic.Tone]]:
        voices = written(*asked)
        cut = [replace(tone, length_s=0.5 * tone.length_s) for tone in voices["melody"]]
        return voices | {"melody": cut}

    monkeypatch.setattr(synthetic, "score", cut_short)
    pair = pair_of(legato, played.__wrapped__(response))
    assert split_pair(pair).changes == ()
    assert " end sooner than in the reference" in unseen(pair)[1]
    assert any(" end sooner than " in reason for reason in analyzer.compare(pair).reasons)
