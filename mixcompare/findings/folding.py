"""One cause, one finding: what a bigger finding explains is not listed again.

A louder figure also brightens the tone and changes the dynamics; a wetter room widens the
image, fills the gaps between notes and levels the dynamics. Such side effects are folded into
the finding that explains them, named as its consequences.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from mixcompare.findings import Finding, amount

_MARGIN = 1.2  # an effect may be a little larger than its cause in just-noticeable differences


@dataclass(frozen=True)
class Rule:
    """Which findings explain which.

    Attributes
    ----------
    cause, effect : callable
        Tell whether a finding may be the cause, and another its effect.
    fits : callable
        Tells from both whether sign and range agree.
    """

    cause: Callable[[Finding], bool]
    effect: Callable[[Finding], bool]
    fits: Callable[[Finding, Finding], bool]


def _kinds(*names: str) -> Callable[[Finding], bool]:
    return lambda finding: finding.kind in names


def _aspect(name: str) -> Callable[[Finding], bool]:
    return lambda finding: finding.aspect == name


def _always(cause: Finding, effect: Finding) -> bool:
    return True


def _overlapping(cause: Finding, effect: Finding) -> bool:
    if cause.band_hz is None or effect.band_hz is None:
        return True
    low = max(cause.band_hz[0], effect.band_hz[0])
    high = min(cause.band_hz[1], effect.band_hz[1])
    return high > low


def _reaches(cause: Finding, effect: Finding) -> bool:
    """Whether the effect lies where the changed element or its upper partials sound."""
    if cause.band_hz is None or effect.band_hz is None:
        return True
    return effect.band_hz[1] > cause.band_hz[0]


def _same_direction(cause: Finding, effect: Finding) -> bool:
    return cause.difference * effect.difference > 0


def _partials(cause: Finding, effect: Finding) -> bool:
    """Whether a change of tone may be the changed element's own upper partials.

    Where one element holds a band all the time, its level and the band's tone are the same
    thing; then the tone moves in the element's sense and not further.
    """
    if cause.band_hz is None or effect.band_hz is None or effect.unit != "dB":
        return False
    above = effect.band_hz[0] >= cause.band_hz[0]
    within = abs(effect.difference) <= abs(cause.difference) + 0.5
    return above and within and _same_direction(cause, effect)


RULES: tuple[Rule, ...] = (
    # An element's level changes tone, dynamics, image and width where it lies.
    Rule(_aspect("balance"), _aspect("tone"), lambda a, b: _overlapping(a, b) or _partials(a, b)),
    Rule(_aspect("balance"), _aspect("dynamics"), _always),
    Rule(_aspect("balance"), _kinds("moved_left", "moved_right", "wider", "narrower"), _reaches),
    # Width and placement change what both channels add up to where there is much side.
    Rule(_kinds("wider", "narrower"), _aspect("balance"), _always),
    Rule(_kinds("moved_left", "moved_right"), _aspect("balance"), _overlapping),
    # More reverberation: wider, denser, fuller between the notes; less: the contrary.
    Rule(_kinds("wetter"), _kinds("wider", "dynamics_smaller", "notes_more_connected"), _always),
    Rule(_kinds("drier"), _kinds("narrower", "dynamics_larger", "notes_more_detached"), _always),
    Rule(_kinds("wetter", "drier"), _kinds("decay_longer", "decay_shorter"), _same_direction),
    Rule(_kinds("wetter", "drier"), _aspect("tone"), _always),
    Rule(_kinds("wetter", "drier"), _aspect("balance"), _always),
    # Notes cut short change levels over time and the apparent room.
    Rule(_kinds("notes_more_detached"), _kinds("drier", "dynamics_larger"), _always),
    Rule(_kinds("notes_more_connected"), _kinds("wetter", "dynamics_smaller"), _always),
    Rule(_aspect("articulation"), _aspect("balance"), _overlapping),
    # A broad change of tone moves registers against each other.
    Rule(_aspect("tone"), _aspect("balance"), _overlapping),
    # Playback at another speed changes pitch and tempo together.
    Rule(_kinds("faster"), _kinds("tuned_higher"), lambda a, b: _is_speed(a, b)),
    Rule(_kinds("slower"), _kinds("tuned_lower"), lambda a, b: _is_speed(a, b)),
)


def _is_speed(tempo: Finding, tuning: Finding) -> bool:
    # 1 % of speed is 17.2 cents (1200 log2 1.01).
    return abs(abs(tempo.difference) * 17.2 - abs(tuning.difference)) < 4


def without_consequences(findings: Iterable[Finding]) -> list[Finding]:
    """Fold every finding that a bigger one explains into that one.

    Parameters
    ----------
    findings : iterable of Finding
        Unranked.

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
            if second == first or second in gone or effect.jnd > _MARGIN * cause.jnd:
                continue
            if any(_explains(rule, cause, effect) for rule in RULES):
                gone.add(second)
                words = f"{effect.subject}: {amount(effect)}"
                out[first] = replace(out[first], consequences=(*out[first].consequences, words))
    return [finding for index, finding in enumerate(out) if index not in gone]


def _explains(rule: Rule, cause: Finding, effect: Finding) -> bool:
    return rule.cause(cause) and rule.effect(effect) and rule.fits(cause, effect)
