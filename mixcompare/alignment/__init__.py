"""Lay two recordings over each other: ``align(reference, candidate) -> Alignment``."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment import coarse, edits, elastic, exact, relation
from mixcompare.alignment.representation import SIDES_RATE_HZ, Representation
from mixcompare.features import ONSET_RATE_HZ, SEMITONE_RATE_HZ, AlignmentFeatures, Progress
from mixcompare.match import SAME_PASSAGE, SAME_TAKE, UNRELATED, Alignment, Event
from mixcompare.recording import Recording
from mixcompare.timemap import TimeMap, sample_frames

FloatArray = npt.NDArray[np.float64]

__all__ = ["align"]

_PACE_STEPS, _HOLD_STEPS = 201, 10  # of 0.1 s
_FREE_PACE = 0.3  # log ratio; rubato stays within it
_HOLD_S = 0.22  # half width per log ratio beyond
_SPLICE_S = 0.3  # about an edit, analysis windows hold sound of both its sides
_SURE = 2.0  # times the median width
_MEDIAN_OVER_90 = 0.4  # median over 90 % quantile of onset errors, on the same pairs


def align(
    reference: Recording | AlignmentFeatures,
    candidate: Recording | AlignmentFeatures,
    time_map: TimeMap | None = None,
    progress: Progress | None = None,
) -> Alignment:
    """Find where the candidate lies against the reference.

    Parameters
    ----------
    reference, candidate : Recording or Features
        A recording gets a light pass of its own; features that are there already are used.
    time_map : TimeMap, optional
        A map of the user's own (tapped bar lines), which is then taken as it is.
    progress : callable, optional
        Called with the share done.

    Returns
    -------
    Alignment
        With ``relation == "unrelated"`` where they hold different music.

    Raises
    ------
    AudioFileError
        If a recording cannot be read.
    """
    share = (0.0, 0.4, 0.8)
    first, second = (
        _view(each, None if progress is None else _part(progress, share[at], share[at + 1]))
        for at, each in enumerate((reference, candidate))
    )
    if time_map is not None:
        return _given(first, second, time_map)
    take = _same_take(first, second)
    if take is not None:
        return take
    if progress is not None:
        progress(0.9)
    return _same_passage(first, second)


def _view(recording: Recording | AlignmentFeatures, progress: Progress | None) -> Representation:
    """Alignment's view; features that nobody else needs are let go at once."""
    if isinstance(recording, Recording):
        return Representation(AlignmentFeatures.of(recording, progress))
    return Representation(recording)


def _part(progress: Progress, start: float, end: float) -> Progress:
    return lambda share: progress(start + share * (end - start))


def _same_take(reference: Representation, candidate: Representation) -> Alignment | None:
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
        events=events + _ends(reference, candidate, time_map),
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
            events.append(_gap(float(gap[1] - gap[0]), ends_at, starts_at))
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


