"""Tempo and tuning of real music, changed and measured by other means than the code under test.

The opening of Brahms's Hungarian Dance no. 5 by a string orchestra (public domain). Resampling
moves tempo and pitch by one factor (soxr); a phase vocoder moves one alone (librosa, McFee et al.
2015). 1200 lb(ratio) cents.
"""

from __future__ import annotations

import functools
from pathlib import Path

import librosa
import numpy as np
import numpy.typing as npt
import pytest
import soundfile
import soxr

from mixcompare.alignment import align
from mixcompare.aspects import tempo, tuning
from mixcompare.aspects.tempo.values import TempoDifference
from mixcompare.aspects.tuning import TuningDifference
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.findings import Finding
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 22_050
SECONDS = 20
CLIP = Path(__file__).parent.parent / "data" / "string_orchestra_brahms_hd5_pd.ogg"
CHANGES = ("as it is", "3 % faster", "6 % slower", "20 cents lower")


@functools.cache
def samples(change: str) -> FloatArray:
    """Mono at 22.05 kHz."""
    music, rate_hz = soundfile.read(CLIP, frames=SECONDS * 44_100, always_2d=True)
    mono = soxr.resample(music.mean(axis=1), rate_hz, RATE_HZ)
    if change == "3 % faster":
        return np.asarray(soxr.resample(mono, 1.03 * RATE_HZ, RATE_HZ))
    if change == "6 % slower":
        return np.asarray(librosa.effects.time_stretch(mono, rate=0.94))
    if change == "20 cents lower":
        return np.asarray(librosa.effects.pitch_shift(mono, sr=RATE_HZ, n_steps=-0.2))
    return np.asarray(mono)


@functools.cache
def features(change: str) -> Features:
    return Features.of(Recording.from_array(samples(change), RATE_HZ))


@functools.cache
def compared(
    reference: str, candidate: str
) -> tuple[TempoDifference, TuningDifference, list[Finding]]:
    pair = features(reference), features(candidate)
    found = align(*pair)
    match = Match(
        found.time_map,
        found.same_take,
        transposition_semitones=found.transposition_semitones,
        tuning_cents=found.tuning_cents,
        uncertainty_ms=found.uncertainty_ms,
    )
    laid = Pair(*pair, match)
    told = tempo.analyzer.compare(laid), tuning.analyzer.compare(laid)
    findings = tempo.analyzer.findings(told[0], laid) + tuning.analyzer.findings(told[1], laid)
    return *told, findings


@pytest.mark.parametrize("sign", [1, -1])
def test_resampling_moves_tempo_and_tuning_by_one_factor(sign: int) -> None:
    by_tempo, by_pitch, findings = compared(*("as it is", "3 % faster")[::sign])
    ratio = 1.03**-sign
    assert by_tempo.ratio == pytest.approx(ratio, abs=0.002)
    assert by_tempo.percent == pytest.approx(100 * (ratio - 1), abs=0.2)
    assert by_tempo.percent_interval[0] <= 100 * (ratio - 1) <= by_tempo.percent_interval[1]
    assert by_tempo.playback_speed
    cents = sign * 1200 * float(np.log2(1.03))
    assert by_pitch.total_cents == pytest.approx(cents, abs=2.0)
    assert by_pitch.speed_percent == pytest.approx(100 * (1 / ratio - 1), abs=0.15)
    (finding,) = findings
    assert finding.kind == ("tuned_higher" if sign > 0 else "tuned_lower")
    assert finding.cause.likeliest == "mix"
    assert ("faster" if sign > 0 else "slower") in finding.consequences[0]


@pytest.mark.parametrize("sign", [1, -1])
def test_stretching_moves_the_tempo_alone(sign: int) -> None:
    by_tempo, by_pitch, findings = compared(*("as it is", "6 % slower")[::sign])
    assert by_tempo.ratio == pytest.approx(0.94**-sign, abs=0.004)
    assert not by_tempo.playback_speed
    assert by_pitch.total_cents == pytest.approx(0.0, abs=2.0)
    assert by_pitch.speed_percent is None
    kinds = {finding.kind: finding for finding in findings}
    assert set(kinds) == {"slower" if sign > 0 else "faster"}
    (finding,) = kinds.values()
    assert finding.difference == pytest.approx(100 * (0.94**sign - 1), abs=0.5)


@pytest.mark.parametrize("sign", [1, -1])
def test_shifting_moves_the_tuning_alone(sign: int) -> None:
    by_tempo, by_pitch, findings = compared(*("as it is", "20 cents lower")[::sign])
    assert by_tempo.percent == pytest.approx(0.0, abs=0.3)
    assert by_pitch.total_cents == pytest.approx(-20.0 * sign, abs=2.0)
    (finding,) = findings
    assert finding.kind == ("tuned_lower" if sign > 0 else "tuned_higher")
    assert finding.cause.likeliest == "players"


@pytest.mark.parametrize("change", CHANGES)
def test_tuning_of_one_recording_is_that_of_another_estimator(change: str) -> None:
    # librosa rounds what its peaks say to a grid, here of one cent, and takes the fullest place.
    measured = tuning.analyzer.measure(features(change))
    other = librosa.estimate_tuning(y=samples(change), sr=RATE_HZ, n_fft=4096, resolution=0.01)
    assert measured.cents_against_440 is not None
    away = (measured.cents_against_440 - 100 * other + 50) % 100 - 50
    assert away == pytest.approx(0.0, abs=3.0)
    low, high = measured.cents_against_440_interval or (0.0, 0.0)
    assert low <= measured.cents_against_440 <= high
    expected_hz = 440 * 2 ** (measured.cents_against_440 / 1200)
    assert measured.a4_hz == pytest.approx(expected_hz, abs=0.01)
