"""One cause, one finding: what a bigger finding explains is not listed again.

A louder figure also brightens the tone and changes the dynamics; a wetter room widens the
image, fills the gaps between notes and levels the dynamics. Such side effects are folded into
the finding that explains them, named as its consequences.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf, log2, log10

from mixcompare.findings.finding import Finding, Foretold, Span

_MARGIN = 1.2  # an effect may be a little larger than its cause in just-noticeable differences

_NEAR_WHOLE_DB, _MOSTLY_THEN = 1.5, 0.5  # of an element's time

ANY_SIZE = inf
"""Margin of a rule that compares the sizes itself."""

_NEAR_DB, _NEAR_DB_PER_OCTAVE = 0.75, 0.1  # half a just-noticeable difference


@dataclass(frozen=True)
class Those:
    """Findings of some kinds, or all of an aspect but some kinds."""

    aspect: str = ""
    kinds: tuple[str, ...] = ()
    but: tuple[str, ...] = ()

    def has(self, finding: Finding) -> bool:
        """Whether a finding is one of them."""
        of_aspect = finding.aspect == self.aspect and finding.kind not in self.but
        return of_aspect or finding.kind in self.kinds


def kinds(*names: str) -> Those:
    """Findings of these kinds."""
    return Those(kinds=names)


def aspect(name: str, but: Sequence[str] = ()) -> Those:
    """All findings of an aspect, without those of some kinds."""
    return Those(aspect=name, but=tuple(but))


@dataclass(frozen=True)
class Rule:
    """Which findings explain which.

    Attributes
    ----------
    cause, effect : Those
    fits : callable
        Tells from cause and effect whether sign and range agree; a function of a module, so that
        results can be sent from process to process.
    margin : float
        How much larger than its cause, in just-noticeable differences, the effect may be.
    """

    cause: Those
    effect: Those
    fits: Callable[[Finding, Finding], bool]
    margin: float = _MARGIN


def always(cause: Finding, effect: Finding) -> bool:
    """Whatever the two are."""
    return True


def overlapping(cause: Finding, effect: Finding) -> bool:
    """Whether both lie in one range."""
    if cause.band_hz is None or effect.band_hz is None:
        return True
    low = max(cause.band_hz[0], effect.band_hz[0])
    high = min(cause.band_hz[1], effect.band_hz[1])
    return high > low


def reaches(cause: Finding, effect: Finding) -> bool:
    """Whether the effect lies where the changed element or its upper partials sound."""
    if cause.band_hz is None or effect.band_hz is None:
        return True
    return effect.band_hz[1] > cause.band_hz[0]


def same_direction(cause: Finding, effect: Finding) -> bool:
    """Whether both have one sign."""
    return cause.difference * effect.difference > 0


def partials(cause: Finding, effect: Finding) -> bool:
    """Whether a change of tone may be the changed element's own upper partials.

    Where one element holds a band all the time, its level and the band's tone are the same
    thing; then the tone moves in the element's sense and not further.
    """
    if cause.band_hz is None or effect.band_hz is None or effect.unit != "dB":
        return False
    above = effect.band_hz[0] >= cause.band_hz[0]
    within = abs(effect.difference) <= abs(cause.difference) + 0.5
    return above and within and same_direction(cause, effect)


def then_and_so_much(cause: Finding, effect: Finding) -> bool:
    """Whether an effect on levels lies in its cause's time, and goes as far as it."""
    if not same_direction(cause, effect) or effect.duration_s <= 0:
        return False
    low, high = effect.interval
    near = abs(effect.difference - cause.difference) <= _NEAR_WHOLE_DB
    near |= low <= cause.difference <= high  # it may have moved no further than the whole
    return near and _together_s(cause, effect) >= _MOSTLY_THEN * effect.duration_s


def mostly_then(cause: Finding, effect: Finding) -> bool:
    """Whether an effect lies in its cause's time."""
    return _together_s(cause, effect) >= _MOSTLY_THEN * effect.duration_s


def less_sound(cause: Finding, effect: Finding) -> bool:
    """Whether a passage is softer by no more than notes that end sooner make it; or louder.

    All of it may be these notes: then its level falls as their length does, at most by as much as
    is not excluded. Where that begins is not known, so that no more of a whole length is lost than
    the difference. The notes that were followed are some of a line's, which plays on between them.
    """
    most_db = -10 * log10(max(1 - max(map(abs, cause.interval)), 0.01))
    near = min(map(abs, effect.interval)) <= most_db
    whole = (min(start for start, _ in cause.spans_s), max(end for _, end in cause.spans_s))
    then = _together((whole,), effect.spans_s) >= _MOSTLY_THEN * effect.duration_s
    return near and same_direction(cause, effect) and then


