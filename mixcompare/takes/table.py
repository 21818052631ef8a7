"""Candidates against aspects, and versions' matters, for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from mixcompare.findings import places
from mixcompare.report.document import harmless
from mixcompare.takes.values import Take, Told
from mixcompare.takes.versions import Item


def aspects_of(takes: Iterable[Take]) -> tuple[str, ...]:
    """Aspects in which anything sticks out in any take, the most salient first."""
    largest: dict[str, float] = {}
    for take in takes:
        for told in take.findings:
            largest[told.aspect] = max(largest.get(told.aspect, 0.0), told.jnd)
    return tuple(sorted(largest, key=lambda aspect: (-largest[aspect], aspect)))


def takes_table(takes: Sequence[Take]) -> str:
    """A line a candidate, in the order given: how far, and what sticks out in each aspect."""
    aspects = aspects_of(takes)
    rows = [["candidate", "relation", "distance_jnd", "findings", "verdict", *aspects]]
    rows[0] += ["report", "problem", "path"]
    for take in takes:
        compared = not take.problem
        rows.append(
            [
                harmless(take.name),
                take.relation,
                f"{take.distance_jnd:.2f}" if compared else "",
                str(len(take.findings)) if compared else "",
                harmless(take.verdict),
                *("; ".join(map(_words, take.of(aspect))) for aspect in aspects),
                f"{take.report}/report.html" if take.report else "",
                harmless(take.problem),
                harmless(take.path),
            ]
        )
    return _written(rows)


def versions_table(takes: Sequence[Take], items: Sequence[Item]) -> str:
    """A line a matter: what became of it, and its size in every version."""
    rows = [["state", "aspect", "subject", "where", *(harmless(take.name) for take in takes)]]
    rows[0].append("advice")
    for item in items:
        last = item.last
        rows.append(
            [
                item.state,
                last.aspect,
                harmless(last.subject),
                places(last.spans_s),
                *(harmless(told.amount) if told else "" for told in item.found),
                harmless(" ".join(last.advice)) if item.is_open else "",
            ]
        )
    return _written(rows)


def _words(told: Told) -> str:
    """One finding in a cell, its subject first: a spreadsheet takes a leading sign for a sum."""
    return f"{told.subject} {told.amount} ({told.jnd:.1f})"


def _written(rows: Sequence[Sequence[str]]) -> str:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue()
