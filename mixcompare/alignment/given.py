"""A time map of the user's own: held against the recordings before it is used.

It must lie in both, at tempi that somebody could play, and the recordings have to agree along it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.coarse import LARGEST_TRANSPOSITION
from mixcompare.alignment.events import channels_swapped
from mixcompare.alignment.passage import MEDIAN_OVER_90
from mixcompare.alignment.relation import harmony_agreement
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.result import SAME_PASSAGE, Alignment
from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.span import SHORTEST_PAIR_S
from mixcompare.errors import AlignmentError

_STEEPEST = 4.0  # times the tempo, or a quarter of it: our choice
_STRETCH_S = 0.5  # slopes are read over at least that: taps of a finger scatter
_END_S = 0.5  # as much may reach beyond an end without a word
# Right maps of four pairs have agreements of 0.51 (two orchestras) to 0.97; moved by a second, or
# with the tempo wrong by a tenth, at most 0.21; 84 maps between other music at most 0.22, one in
# twenty of them more than 0.11.
_NONE, _DOUBTFUL, _SLOPE = 0.15, 0.35, 0.06
_SHIFTS_S = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0)
_BETTER = 0.1  # agreement gained by a shift or a transposition that is worth a word


def given(reference: Representation, candidate: Representation, time_map: TimeMap) -> Alignment:
    """The alignment that a user's map makes.

    Raises
    ------
    AlignmentError
        If it lies outside the recordings, is too steep, or they have nothing in common along it.
    """
    _check_slopes(time_map)
    inside, notes = _within(time_map, reference.duration_s, candidate.duration_s)
    semitones, agreement = _transposition(reference, candidate, inside)
    sounding = candidate.transposed(semitones)
    doubts = _doubts(reference, sounding, inside, agreement)
    finite = inside.half_width_ms[np.isfinite(inside.half_width_ms)]
    total_cents = 100 * semitones + candidate.grid_tuning_cents - reference.grid_tuning_cents
    transposition = round(total_cents / 100)
    return Alignment(
        relation=SAME_PASSAGE,
        confidence=float(1 / (1 + np.exp((_DOUBTFUL - agreement) / _SLOPE))),
        time_map=inside,
        offset_s=float(inside.to_candidate(0.0)),
        drift_ppm=None,
        polarity=None,
        channels_swapped=channels_swapped(reference, candidate, inside),
        transposition_semitones=transposition,
        tuning_cents=float(total_cents - 100 * transposition),
        tempo_ratio=inside.pace()[0],
        uncertainty_ms=MEDIAN_OVER_90 * float(np.median(finite)) if len(finite) else float("inf"),
        warnings=("The time map was given by the user.", *notes, *doubts),
    )


def _check_slopes(time_map: TimeMap) -> None:
    """Refuse tempi that nobody plays; where there is no counterpart there is no tempo."""
    reference_s, candidate_s = time_map.reference_s, time_map.candidate_s
    is_gap = ~np.isfinite(time_map.half_width_ms)
    at = 0
    for to in range(1, len(reference_s)):
        if is_gap[to - 1] and is_gap[to]:
            at = to
            continue
        spans_s = reference_s[to] - reference_s[at], candidate_s[to] - candidate_s[at]
        if max(spans_s) < _STRETCH_S and to < len(reference_s) - 1:
            continue
        if max(spans_s) > _STEEPEST * min(spans_s) and max(spans_s) >= _STRETCH_S:
            raise AlignmentError(
                f"the time map takes {spans_s[1]:.6g} s of the candidate for {spans_s[0]:.6g} s of"
                f" the reference from {reference_s[at]:.6g} s on: more than {_STEEPEST:g} times the"
                " tempo; mend these rows."
            )
        at = to


def _within(
    time_map: TimeMap, reference_s: float, candidate_s: float
) -> tuple[TimeMap, tuple[str, ...]]:
    """The part of a map that lies in both recordings, and a word on what is left out."""
    first, last = time_map.candidate_span_s
    start, end = time_map.span_s
    begin = max(0.0, start, float(time_map.to_reference(max(first, 0.0))))
    stop = min(reference_s, end, float(time_map.to_reference(min(last, candidate_s))))
    if stop - begin < max(SHORTEST_PAIR_S, 0.5 * (end - start)):
        raise AlignmentError(
            f"the time map ({start:.6g} to {end:.6g} s of the reference, {first:.6g} to"
            f" {last:.6g} s of the candidate) lies mostly outside the recordings"
            f" ({reference_s:.1f} and {candidate_s:.1f} s); are its times seconds from their"
            " beginnings?"
        )
    if (begin, stop) == (start, end):
        return time_map, ()
    nodes = time_map.reference_s
    inner = nodes[(nodes > begin) & (nodes < stop)]
    kept = np.concatenate([[begin], inner, [stop]])
    widths = np.interp(kept, nodes, np.where(np.isfinite(time_map.half_width_ms), 0.0, 1.0))
    finite = np.where(np.isfinite(time_map.half_width_ms), time_map.half_width_ms, 0.0)
    half_width_ms = np.where(widths >= 1, np.inf, np.interp(kept, nodes, finite))
    inside = TimeMap(*_rising(kept, time_map.to_candidate(kept)), half_width_ms)
    left_out_s = end - start - (stop - begin)
    if left_out_s < _END_S:
        return inside, ()
    return inside, (f"{left_out_s:.1f} s of it lie outside the recordings and are left out.",)


def _rising(
    reference_s: npt.NDArray[np.float64], candidate_s: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """The same nodes, those that rounding made equal moved apart by a nanosecond."""
    steps = 1e-9 * np.arange(len(reference_s))
    rises = bool((np.diff(reference_s) > 0).all() and (np.diff(candidate_s) > 0).all())
    return (reference_s, candidate_s) if rises else (reference_s + steps, candidate_s + steps)


def _transposition(
    reference: Representation, candidate: Representation, time_map: TimeMap
) -> tuple[int, float]:
    """By how many semitones the candidate is transposed, and how well they agree then."""
    agreements = {
        semitones: harmony_agreement(reference, candidate.transposed(semitones), time_map)
        for semitones in range(-LARGEST_TRANSPOSITION, LARGEST_TRANSPOSITION + 1)
    }
    best = max(agreements, key=lambda semitones: agreements[semitones])
    if agreements[best] < max(_DOUBTFUL, agreements[0] + _BETTER):
        best = 0  # the best of fifteen is a little better than none by chance
    return best, agreements[best]


def _doubts(
    reference: Representation, sounding: Representation, time_map: TimeMap, agreement: float
) -> tuple[str, ...]:
    """What speaks against a map; one along which nothing agrees is refused."""
    shifted = {
        shift: harmony_agreement(reference, sounding, time_map.moved(0.0, shift))
        for shift in sorted((*_SHIFTS_S, *(-shift for shift in _SHIFTS_S)), key=abs)
    }
    best = max(shifted, key=lambda shift: shifted[shift])
    better = ""
    if shifted[best] > agreement + _BETTER:
        side = "later" if best > 0 else "earlier"
        better = f" They agree better with the candidate's times {abs(best):g} s {side}."
    if agreement < _NONE:
        raise AlignmentError(
            f"along the time map the recordings have nothing in common (agreement {agreement:.2f};"
            f" one passage has 0.5 and more); check that it belongs to them.{better}"
        )
    if agreement < _DOUBTFUL or better:
        return (
            f"The time map is doubtful: along it the recordings agree little ({agreement:.2f}; one"
            f" passage has 0.5 and more).{better} Check it.",
        )
    return ()
