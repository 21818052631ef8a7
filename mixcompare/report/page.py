"""The page: one file that holds everything, asks for nothing, and runs its own script only."""

from __future__ import annotations

import base64
import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from markupsafe import Markup

from mixcompare.alignment.result import UNRELATED
from mixcompare.findings import Description, Finding, bars_named, clock, of_a_hundred
from mixcompare.listening.page_sound import CodedSound
from mixcompare.plots.contours import Field, balance_field, gaps, loudness_contours
from mixcompare.plots.courses import course_of, is_whole
from mixcompare.plots.strip import legend_colours
from mixcompare.report import head, pictures, tables, timeline, wording
from mixcompare.report.document import MAP_POINTS_PER_S, plain, version
from mixcompare.report.drawn import of_the_drawn, voice_drawn
from mixcompare.report.inline import inline_svg
from mixcompare.report.notes import Notes, notes_of
from mixcompare.report.shell import environment, packaged, policy
from mixcompare.report.stems import stems_sentence, stems_table
from mixcompare.results import Results
from mixcompare.standards import bs1770

_SCRIPTS = (
    "clocks.js", "folds.js", "loudness.js", "trial.js", "hands.js", "player.js", "notes.js",
)  # fmt: skip


@dataclass(frozen=True)
class Picture:
    """A figure of the page: SVG text, and one or two sentences on what it shows."""

    svg: str
    caption: str


def render(
    results: Results, figures: Mapping[str, Picture], passages: Sequence[CodedSound] = ()
) -> str:
    """Write the page.

    Parameters
    ----------
    results : Results
        What the comparison found.
    figures : mapping of str to Picture
        By aspect; ``"alignment"`` shows the time map.
    passages : sequence of CodedSound
        Sound for the listening panel; without it the panel shows pictures only.

    Returns
    -------
    str
        HTML. All names and texts are escaped; no address leads outside.
    """
    contours = loudness_contours(results)
    field = balance_field(results)
    span_s = results.alignment.time_map.span_s
    related = results.alignment.relation != UNRELATED
    notes = notes_of(results, passages)
    style, script = packaged("page.css"), "".join(map(packaged, _SCRIPTS))
    template = environment().get_template("page.html")
    return template.render(
        results=results,
        related=related,
        title=f"{head.short(results.reference)} and {head.short(results.candidate)}",
        reference=head.source(results.reference),
        candidate=head.source(results.candidate),
        compared=head.compared(results),
        facts=head.facts(results),
        warnings=_warnings(results),
        cards=[_card(finding, results, field) for finding in results.findings],
        ticks=timeline.ticks(span_s),
        lanes=timeline.lanes(results, contours, field, span_s) if related else (),
        legend=(legend_colours(), legend_colours(dark=True)),
        passages=[_sound(passage) for passage in passages],
        voices={name: wording.VOICES[name] for name in passages[0]} if passages else {},
        same_gain=wording.SAME_GAIN,
        gains=_gains(passages),
        player_data=_player_data(results, passages, notes),
        notes=notes,
        sections=_sections(results, figures),
        stems=stems_table(results.stems) if results.stems is not None else None,
        stems_sentence=stems_sentence(results.stems) if results.stems is not None else "",
        stems_figure=_inline(figures, "stems"),
        stems_caption=figures["stems"].caption if "stems" in figures else "",
        alignment_figure=_inline(figures, "alignment"),
        alignment_caption=figures["alignment"].caption if "alignment" in figures else "",
        noticeable=_noticeable(results),
        limits=wording.LIMITS,
        settings=_settings(results),
        versions={"mixcompare": version(), "Python": platform.python_version()},
        style=Markup(style),
        script=Markup(script),
        policy=policy(style, script, "data: blob:" if notes else "data:"),
    )


def _warnings(results: Results) -> list[str]:
    """Each once; files by their names, as everywhere on the page."""
    told = dict.fromkeys((*results.warnings, *results.alignment.warnings))
    for side in (results.reference, results.candidate):
        told = dict.fromkeys(text.replace(side.path, head.short(side)) for text in told)
    return list(told)


def _card(finding: Finding, results: Results, field: Field | None) -> dict[str, Any]:
    about = _about(results, finding.aspect)
    span_s = results.alignment.time_map.span_s
    course = course_of(results, finding, field)
    drawn = None
    if course is not None:
        drawn = pictures.course(finding, course.times_s, course.level_db, span_s)
    return {
        "finding": finding,
        "aspect": about.title,
        "size": wording.size(finding),
        "interval": wording.around(finding),
        "sure": of_a_hundred(finding.confidence),
        "band": wording.band(finding.band_hz),
        "causes": wording.causes(finding),
        "cause": finding.cause.spoken,
        "whole": is_whole(results, finding),
        "spans": [
            (index, clock(start), clock(end)) for index, (start, end) in enumerate(finding.spans_s)
        ],
        "bars": bars_named(finding.bars, 12) if finding.bars else "",
        "size_picture": pictures.size(finding),
        "course_picture": drawn,
        "course_words": course.words if course else "",
        "cause_picture": pictures.cause(finding),
    }


