"""Articulation as the page tells it: of the voice that its figure draws.

Without a score that is the leading line, of which the measurements speak anyway; with one it may be
a written part, and a page whose tables speak of another voice than its figure would mislead.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from mixcompare.results import Measured

if TYPE_CHECKING:
    from mixcompare.aspects.articulation.values import (
        ArticulationDifference,
        VoiceArticulation,
    )


_ASPECT = "articulation"


def voice_drawn(measured: Measured) -> str:
    """Name of the voice; empty for other aspects."""
    if measured.aspect != _ASPECT:
        return ""
    difference: ArticulationDifference = measured.difference
    return difference.shown


def of_the_drawn(measured: Measured) -> Measured:
    """The same measurements, of that voice; others as they are."""
    name = voice_drawn(measured)
    if not name:
        return measured
    difference: ArticulationDifference = measured.difference
    voice = next((one for one in difference.voices if one.written and one.name == name), None)
    if voice is None:
        return measured
    reference, candidate = (
        replace(
            side, sounding_ratio=ratio, sounding_ratio_interval=None, gap_depth_db=None,
            attack_ms=None, notes=voice.notes, reasons=(),
        )
        for side, ratio in (
            (measured.reference, voice.reference_ratio),
            (measured.candidate, voice.candidate_ratio),
        )
    )  # fmt: skip
    return replace(
        measured, reference=reference, candidate=candidate, difference=_as(difference, voice)
    )


def _as(difference: ArticulationDifference, voice: VoiceArticulation) -> ArticulationDifference:
    return replace(
        difference,
        sounding_ratio=voice.sounding_ratio,
        sounding_ratio_interval=voice.sounding_ratio_interval,
        reference_ratio=voice.reference_ratio,
        candidate_ratio=voice.candidate_ratio,
        gap_depth_db=voice.gap_depth_db,
        attack_ms=voice.attack_ms,
        accent_db=voice.accent_db,
        release_ms=voice.release_ms,
        agreement=voice.stretch.agreement if voice.stretch is not None else None,
        notes=voice.notes,
        notes_left_out=voice.notes_left_out,
        reasons=voice.reasons,
    )
