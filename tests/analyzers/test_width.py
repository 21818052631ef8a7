"""Width: what it measures, what it recovers, what it must not react to."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.analyzers.width import analyzer
from mixcompare.features import Features
from mixcompare.match import Match
from mixcompare.timemap import TimeMap
from tests.analyzers import stereo_music
from tests.analyzers.stereo_music import features_of, filtered, music, same_clock, with_side

FloatArray = npt.NDArray[np.float64]


@pytest.fixture(scope="module")
def reference() -> Features:
    return stereo_music.features()


@pytest.fixture(scope="module")
def narrower() -> Features:
    return features_of(with_side(music(), 0.4))


def noise(correlation: float) -> FloatArray:
    """Four seconds of two channels of equal level with that correlation."""
    one, two = np.random.default_rng(4).standard_normal((2, 4 * 44_100))
    return 0.1 * np.column_stack([one, correlation * one + np.sqrt(1 - correlation**2) * two])


@pytest.mark.parametrize(
    ("correlation", "ratio_db"),
    [(0.0, 0.0), (0.1, -0.87), (0.25, -2.22), (0.5, -4.77), (0.75, -8.45), (0.9, -12.79)],
)
def test_noise_of_known_correlation(correlation: float, ratio_db: float) -> None:
    # Side to mid power = (1 - c) / (1 + c) for equal channels: follows from the definitions.
    measured = analyzer.measure(features_of(noise(correlation), 44_100))
    assert measured.correlation == pytest.approx(correlation, abs=0.02)
    assert measured.side_to_mid_db == pytest.approx(ratio_db, abs=0.2)
    loss = 10 * np.log10(2 / (1 + correlation))
    assert measured.mono_fold_down_loss_db == pytest.approx(loss, abs=0.1)


@pytest.mark.parametrize(("level_db", "ratio_db"), [(3, -15.3), (6, -9.6), (10, -5.7), (20, -1.7)])
def test_one_panned_source(level_db: float, ratio_db: float) -> None:
    # One source in both channels is fully correlated, however far it is panned.
    wave = noise(0.0)[:, 0]
    measured = analyzer.measure(
        features_of(np.column_stack([wave, 10 ** (-level_db / 20) * wave]), 44_100)
    )
    assert measured.correlation == pytest.approx(1.0, abs=0.001)
    assert measured.side_to_mid_db == pytest.approx(ratio_db, abs=0.1)


def test_one_channel_alone_has_no_correlation() -> None:
    measured = analyzer.measure(features_of(noise(0.0) * [1, 0], 44_100))
    assert measured.correlation is None
    assert measured.side_to_mid_db == pytest.approx(0, abs=0.01)
    assert "silent" in measured.reasons[0]


def test_mono_has_no_width(reference: Features) -> None:
    mono = features_of(music().mean(axis=1))
    measured = analyzer.measure(mono)
    assert measured.side_to_mid_db is None
    assert measured.band_correlation == (None,) * 31
    difference = analyzer.compare(mono, mono, same_clock(mono))
    assert difference.side_to_mid_db is None
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize("gain", [1.0, 0.5, 1.7])
def test_identical_and_gain_only(reference: Features, gain: float) -> None:
    difference = analyzer.compare(reference, stereo_music.scaled(gain), same_clock(reference))
    assert difference.side_to_mid_db == pytest.approx(0, abs=0.01)
    assert difference.correlation == pytest.approx(0, abs=0.002)
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize(("gain", "kind"), [(0.4, "narrower"), (1.8, "wider")])
def test_scaled_side_comes_back(reference: Features, gain: float, kind: str) -> None:
    candidate = features_of(0.8 * with_side(music(), gain))
    difference = analyzer.compare(reference, candidate, same_clock(reference))
    expected = 20 * np.log10(gain)
    assert difference.side_to_mid_db == pytest.approx(expected, abs=0.3)
    bands = [value for value in difference.band_side_to_mid_db if value is not None]
    assert len(bands) > 20
    assert np.median(bands) == pytest.approx(expected, abs=0.3)
    (finding,) = analyzer.findings(difference)
    assert finding.kind == kind
    assert finding.jnd == pytest.approx(abs(expected) / 1.5, rel=0.1)
    assert finding.cause.likeliest == "mix"


def test_mirror(reference: Features, narrower: Features) -> None:
    match = same_clock(reference)
    there = analyzer.compare(reference, narrower, match)
    back = analyzer.compare(narrower, reference, match.mirrored())
    assert there.side_to_mid_db is not None
    assert back.side_to_mid_db == pytest.approx(-there.side_to_mid_db, abs=0.02)
    assert [finding.kind for finding in analyzer.findings(there)] == ["narrower"]
    assert [finding.kind for finding in analyzer.findings(back)] == ["wider"]


def test_exchanged_channels_and_tone_change_nothing(reference: Features) -> None:
    for candidate in (music()[:, ::-1], filtered(music(), ("bell", 500.0, 6.0, 1.0))):
        difference = analyzer.compare(reference, features_of(candidate), same_clock(reference))
        # A bell weighs the voices anew; each band stays as wide as it was.
        assert difference.side_to_mid_db == pytest.approx(0, abs=1.0)
        bands = [value for value in difference.band_side_to_mid_db if value is not None]
        assert np.median(np.abs(bands)) < 0.1
        assert analyzer.findings(difference) == []


def test_inverted_channel(reference: Features) -> None:
    inverted = features_of(music() * [1, -1])
    there = analyzer.compare(reference, inverted, same_clock(reference))
    (finding,) = analyzer.findings(there)
    assert finding.kind == "polarity_inverted"
    assert "In the candidate" in finding.text
    (finding,) = analyzer.findings(analyzer.compare(inverted, reference, same_clock(reference)))
    assert "In the reference" in finding.text
    assert "candidate" in finding.text


def test_collapse_to_mono(reference: Features) -> None:
    mono = features_of(music().mean(axis=1))
    difference = analyzer.compare(reference, mono, same_clock(reference))
    assert difference.side_to_mid_db is None
    (finding,) = analyzer.findings(difference)
    assert finding.kind == "narrower"
    assert "mono" in finding.text


def test_change_in_decays_alone_is_the_room() -> None:
    # Loud bursts a little to one side; the quiet tails between them differ between the channels
    # in the candidate alone.
    rng = np.random.default_rng(6)
    time_s = np.arange(12 * stereo_music.RATE_HZ) / stereo_music.RATE_HZ
    burst = rng.standard_normal(len(time_s)) * (time_s % 1.0 < 0.5)
    tail, other_tail = 0.1 * rng.standard_normal((2, len(time_s)))
    direct = burst[:, None] * [0.7, 0.3]
    reference = features_of(0.2 * (direct + tail[:, None] * [0.55, 0.45]))
    candidate = features_of(0.2 * (direct + np.column_stack([tail, other_tail]) / 2))
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 12.0))
    difference = analyzer.compare(reference, candidate, match)
    assert difference.side_to_mid_decay_db is not None
    assert difference.side_to_mid_direct_db is not None
    assert difference.side_to_mid_decay_db > difference.side_to_mid_direct_db + 3


def test_too_short(reference: Features) -> None:
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 2.0), same_take=True)
    difference = analyzer.compare(reference, reference, match)
    assert difference.side_to_mid_db is None
    assert "too short" in difference.reasons[0]
