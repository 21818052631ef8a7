"""Elements on made-up spectrograms in which every voice is known to the cell.

Invented data: what it checks is arithmetic (a level set is a level found), not the trade.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.elements.changes import Change, Split, split_difference
from mixcompare.elements.describe import active_spans, attack_rhythm, describe, motif_notes
from mixcompare.elements.local import local_changes
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.standards.iec61260 import pitch_hz

FloatArray = npt.NDArray[np.float64]

CENTRE_HZ = pitch_hz(np.arange(28, 112))
LOWEST = 28
DURATION_S = 16.0
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


@pytest.mark.parametrize("change_db", [6.0, -6.0])
def test_a_change_for_a_while_is_told_with_its_place(change_db: float) -> None:
    cells = pair({}, other=False)
    moved = voice("melody") * ((TIMES_S >= 8) & (TIMES_S < 14))[:, None]
    cells = replace(cells, candidate=cells.candidate + (10 ** (change_db / 10) - 1) * moved)
    (change,) = split_difference(cells, same_take=True).changes
    assert change.difference_db == pytest.approx(change_db, abs=0.4)
    ((start_s, end_s),) = describe(change.energy, cells).spans_s
    assert start_s == pytest.approx(8, abs=0.5)
    assert end_s == pytest.approx(14, abs=0.5)


def _raised(
    bands: npt.NDArray[np.bool_], change_db: float = 6.0, span_s: tuple[float, float] = (8, 14)
) -> PairSpectra:
    """One take in which some bands stand higher or lower for a while."""
    cells = pair({}, other=False)
    candidate = cells.candidate.copy()
    while_s = (span_s[0] <= TIMES_S) & (span_s[1] > TIMES_S)
    candidate[np.ix_(while_s, bands)] *= 10 ** (change_db / 10)
    return replace(cells, candidate=candidate)


NO_ELEMENT = Split((), np.zeros(len(CENTRE_HZ)), 0.1)


@pytest.mark.parametrize("change_db", [6.0, -6.0])
def test_a_register_for_a_while(change_db: float) -> None:
    cells = _raised((CENTRE_HZ >= 500) & (CENTRE_HZ < 1000), change_db)
    (found,) = local_changes(cells, NO_ELEMENT, same_take=True)
    assert found.difference_db == pytest.approx(change_db, abs=0.3)
    assert found.interval[0] <= change_db <= found.interval[1]
    assert found.band_hz == (500.0, 1000.0)
    assert found.name == "register from 500 to 1000 Hz"
    assert found.span_s == (pytest.approx(8, abs=0.5), pytest.approx(14, abs=0.5))
    assert found.confidence > 0.6
    assert local_changes(cells, NO_ELEMENT, same_take=False) == ()
    between_rooms = replace(NO_ELEMENT, scatter_db=0.9)
    assert local_changes(cells, between_rooms, same_take=True) == ()


@pytest.mark.parametrize("change_db", [5.0, -5.0])
def test_neighbouring_registers_are_one(change_db: float) -> None:
    cells = _raised((CENTRE_HZ >= 500) & (CENTRE_HZ < 2000), change_db)
    (found,) = local_changes(cells, NO_ELEMENT, same_take=True)
    assert found.band_hz == (500.0, 2000.0)
    assert found.name == "register from 500 to 2000 Hz"
    assert found.difference_db == pytest.approx(change_db, abs=0.4)
    apart = _raised((CENTRE_HZ >= 250) & (CENTRE_HZ < 500), change_db)
    other = _raised((CENTRE_HZ >= 1000) & (CENTRE_HZ < 2000), change_db)
    both = replace(apart, candidate=apart.candidate * other.candidate / other.reference)
    found_bands = [one.band_hz for one in local_changes(both, NO_ELEMENT, same_take=True)]
    assert found_bands == [(250.0, 500.0), (1000.0, 2000.0)]


@pytest.mark.parametrize(
    ("change_db", "seconds", "count"),
    [(6.0, 0.5, 0), (6.0, 3.0, 1), (1.5, 6.0, 0), (3.0, 6.0, 1), (-6.0, 3.0, 1)],
)
def test_how_much_for_how_long(change_db: float, seconds: float, count: int) -> None:
    # 2 dB for 1.5 s, seen through a window of 0.8 s.
    cells = _raised((CENTRE_HZ >= 500) & (CENTRE_HZ < 1000), change_db, (8, 8 + seconds))
    assert len(local_changes(cells, NO_ELEMENT, same_take=True)) == count


def test_what_elements_and_tone_explain_is_no_register() -> None:
    raised = (CENTRE_HZ >= 500) & (CENTRE_HZ < 1000)
    cells = _raised(raised)
    energy = np.where(cells.candidate > cells.reference, cells.reference, 0.0)
    explained = Split((Change(6.0, (5.9, 6.1), 0.9, energy),), np.zeros(len(CENTRE_HZ)), 0.1)
    assert local_changes(cells, explained, same_take=True) == ()
    # Tone moves a register's level where other pitches of it play.
    upper = (CENTRE_HZ >= 720) & (CENTRE_HZ < 1000)
    tone = np.where(upper, 8.0, 0.0)
    inside = ((TIMES_S >= 8) & (TIMES_S < 14))[:, None]
    outside = ((TIMES_S < 6) | (TIMES_S >= 16))[:, None]
    reference = cells.reference + 100.0 * (inside & upper | outside & raised & ~upper)
    toned = replace(cells, reference=reference, candidate=reference * 10 ** (tone / 10))
    assert len(local_changes(toned, NO_ELEMENT, same_take=True)) == 1
    assert local_changes(toned, Split((), tone, 0.1), same_take=True) == ()


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


@pytest.mark.parametrize("change_db", [5.0, -5.0])
def test_an_elements_own_power(change_db: float) -> None:
    # What the element has in the reference, to the cell: a tenth is 0.4 dB.
    cells = pair({"melody": change_db}, other=False)
    (change,) = split_difference(cells, same_take=True).changes
    assert change.energy.sum() == pytest.approx(voice("melody").sum(), rel=0.1)
    assert np.corrcoef(change.energy.ravel(), voice("melody").ravel())[0, 1] > 0.99
    assert change.agreeing > 0.8


def _interfering(seed: int) -> tuple[PairSpectra, float]:
    """One take, one voice moved by 2 to 9 dB, over a noise 25 to 50 dB down.

    Amplitudes are added, with phases of chance: where partials meet they beat.
    """
    rng = np.random.default_rng([seed, 2])
    names = list(VOICES)
    moved = seed % len(names)
    gain_db = float(rng.choice([-1, 1]) * rng.uniform(2, 9))

    def phase() -> npt.NDArray[np.complex128]:
        return np.exp(2j * np.pi * rng.random(len(CENTRE_HZ)))[None]

    parts = [
        np.sqrt(voice(name, np.random.default_rng([seed, index]))) * phase()
        for index, name in enumerate(names)
    ]
    chance = rng.chisquare(2, (len(TIMES_S), len(CENTRE_HZ))) / 2
    noise = np.sqrt(10 ** rng.uniform(-5, -2.5) * chance) * phase()
    reference = noise + sum(parts)
    candidate = reference + (10 ** (gain_db / 20) - 1) * parts[moved]
    return PairSpectra(TIMES_S, CENTRE_HZ, np.abs(reference) ** 2, np.abs(candidate) ** 2), gain_db


def test_the_95_percent_interval_of_an_elements_size_holds_the_truth() -> None:
    # 60 pairs; of every one the element is found, with its sign. Sections of an orchestra double
    # each other, these voices do not: their intervals hold more often than they need to, and so
    # they may not be wide.
    held, widths = [], []
    for seed in range(60):
        cells, gain_db = _interfering(seed)
        change = split_difference(cells, same_take=True).changes[0]
        assert change.difference_db * gain_db > 0
        assert change.difference_db == pytest.approx(gain_db, abs=0.7)
        held.append(change.interval[0] <= gain_db <= change.interval[1])
        widths.append(np.ptp(change.interval))
    assert np.mean(held) >= 0.92
    assert np.median(widths) <= 1.5


@pytest.mark.parametrize("notes_per_s", [2.5, 4.0, 5.0])
def test_rate_of_a_figure(notes_per_s: float) -> None:
    # 2 %: the just-noticeable difference of tempo (Drake and Botte 1993: 1.5 to 3 %).
    cells = _figure([72, 76, 79, 74], notes_per_s)
    rate, evenness = attack_rhythm(cells.reference, TIMES_S, ((0.0, DURATION_S),))
    assert rate == pytest.approx(notes_per_s, rel=0.02)
    assert evenness > 0.5


def test_a_figure_is_named_with_its_rate_band_and_spans() -> None:
    figure = _figure([76, 79, 84, 81], 5.0).reference
    figure[TIMES_S < 4] = 1e-9
    pad = sum(0.3 * voice(name) for name in ("tenor", "bass", "melody"))
    cells = PairSpectra(TIMES_S, CENTRE_HZ, figure + pad, figure + pad)
    found = describe(figure, cells)
    assert found.kind == "repeating_figure"
    assert found.notes_per_s == pytest.approx(5.0, rel=0.02)
    assert found.motif_notes == 4
    assert found.subject == f"repeating high figure, {found.notes_per_s:.1f} notes a second"
    ((start_s, end_s),) = found.spans_s
    assert start_s == pytest.approx(4, abs=0.3)
    assert end_s == pytest.approx(DURATION_S, abs=0.3)
    # Fundamentals from 659 Hz; partials 12 semitones and more above lie 6 dB and more below.
    low, high = pitch_hz([76 - 0.5, 0])[0], pitch_hz([84 + 24 + 0.5, 0])[0]
    assert found.band_hz[0] == pytest.approx(low, rel=0.01)
    assert pitch_hz([84, 0])[0] < found.band_hz[1] <= high


def test_kinds_by_what_they_are() -> None:
    rng = np.random.default_rng(5)
    all_voices = sum(voice(name) for name in VOICES)
    beats = (TIMES_S % 1.7 < 0.3)[:, None]
    drum = beats * np.where(CENTRE_HZ < 200, 1.0, 0.0) * rng.chisquare(2, all_voices.shape)
    hiss = beats * np.where(CENTRE_HZ > 2000, 1.0, 0.0) * rng.chisquare(40, all_voices.shape) / 20
    for own, kind, subject in (
        (voice("melody"), "leading_line", "leading line"),
        (voice("bass"), "bass", "bass line"),
        (drum, "percussion", "low drums"),
        (hiss, "percussion", "high percussion"),
    ):
        whole = all_voices + (own if kind == "percussion" else 0)
        found = describe(own, PairSpectra(TIMES_S, CENTRE_HZ, whole, whole))
        assert (found.kind, found.subject) == (kind, subject)
        assert found.notes_per_s is None
    # Whoever carries the lowest pitches is the bass, however high they lie.
    without = all_voices - voice("bass")
    found = describe(voice("tenor"), PairSpectra(TIMES_S, CENTRE_HZ, without, without))
    assert found.kind == "bass"
    assert np.sqrt(found.band_hz[0] * found.band_hz[1]) > 160
    middle = 0.5 * (voice("middle") + voice("tenor"))
    found = describe(middle, PairSpectra(TIMES_S, CENTRE_HZ, all_voices, all_voices))
    assert found.kind == "register"
    assert found.subject.startswith("middle register, ")
