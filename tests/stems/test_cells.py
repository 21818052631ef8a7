"""Powers of stems and mix in cells, against sums written out plainly."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.features.grid import ANALYSIS_RATE_HZ, LOW_FFT, SEMITONE_FFT
from mixcompare.features.together import BATCH, frames_together
from mixcompare.standards.iec61260 import band_weights
from mixcompare.stems.cells import STEP, CellSums
from mixcompare.stems.explained import Laid, making_of
from tests.stems import made
from tests.stems.made import files, mixed, recorded

CENTRE_HZ = 440 * 2.0 ** (np.arange(-24, 25) / 12)


@pytest.mark.parametrize("count", [BATCH + STEP, 4 * BATCH + 3])
def test_cells_are_sums_over_bins_and_frames(count: int) -> None:
    """By definition: weight times the real part of each cross power; a pair of two counts twice."""
    parts = made.stems(figure=3.0)
    mix, stems = recorded(mixed(parts)), list(files(parts).values())
    making = making_of(mix, stems, [0.0] * 5, count / 20)
    cells = CellSums(making, CENTRE_HZ, count)
    first, expected = 0, np.zeros((4, 4, count, len(CENTRE_HZ)))
    left = np.zeros((count, len(CENTRE_HZ)))
    sizes = LOW_FFT, SEMITONE_FFT
    edges_hz = np.append(CENTRE_HZ, 2 * CENTRE_HZ[-1] - CENTRE_HZ[-2]) * 2 ** (-1 / 24)
    edges_hz[-1] = CENTRE_HZ[-1] * 2 ** (1 / 24)
    low = CENTRE_HZ < 220
    for batches in frames_together([mix, *stems], sizes, count, [0.0] * 5):
        for size, spectra in zip(sizes, batches, strict=True):
            cells.push(size, first, spectra)
            weights = band_weights(edges_hz, ANALYSIS_RATE_HZ / size, size // 2 + 1)
            weights = weights * (SEMITONE_FFT / size) ** 2 * (low == (size == LOW_FFT))
            sounds = spectra[1:].astype(complex) * making.responses(size)[:, :, None]
            rows = slice(first, first + sounds.shape[2])
            both = np.einsum("icfb,jcfb->ijfb", sounds, sounds.conj()).real
            expected[:, :, rows] += both @ weights
            away = spectra[0] - sounds.sum(axis=0)
            left[rows] += np.square(np.abs(away)).sum(axis=0) @ weights
        first += spectra.shape[2]
    found = cells.result()
    rows = count // STEP
    inside = expected[:, :, : rows * STEP].reshape(4, 4, rows, STEP, -1).sum(axis=3)
    for (one, other), cross in zip(found.pairs, found.cross, strict=True):
        twice = 1 if one == other else 2
        scale = inside[one, one].max()
        np.testing.assert_allclose(cross / scale, twice * inside[one, other] / scale, atol=1e-4)
    made_of = inside.sum(axis=(0, 1))
    np.testing.assert_allclose(found.made / made_of.max(), made_of / made_of.max(), atol=1e-4)
    rest = left[: rows * STEP].reshape(rows, STEP, -1).sum(axis=1)
    np.testing.assert_allclose(found.left / made_of.max(), rest / made_of.max(), atol=1e-4)


def test_files_are_silent_before_they_begin_and_after_they_end() -> None:
    noise = 0.1 * np.random.default_rng(1).standard_normal((made.RATE_HZ, 2))
    late = list(frames_together([recorded(noise)] * 2, (SEMITONE_FFT,), 80, [0.0, -1.5]))
    power = np.concatenate([np.square(np.abs(one)).sum(axis=(1, 3)) for (one,) in late], axis=1)
    heard = power > 1e-3 * power.max()
    # 20 frames a second, centred: half a window of 171 ms more at either end.
    assert np.flatnonzero(heard[0]).tolist() == list(range(22))
    assert np.flatnonzero(heard[1]).tolist() == list(range(29, 52))


def test_frames_that_pass_an_end_of_the_mix_do_not_count() -> None:
    """Windows of 171 ms, 20 of them a second: two at either end."""
    laid = Laid.of(recorded(np.full((made.RATE_HZ, 2), 0.1)))
    assert laid.gain.tolist() == [0.0] * 2 + [1.0] * 17 + [0.0]
