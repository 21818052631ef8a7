"""More detached, more connected: in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mixcompare.aspects.articulation.about import SHARE_HELD
from mixcompare.aspects.articulation.values import (
    LEAD,
    SOME,
    ArticulationDifference,
    Stretch,
    VoiceArticulation,
)
from mixcompare.findings import Finding, joined_spans, listed, size_in_jnd
from mixcompare.findings.cause import Differs, weighed
from mixcompare.findings.confidence import evidence
from mixcompare.findings.manner import manner_of

_MOST_NAMES = 6  # in one sentence; the table has them all
_HALF_WAY = 0.25  # between legato and detached; our choice
_WIDE = (
    "The notes scatter so widely that half the way from legato to detached can't be excluded, and"
    " none can be proved."
)


def untold(difference: ArticulationDifference, same_take: bool) -> tuple[str, ...]:
    """Whose notes could not be followed or tell nothing, and why; empty where all do.

    One sentence where one reason holds for all; else one that names them, and one for each reason.

    Parameters
    ----------
    difference : ArticulationDifference
        Of the same notes in both.
    same_take : bool
        Whether both recordings are one performance: it has one articulation, and without a score
        nothing is missed.
    """
    voices = [voice for voice in difference.voices if voice.written]
    if not voices and not same_take:
        voices = [voice for voice in difference.voices if voice.name == LEAD]
    names: dict[str, list[str]] = {}
    for voice in voices:
        for reason in voice.reasons or _too_wide(voice, same_take):
            names.setdefault(reason, []).append(
                voice.name if voice.written else f"the {voice.name}"
            )
    reasons = tuple(
        f"{_how_long(some)}: {reason[0].lower()}{reason[1:]}" for reason, some in names.items()
    )
    if len(reasons) < 2:
        return reasons
    everyone = {name for some in names.values() for name in some}
    written = [voice.name for voice in voices if voice.name in everyone]
    return (f"{_how_long(written)}.", *reasons)


def _too_wide(voice: VoiceArticulation, same_take: bool) -> tuple[str, ...]:
    """Why a voice of another performance tells nothing though its notes were followed."""
    limits = voice.sounding_ratio_interval
    if same_take or voice.stretch is not None or limits is None:
        return ()
    return (_WIDE,) if max(-limits[0], limits[1]) >= _HALF_WAY else ()


def _how_long(names: Sequence[str]) -> str:
    return f"How long the notes of {_together(names)} are held can't be told"


def _together(names: Sequence[str]) -> str:
    """So many names as a sentence bears."""
    if len(names) > _MOST_NAMES:
        names = [*names[: _MOST_NAMES - 1], f"{len(names) - _MOST_NAMES + 1} more parts"]
    return listed(names)


def playing_alike(parts: Sequence[VoiceArticulation]) -> list[list[VoiceArticulation]]:
    """Parts that changed in one direction at the same time, the one with most notes first."""
    groups: list[list[VoiceArticulation]] = []
    for part in sorted(parts, key=lambda voice: voice.notes, reverse=True):
        for group in groups:
            if part.stretch and group[0].stretch and _alike(group[0].stretch, part.stretch):
                group.append(part)
                break
        else:
            groups.append([part])
    return groups


def _alike(one: Stretch, other: Stretch) -> bool:
    lengths = [sum(end - start for start, end in stretch.spans_s) for stretch in (one, other)]
    common = sum(
        max(0.0, min(end, behind) - max(start, first))
        for start, end in one.spans_s
        for first, behind in other.spans_s
    )
    same_sign = one.sounding_ratio * other.sounding_ratio > 0
    return same_sign and common > 0.5 * min(lengths)


def finding(group: Sequence[VoiceArticulation], same_take: bool) -> Finding:
    """What is said of one voice, or of written parts that play alike."""
    stretches = [voice.stretch for voice in group if voice.stretch is not None]
    first = stretches[0]
    value, limits = first.sounding_ratio, first.sounding_ratio_interval
    detached = value < 0
    held = [stretch.candidate_ratio for stretch in stretches]
    before = [stretch.reference_ratio for stretch in stretches]
    some = group[0].name == SOME  # which are told alone, as other voices that no score tells
    manners = (manner_of(float(np.mean(held))), manner_of(float(np.mean(before))))
    if manners[0] == manners[1] or some:
        words = "more detached" if detached else "more connected"
    else:
        words = f"{manners[0]}, where the reference is {manners[1]}"
    names = SOME if some else listed([f"the {voice.name}" for voice in group])
    if len(group) == 1 and group[0].doubled:
        names += " (or a part that doubles it)"
    both = f"{_shares(held)} against {_shares(before)} of the notes' length"
    proof = evidence(value, limits, same_take, agreeing=first.agreement)
    bands = [voice.band_hz for voice in group if voice.band_hz is not None]
    return Finding(
        aspect="articulation",
        kind="notes_more_detached" if detached else "notes_more_connected",
        subject=names,
        difference=value,
        interval=limits,
        unit="",
        jnd=size_in_jnd(value, limits, SHARE_HELD.size),
        noticeable=SHARE_HELD,
        evidence=proof,
        both=both,
        spans_s=joined_spans([span for stretch in stretches for span in stretch.spans_s]),
        band_hz=(min(band[0] for band in bands), max(band[1] for band in bands)) if bands else None,
        cause=weighed(Differs.NOTE_LENGTH, same_take=same_take),
        text=_sentence(group, names, held, before) + f": {words}.",
        advice=_advice(names if group[0].written or some else None, detached, same_take),
        # What a wetter room does to the lengths of other players' notes is in the interval.
        apart=() if same_take else ("room",),
    )


def _sentence(
    group: Sequence[VoiceArticulation], names: str, held: Sequence[float], before: Sequence[float]
) -> str:
    """Both shares and how far they lie apart, first of the voice that the finding is sized by."""
    first = names if len(group) == 1 else f"the {group[0].name}"
    apart = round(100 * (held[0] - before[0]))
    whose = f"The notes of {first}"
    if names == SOME:
        whose = "Some notes, of which it can't be told who plays them,"
    text = (
        f"{whose} are held for {_shares(held[:1])} of their length against"
        f" {_shares(before[:1])} in the reference, {abs(apart)} percentage points"
        f" {'less' if apart < 0 else 'more'}"
    )
    if len(group) == 1:
        return text
    others = listed([f"the {voice.name}" for voice in group[1:]])
    return f"{text}; those of {others} for {_shares(held[1:])} against {_shares(before[1:])}"


def _shares(ratios: Sequence[float]) -> str:
    """One for each voice, or one for all of them."""
    shown = [f"{100 * ratio:.0f} %" for ratio in ratios]
    return listed(shown if len(set(shown)) > 1 else shown[:1])


def _advice(names: str | None, detached: bool, same_take: bool) -> tuple[str, ...]:
    if same_take:
        return (
            "Both are one take: look for a gate, an expander or an edit that"
            f" {'shortens' if detached else 'lengthens'} the notes.",
        )
    whom, where = names or "whoever leads", f" of {names or 'the theme'}"
    if names == SOME:
        whom, where = "those whom you hear let go elsewhere than in the reference", ""
    if detached:
        return (
            f"Ask {whom} to hold every note up to the next.",
            "In the parts: tenuto marks on the notes, or slurs over the phrases"
            f"{',' if where else ''}{where}.",
        )
    return (
        f"Ask {whom} to lift before every note.",
        f"In the parts: dots on the notes{where}, or a word such as 'detached'.",
    )
