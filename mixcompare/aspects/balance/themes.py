"""A leading line that is heard in one recording and covered in the other, in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mixcompare.aspects.balance.about import LEVEL, THEMES
from mixcompare.aspects.balance.values import BalanceDifference
from mixcompare.findings import Finding, bars_named, between, listed, places, size_in_jnd
from mixcompare.findings.cause import Differs, Seen, weighed
from mixcompare.findings.confidence import evidence
from mixcompare.findings.words import joined_spans
from mixcompare.pair.pair import Pair
from mixcompare.parts.values import CLEAR, COVERED, Lead

_OFF_DB = {True: 3.0, False: 4.0}
"""Standard deviation of by how much a line stands lower, in one take and between performances. Nine
bars in ten lie within 4.4 dB of the truth in one take, within 5.4 to 8.2 beside other operations or
under another tail, within 6.6 by other players (``tests.benchmarks.covering``, eight movements). Of
lines moved, or covered, by 6 and 8 dB only nine in ten lie within 1.4 to 3.0 dB in one take, within
2.0 to 3.8 by like players (three movements)."""
_LEAST_S = 2.0  # of all bars in which a line is covered; our choice


def theme_findings(difference: BalanceDifference, pair: Pair) -> list[Finding]:
    """One finding for every line that is covered in one of the recordings only, and each way."""
    return [_finding(leads, pair) for leads in covered_lines(difference.leads)]


def covered_lines(leads: Sequence[Lead]) -> list[list[Lead]]:
    """Where a line is covered in one of the recordings only: together by line and recording."""
    found: dict[tuple[str, bool], list[Lead]] = {}
    for one in leads:
        if {one.reference, one.candidate} == {CLEAR, COVERED}:
            found.setdefault((one.name, one.candidate == COVERED), []).append(one)
    return [
        own for own in found.values() if sum(one.end_s - one.start_s for one in own) >= _LEAST_S
    ]


def how_much_lower(leads: Sequence[Lead], same_take: bool) -> tuple[float, tuple[float, float]]:
    """By how much a line stands lower in the candidate, or higher, with the range of it."""
    lengths_s = [one.end_s - one.start_s for one in leads]
    level_db = float(np.average([one.difference_db for one in leads], weights=lengths_s))
    half_db = 1.96 * _OFF_DB[same_take]
    return level_db, (level_db - half_db, level_db + half_db)


def _finding(leads: Sequence[Lead], pair: Pair) -> Finding:
    """What is said of a line that is covered in the candidate, or in the reference."""
    name, covered = leads[0].name, leads[0].candidate == COVERED
    level_db, interval = how_much_lower(leads, pair.same_take)
    spans_s = joined_spans([(one.start_s, one.end_s) for one in leads])
    over = _over(leads, covered)
    here, there = ("candidate", "reference") if covered else ("reference", "candidate")
    under = f" by the {listed(over)}" if over else ""
    where = _where(spans_s, pair)
    text = (
        f"The theme of the {name} is covered{under} {where} in the {here}; in the {there} it stands"
        f" clear. It lies {abs(level_db):.0f} dB {'lower' if covered else 'higher'} over the rest"
        f" than in the reference ({between(interval, 0)})."
    )
    return Finding(
        aspect="balance",
        kind=THEMES[0] if covered else THEMES[1],
        subject=f"theme of the {name}, {'covered' if covered else 'no longer covered'}{under}",
        difference=level_db,
        interval=interval,
        unit="dB",
        jnd=size_in_jnd(level_db, interval, LEVEL.size),
        noticeable=LEVEL,
        evidence=evidence(level_db, interval, pair.same_take),
        spans_s=spans_s,
        band_hz=None,
        apart=("width", "placement") if pair.same_take else (),
        cause=weighed(Differs.LEVEL_OF_A_PART, Seen.IN_ONE_PART_ONLY, same_take=pair.same_take),
        text=text,
        advice=_advice(name, over, covered, pair.same_take),
    )


def _over(leads: Sequence[Lead], covered: bool) -> tuple[str, ...]:
    """Who covers a line, the first to be named first, each once."""
    names = [
        name
        for one in leads
        for name in (one.covered_in_candidate_by if covered else one.covered_in_reference_by)
    ]
    return tuple(dict.fromkeys(names))


def _where(spans_s: Sequence[tuple[float, float]], pair: Pair) -> str:
    """In bars where the score has any, or at which times."""
    bars = pair.match.bars.of(spans_s) if pair.match.bars is not None else ()
    return f"in {bars_named(bars)}" if bars else f"at {places(spans_s)}"


def _advice(name: str, over: Sequence[str], covered: bool, same_take: bool) -> tuple[str, ...]:
    """What to try, where it is the candidate that hides a line."""
    if not covered:
        return (f"See whether the {name} should lead there: in the reference it is hardly heard.",)
    rest = f"the {listed(over)}" if over else "what plays besides"
    desk = f"Bring the {name} up there, or {rest} down, until it carries through."
    podium = f"Ask {rest} for less there, so that the {name} carries through."
    return (desk,) if same_take else (podium, desk)
