"""A second opinion on the parts' levels where other instruments play: each recording for itself.

The joint fit (:mod:`mixcompare.parts.fit`) is steady, but it reads differences small where the
templates fit neither recording well; two recordings fitted one by one are read in full, with errors
of their own. Their mean is nearer to the truth than either.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.parts.fit import Cells, Fitted
from mixcompare.parts.separate import DB, hats, separate
from mixcompare.standards.bs1770 import k_weighting_power

FloatArray = npt.NDArray[np.float64]

# Chosen on three movements, played 18 times by other instruments: of the changed sections 7 are
# found and 10 pairs told rightly first, with the joint fit alone 5 and 5.
_UPDATES, _WEIGHT = 60, 0.5
_VARIANCE, _DISAGREEMENT = 0.64, 0.1  # of the joint fit's that is kept; of the squared difference
_FARTHEST_DB, _MOST_APART_DB = 20.0, 8.0


def with_second_opinion(cells: Cells, fitted: Fitted) -> Fitted:
    """The fit, and where other instruments play its mean with that of either recording alone."""
    if not fitted.other_instruments:
        return fitted
    heavy = 1 / np.diag(fitted.covariance)
    other = levels_apart(cells).clip(-_FARTHEST_DB, _FARTHEST_DB)
    joint_db, apart_db = (
        level - np.average(level, weights=heavy) for level in (fitted.difference_db, other)
    )
    away = np.clip(apart_db - joint_db, -_MOST_APART_DB, _MOST_APART_DB)
    return replace(
        fitted,
        difference_db=joint_db + _WEIGHT * (apart_db - joint_db),
        covariance=_VARIANCE * fitted.covariance + np.diag(_DISAGREEMENT * away**2),
    )


def levels_apart(cells: Cells) -> FloatArray:
    """Level of every part, candidate minus reference, each recording fitted alone."""
    weight, shape = k_weighting_power(cells.centre_hz), hats(cells.centre_hz).T
    energies = []
    for power, templates in (
        (cells.reference, cells.in_reference),
        (cells.candidate, cells.in_candidate),
    ):
        gains = separate(power, templates, cells.centre_hz, _UPDATES) @ shape
        energies.append(np.einsum("pf,pft,f->p", gains, templates, weight))
    return np.asarray(DB * np.log((energies[1] + 1e-12) / (energies[0] + 1e-12)))
