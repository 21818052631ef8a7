"""One take in stereo and in mono: the stereo one folded as the other was, before cells are held.

A cell's power in mono hangs on how its two channels add up, one by one; against the power of both
every cell would scatter by its own place in the image. Powers and cross powers tell exactly what
any fold would have left of a cell.

Conventions
-----------
Levels are those of a mono file: of one channel, or of both when they are alike; what is constant
about that is taken out again as a gain.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.pair.spectra import PairSpectra
from mixcompare.pair.undo import levelled
from mixcompare.statistics import densest

FloatArray = npt.NDArray[np.float64]

_FOLDS = ((0.5, 0.0, 0.5), (1.0, -1.0, 0.0), (1.0, 1.0, 0.0))
"""Of the whole, of right less left, of the real cross power twice: what both channels make
together, what left alone, what right alone."""
_SHARE = 0.5  # of the cells' weight, that agree best under the fold that was made; our choice


def with_other_folded(
    spectra: PairSpectra, images: tuple[FloatArray, FloatArray], mono: tuple[bool, bool]
) -> PairSpectra:
    """The same cells, the stereo recording folded to the mono that the other one fits best.

    Parameters
    ----------
    spectra : PairSpectra
        Of one take.
    images : (ndarray, ndarray), shape (n, bands, 3)
        As from :func:`mixcompare.pair.spectra.images`, at the level of the spectra.
    mono : (bool, bool)
        Which of reference and candidate is mono: one of them.
    """
    found = []
    for fold in _FOLDS:
        powers = [
            power if is_mono else _folded(power, cells, fold)
            for power, cells, is_mono in zip(
                (spectra.reference, spectra.candidate), images, mono, strict=True
            )
        ]
        one = replace(spectra, reference=powers[0], candidate=powers[1])
        weight = np.where(one.audible, np.minimum(*powers) ** 0.3, 0.0)
        found.append((densest(one.difference_db, weight, _SHARE)[0], one))
    return levelled(min(found, key=lambda each: each[0])[1])


def _folded(power: FloatArray, cells: FloatArray, fold: tuple[float, float, float]) -> FloatArray:
    """Power of a fold of two channels; never all gone: rounding is not to be read as silence."""
    whole, across, together = fold
    return np.maximum(
        whole * power + across * cells[..., 0] + together * cells[..., 1], 1e-3 * power
    )
