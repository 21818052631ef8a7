"""Lay two recordings over each other: ``align(reference, candidate) -> Alignment``."""

from __future__ import annotations

from mixcompare.alignment.given import given
from mixcompare.alignment.passage import same_passage
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.result import Alignment
from mixcompare.alignment.take import same_take
from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.checks import check_pair
from mixcompare.audio.recording import Recording
from mixcompare.errors import ParameterError
from mixcompare.features import AlignmentFeatures, Progress

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
        A map of the user's own (tapped bar lines), which is then used once it is checked.
    progress : callable, optional
        Called with the share done.

    Returns
    -------
    Alignment
        With ``relation == "unrelated"`` where they hold different music.

    Raises
    ------
    AudioFileError
        If a recording cannot be read, or is too short.
    AlignmentError
        If the map lies outside the recordings, or they have nothing in common along it.
    ParameterError
        If what is given is none of these.
    """
    for one in (reference, candidate):
        if not isinstance(one, Recording | AlignmentFeatures):
            raise ParameterError(f"align takes recordings as load() opens them, not {one!r:.60}.")
    if time_map is not None and not isinstance(time_map, TimeMap):
        raise ParameterError(f"time_map must be a TimeMap, not {time_map!r:.60}.")
    check_pair(*((one.name, one.duration_s) for one in (reference, candidate)))
    share = (0.0, 0.4, 0.8)
    first, second = (
        _view(each, None if progress is None else _part(progress, share[at], share[at + 1]))
        for at, each in enumerate((reference, candidate))
    )
    if time_map is not None:
        return given(first, second, time_map)
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
