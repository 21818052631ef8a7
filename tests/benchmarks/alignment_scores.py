"""How far an alignment lies from the truth of a pair."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import mir_eval
import numpy as np
import numpy.typing as npt

from tests.benchmarks.alignment_truth import Jump, Pair

FloatArray = npt.NDArray[np.float64]

TIGHT_WINDOW_S = 0.05
PLACE_TOLERANCE_S = 1.0
JUMP_TOLERANCE_S = 1.0


class MapsTimes(Protocol):
    """What both the package's time map and the peer's offer."""

    def to_candidate(self, reference_s: FloatArray) -> FloatArray: ...

    def uncertainty_ms(self, reference_s: FloatArray) -> FloatArray: ...


class AnsweredEvent(Protocol):
    """What is read from an event of an answer."""

    kind: str
    reference_s: tuple[float, float]
    candidate_s: tuple[float, float]


@dataclass(frozen=True)
class OnsetErrors:
    """Errors at the onsets that the map covers.

    Attributes
    ----------
    error_ms
        (n,) mapped minus true candidate time.
    half_width_ms
        (n,) of the answer's 90 % band there.
    sharp
        (n,) whether the onset has a sharp attack.
    mapped
        Share of the true onsets that the map covers.
    within_window
        Share within `TIGHT_WINDOW_S`, by mir_eval.
    perceptual
        mir_eval's perceptual measure (Lizé Masclef et al., ISMIR 2021), made for lyrics; its
        best value is below 1.
    """

    error_ms: FloatArray
    half_width_ms: FloatArray
    sharp: npt.NDArray[np.bool_]
    mapped: float
    within_window: float
    perceptual: float

    @property
    def centred_ms(self) -> FloatArray:
        """Errors without the pair's constant part (its median)."""
        return self.error_ms - np.median(self.error_ms) if len(self.error_ms) else self.error_ms


def onset_errors(pair: Pair, time_map: MapsTimes) -> OnsetErrors:
    """Errors of a time map at the onsets of a pair.

    Parameters
    ----------
    pair
        With at least one true onset.
    time_map
        The answer.
    """
    half_width_ms = np.asarray(time_map.uncertainty_ms(pair.true_reference_s))
    covered = np.isfinite(half_width_ms)
    true_s = pair.true_candidate_s[covered]
    mapped_s = np.asarray(time_map.to_candidate(pair.true_reference_s[covered]))
    within_window, perceptual = math.nan, math.nan
    if len(true_s) > 1:
        # mir_eval wants rising times from 0 on, and measures moved together stay the same.
        shift_s = max(0.0, -float(min(true_s.min(), mapped_s.min())))
        order = np.argsort(true_s, kind="stable")
        true_sorted_s, mapped_sorted_s = true_s[order] + shift_s, mapped_s[order] + shift_s
        within_window = mir_eval.alignment.percentage_correct(
            true_sorted_s, mapped_sorted_s, window=TIGHT_WINDOW_S
        )
        perceptual = mir_eval.alignment.karaoke_perceptual_metric(true_sorted_s, mapped_sorted_s)
    return OnsetErrors(
        error_ms=1e3 * (mapped_s - true_s),
        half_width_ms=half_width_ms[covered],
        sharp=pair.sharp[covered],
        mapped=float(covered.mean()),
        within_window=float(within_window),
        perceptual=float(perceptual),
    )


def place_error_s(pair: Pair, time_map: MapsTimes) -> float:
    """Distance in seconds, in the middle of the music in common, between answer and truth."""
    middle = len(pair.true_reference_s) // 2
    mapped_s = np.asarray(time_map.to_candidate(pair.true_reference_s[middle : middle + 1]))
    return float(abs(mapped_s[0] - pair.true_candidate_s[middle]))


@dataclass(frozen=True)
class JumpScore:
    """Cuts and repeats of one pair.

    Attributes
    ----------
    true_count, found_count, false_count
        How many there are, how many were found (right side, length and place within
        `JUMP_TOLERANCE_S`), how many answers belong to none.
    length_errors_s
        Of those found.
    """

    true_count: int
    found_count: int
    false_count: int
    length_errors_s: tuple[float, ...]


def score_jumps(pair: Pair, events: tuple[AnsweredEvent, ...]) -> JumpScore:
    """Compare an answer's cuts and repeats with the true ones; skipped ends don't count."""
    answers = [event for event in events if event.kind not in ("head", "tail")]
    errors: list[float] = []
    for jump in pair.jumps:
        for event in answers:
            error_s = _length_error_s(event, jump)
            if abs(error_s) <= JUMP_TOLERANCE_S and _at_the_place(event, jump):
                errors.append(error_s)
                answers.remove(event)
                break
    return JumpScore(len(pair.jumps), len(errors), len(answers), tuple(errors))


def _length_error_s(event: AnsweredEvent, jump: Jump) -> float:
    """Answered minus true length; the other recording may have a little there, too."""
    reference_s = event.reference_s[1] - event.reference_s[0]
    candidate_s = event.candidate_s[1] - event.candidate_s[0]
    longer_s = reference_s - candidate_s
    return (longer_s if jump.lacking == "candidate" else -longer_s) - jump.length_s


def _at_the_place(event: AnsweredEvent, jump: Jump) -> bool:
    span_s = event.reference_s if jump.lacking == "candidate" else event.candidate_s
    earliest_s = jump.from_s - (jump.length_s if jump.kind == "repeat" else 0.0)
    begins_late_enough = span_s[0] >= earliest_s - JUMP_TOLERANCE_S
    return bool(begins_late_enough and span_s[1] <= jump.until_s + JUMP_TOLERANCE_S)
