"""What only one of the recordings has, and which way round their channels are."""

from __future__ import annotations

import numpy as np

from mixcompare.alignment.representation import SIDES_RATE_HZ, Representation
from mixcompare.alignment.result import Event, Place, moved
from mixcompare.alignment.timemap import TimeMap, sample_frames
from mixcompare.audio.span import span_text


def gap_event(extra: float, ends: tuple[float, float], starts: tuple[float, float]) -> Event:
    """What one recording has between two stretches that the other lacks: a cut or an insertion."""
    if extra > 0:
        kind, words = "repeat", f"The candidate has {extra:.1f} s that the reference lacks"
    else:
        kind, words = "cut", f"The candidate leaves out {-extra:.1f} s"
    return Event(
        kind,
        (ends[0], starts[0]),
        (ends[1], starts[1]),
        f"{words} at {ends[0]:.1f} s of the reference.",
    )


def channels_swapped(
    reference: Representation, candidate: Representation, time_map: TimeMap
) -> bool | None:
    """Whether left and right are exchanged; None where the image is too even to tell."""
    if reference.is_mono or candidate.is_mono:
        return None
    times = np.arange(*time_map.span_s, 1 / SIDES_RATE_HZ)
    times = times[time_map.covers(times)]
    of_reference = sample_frames(reference.sides_db, SIDES_RATE_HZ, times)
    of_candidate = sample_frames(candidate.sides_db, SIDES_RATE_HZ, time_map.to_candidate(times))
    if of_reference.size == 0:
        return None
    correlation = float(
        (of_reference * of_candidate).sum()
        / np.sqrt((of_reference * of_reference).sum() * (of_candidate * of_candidate).sum() + 1e-9)
    )
    if (
        abs(correlation) < 0.3
        or min(np.abs(of_reference).mean(), np.abs(of_candidate).mean()) < 0.2
    ):
        return None
    return correlation < 0


def end_events(
    reference: Representation,
    candidate: Representation,
    time_map: TimeMap,
    places: tuple[Place, ...] = (),
) -> tuple[Event, ...]:
    """Music that only one recording has before or after the part in common.

    What holds the passage once more (one of ``places``) has a counterpart, and is not compared.
    """
    inside = time_map.span_s, time_map.candidate_span_s
    sides = ("reference", reference, inside[0]), ("candidate", candidate, inside[1])
    heads, tails = [], []
    for who, recording, (begins_s, ends_s) in sides:
        own = [one.own_s for one in places if one.recording == who]
        behind = recording.duration_s - ends_s
        if begins_s > 1.0:
            again = [span_s for span_s in own if span_s[0] < begins_s - 1.0]
            heads.append(_only_in(f"first {begins_s:.1f} s of the {who}", again, recording))
        if behind > 1.0:
            again = [span_s for span_s in own if span_s[1] > ends_s + 1.0]
            tails.append(_only_in(f"last {behind:.1f} s of the {who}", again, recording))
    events = []
    (start, end), (first, last) = inside
    if heads:
        events.append(Event("head", (0.0, start), (0.0, first), " ".join(heads)))
    if tails:
        ends = (end, reference.duration_s), (last, candidate.duration_s)
        events.append(Event("tail", *ends, " ".join(tails)))
    return tuple(events)


def _only_in(what: str, again: list[tuple[float, float]], recording: Representation) -> str:
    """What is said of music before or after, which may hold the passage once more."""
    if not again:
        return f"The {what} have no counterpart."
    where = listed([span_text(moved(span_s, recording.begins_s)) for span_s in again])
    return f"The {what} were not compared: the passage comes again there ({where})."


def listed(words: list[str], last: str = "and") -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    head = ", ".join(words[:-1])
    return f"{head} {last} {words[-1]}" if head else words[-1]
