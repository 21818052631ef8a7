"""What notes look like in the features' semitones: against sines that go through the features."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.audio.recording import Recording
from mixcompare.features import SEMITONE_RATE_HZ, Features
from mixcompare.features.grid import HIGHEST_SEMITONE, LOWEST_SEMITONE
from mixcompare.knowledge.notes import UNMARKED, PartNotes
from mixcompare.parts.templates import templates
from mixcompare.standards.bs1770 import k_weighting_power
from mixcompare.standards.iec61260 import pitch_hz

CENTRE_HZ = pitch_hz(np.arange(LOWEST_SEMITONE, HIGHEST_SEMITONE + 1))
TIMES_S = np.arange(60) / 20
NONE = np.zeros((0, 4))


def part(*notes: tuple[float, float, float]) -> PartNotes:
    return PartNotes("part", np.array([(*note, UNMARKED) for note in notes]), NONE)


@pytest.mark.parametrize("pitch", [45, 57, 69, 81])
def test_a_note_has_the_bands_of_its_partials(pitch: int) -> None:
    rate = 24_000
    time = np.arange(3 * rate) / rate
    sines = [
        k**-0.8 * np.sin(2 * np.pi * k * pitch_hz(pitch) * time + k * k)
        for k in range(1, 17)
        if k * pitch_hz(pitch) < 5000
    ]
    wave = 0.1 * np.sum(sines, axis=0)
    features = Features.of(Recording.from_array(np.column_stack([wave, wave]), rate))
    seen = features.semitone_power[round(1.5 * SEMITONE_RATE_HZ)].astype(float)
    (template,) = templates([part((0.0, 3.0, pitch))], TIMES_S, CENTRE_HZ)
    made = template[:, 30]
    # A partial at the edge of two bands is shared as the recording's own tuning has it.
    seen, made = (np.convolve(power, np.ones(3), "same") for power in (seen, made))
    heard = (seen > 3e-3 * seen.max()) & (CENTRE_HZ < 4000)
    away_db = 10 * np.log10(made[heard] / made.max()) - 10 * np.log10(seen[heard] / seen.max())
    assert np.abs(away_db).max() < 1.5
    silent = (seen < 1e-6 * seen.max()) & (CENTRE_HZ < 4000)
    assert np.all(made[silent] < 1e-3 * made.max())


def test_a_note_lasts_from_its_onset_to_its_end() -> None:
    (template,) = templates([part((1.0, 2.0, 69))], TIMES_S, CENTRE_HZ)
    course = template.sum(axis=0) / template.sum(axis=0).max()
    assert course[TIMES_S < 0.7].max() < 0.01
    assert course[(TIMES_S > 1.15) & (TIMES_S < 1.9)].min() > 0.9
    # It dies away by 8 nepers of power a second once it has ended (our choice).
    late = course[round(2.5 * 20)] / course[round(2.3 * 20)]
    assert np.log(late) == pytest.approx(-8 * 0.2, abs=0.1)


def test_every_part_has_one_k_weighted_energy_and_a_resting_one_none() -> None:
    made = templates([part((0, 1, 60), (1, 2, 62)), part((50, 51, 60))], TIMES_S, CENTRE_HZ)
    weight = k_weighting_power(CENTRE_HZ)
    assert (weight @ made[0]).sum() == pytest.approx(1.0)
    assert made[1].max() == 0.0


def test_the_k_weighting_is_that_of_the_standard() -> None:
    # BS.1770-5: 0 dB for 997 Hz with the offset of -0.691 dB, so +0.691 dB here; the shelf's 4 dB
    # above it.
    levels = 10 * np.log10(k_weighting_power(np.array([997.0, 10_000.0])))
    assert levels[0] == pytest.approx(0.691, abs=0.02)
    assert levels[1] == pytest.approx(4.0, abs=0.1)


def test_a_note_marked_softer_is_softer_by_the_curve_of_soundfonts() -> None:
    # SoundFont 2.04, 8.4.1 (from memory): 40 dB for a tenth of the velocity.
    marked = PartNotes("part", np.array([[0, 1, 69, 80.0], [1.5, 2.5, 69, 40.0]]), NONE)
    (template,) = templates([marked], TIMES_S, CENTRE_HZ)
    loud, soft = template[:, 12].sum(), template[:, 42].sum()
    assert 10 * np.log10(loud / soft) == pytest.approx(40 * np.log10(2), abs=0.1)
