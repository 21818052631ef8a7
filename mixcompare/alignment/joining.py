"""Stretches of another performance joined to one map, and what lies between them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment import coarse, elastic
from mixcompare.alignment.events import gap_event
from mixcompare.alignment.result import Event
from mixcompare.alignment.timemap import TimeMap

FloatArray = npt.NDArray[np.float64]
_SHORTEST_PIECE_S, _SHORTEST_REPEAT_S = 1.5, 4.0  # of runs; our choice, no record on what
_PACE_STEPS, _HOLD_STEPS = 201, 10  # of 0.1 s
_FREE_PACE = 0.3  # log ratio; rubato stays within it
_HOLD_S = 0.22  # half width per log ratio beyond


def touch(gap: Event, repeat: Event) -> bool:
    """Whether the map jumps there because of the repeat."""
    first, last = gap.reference_s
    return first <= repeat.reference_s[1] + 1.0 and last >= repeat.reference_s[0] - 1.0


def chain(runs: tuple[coarse.Run, ...]) -> tuple[list[coarse.Run], list[Event]]:
    """Runs that go forward on both clocks, the longest first, and music that is played twice.

    A run that overlaps a longer one is cut back to what lies wholly before or after it; what
    is cut off is a repeat that only one of the two takes.
    """
    kept: list[coarse.Run] = []
    events: list[Event] = []
    for run in sorted(runs, key=lambda run: -run.length_s):
        fits = np.ones(len(run.reference_s), bool)
        for other in kept:
            before = (run.reference_s < other.reference_s[0]) & (
                run.candidate_s < other.candidate_s[0]
            )
            after = (run.reference_s > other.reference_s[-1]) & (
                run.candidate_s > other.candidate_s[-1]
            )
            fits &= before | after
        if (~fits).any():
            events += _played_twice(run, ~fits, kept)
        if fits.any():
            kept_at = np.flatnonzero(fits)
            pieces = np.split(kept_at, np.flatnonzero(np.diff(kept_at) > 1) + 1)
            longest = max(pieces, key=len)
            piece = coarse.Run(run.reference_s[longest], run.candidate_s[longest])
            if piece.length_s >= _SHORTEST_PIECE_S:
                kept.append(piece)
    return sorted(kept, key=lambda run: float(run.reference_s[0])), events


def _played_twice(
    run: coarse.Run, outside: npt.NDArray[np.bool_], kept: list[coarse.Run]
) -> list[Event]:
    part = coarse.Run(run.reference_s[outside], run.candidate_s[outside])
    if part.length_s < _SHORTEST_REPEAT_S:
        return []
    reference, candidate = part.reference_s, part.candidate_s
    spans = (
        (float(reference[0]), float(reference[-1])),
        (float(candidate[0]), float(candidate[-1])),
    )
    middle = float(np.median(candidate))
    taken = any(other.candidate_s[0] <= middle <= other.candidate_s[-1] for other in kept)
    if taken:
        words = "The reference takes a repeat that the candidate leaves out"
        kind = "cut"
    else:
        words = "The candidate takes a repeat that the reference leaves out"
        kind = "repeat"
    text = f"{words}: {spans[0][0]:.0f} to {spans[0][1]:.0f} s of the reference."
    return [Event(kind, *spans, text)]


def joined(tracks: list[elastic.Track]) -> tuple[TimeMap, list[Event]]:
    """One map over all runs, and what lies between them."""
    events = []
    reference: list[FloatArray] = []
    candidate: list[FloatArray] = []
    width: list[FloatArray] = []
    last = (-np.inf, -np.inf)
    for track in tracks:
        # Refining may have moved a run's ends a little past its neighbour's.
        inside = (track.reference_s > last[0]) & (track.candidate_s > last[1])
        if inside.sum() < 10:
            continue
        half = _half_width_ms(track)[inside]
        starts = (float(track.reference_s[inside][0]), float(track.candidate_s[inside][0]))
        gap_reference, gap_candidate = starts[0] - last[0], starts[1] - last[1]
        if np.isfinite(last[0]) and max(gap_reference, gap_candidate) > 1.5:
            half[0] = np.inf
            width[-1][-1] = np.inf
            extra = gap_candidate - gap_reference
            if abs(extra) > 1.5:
                events.append(gap_event(extra, last, starts))
        reference.append(track.reference_s[inside])
        candidate.append(track.candidate_s[inside])
        width.append(half)
        last = (float(reference[-1][-1]), float(candidate[-1][-1]))
    return (
        TimeMap(np.concatenate(reference), np.concatenate(candidate), np.concatenate(width)),
        events,
    )


def _half_width_ms(track: elastic.Track) -> FloatArray:
    """90 % half width, from the tracker's own spread and from how suddenly the pace changes.

    The spread sorts moments well but is not to scale; the line is fitted to the 90 % quantile
    of true onset errors in ten bins of spread, on rendered pairs (see the benchmark). Where one
    of the two holds a note far longer than the other, the pace leaves its surroundings and the
    error grows with that, within a second to either side.
    """
    own = np.maximum(0.020, 2.2 * track.spread_s - 0.006)
    pace = np.log(np.clip(np.gradient(track.candidate_s) / elastic.STEP_S, 0.05, 20))
    usual = ndimage.median_filter(pace, _PACE_STEPS, mode="nearest")
    away = ndimage.uniform_filter1d(np.abs(pace - usual), 3)
    held = ndimage.maximum_filter1d(away, 2 * _HOLD_STEPS + 1)
    return np.asarray(1e3 * (own + _HOLD_S * np.maximum(held - _FREE_PACE, 0)))
