"""The same take: a straight map, or one in stretches where something was cut out or put in."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import coarse, edits, exact
from mixcompare.alignment.events import channels_swapped, end_events, gap_event
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.result import SAME_TAKE, Alignment, Event
from mixcompare.alignment.timemap import TimeMap

FloatArray = npt.NDArray[np.float64]
_SPLICE_S = 0.3  # about an edit, analysis windows hold sound of both its sides


def same_take(reference: Representation, candidate: Representation) -> Alignment | None:
    """Lay one take over itself, sharp to microseconds; None where they are two."""
    offsets = coarse.find_offset_s(reference, candidate)
    take = exact.locate(reference, candidate, offsets)
    if take is None or not take.may_be_same:
        return None
    chain = edits.stretches(reference, candidate, take)
    if not chain or not (take.is_same or len(chain) > 1):
        return None
    uncertainty_ms, warnings = _doubt_ms(reference, candidate, take, edits.longest(chain))
    time_map, events = _in_stretches(reference, candidate, chain, take, 1.645 * uncertainty_ms)
    slope = 1 + take.drift_ppm * 1e-6
    return Alignment(
        relation=SAME_TAKE,
        confidence=float(np.clip(0.9 + 0.1 * (take.prominence - 1.3), 0.9, 0.999)),
        time_map=time_map,
        offset_s=float(time_map.to_candidate(0.0)),
        drift_ppm=take.drift_ppm,
        polarity=take.polarity,
        channels_swapped=channels_swapped(reference, candidate, time_map),
        transposition_semitones=0,
        tuning_cents=1200 * float(np.log2(1 / slope)),
        tempo_ratio=slope,
        uncertainty_ms=uncertainty_ms,
        events=events + end_events(reference, candidate, time_map),
        warnings=warnings,
    )


def _doubt_ms(
    reference: Representation,
    candidate: Representation,
    take: exact.SameTake,
    within_s: tuple[float, float],
) -> tuple[float, tuple[str, ...]]:
    """Typical error of the map of one take, and what it does not follow."""
    uncertainty_ms = 1e3 * max(take.scatter_s / np.sqrt(take.windows), 1e-6)
    later_s = exact.second_arrival_s(reference, candidate, take, within_s)
    if later_s is not None:
        when = "later" if later_s > 0 else "earlier"
        words = (
            "Several arrival times: part of the sound (a stem or a microphone) lies"
            f" {abs(later_s) * 1e3:.1f} ms {when} against the rest in the candidate than in"
            " the reference; the map follows the stronger part."
        )
        return max(uncertainty_ms, 1e3 * abs(later_s)), (words,)
    if take.scatter_s > 4e-4:
        words = (
            "Several arrival times: the offset of the candidate changes from place to place"
            f" by about {take.scatter_s * 1e3:.1f} ms (edited, or stems moved)."
        )
        return uncertainty_ms, (words,)
    return uncertainty_ms, ()


def _in_stretches(
    reference: Representation,
    candidate: Representation,
    chain: list[edits.Stretch],
    take: exact.SameTake,
    half_width_ms: float,
) -> tuple[TimeMap, tuple[Event, ...]]:
    """The map of one take: straight, but for what was cut out or put in."""
    slope = 1 + take.drift_ppm * 1e-6
    last = chain[-1]
    starts = [max(0.0, -chain[0].offset_s / slope), *(one.start_s for one in chain[1:])]
    end_s = min(reference.duration_s, (candidate.duration_s - last.offset_s) / slope)
    ends = [*(one.end_s for one in chain[:-1]), end_s]
    if len(chain) == 1:
        return TimeMap.linear(take.offset_s, slope, starts[0], end_s, half_width_ms), ()
    pieces: list[FloatArray] = []
    widths: list[FloatArray] = []
    events: list[Event] = []
    for at, (one, start, end) in enumerate(zip(chain, starts, ends, strict=True)):
        inner = [start + _SPLICE_S] if at else []
        outer = [end - _SPLICE_S] if at < len(chain) - 1 else []
        nodes = np.array([start, *inner, (start + end) / 2, *outer, end])
        piece = np.stack([nodes, one.offset_s + slope * nodes])
        width = np.full(len(nodes), half_width_ms)
        width[: 2 * len(inner)] = width[len(nodes) - 2 * len(outer) :] = np.inf
        if at:
            gap = piece[:, 0] - pieces[-1][:, -1]
            ends_at, starts_at = ((float(r), float(c)) for r, c in (pieces[-1][:, -1], piece[:, 0]))
            events.append(gap_event(float(gap[1] - gap[0]), ends_at, starts_at))
        pieces.append(piece)
        widths.append(width)
    reference_s, candidate_s = np.concatenate(pieces, axis=1)
    time_map = TimeMap(_rising(reference_s), _rising(candidate_s), np.concatenate(widths))
    return time_map, tuple(events)


def _rising(times: FloatArray) -> FloatArray:
    """The same times, a join that takes no time made a microsecond long."""
    out = times.copy()
    for at in range(1, len(out)):
        out[at] = max(out[at], out[at - 1] + 1e-6)
    return out
