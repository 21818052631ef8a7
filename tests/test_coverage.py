"""The 95 % intervals hold the truth as often as they say, and are no wider than they must be.

Made-up cells scatter the way that the intervals are said to allow for: there they hold the truth in
92 to 99 of 100 cases. Played pairs lack some of what is allowed for (other instruments, harmonics
out of tune), so that more are held; there the widths are held down as well.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage, signal

from mixcompare.aspects import placement, tone, width
from mixcompare.aspects.tone import shaping
from mixcompare.pair.pair import Pair
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from tests.aspects import stereo_music
from tests.aspects.stereo_music import same_clock
from tests.benchmarks.coverage import Told, by_aspect, measured

FloatArray = npt.NDArray[np.float64]
Interval = tuple[float, float]

PAIRS = 8
CASES = 60
NO_FILTERS = shaping.Shaping((), 0.0, np.zeros(0))
OCTAVES = np.log2(THIRD_OCTAVE_CENTRES_HZ / 1000)


def moments(rng: np.random.Generator, deviation: float) -> FloatArray:
    """Values that scatter from moment to moment, alike for about a second: (frames, 31)."""
    white = rng.standard_normal((stereo_music.FRAMES + 100, 31))
    slow = signal.lfilter([np.sqrt(1 - 0.96**2)], [1, -0.96], white, axis=0)
    return np.asarray(deviation * slow[100:])


def check(held: list[bool], cases: int) -> None:
    assert len(held) >= cases
    assert 0.92 <= np.mean(held) <= 0.99


@pytest.fixture
def no_filters(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Leave out the search for bells and shelves, which takes most of the time."""
    monkeypatch.setattr(shaping, "fit", lambda *_: NO_FILTERS)
    return None


@pytest.mark.usefixtures("no_filters")
def test_tone_and_tilt_of_the_same_instruments_played_again() -> None:
    """Bands scatter by 0.2 to 0.3 dB, and by three times that over octaves."""
    bands: list[bool] = []
    tilts: list[bool] = []
    for seed in range(CASES):
        rng = np.random.default_rng([seed, 61])
        own = rng.uniform(0.2, 0.3)
        broad = ndimage.gaussian_filter1d(rng.standard_normal(60), 1.5)[15:46]
        slope = rng.uniform(-1, 1)
        curve = slope * OCTAVES
        scattered = curve + own * (rng.standard_normal(31) + 3 * broad / 0.434)
        level = moments(rng, 3.0)
        before, after = (
            1e-4 * 10 ** (one / 10) for one in (level, level + scattered + moments(rng, 0.3))
        )
        difference = tone.analyzer.compare(
            Pair(
                stereo_music.cells(before, before),
                stereo_music.cells(after, after),
                same_clock(stereo_music.features(), same_take=False),
            )
        )
        bands += held_in(difference.band_level_db_interval, curve)
        tilts += held_in((difference.tilt_db_per_octave_interval,), np.array([slope]))
    check(bands, 31 * CASES)
    check(tilts, CASES)


def test_width_of_bands_that_scatter_each_by_itself() -> None:
    bands: list[bool] = []
    for seed in range(CASES // 2):
        rng = np.random.default_rng([seed, 62])
        by_db = rng.uniform(-6, 4)
        start = -8 + moments(rng, 1.0)
        features = []
        for ratio_db in (start, start + by_db + 0.5 * rng.standard_normal(31)):
            ratio = 10 ** (ratio_db / 10)
            cross = 1e-3 * (1 - ratio) / (1 + ratio)
            features.append(stereo_music.cells(1e-3, 1e-3, cross))
        match = same_clock(stereo_music.features(), same_take=False)
        difference = width.analyzer.compare(Pair(*features, match))
        bands += held_in(difference.band_side_to_mid_db_interval, np.full(31, by_db))
    check(bands, 31 * CASES // 2)


def test_turn_of_an_image_whose_bands_move_each_by_itself() -> None:
    turns: list[bool] = []
    for seed in range(CASES):
        rng = np.random.default_rng([seed, 63])
        turn_db = rng.uniform(-4, 4)
        moves = rng.normal(0, 0.05, 31)
        start = rng.uniform(-0.5, 0.5, 31)
        features = []
        for position, by_db in ((start, 0.0), (start + moves, turn_db)):
            wander = position + moments(rng, 0.02)
            right = (1 + wander) * 10 ** (by_db / 20)
            features.append(stereo_music.cells(1e-4 * (1 - wander) ** 2, 1e-4 * right**2))
        match = same_clock(stereo_music.features(), same_take=False)
        difference = placement.analyzer.compare(Pair(*features, match))
        turns += held_in((difference.turn_db_interval,), np.array([turn_db]))
    check(turns, CASES)


def held_in(intervals: tuple[Interval | None, ...], truth: FloatArray) -> list[bool]:
    assert None not in intervals
    return [
        pair is not None and bool(pair[0] <= value <= pair[1])
        for pair, value in zip(intervals, truth, strict=True)
    ]


@pytest.fixture(scope="module")
def told() -> Iterator[dict[str, list[Told]]]:
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setattr(shaping, "fit", lambda *_: NO_FILTERS)
        numbers = range(2000, 2000 + PAIRS)
        yield by_aspect([one for number in numbers for one in measured(number)])


@pytest.mark.parametrize(
    ("aspect", "least", "half_width"),
    [
        ("tone tilt, dB/octave", PAIRS, 0.59),
        ("tone bands, dB", 25 * PAIRS, 3.6),
        ("width of bands, dB", 25 * PAIRS // 2, 0.52),
        ("turn of the image, dB", PAIRS // 2, 0.052),
        ("tuning, cents", PAIRS, 1.39),
        ("tempo ratio", PAIRS, 0.0035),
    ],
)
def test_played_pairs(
    told: dict[str, list[Told]], aspect: str, least: int, half_width: float
) -> None:
    """All changes are known; the typical widths are a regression (100 pairs of this study)."""
    cases = told[aspect]
    assert len(cases) >= least
    assert np.mean([one.held for one in cases]) >= 0.9
    assert np.median([one.half_width for one in cases]) == pytest.approx(half_width, rel=0.3)
