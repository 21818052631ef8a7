"""How an element stands beside the others in its own bands, between two performances.

Another hall and other instruments move whole bands by decibels, but what plays in a band when the
element does and when it does not is moved alike. So in every band the level difference of the
element's own moments is held against that of the others' moments there; the middle of all bands is
what is left. With the true shares of a figure or a section this reads nothing within 0.6 dB where
nothing changed, with other players of other instruments in another hall as well (19 figures of four
scores, like players and other libraries), and two thirds to nine tenths of a change of 5 dB: a cell
is seldom the element's alone. Shares that are estimated read less, so this says whether an element
moved and to which side, not by how much.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.pair.spectra import PairSpectra
from mixcompare.statistics import weighted_medians, weighted_quantile

FloatArray = npt.NDArray[np.float64]

# Our judgement, not measured: shares of a cell that is the element's own, and that is not its.
_OWN, _OTHERS = 0.5, 0.1
SMOOTH_FRAMES = 5  # 0.25 s: players of one chord are not together
_FEWEST_MOMENTS = 3  # of either kind, for a band
_FEWEST_BANDS = 3
_FLOOR = 1e-12  # of the loudest: both directions are to read the same of soft bands
_LEAST_DEVIATION_DB = 0.3  # unchanged pairs of the tuning set spread by it


def heard_in_both(spectra: PairSpectra, smooth: PairSpectra) -> FloatArray:
    """How much every cell says: amplitude of the softer one, each band by its mean level.

    Parameters
    ----------
    spectra : PairSpectra
        The pair.
    smooth : PairSpectra
        The same over some moments.
    """
    softer = np.maximum(np.minimum(smooth.reference, smooth.candidate), 0.0)
    softer /= spectra.reference.mean(axis=0) + smooth.floor
    return np.where(spectra.audible, np.sqrt(softer), 0.0)


class Beside:
    """The level differences of a pair's cells, read beside each other band by band.

    Parameters
    ----------
    spectra : PairSpectra
        Of two performances.
    """

    def __init__(self, spectra: PairSpectra) -> None:
        smooth = spectra.over_moments(SMOOTH_FRAMES)
        reference, candidate = smooth.reference, smooth.candidate
        floor = _FLOOR * max(float(reference.max()), float(candidate.max())) + 1e-30
        self.difference_db = 10 * np.log10((candidate + floor) / (reference + floor))
        self.weight = heard_in_both(spectra, smooth)

    def level_db(self, share: FloatArray) -> tuple[float, float]:
        """Level of an element's own moments against the others' in the same bands.

        Parameters
        ----------
        share : ndarray, shape (n, bands)
            Of the element in every cell's power, in both recordings alike.

        Returns
        -------
        level_db, deviation_db : float
            Candidate minus reference, and its standard deviation by the spread of the bands; NaN
            where too few bands have both.
        """
        own, others = self.weight * (share > _OWN), self.weight * (share < _OTHERS)
        both = np.minimum((own > 0).sum(axis=0), (others > 0).sum(axis=0)) >= _FEWEST_MOMENTS
        if both.sum() < _FEWEST_BANDS:
            return float("nan"), float("nan")
        own, others, difference_db = own[:, both], others[:, both], self.difference_db[:, both]
        apart_db = weighted_medians(difference_db, own) - weighted_medians(difference_db, others)
        weight = np.minimum(own.sum(axis=0), others.sum(axis=0))
        level_db = weighted_quantile(apart_db, weight, 0.5)
        spread_db = 1.4826 * weighted_quantile(np.abs(apart_db - level_db), weight, 0.5)
        bands = float(weight.sum()) ** 2 / float((weight**2).sum())
        return level_db, float(np.hypot(spread_db / np.sqrt(bands), _LEAST_DEVIATION_DB))
