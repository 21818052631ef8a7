"""Another performance followed stretch by stretch, and how likely it is the same passage."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import coarse, elastic, relation
from mixcompare.alignment.joining import chain, joined, touch
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.result import Event
from mixcompare.alignment.timemap import TimeMap
from mixcompare.features import ONSET_RATE_HZ, SEMITONE_RATE_HZ

FloatArray = npt.NDArray[np.float64]

_LOST = 0.05  # standard deviation of log slopes beyond the smoother track's; our judgement


@dataclass(frozen=True)
class Laid:
    """Two performances laid over each other.

    Attributes
    ----------
    time_map : TimeMap
    semitones : int
        The candidate's transposition on the tuned semitone grids.
    events : tuple of Event
        Cuts and repeats within.
    agreement : float
        Of both harmonies.
    probability : float
        That they hold the same passage.
    tempo_ratio : float
        Candidate's over reference's duration.
    """

    time_map: TimeMap
    semitones: int
    events: tuple[Event, ...]
    agreement: float
    probability: float
    tempo_ratio: float

    def moved(self, reference_by_s: float, candidate_by_s: float) -> Laid:
        """The same on clocks that read so much more."""
        return replace(
            self,
            time_map=self.time_map.moved(reference_by_s, candidate_by_s),
            events=tuple(event.moved(reference_by_s, candidate_by_s) for event in self.events),
        )


def lay(reference: Representation, candidate: Representation) -> Laid | None:
    """Follow the candidate along the reference; None where nothing can be followed."""
    path = coarse.find_path(reference, candidate)
    sounding = candidate.transposed(path.semitones)
    runs, repeats = chain(path.runs)
    smoothed = (_smoother(run, reference, sounding) for run in runs)
    refined = [one for one in smoothed if one is not None]
    if not refined:
        return None
    refined = _proven(refined, reference, sounding)
    tracks = [track for track, _ in refined]
    time_map, gaps = joined(tracks)
    common_s = relation.common_span_s(reference, sounding, time_map)
    common = [track for track in (one.between(*common_s) for one in tracks) if track.is_any]
    if common and common_s != time_map.span_s:
        tracks = common
        time_map, gaps = joined(tracks)
    events = [*repeats, *(gap for gap in gaps if not any(touch(gap, one) for one in repeats))]
    events.sort(key=lambda event: event.reference_s)
    agreement = relation.harmony_agreement(reference, sounding, time_map)
    roughness = float(np.std(np.concatenate([log_slopes for _, log_slopes in refined])))
    of_reference_s = sum(float(np.ptp(track.reference_s)) for track in tracks)
    of_candidate_s = sum(float(np.ptp(track.candidate_s)) for track in tracks)
    share = max(of_reference_s / reference.duration_s, of_candidate_s / candidate.duration_s)
    probability = relation.passage_probability(
        agreement, path.cost, roughness, share, path.order_gain
    )
    ratio = time_map.pace()[0]
    return Laid(time_map, path.semitones, tuple(events), agreement, probability, ratio)


def _proven(
    refined: list[tuple[elastic.Track, FloatArray]],
    reference: Representation,
    candidate: Representation,
) -> list[tuple[elastic.Track, FloatArray]]:
    """The longest run, and of the others those that hold the same music for themselves.

    What is left over is put where it fits best, and somewhere some seconds always fit: a cut or a
    repeat is told only where there is the same music on either side of it.
    """

    def size(one: tuple[elastic.Track, FloatArray]) -> float:
        return float(np.ptp(one[0].reference_s) * np.ptp(one[0].candidate_s))

    def same(one: tuple[elastic.Track, FloatArray]) -> bool:
        own = TimeMap(one[0].reference_s, one[0].candidate_s)
        return relation.harmony_agreement(reference, candidate, own) >= relation.SAME_HARMONY

    longest = max(refined, key=size)
    return [one for one in refined if one is longest or same(one)]


def _smoother(
    run: coarse.Run, reference: Representation, candidate: Representation
) -> tuple[elastic.Track, FloatArray] | None:
    """Follow a run with either recording leading: its track, and log slopes of the smoother one.

    A tracker that has lost its place hurries and halts; then the candidate's lead counts. The
    slopes are those on the leader's grid, so that they are the same whichever is the reference.
    None where the run is too short.
    """
    tries = []
    track = _followed(run, reference, candidate)
    if track is not None:
        tries.append((track, _log_slopes(track)))
    track = _followed(run.mirrored(), candidate, reference)
    if track is not None:
        tries.append((track.mirrored(), -_log_slopes(track)))
    if not tries:
        return None
    roughness = [float(np.std(log_slopes)) for _, log_slopes in tries]
    least = int(np.argmin(roughness))
    leads = 0 if roughness[0] <= roughness[least] + _LOST else least
    return tries[leads][0], tries[least][1]


def _log_slopes(track: elastic.Track) -> FloatArray:
    return np.log(np.clip(np.diff(track.candidate_s) / elastic.STEP_S, 0.1, 10))


def _followed(
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