def _about(results: Results, aspect: str) -> Description:
    measured = results.measurements.get(aspect)
    return measured.about if measured else Description(aspect.capitalize(), "", "")


def _sections(results: Results, figures: Mapping[str, Picture]) -> list[dict[str, Any]]:
    sections = []
    for aspect, whole in results.measurements.items():
        measured, voice = of_the_drawn(whole), voice_drawn(whole)
        key = tables.key_value(measured)
        key = key.replace(":", f", {voice}:", 1) if voice else key
        values = tables.single_values(measured)
        ranks = [found.rank for found in results.findings if found.aspect == aspect]
        sections.append(
            {
                "aspect": aspect,
                "title": measured.about.title,
                "meaning": measured.about.meaning,
                "method": measured.about.method,
                "key": key,
                "state": _state(ranks, key),
                "figure": _inline(figures, aspect),
                "caption": figures[aspect].caption if aspect in figures else "",
                "values": replace(values, title=f"Notes of the {voice}") if voice else values,
                "pair": tables.pair_values(measured),
                "lists": [
                    table
                    for table in tables.lists(measured)
                    if ranks or table.title not in tables.ONLY_WITH_FINDINGS
                ],
                "bands": tables.bands(measured),
                "reasons": tables.reasons(measured),
                "ranks": ranks,
            }
        )
    return sections


def _state(ranks: Sequence[int], key: str) -> str:
    """Whether anything of an aspect sticks out, or can be told at all."""
    if ranks:
        return f"finding{'s' * (len(ranks) > 1)} {', '.join(map(str, ranks))}"
    return "nothing sticks out" if key else "can't be told"


def _inline(figures: Mapping[str, Picture], name: str) -> Markup | None:
    picture = figures.get(name)
    if picture is None:
        return None
    return inline_svg(picture.svg, name.replace("_", "-"), picture.caption)


def _noticeable(results: Results) -> list[tuple[str, str, str]]:
    rows = []
    for measured in results.measurements.values():
        for entry in measured.about.noticeable:
            number = f"{entry.factor * entry.size:g}"
            size = f"{number}\N{NO-BREAK SPACE}{entry.in_full}".rstrip("\N{NO-BREAK SPACE}")
            rows.append((entry.name.replace("_", " "), size, entry.source))
    return rows


def _settings(results: Results) -> list[tuple[str, str]]:
    shown = [
        (str(name).replace("_", " "), "not set" if value is None else str(plain(value)))
        for name, value in results.settings.items()
    ]
    return shown + ([("level taken out", results.level.method)] if results.level else [])


def _sound(passage: CodedSound) -> dict[str, str]:
    return {name: base64.b64encode(voice.mp3).decode() for name, voice in passage.items()}


def _gains(passages: Sequence[CodedSound]) -> str:
    """How the sound in the page was turned down for the same gain, in words."""
    if not passages:
        return ""
    parts = []
    for voice in passages[0]:
        name, gains = wording.VOICES[voice], [passage[voice].gain_db for passage in passages]
        low, high = -max(gains), -min(gains)
        if high < 0.05:
            parts.append(f"the {name} plays as it is")
        elif high - low < 0.05:
            parts.append(f"the {name} is turned down by {high:.1f} dB")
        else:
            parts.append(f"the {name} is turned down by {low:.1f} to {high:.1f} dB")
    return ", ".join(parts)


def _player_data(
    results: Results, passages: Sequence[CodedSound], notes: Notes | None
) -> dict[str, Any]:
    """What the script needs: clocks, places, bands. Embedded as JSON, with < and > escaped."""
    points = results.alignment.time_map.thinned(MAP_POINTS_PER_S)
    related = results.alignment.relation != UNRELATED
    pairs = np.round(np.stack([points.reference_s, points.candidate_s], axis=1), 4)
    data: dict[str, Any] = plain(
        {
            "span": results.alignment.time_map.span_s,
            "map": pairs if related else [],
            "gaps": gaps(results.alignment.time_map) if related else [],
            "segments": [
                {name: voice.span_s for name, voice in passage.items()} for passage in passages
            ],
            "loudness": [
                {name: voice.block_lufs for name, voice in passage.items()} for passage in passages
            ],
            "meter": {
                "block": bs1770.MOMENTARY_STEPS * bs1770.STEP_S,
                "hop": bs1770.GATING_HOP_STEPS * bs1770.STEP_S,
                "absolute": bs1770.ABSOLUTE_GATE_LUFS,
                "relative": bs1770.RELATIVE_GATE_LU,
            },
            "findings": [
                {"rank": finding.rank, "spans": finding.spans_s, "band": finding.band_hz}
                for finding in results.findings
            ],
            "notes": [note.span_s for note in notes.heard] if notes else [],
            "drawn": notes.drawn if notes else [],
        }
    )
    return data
