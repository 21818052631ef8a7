"""The level of strokes by arithmetic: rises that are made of known shares."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.parts.rises import Rises
from mixcompare.parts.strokes import Tone, level_of, tone_of

FloatArray = npt.NDArray[np.float64]

BANDS, STROKES = 12, 10
ALL = np.ones(BANDS)


def rises(power: FloatArray) -> Rises:
    return Rises(np.full(power.shape, 1e-3), power + 1e-3)


def even(tone_db: float = 0.0, deviation_db: float = 0.0, spread_db: float = 0.2) -> Tone:
    return Tone(*(np.full(BANDS, value) for value in (tone_db, deviation_db, spread_db)))


def struck(own: float, level_db: float, besides: float = 0.0, moved_db: float = 0.0) -> FloatArray:
    """Rises of the candidate where those of the reference are one: own share, and another's."""
    gain, other = 10 ** (level_db / 10), 10 ** (moved_db / 10)
    whole = own * gain + besides * other + (1 - own - besides)
    return np.full((STROKES, BANDS), whole)


@pytest.mark.parametrize("level_db", [-6.0, 0.0, 3.0])
@pytest.mark.parametrize("own", [0.97, 0.8])
def test_a_level_is_told_beside_what_begins_besides(own: float, level_db: float) -> None:
    """A guess at the share that is right on average; the true ones scatter."""
    share = np.full((STROKES, BANDS), own)
    true = np.random.default_rng(4).beta(6 * own, 6 * (1 - own), share.shape)
    after = rises(1 + true * (10 ** (level_db / 10) - 1))
    found = level_of(rises(np.ones_like(share)), after, share, np.zeros_like(share), even(), ALL)
    assert found is not None
    assert found.level_db == pytest.approx(level_db, abs=0.5)
    low, high = found.interval
    assert low - 0.1 <= level_db <= high + 0.1
    assert found.strokes == STROKES
    mirrored = found.mirrored()
    assert mirrored.level_db == -found.level_db
    assert mirrored.interval == (-high, -low)


def test_what_others_strokes_changed_is_not_theirs() -> None:
    share = np.full((STROKES, BANDS), 0.6)
    after = rises(struck(0.6, 0.0, besides=0.35, moved_db=6.0))
    besides = np.full_like(share, 0.35 * (10**0.6 - 1))
    known = level_of(rises(np.ones_like(share)), after, share, besides, even(), ALL)
    unknown = level_of(rises(np.ones_like(share)), after, share, 0 * besides, even(), ALL)
    assert known is not None
    assert unknown is not None
    assert abs(known.level_db) < 0.3
    assert unknown.level_db > 3


def test_tone_is_taken_off_and_widens_the_interval() -> None:
    share = np.full((STROKES, BANDS), 0.97)
    after = rises(struck(0.97, 4.0))
    plain = level_of(rises(np.ones_like(share)), after, share, 0 * share, even(), ALL)
    toned = level_of(rises(np.ones_like(share)), after, share, 0 * share, even(1.5, 1.0), ALL)
    assert plain is not None
    assert toned is not None
    assert plain.level_db - toned.level_db == pytest.approx(1.5, abs=0.2)
    # 1.96 standard deviations of the tone.
    assert np.ptp(toned.interval) > 2 * 1.96
    assert np.ptp(plain.interval) < 1.0


def test_few_strokes_or_none_of_their_own_tell_nothing() -> None:
    share = np.full((STROKES, BANDS), 0.97)
    share[2:] = 0.3
    one = rises(np.ones_like(share))
    assert level_of(one, one, share, 0 * share, even(), ALL) is None


def test_strokes_that_differ_widen_the_interval() -> None:
    share = np.full((STROKES, BANDS), 0.97)
    levels_db = np.linspace(0, 6, STROKES)[:, None]
    after = rises(10 ** (levels_db / 10) * np.ones_like(share))
    found = level_of(rises(np.ones_like(share)), after, share, 0 * share, even(spread_db=2.0), ALL)
    assert found is not None
    assert found.level_db == pytest.approx(3.0, abs=0.5)
    # The mean of ten values evenly from 0 to 6 dB: 1.92 dB over the root of ten, twice.
    assert 1.2 < found.interval[1] - found.level_db < 3.0


def test_tone_is_where_most_rises_lie_and_goes_on_beyond_as_it_goes() -> None:
    rng = np.random.default_rng(2)
    truth_db = np.linspace(0.0, 4.4, BANDS)
    found_db = truth_db + 0.1 * rng.standard_normal((40, BANDS))
    found_db[:8] += 6.0  # somebody who moved
    before = rises(np.ones((40, BANDS)))
    after = rises(10 ** (found_db / 10))
    asked = np.ones((40, BANDS), bool)
    asked[:, 9:] = False
    tone = tone_of(before, after, asked)
    np.testing.assert_allclose(tone.level_db[:9], truth_db[:9], atol=0.3)
    # Bands from which nobody tells: the last one's, and as much more as it may go on.
    beyond_db = np.abs(tone.level_db[9:] - truth_db[9:])
    assert np.all(beyond_db < 1.96 * tone.deviation_db[9:])
    assert np.all(np.diff(tone.deviation_db[8:]) > 0.2)
    assert tone.mirrored().level_db.tolist() == (-tone.level_db).tolist()
    nothing = tone_of(before, after, np.zeros_like(asked))
    assert np.all(np.isinf(nothing.deviation_db))