def _same_passage(reference: Representation, candidate: Representation) -> Alignment:
    path = coarse.find_path(reference, candidate)
    sounding = candidate.transposed(path.semitones)
    runs, repeats = _chain(path.runs)
    refined = (_refined(run, reference, sounding) for run in runs)
    tracks = [track for track in refined if track is not None]
    if not tracks:
        return _unrelated(reference, candidate, 0.99)
    time_map, gaps = _joined(tracks)
    events = [*repeats, *(gap for gap in gaps if not any(_touch(gap, one) for one in repeats))]
    events.sort(key=lambda event: event.reference_s)
    agreement = relation.harmony_agreement(reference, sounding, time_map)
    matched_s = sum(float(np.ptp(track.reference_s)) for track in tracks)
    slopes = np.concatenate([np.diff(track.candidate_s) / elastic.STEP_S for track in tracks])
    roughness = float(np.std(np.log(np.clip(slopes, 0.1, 10))))
    shorter_s = min(reference.duration_s, candidate.duration_s)
    probability = relation.passage_probability(
        agreement, path.cost, roughness, matched_s / shorter_s
    )
    if probability < 0.5:
        return _unrelated(reference, candidate, 1 - probability, agreement)
    total_cents = 100 * path.semitones + candidate.grid_tuning_cents - reference.grid_tuning_cents
    transposition = round(total_cents / 100)
    ratio = _sure_ratio(time_map)
    if len(tracks) > 1:
        ratio = sum(float(np.ptp(track.candidate_s)) for track in tracks) / matched_s
    finite = time_map.half_width_ms[np.isfinite(time_map.half_width_ms)]
    return Alignment(
        relation=SAME_PASSAGE,
        confidence=probability,
        time_map=time_map,
        offset_s=float(time_map.to_candidate(0.0)),
        drift_ppm=None,
        polarity=None,
        channels_swapped=channels_swapped(reference, candidate, time_map),
        transposition_semitones=transposition,
        tuning_cents=float(total_cents - 100 * transposition),
        tempo_ratio=float(ratio),
        uncertainty_ms=_MEDIAN_OVER_90 * float(np.median(finite)) if len(finite) else float("inf"),
        events=tuple(events) + _ends(reference, candidate, time_map),
    )


def _touch(gap: Event, repeat: Event) -> bool:
    """Whether the map jumps there because of the repeat."""
    first, last = gap.reference_s
    return first <= repeat.reference_s[1] + 1.0 and last >= repeat.reference_s[0] - 1.0


def _sure_ratio(time_map: TimeMap) -> float:
    """Candidate's over reference's duration between the outermost places that are sure.

    A last chord that dies away says little of where it ends.
    """
    width = time_map.half_width_ms
    sure = np.flatnonzero(width <= _SURE * np.median(width[np.isfinite(width)]))
    first, last = (sure[0], sure[-1]) if len(sure) > 1 else (0, -1)
    between_s = time_map.reference_s[last] - time_map.reference_s[first]
    if between_s < 0.5 * np.ptp(time_map.reference_s):
        first, last, between_s = 0, -1, np.ptp(time_map.reference_s)
    return float((time_map.candidate_s[last] - time_map.candidate_s[first]) / between_s)


def _refined(
    run: coarse.Run, reference: Representation, candidate: Representation
) -> elastic.Track | None:
    if np.ptp(run.reference_s) < 1.0:
        return None
    track = elastic.grid_of(run.reference_s, run.candidate_s, smooth_s=0.8)
    if len(track.reference_s) < 10:
        return None
    for tracker in (elastic.WIDE, elastic.MIDDLE, elastic.FINE):
        track = elastic.follow(
            reference.stacked, candidate.stacked, SEMITONE_RATE_HZ, track, tracker
        )
    track = elastic.follow(
        reference.attacks, candidate.attacks, ONSET_RATE_HZ, track, elastic.ATTACKS
    )
    return elastic.with_even_ends(track, reference.attack_times_s)


def _chain(runs: tuple[coarse.Run, ...]) -> tuple[list[coarse.Run], list[Event]]:
    """Runs that go forward on both clocks, the longest first, and music that is played twice.

    A run that overlaps a longer one is cut back to what lies wholly before or after it; what
    is cut off is a repeat that only one of the two takes.
    """
    kept: list[coarse.Run] = []
    events: list[Event] = []
    for run in sorted(runs, key=lambda run: -float(np.ptp(run.reference_s))):
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
            if np.ptp(piece.reference_s) >= 2.0 and np.ptp(piece.candidate_s) >= 1.0:
                kept.append(piece)
    return sorted(kept, key=lambda run: float(run.reference_s[0])), events


def _played_twice(
    run: coarse.Run, outside: npt.NDArray[np.bool_], kept: list[coarse.Run]
) -> list[Event]:
    reference, candidate = run.reference_s[outside], run.candidate_s[outside]
    if np.ptp(reference) < 4.0:
        return []
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


