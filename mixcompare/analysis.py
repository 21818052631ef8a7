"""From two recordings' features to results: level, all aspects, findings, verdict, in order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from mixcompare.alignment.result import UNRELATED, Alignment, moved, times
from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import ANALYZERS, in_order
from mixcompare.aspects.articulation.words import untold
from mixcompare.aspects.balance.unseen import unseen
from mixcompare.features import Features
from mixcompare.findings import Finding, chance, counted, places, ranked
from mixcompare.findings.folding import without_consequences
from mixcompare.knowledge.notes import Bars, PartNotes, PartStrokes
from mixcompare.numerics import one_numeric_thread
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from mixcompare.results import Level, Measured, Results, Source

Tell = Callable[[str], None]


def analyse(
    reference: Features,
    candidate: Features,
    alignment: Alignment,
    tell: Tell = lambda words: None,
    parts: tuple[PartNotes, ...] = (),
    bars: Bars | None = None,
    strokes: tuple[PartStrokes, ...] = (),
) -> Results:
    """Judge an aligned pair: level, all aspects, findings, verdict."""
    return analysed(reference, candidate, alignment, tell, parts, bars, strokes)[0]


@one_numeric_thread
def analysed(
    reference: Features,
    candidate: Features,
    alignment: Alignment,
    tell: Tell = lambda words: None,
    parts: tuple[PartNotes, ...] = (),
    bars: Bars | None = None,
    strokes: tuple[PartStrokes, ...] = (),
) -> tuple[Results, Pair | None]:
    """The same, and the pair with all that was computed of it; None where nothing was compared."""
    warnings = reference.warnings + candidate.warnings + alignment.warnings
    warnings += tuple(event.text for event in alignment.events)
    sources = (_source(reference), _source(candidate))
    if alignment.relation == UNRELATED:
        verdict = _not_related(alignment)
        return Results(*sources, alignment, None, {}, (), verdict, warnings), None
    tell("matching the level")
    recorded = aligned(reference, candidate, alignment).with_parts(parts, bars, strokes)
    pair, level = matched(recorded)
    measured: dict[str, Measured] = {}
    found: list[Finding] = []
    for analyzer in in_order(ANALYZERS):
        tell(f"comparing {analyzer.aspect}")
        pair.differences[analyzer.aspect] = analyzer.compare(pair)
    for analyzer in ANALYZERS:
        aspect = analyzer.aspect
        both = recorded.alone(analyzer)
        measured[aspect] = Measured(aspect, *both, pair.differences[aspect], analyzer.about)
    for analyzer in ANALYZERS:
        found += analyzer.findings(measured[analyzer.aspect].difference, pair)
    rules = [rule for analyzer in ANALYZERS for rule in analyzer.about.explains]
    listed = ranked(without_consequences(found, rules), pair.duration_s)
    findings = tuple(_placed(finding, pair.time_map, bars) for finding in listed)
    tell("asking what could not have been found")
    least, missed = unseen(pair)
    lengths: tuple[str, ...] = ()
    if "articulation" in pair.differences:
        lengths = untold(pair.differences["articulation"], pair.same_take)
        missed = " ".join([missed, *lengths[:1]]).strip()
    verdict = _verdict(findings) if findings else f"{_verdict(findings)} {missed}".rstrip()
    verdict = " ".join([_doubted(verdict, alignment), *_where(alignment, *sources)])
    results = Results(
        *sources,
        alignment,
        level,
        measured,
        findings,
        verdict,
        warnings,
        least,
        missed,
        lengths[1:],
        bar_starts=_starts(bars),
    )
    return results, pair


def matched(recorded: Pair) -> tuple[Pair, Level]:
    """The pair with its noise shared and its level taken out, and that level."""
    pair = recorded.with_noise_shared()
    level = match_level(pair)
    return pair.with_gain(level.gain_db), level


def _starts(bars: Bars | None) -> tuple[tuple[float, int], ...]:
    if bars is None:
        return ()
    return tuple(zip(bars.start_s.tolist(), bars.number.tolist(), strict=True))


def _placed(finding: Finding, time_map: TimeMap, bars: Bars | None = None) -> Finding:
    """Where it lies on the candidate's clock and in the score."""
    spans = tuple(
        (max(float(start), 0.0), float(end))
        for start, end in (time_map.to_candidate(span) for span in finding.spans_s)
    )
    named = (bars.of(finding.spans_s) or None) if bars is not None else None
    return replace(finding, candidate_spans_s=spans, bars=named)


def _source(features: Features) -> Source:
    return Source(
        path=features.name,
        sample_rate_hz=features.sample_rate_hz,
        channels=features.channels,
        duration_s=features.duration_s,
        span_s=features.span_s,
        format=features.format,
        usable_band_hz=features.usable_band_hz,
    )


def _not_related(alignment: Alignment) -> str:
    if alignment.is_sure:
        return "These are not two recordings of the same passage; nothing was compared."
    return (
        "These are probably not two recordings of the same passage"
        f" ({chance(alignment.confidence)}); nothing was compared."
    )


def _doubted(verdict: str, alignment: Alignment) -> str:
    """All that is said stands or falls with the relation."""
    if alignment.is_sure:
        return verdict
    doubt = f"Probably, not surely, the same passage ({chance(alignment.confidence)})"
    return f"{doubt}; if it is, {verdict[0].lower()}{verdict[1:]}"


def _where(alignment: Alignment, reference: Source, candidate: Source) -> list[str]:
    """Which place was compared, where one of the two has the passage more than once."""
    if not alignment.places:
        return []
    who = alignment.places[0].recording
    begins_s = (reference if who == "reference" else candidate).span_s[0]
    (compared,) = [place.own_s for place in alignment.places if place.compared]
    often, place = times(len(alignment.places)), places([moved(compared, begins_s)])
    return [f"The {who} has the passage {often}; {place} was compared."]


def _verdict(findings: tuple[Finding, ...]) -> str:
    if not findings:
        return "Nothing sticks out."
    first = findings[0]
    articles = {analyzer.aspect: analyzer.about.article for analyzer in ANALYZERS}
    head = articles.get(first.aspect, "") + first.subject
    if any(letter.isalpha() or letter == "%" for letter in first.spoken):
        head += f" ({first.spoken})"  # a bare number says nothing to a person
    if len(findings) == 1:
        return f"One thing sticks out: {head}."
    return f"{counted(len(findings)).capitalize()} things stick out, first of all: {head}."
