"""Same take, same passage, or other music; and how sure.

Two statistics tell other music apart. One is the correlation of both harmonies over the final map:
log energy per semitone (not folded into pitch classes), minus each semitone's mean over time, minus
the frame's mean. The other is how much better the one runs through the other than through the other
played backwards, which has the same notes, chords, instruments and length, in another order.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.representation import Representation
from mixcompare.alignment.timemap import TimeMap, sample_frames

FloatArray = npt.NDArray[np.float64]

_RATE_HZ = 10.0  # resolution: that of the harmony, ten a second
SAME_HARMONY = 0.5
"""Agreement halfway between one passage and other music. Of 300 stretches of 5 and 8 s of rendered
pairs none has less than 0.67; of other music put where it fits best nine of ten stay under 0.5 (two
real orchestras: 0.51 in the same half minute, 0.27 where it is not the same)."""
_OTHER_MUSIC, _LEAST_OTHER_S = 0.25, 3.0
"""Agreement of seconds at an end that hold other music, and how many there are at least: of two
real orchestras up to 0.22 where one of them takes a repeat, 0.35 and more at ends they share."""
_SAME_ORDER, _ORDER_SPREAD = 0.10, 0.03
"""Gain of the coarse path over one backwards that speaks neither way, and what makes it e times as
likely: 0.15 to 0.6 in one passage, mostly -0.1 to 0.05 in other music (0.15 in pieces over the same
few chords). Two real orchestras: 0.19 to 0.22 in the half minute that both play, whole or in spans.
"""


def harmony_agreement(
    reference: Representation, candidate: Representation, time_map: TimeMap
) -> float:
    """Correlation of both harmonies over the mapped passage, -1 to 1.

    It is read in even steps of the mean of both clocks, so that neither counts for more.
    """
    _, of_reference, of_candidate = _harmonies(reference, candidate, time_map)
    if len(of_reference) < 20:
        return 0.0
    return float(
        (of_reference * of_candidate).sum()
        / np.sqrt((of_reference * of_reference).sum() * (of_candidate * of_candidate).sum() + 1e-12)
    )


def common_span_s(
    reference: Representation, candidate: Representation, time_map: TimeMap
) -> tuple[float, float]:
    """Reference times between which both hold the same music; the map's ends where they do.

    A path goes on to the end of one recording though the other plays something else there. What is
    taken off are the seconds at either end that agree least, held against the whole passage's mean,
    so that a held last chord agrees.
    """
    times_s, of_reference, of_candidate = _harmonies(reference, candidate, time_map)
    first_s, last_s = time_map.span_s
    if len(times_s) < 20:
        return first_s, last_s
    whole = np.sqrt((of_reference**2).sum() / ((of_candidate**2).sum() + 1e-12))
    power = ((of_reference**2).sum(axis=1) / whole + (of_candidate**2).sum(axis=1) * whole) / 2
    more = (of_reference * of_candidate).sum(axis=1) - _OTHER_MUSIC * power
    before, behind = _of_other_music(more), _of_other_music(more[::-1])
    return (
        float(times_s[before]) if before else first_s,
        float(times_s[-1 - behind]) if behind else last_s,
    )


def _of_other_music(more: FloatArray) -> int:
    """How many of the first moments agree less, together, than the same music would."""
    gained = np.cumsum(more)
    count = int(np.argmin(gained)) + 1
    long = _LEAST_OTHER_S * _RATE_HZ <= count < len(more) / 2
    return count if long and gained[count - 1] < 0 else 0


def _harmonies(
    reference: Representation, candidate: Representation, time_map: TimeMap
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Reference times, and at them both harmonies without what they hold all the time."""
    mean_s = (time_map.reference_s + time_map.candidate_s) / 2
    even_s = np.arange(mean_s[0], mean_s[-1], 1 / _RATE_HZ)
    reference_s, candidate_s = (
        np.interp(even_s, mean_s, clock_s)
        for clock_s in (time_map.reference_s, time_map.candidate_s)
    )
    covered = time_map.covers(reference_s)
    of_reference, of_candidate = (
        sample_frames(each.harmony(_RATE_HZ, normalised=False), _RATE_HZ, times_s[covered])
        for each, times_s in ((reference, reference_s), (candidate, candidate_s))
    )
    if covered.any():
        of_reference, of_candidate = (
            rows - rows.mean(axis=0) for rows in (of_reference, of_candidate)
        )
        of_reference, of_candidate = (
            rows - rows.mean(axis=1, keepdims=True) for rows in (of_reference, of_candidate)
        )
    return reference_s[covered], of_reference, of_candidate


def passage_probability(
    agreement: float, misfit: float, roughness: float, matched_share: float, order_gain: float
) -> float:
    """Probability that two recordings hold the same passage.

    Parameters
    ----------
    agreement : float
        Of :func:`harmony_agreement`.
    misfit : float
        Mean misfit of the coarse path, 0 to 1.
    roughness : float
        Standard deviation of the map's log slope: nobody plays at twice and then at half the
        tempo from second to second, but a path through other music does.
    matched_share : float
        Matched length over the whole of the recording of which more is matched.
    order_gain : float
        Of the coarse path.

    Notes
    -----
    The first four depend on the instruments, the room and the length as well as on the music; the
    last holds the pair against itself and does not. Chosen on 228 pairs of three scores (the
    benchmark's tuning set; whole, and spans of 8 to 16 s), half of the same passage, some of them
    with other balances, vibrato, a wandering beat, a long room and noise: without the last, 31 of
    108 were refused and none of 120 other ones taken; with it 8, and 1.
    """
    fit = (agreement - SAME_HARMONY) / 0.06 + (0.48 - misfit) / 0.06 + (0.35 - roughness) / 0.15
    fit -= 6 * max(0.0, 0.75 - matched_share)
    # Nothing but the same music fits well; that it fits badly proves nothing.
    logit = 0.5 * max(fit, 0.0) + (order_gain - _SAME_ORDER) / _ORDER_SPREAD
    return float(1 / (1 + np.exp(-np.clip(logit, -50, 50))))