def _joined(tracks: list[elastic.Track]) -> tuple[TimeMap, list[Event]]:
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
                events.append(_gap(extra, last, starts))
        reference.append(track.reference_s[inside])
        candidate.append(track.candidate_s[inside])
        width.append(half)
        last = (float(reference[-1][-1]), float(candidate[-1][-1]))
    return (
        TimeMap(np.concatenate(reference), np.concatenate(candidate), np.concatenate(width)),
        events,
    )


def _gap(extra: float, ends: tuple[float, float], starts: tuple[float, float]) -> Event:
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


def channels_swapped(
    reference: Representation, candidate: Representation, time_map: TimeMap
) -> bool | None:
    """Whether left and right are exchanged; None where the image is too even to tell."""
    if reference.is_mono or candidate.is_mono:
        return None
    times = np.arange(*time_map.span_s, 1 / SIDES_RATE_HZ)
    times = times[time_map.covers(times)]
    a = sample_frames(reference.sides_db, SIDES_RATE_HZ, times)
    b = sample_frames(candidate.sides_db, SIDES_RATE_HZ, time_map.to_candidate(times))
    if a.size == 0:
        return None
    correlation = float((a * b).sum() / np.sqrt((a * a).sum() * (b * b).sum() + 1e-9))
    if abs(correlation) < 0.3 or min(np.abs(a).mean(), np.abs(b).mean()) < 0.2:
        return None
    return correlation < 0


def _ends(
    reference: Representation, candidate: Representation, time_map: TimeMap
) -> tuple[Event, ...]:
    """Music that only one recording has before or after the part in common."""
    start, end = time_map.span_s
    first, last = time_map.candidate_span_s
    events = []
    if max(start, first) > 1.0:
        who = "reference" if start > first else "candidate"
        events.append(
            Event(
                "head",
                (0.0, start),
                (0.0, first),
                f"The first {max(start, first):.1f} s of the {who} have no counterpart.",
            )
        )
    left, rest = reference.duration_s - end, candidate.duration_s - last
    if max(left, rest) > 1.0:
        who = "reference" if left > rest else "candidate"
        events.append(
            Event(
                "tail",
                (end, reference.duration_s),
                (last, candidate.duration_s),
                f"The last {max(left, rest):.1f} s of the {who} have no counterpart.",
            )
        )
    return tuple(events)


def _unrelated(
    reference: Representation, candidate: Representation, confidence: float, agreement: float = 0.0
) -> Alignment:
    warnings = []
    if agreement > 0.25:
        warnings.append(
            "If they are the same work in another scoring, or other passages of it, name spans"
            " that correspond."
        )
    identity = TimeMap.linear(0.0, 1.0, 0.0, min(reference.duration_s, candidate.duration_s))
    return Alignment(
        relation=UNRELATED,
        confidence=confidence,
        time_map=replace(identity, half_width_ms=np.full(2, np.inf)),
        offset_s=0.0,
        drift_ppm=None,
        polarity=None,
        channels_swapped=None,
        transposition_semitones=0,
        tuning_cents=0.0,
        tempo_ratio=1.0,
        uncertainty_ms=float("inf"),
        warnings=tuple(warnings),
    )


def _given(reference: Representation, candidate: Representation, time_map: TimeMap) -> Alignment:
    start, end = time_map.span_s
    first, last = time_map.candidate_span_s
    cents = candidate.grid_tuning_cents - reference.grid_tuning_cents
    return Alignment(
        relation=SAME_PASSAGE,
        confidence=1.0,
        time_map=time_map,
        offset_s=float(time_map.to_candidate(0.0)),
        drift_ppm=None,
        polarity=None,
        channels_swapped=channels_swapped(reference, candidate, time_map),
        transposition_semitones=0,
        tuning_cents=float(cents),
        tempo_ratio=(last - first) / (end - start),
        uncertainty_ms=_MEDIAN_OVER_90 * float(np.median(time_map.half_width_ms)),
        warnings=("The time map was given by the user and taken as it is.",),
    )
