"""The page of all takes: a matrix drawn, a list to tick off, and two of them to hear."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import PurePath
from typing import Any

from markupsafe import Markup

from mixcompare.alignment.result import UNRELATED
from mixcompare.findings import places
from mixcompare.report.shell import environment, packaged, policy
from mixcompare.takes.table import aspects_of
from mixcompare.takes.values import Json, Take, Told
from mixcompare.takes.versions import (
    BACK,
    BECAME_WORSE,
    MENDED,
    NEW,
    OVERDONE,
    REMAINS,
    SMALLER,
    WORSE,
    Item,
)
from mixcompare.units import MINUS

MOST_ROWS = 500
"""Candidates that the page shows; the table has them all."""

_SIDE, _LARGEST = 26.0, 12.0  # of a cell's picture and its largest dot, in units of the drawing
_FULL_JND = 12.0
"""Just-noticeable differences at which a dot is as large as it gets; its area follows the size."""

_WORDS = {
    NEW: "new since the last",
    BACK: "back again",
    WORSE: "became worse",
    OVERDONE: "overdone: now the other way",
    REMAINS: "remains",
    SMALLER: "smaller, still there",
    MENDED: "mended",
}
_HERE = "mixcompare.takes"


def render(reference: str, takes: Sequence[Take], items: Sequence[Item] | None) -> str:
    """Write the page.

    Parameters
    ----------
    reference : str
        Path of the reference.
    takes : sequence of Take
        In the order in which they are shown.
    items : sequence of Item, or None
        For versions: their matters, followed.

    Returns
    -------
    str
        HTML. All names and texts are escaped; no address leads outside the folder.
    """
    shown = takes[:MOST_ROWS]
    aspects = aspects_of(shown)
    style = packaged("page.css") + packaged("takes.css", _HERE)
    script = packaged("clocks.js") + packaged("takes.js", _HERE)
    heard = [take for take in shown if take.sound is not None]
    return (
        environment(_HERE)
        .get_template("takes.html")
        .render(
            reference=PurePath(reference).name,
            versions=items is not None,
            title=_title(takes, items),
            aspects=[aspect.capitalize() for aspect in aspects],
            rows=[_row(take, aspects) for take in shown],
            left=len(takes) - len(shown),
            problems=[take.problem for take in shown if take.problem],
            steps=_steps(items or ()),
            items=[_line(index, item) for index, item in enumerate(items or ())],
            columns=[take.name for take in shown],
            heard=[take.name for take in heard],
            data=_player_data(heard),
            full_jnd=_FULL_JND,
            style=Markup(style),
            script=Markup(script),
            policy=policy(style, script, "'self' file:"),
        )
    )


def _title(takes: Sequence[Take], items: Sequence[Item] | None) -> str:
    """The outcome in a sentence."""
    good = [take for take in takes if not take.problem and take.relation != UNRELATED]
    if not good:
        return "None of the candidates could be compared."
    if items is None:
        first = good[0]
        return f"Nearest to the reference is {first.name}. {first.verdict}"
    left = sum(item.is_open for item in items)
    mended = len(items) - left
    things = "1 thing still sticks" if left == 1 else f"{left or 'no'} things still stick"
    return f"In {good[-1].name}, {things} out; {mended} of {len(items)} found so far are mended."


def _row(take: Take, aspects: Sequence[str]) -> dict[str, Any]:
    related = take.relation != UNRELATED
    return {
        "take": take,
        "compared": not take.problem,
        "report": f"{take.report}/report.html" if take.report else "",
        "distance": f"{take.distance_jnd:.1f}" if related and not take.problem else "",
        "outcome": take.problem or take.verdict,
        "cells": [_cell(take, take.of(aspect)) for aspect in aspects],
    }


def _cell(take: Take, found: Sequence[Told]) -> dict[str, Any] | None:
    if not found:
        return None
    first = found[0]
    return {
        "dot": dot(first),
        "amount": _amount(first),
        "words": "; ".join(f"{told.amount} {told.subject}" for told in found),
        "more": len(found) - 1,
        "address": f"{take.report}/report.html#finding-{first.rank}",
    }


def _amount(told: Told) -> str:
    return told.amount.replace("-", MINUS)


def dot(told: Told) -> Markup:
    """A finding's size as a dot: its area follows the just-noticeable differences."""
    radius = _LARGEST * math.sqrt(min(told.jnd, _FULL_JND) / _FULL_JND)
    side = "more" if told.difference > 0 else "less"
    return Markup(
        f'<svg class="small" width="{_SIDE:.0f}" height="{_SIDE:.0f}" aria-hidden="true">'
        f'<circle class="dot {side}" cx="{_SIDE / 2:.0f}" cy="{_SIDE / 2:.0f}" r="{radius:.1f}"/>'
        "</svg>"
    )


def _steps(items: Sequence[Item]) -> list[tuple[str, int]]:
    """What became of all matters in the last version, counted."""
    states = [item.state for item in items]
    worse = sum(state in BECAME_WORSE for state in states)
    rest = sum(state in (REMAINS, SMALLER) for state in states)
    return [("mended", states.count(MENDED)), ("became worse", worse), ("remain", rest)]


def _line(index: int, item: Item) -> dict[str, Any]:
    last = item.last
    return {
        "index": index,
        "item": item,
        "state": _WORDS[item.state],
        "where": places(last.spans_s),
        "cells": [
            {"dot": dot(told), "amount": _amount(told)} if told else None for told in item.found
        ],
    }


def _player_data(heard: Sequence[Take]) -> Json:
    """What the script needs: files, spans, gains, clocks."""
    takes = []
    for take in heard:
        sound = take.sound
        assert sound is not None
        takes.append(
            {
                "reference": sound.reference,
                "candidate": sound.candidate,
                "referenceSpan": sound.reference_span_s,
                "candidateSpan": sound.candidate_span_s,
                "gain": sound.reference_gain_db,
                "map": sound.time_map,
            }
        )
    return {"takes": takes}
