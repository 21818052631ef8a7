"""Lay two recordings over each other: ``align(reference, candidate) -> Alignment``."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.events import channels_swapped
from mixcompare.alignment.passage import MEDIAN_OVER_90, same_passage
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.result import SAME_PASSAGE, Alignment
from mixcompare.alignment.take import same_take
from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.features import AlignmentFeatures, Progress

FloatArray = npt.NDArray[np.float64]

__all__ = ["align"]


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
    take = same_take(first, second)
    if take is not None:
        return take
    if progress is not None:
        progress(0.9)
    return same_passage(first, second)


def _view(recording: Recording | AlignmentFeatures, progress: Progress | None) -> Representation:
    """Alignment's view; features that nobody else needs are let go at once."""
    if isinstance(recording, Recording):
        return Representation(AlignmentFeatures.of(recording, progress))
    return Representation(recording)


def _part(progress: Progress, start: float, end: float) -> Progress:
    return lambda share: progress(start + share * (end - start))


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
        uncertainty_ms=MEDIAN_OVER_90 * float(np.median(time_map.half_width_ms)),
        warnings=("The time map was given by the user and taken as it is.",),
    )