def _together_s(cause: Finding, effect: Finding) -> float:
    """How long both last at once."""
    return _together(cause.spans_s, effect.spans_s)


def _together(some_s: tuple[Span, ...], others_s: tuple[Span, ...]) -> float:
    return sum(
        max(min(ours[1], theirs[1]) - max(ours[0], theirs[0]), 0.0)
        for ours in some_s
        for theirs in others_s
    )


def stretches(swings: Finding, decay: Finding) -> bool:
    """Whether a decay is longer or shorter as the gain that follows the level makes it.

    What falls by d dB a second falls by (1 + slope) d behind a compressor; one with a threshold or
    a slow release does less.
    """
    most_percent = 100 * (1 / max(1 + swings.difference, 0.1) - 1)
    return decay.difference * most_percent > 0 and abs(decay.difference) <= abs(most_percent)


def is_speed(tempo: Finding, tuning: Finding) -> bool:
    """Whether tempo and tuning changed by one factor, as at another playback speed."""
    # 1 % of speed is 17.2 cents (1200 log2 1.01).
    return abs(abs(tempo.difference) * 17.2 - abs(tuning.difference)) < 4


def overlapping_or_partials(cause: Finding, effect: Finding) -> bool:
    """Whether a change of tone lies where the element sounds, or is its upper partials."""
    return overlapping(cause, effect) or partials(cause, effect)


def not_foretold(cause: Finding, effect: Finding) -> bool:
    """Whether a cause's effects on levels are not known; then its own size bounds them."""
    return not cause.foretold


def foretold_moments(cause: Finding, effect: Finding) -> bool:
    """Whether a change that comes and goes is no larger than the cause lets moments change."""
    most_db = [one.most_db for one in _within(cause, effect)]
    return bool(most_db) and abs(effect.difference) <= sorted(most_db)[len(most_db) // 2]


def foretold_tone(cause: Finding, effect: Finding) -> bool:
    """Whether a steady change of tone is the one that the cause brings about."""
    if len(cause.foretold) < 2 or effect.unit not in ("dB", "dB/octave"):
        return False
    levels = [one.level_db for one in cause.foretold]
    if effect.unit == "dB/octave":
        first, last = cause.foretold[0], cause.foretold[-1]
        due = (last.level_db - first.level_db) / log2(last.centre_hz / first.centre_hz)
        near = _NEAR_DB_PER_OCTAVE
    else:
        here = [one.level_db for one in _within(cause, effect)] or levels[-1:]
        due = sum(here) / len(here) - sorted(levels)[len(levels) // 2]
        near = _NEAR_DB
    past = abs(effect.difference) - abs(due)
    return past <= near and (due * effect.difference > 0 or abs(effect.difference) <= near)


def _within(cause: Finding, effect: Finding) -> list[Foretold]:
    """What the cause does inside the effect's band."""
    if effect.band_hz is None:
        return list(cause.foretold)
    low, high = effect.band_hz
    return [one for one in cause.foretold if low <= one.centre_hz <= high]


def without_consequences(findings: Iterable[Finding], rules: Sequence[Rule]) -> list[Finding]:
    """Fold every finding that a bigger one explains into that one.

    Parameters
    ----------
    findings : iterable of Finding
        Unranked.
    rules : sequence of Rule
        What explains what, of all aspects.

    Returns
    -------
    list of Finding
        Biggest first; ``consequences`` names what was folded in.
    """
    ordered = sorted(findings, key=lambda finding: finding.jnd, reverse=True)
    gone: set[int] = set()
    out = list(ordered)
    for first, cause in enumerate(ordered):
        if first in gone:
            continue
        for second, effect in enumerate(ordered):
            if second == first or second in gone or cause.aspect in effect.apart:
                continue
            if any(_explains(rule, cause, effect) for rule in rules):
                gone.add(second)
                words = (*out[first].consequences, effect.as_consequence)
                out[first] = replace(out[first], consequences=words)
    return [finding for index, finding in enumerate(out) if index not in gone]


def _explains(rule: Rule, cause: Finding, effect: Finding) -> bool:
    small = effect.jnd <= rule.margin * cause.jnd
    return small and rule.cause.has(cause) and rule.effect.has(effect) and rule.fits(cause, effect)
