"""The level of every part in one recording by itself, as a mixture of all parts' templates."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

DB = 10 / np.log(10)
BACKGROUND = 1e-5
"""Of the loudest cell, in every cell beside the parts: what no template covers must not rule."""
_KNOTS_HZ = np.geomspace(50, 6400, 8)  # an octave apart; our choice
_QUICK = 15  # updates


def hats(centre_hz: FloatArray) -> FloatArray:
    """Triangles an octave apart that add up to one, shape (bands, knots)."""
    knots = np.log2(_KNOTS_HZ)
    place = np.clip(np.log2(centre_hz), knots[0], knots[-1])
    away = np.abs(place[:, None] - knots) / (knots[1] - knots[0])
    return np.asarray(np.clip(1 - away, 0, None))


def separate(
    power: FloatArray, templates: FloatArray, centre_hz: FloatArray, updates: int
) -> FloatArray:
    """Gain of every part at every knot, fitted to one recording alone; shape (parts, knots).

    Multiplicative updates for the beta divergence with 0.5 (Fevotte and Idier 2011, Neural
    Computation 23, 2421-2456).
    """
    shape = hats(centre_hz)
    gains = np.full((len(templates), shape.shape[1]), power.sum() / max(templates.sum(), 1e-30))
    floor = BACKGROUND * power.max()
    for _ in range(updates):
        model = np.einsum("pf,pft->ft", gains @ shape.T, templates) + floor
        more = np.einsum("ft,pft->pf", power * model**-1.5, templates) @ shape
        less = np.einsum("ft,pft->pf", model**-0.5, templates) @ shape
        gains *= (more / np.maximum(less, 1e-30)) ** (1 / 1.5)
    return gains


def misfit(power: FloatArray, templates: FloatArray, centre_hz: FloatArray) -> float:
    """How far the best mixture of templates lies from a recording, in nepers; quickly."""
    power, templates = power[:, ::2], templates[..., ::2]
    gains = separate(power, templates, centre_hz, _QUICK)
    model = np.einsum("pf,pft->ft", gains @ hats(centre_hz).T, templates)
    floor = BACKGROUND * power.max()
    away = np.abs(np.log((power + floor) / (model + floor)))[power > floor]
    return float(np.minimum(away, 2).mean())
