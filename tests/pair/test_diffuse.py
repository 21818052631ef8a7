"""The image under added reverberation, against noise that is added as reverberation is."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.features import Features
from mixcompare.pair.diffuse import least_wetness_db, rings_narrow, side_to_mid_db
from tests.aspects.stereo_music import features_of

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 32_000


def narrow(added: float = 0.0, side_db: float = -12.0) -> FloatArray:
    """Noise with a soft side, and noise of its own in each channel, as a share of its energy."""
    mid, side, *diffuse = np.random.default_rng(5).standard_normal((4, 6 * RATE_HZ))
    side = side * 10 ** (side_db / 20)
    direct = np.column_stack([mid + side, mid - side])
    own = np.column_stack(diffuse)
    return np.asarray(
        0.05 * (direct + own * np.sqrt(added * np.square(direct).sum() / np.square(own).sum()))
    )


@pytest.fixture(scope="module")
def dry() -> Features:
    return features_of(narrow(), RATE_HZ)


# Independent channels have as much side as mid: ordinary signal theory. The wetness that goes with
# an added share b is 10 lg (1 + 2 b), by its definition in ``mixcompare.pair.wetness``.
@pytest.mark.parametrize("added", [0.1, 0.4, 1.5])
def test_an_image_needs_as_much_reverberation_as_was_added(added: float, dry: Features) -> None:
    assert side_to_mid_db(dry) == pytest.approx(-12, abs=0.2)
    wet = features_of(narrow(added), RATE_HZ)
    measured_db = side_to_mid_db(wet) - side_to_mid_db(dry)
    wetness_db = 10 * np.log10(1 + 2 * added)
    assert least_wetness_db(side_to_mid_db(dry), measured_db) == pytest.approx(wetness_db, abs=0.2)


def test_no_reverberation_makes_the_side_as_loud_as_the_mid() -> None:
    assert least_wetness_db(-8, 8) == np.inf
    assert least_wetness_db(-8, 7.99) > 25
    assert least_wetness_db(-8, 0) == 0


# One source in the middle, in a hall: noise of its own in each channel lies 0 dB side against mid
# (ordinary signal theory), the same noise in both nowhere; what they share sets the ratio between.
@pytest.mark.parametrize(("shared", "narrow"), [(0.0, False), (0.1, False), (0.6, True)])
def test_a_hall_that_rings_narrow_is_known_by_its_decays(shared: float, narrow: bool) -> None:
    rng = np.random.default_rng(3)
    time_s = np.arange(8 * RATE_HZ) / RATE_HZ
    envelope = 10 ** (-3 * (time_s % 2.0) / 1.6)
    common, *own = rng.standard_normal((3, len(time_s)))
    channels = [np.sqrt(shared) * common + np.sqrt(1 - shared) * one for one in own]
    burst = 4 * (time_s % 2.0 < 0.2) * common  # the note itself, in the middle
    played = 0.02 * (np.column_stack(channels) * envelope[:, None] + burst[:, None])
    assert rings_narrow(features_of(played, RATE_HZ)) is narrow


def test_of_steady_sound_nothing_is_known_to_ring() -> None:
    steady = narrow()
    assert not rings_narrow(features_of(steady, RATE_HZ))
    steady[3 * RATE_HZ : int(3.4 * RATE_HZ)] *= 0.2  # half a second tells too little
    assert not rings_narrow(features_of(steady, RATE_HZ))
    steady[3 * RATE_HZ : int(4.4 * RATE_HZ)] *= 0.2
    assert rings_narrow(features_of(steady, RATE_HZ))
