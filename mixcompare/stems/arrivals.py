"""By how much each spot hears its section before the main array does.

Conventions
-----------
The array is a sum of what the other microphones hear, each through a filter (least squares, as a
mix is one of its stems): what a spot hears of its neighbours is then laid to their own spots, and
the peak of its filter is the way of its own section to the array. Left and right are asked each
for itself, and the nearer one counts. What does not stand out of the filter, or not in most of the
time, is not told: bleed was too strong, or too little played.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy import fft

from mixcompare.stems.explained import Making, least_squares, peaks

FloatArray = npt.NDArray[np.float64]

_NAMED = re.compile(r"\b(main|array|tree|overheads?)\b", re.IGNORECASE)
_MOST_OF_IT = 0.5  # of the mix's energy: that carries an unnamed array
_STANDS_OUT = 10.0
"""Peak over root mean square of a filter. Three movements in a hall, played twice: in the channel
where it is less, right ones have 10.2 to 24.7, wrong ones up to 9.1."""
_SAME_S, _MOST_BLOCKS = 1e-4, 0.7  # of the time, by energy, in which the arrival is that
_LEAST_S, _FAR_S = 5e-4, 0.06  # less is no way through air, more no hall's stage
_FEWEST = 2  # spots that are told, for an array to be one


def array_of(names: Sequence[str], shares: FloatArray) -> int | None:
    """Which stem is the main array: by its name, else by its share of the mix's energy."""
    named = [place for place, name in enumerate(names) if _NAMED.search(name.replace("_", " "))]
    if named:
        return max(named, key=lambda place: float(shares[place]))
    most = int(np.argmax(shares))
    return most if shares[most] > _MOST_OF_IT else None


def early(making: Making, array: int) -> tuple[FloatArray, FloatArray]:
    """By how much each stem is earlier than the array, in s, and its standard deviation.

    NaN where it can't be told, and everywhere where that is no array of these stems.

    Parameters
    ----------
    making : Making
        Of the mix that holds them all.
    array : int
        Number of the array among the stems.
    """
    others = [place for place in range(len(making.sounds)) if place != array]
    early_s, deviation_s = np.full((2, len(making.sounds)), np.nan)
    channels = [_through_air(making, channel, others, array) for channel in range(2)]
    found = np.stack([arrival for arrival, _ in channels])
    nearer = found.argmin(axis=0)
    told = np.isfinite(found).all(axis=0)
    if told.sum() >= _FEWEST:
        places = np.array(others)[told]
        early_s[places] = found.min(axis=0)[told]
        doubts = np.stack([doubt for _, doubt in channels])
        deviation_s[places] = doubts[nearer, np.arange(len(others))][told]
    return early_s, deviation_s


def _through_air(
    making: Making, channel: int, others: list[int], array: int
) -> tuple[FloatArray, FloatArray]:
    """Arrivals in one channel, NaN where they can't be told, and their standard deviations."""
    between = making.between[:, channel]
    cross = between[..., others, :][..., others].astype(np.complex128)
    towards = between[..., others, array].astype(np.complex128)
    power = between[..., array, array].real.sum(axis=0).astype(np.float64)
    own = np.einsum("bfii->bi", cross).real
    usual = float(power.sum()) / max(float(own.sum()), 1e-30)
    ridge = power / making.frames / max(usual, 1e-12)
    responses = least_squares(cross.sum(axis=0)[None], towards.sum(axis=0)[None], ridge[None])[0]
    arrival_s, height = peaks(responses)
    spread = np.sqrt(np.square(fft.irfft(responses, axis=1)).mean(axis=1))
    blocks = np.array(
        [
            peaks(least_squares(one[None], there[None], ridge[None] / len(cross))[0])[0]
            for one, there in zip(cross, towards, strict=True)
        ]
    )
    agree = np.abs(blocks - arrival_s) < _SAME_S
    share = (agree * own).sum(axis=0) / np.maximum(own.sum(axis=0), 1e-30)
    away = np.abs(arrival_s)
    stands = np.abs(height) > _STANDS_OUT * np.maximum(spread, 1e-30)
    told = stands & (share > _MOST_BLOCKS) & (away > _LEAST_S) & (away < _FAR_S)
    moves = np.where(agree, blocks - arrival_s, 0.0)
    doubt = np.sqrt(np.square(moves).sum(axis=0) / np.maximum(agree.sum(axis=0), 1))
    return np.where(told, arrival_s, np.nan), doubt
