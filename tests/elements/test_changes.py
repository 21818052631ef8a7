"""Elements on made-up spectrograms in which every voice is known to the cell.

Invented data: what it checks is arithmetic (a level set is a level found), not the trade.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.bands import pitch_hz
from mixcompare.elements.changes import Split, split_difference
from mixcompare.elements.describe import active_spans, describe, motif_notes
from mixcompare.elements.local import local_changes
from mixcompare.spectra import RATE_HZ, PairSpectra

FloatArray = npt.NDArray[np.float64]

CENTRE_HZ = pitch_hz(np.arange(28, 112))
LOWEST = 28
DURATION_S = 24.0
TIMES_S = np.arange(int(DURATION_S * RATE_HZ)) / RATE_HZ
PARTIALS = ((0, 0.0), (12, -6.0), (19, -10.0), (24, -14.0), (28, -17.0), (31, -20.0))
VOICES = {
    "melody": (72, 84, 2.0),
    "middle": (62, 69, 1.3),
    "tenor": (52, 60, 1.6),
    "bass": (36, 48, 1.0),
}
"""Lowest and highest pitch, notes a second."""


def voice(name: str, levels_db: np.random.Generator | None = None) -> FloatArray:
    """Power of a voice in every cell, shape (n, bands); each note a little louder or softer."""
    low, high, rate = VOICES[name]
    notes = np.random.default_rng(sum(map(ord, name)))
    power = np.zeros((len(TIMES_S), len(CENTRE_HZ)))
    at_s = 0.2
    while at_s < DURATION_S - 0.5:
        pitch = int(notes.integers(low, high + 1))
        # A melody's notes are of several lengths; even ones would make a repeating figure.
        length = float(notes.choice([0.5, 0.75, 1.0, 1.5])) / rate
        since = TIMES_S - at_s
        inside = (since >= 0) & (since < length)
        course = np.exp(-since[inside] / 1.5)
        scatter = 0.0 if levels_db is None else float(levels_db.normal(0, 1.0))
        for step, level_db in PARTIALS:
            band = pitch + step - LOWEST
            if band < power.shape[1]:
                own = np.zeros(power.shape[1])
                own[band] = 1.0
                own[max(band - 1, 0)] += 0.03
                power[inside] += course[:, None] * own * 10 ** ((level_db + scatter) / 10)
        at_s += length
    return power


def pair(
    gains_db: dict[str, float], other: bool, tone_db: FloatArray | float = 0.0, seed: int = 1
) -> PairSpectra:
    """Reference and candidate; another performance scatters from note to note and cell to cell."""
    rng = np.random.default_rng(seed)
    reference = sum(voice(name) for name in VOICES) + np.full((1, len(CENTRE_HZ)), 1e-5)
    candidate = np.full_like(reference, 1e-5)
    for name in VOICES:
        gain = 10 ** (gains_db.get(name, 0.0) / 10)
        candidate = candidate + gain * voice(name, rng if other else None)
    if other:
        candidate = candidate * 10 ** (rng.normal(0, 0.8, candidate.shape) / 10)
    return PairSpectra(TIMES_S, CENTRE_HZ, reference, candidate * 10 ** (tone_db / 10))


@pytest.mark.parametrize("other", [False, True])
@pytest.mark.parametrize(
    ("element", "change_db", "kind"),
    [("melody", 6.0, "leading_line"), ("melody", -5.0, "leading_line"), ("bass", 5.0, "bass")],
)
def test_a_changed_voice_is_found(element: str, change_db: float, kind: str, other: bool) -> None:
    cells = pair({element: change_db}, other)
    (change,) = split_difference(cells, same_take=not other).changes
    assert change.interval[0] <= change_db <= change.interval[1]
    assert change.difference_db == pytest.approx(change_db, abs=1.5 if other else 0.4)
    assert describe(change.energy, cells).kind == kind


@pytest.mark.parametrize("seed", range(5))
def test_scatter_alone_is_no_change(seed: int) -> None:
    split = split_difference(pair({}, other=True, seed=seed), same_take=False)
    # Whatever is left cannot be told from what nobody would notice.
    assert all(min(map(abs, change.interval)) < 1.0 for change in split.changes)


def test_identical_spectra_differ_nowhere() -> None:
    split = split_difference(pair({}, other=False), same_take=True)
    assert split.changes == ()
    assert split.scatter_db == 0.0


@pytest.mark.parametrize("other", [False, True])
@pytest.mark.parametrize("shelf_db", [4.0, -4.0])
def test_a_shelf_is_tone(shelf_db: float, other: bool) -> None:
    shelf = shelf_db / (1 + (900 / CENTRE_HZ) ** 4)
    split = split_difference(pair({}, other, shelf), same_take=not other)
    assert split.changes == ()
    above, below = split.tone_db[CENTRE_HZ > 2000], split.tone_db[CENTRE_HZ < 400]
    assert np.mean(above) - np.mean(below) == pytest.approx(shelf_db, abs=1.5)


def test_a_bass_that_never_rests_is_no_tone() -> None:
    split = split_difference(pair({"bass": 5.0}, other=False), same_take=True)
    assert np.abs(split.tone_db).max() < 1.0


def test_roles_exchanged_give_the_opposite() -> None:
    cells = pair({"melody": 6.0}, other=True)
    there = split_difference(cells, same_take=False).changes[0]
    back = split_difference(cells.mirrored(), same_take=False).changes[0]
    assert back.difference_db == pytest.approx(-there.difference_db, abs=1.0)


def test_a_change_for_a_while_is_told_with_its_place() -> None:
    cells = pair({}, other=False)
    raised = voice("melody") * ((TIMES_S >= 8) & (TIMES_S < 14))[:, None]
    cells = replace(cells, candidate=cells.candidate + (10**0.6 - 1) * raised)
    (change,) = split_difference(cells, same_take=True).changes
    ((start_s, end_s),) = describe(change.energy, cells).spans_s
    assert start_s == pytest.approx(8, abs=1)
    assert end_s == pytest.approx(14, abs=1)


def _raised(bands: npt.NDArray[np.bool_]) -> PairSpectra:
    """One take in which some bands stand 6 dB higher from 8 to 14 s."""
    cells = pair({}, other=False)
    candidate = cells.candidate.copy()
    candidate[np.ix_((TIMES_S >= 8) & (TIMES_S < 14), bands)] *= 10**0.6
    return replace(cells, candidate=candidate)


NO_ELEMENT = Split((), np.zeros(len(CENTRE_HZ)), 0.1)


def test_a_register_for_a_while() -> None:
    cells = _raised((CENTRE_HZ >= 500) & (CENTRE_HZ < 1000))
    (found,) = local_changes(cells, NO_ELEMENT, same_take=True)
    assert found.difference_db == pytest.approx(6.0, abs=0.5)
    assert found.span_s == (pytest.approx(8, abs=1), pytest.approx(14, abs=1))
    assert local_changes(cells, NO_ELEMENT, same_take=False) == ()


def test_one_pitch_is_no_register() -> None:
    # Standing waves of another room move single pitches for as long as they sound.
    cells = _raised(np.arange(len(CENTRE_HZ)) == int(np.argmin(np.abs(CENTRE_HZ - 740))))
    assert local_changes(cells, NO_ELEMENT, same_take=True) == ()


def test_a_stray_moment_is_no_stretch() -> None:
    level = np.zeros(400)
    level[100:250] = 1.0
    level[340:356] = 0.05
    assert len(active_spans(level, np.arange(400) / RATE_HZ)) == 1


def test_two_elements_that_moved_apart_are_both_told() -> None:
    cells = pair({"melody": 6.0, "bass": -5.0}, other=True)
    found = split_difference(cells, same_take=False).changes
    sizes = sorted(change.difference_db for change in found)
    assert sizes == [pytest.approx(-5.0, abs=2.0), pytest.approx(6.0, abs=2.0)]


def _figure(pitches: list[int], notes_per_s: float = 4.0) -> PairSpectra:
    """Even notes that go through the pitches again and again, or once through a long list."""
    power = np.full((len(TIMES_S), len(CENTRE_HZ)), 1e-9)
    for number in range(int(DURATION_S * notes_per_s)):
        since = TIMES_S - number / notes_per_s
        inside = (since >= 0) & (since < 1 / notes_per_s)
        for step, level_db in PARTIALS:
            band = pitches[number % len(pitches)] + step - LOWEST
            if band < power.shape[1]:
                power[inside, band] += np.exp(-since[inside] / 0.2) * 10 ** (level_db / 10)
    return PairSpectra(TIMES_S, CENTRE_HZ, power, power)


@pytest.mark.parametrize("pattern", [[72, 76, 79], [72, 79, 76, 84], [72, 74, 79, 72, 81, 76, 84]])
def test_length_of_a_motif(pattern: list[int]) -> None:
    cells = _figure(pattern)
    found = describe(cells.reference, cells)
    assert found.kind in ("repeating_figure", "leading_line")
    spans = ((0.0, DURATION_S),)
    assert motif_notes(cells.reference, cells, 4.0, spans) == len(pattern)


def test_notes_without_a_pattern_have_no_motif() -> None:
    pitches = np.random.default_rng(1).integers(60, 85, 200).tolist()
    cells = _figure(pitches)
    assert motif_notes(cells.reference, cells, 4.0, ((0.0, DURATION_S),)) is None
