"""The same passage by other players, or other music; and which of several places is compared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mixcompare.alignment.again import chosen, told
from mixcompare.alignment.events import channels_swapped, end_events
from mixcompare.alignment.laid import lay
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.result import SAME_PASSAGE, UNRELATED, Alignment
from mixcompare.alignment.timemap import TimeMap

MEDIAN_OVER_90 = 0.4  # median over 90 % quantile of onset errors, on the same pairs


def same_passage(reference: Representation, candidate: Representation) -> Alignment:
    """Find the same music in another performance, or that it is other music.

    Whether they are related does not hang on which of the two is called the reference.
    """
    laid = lay(reference, candidate)
    if laid is None:
        return _unrelated(reference, candidate, 0.99)
    if laid.probability < 0.5:
        return _unrelated(reference, candidate, 1 - laid.probability, laid.agreement)
    laid, places = chosen(reference, candidate, laid)
    time_map = laid.time_map
    total_cents = 100 * laid.semitones + candidate.grid_tuning_cents - reference.grid_tuning_cents
    transposition = round(total_cents / 100)
    finite = time_map.half_width_ms[np.isfinite(time_map.half_width_ms)]
    return Alignment(
        relation=SAME_PASSAGE,
        confidence=laid.probability,
        time_map=time_map,
        offset_s=float(time_map.to_candidate(0.0)),
        drift_ppm=None,
        polarity=None,
        channels_swapped=channels_swapped(reference, candidate, time_map),
        transposition_semitones=transposition,
        tuning_cents=float(total_cents - 100 * transposition),
        tempo_ratio=laid.tempo_ratio,
        uncertainty_ms=MEDIAN_OVER_90 * float(np.median(finite)) if len(finite) else float("inf"),
        events=laid.events + end_events(reference, candidate, time_map, places),
        warnings=told(places, reference, candidate),
        places=places,
    )


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
