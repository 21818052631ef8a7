"""Results as plain JSON data, after ``report.schema.json``.

Conventions
-----------
Every number is in the unit that its name carries; what could not be determined is null, never
NaN or infinite. Fields that an analyzer marks as serving plots only stay out.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from importlib import metadata, resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from mixcompare import units
from mixcompare.alignment.result import UNRELATED, Alignment
from mixcompare.findings import Finding
from mixcompare.results import Level, Results

if TYPE_CHECKING:
    from mixcompare.aspects.articulation.values import VoiceArticulation
    from mixcompare.parts.values import Lead, PartLevel
    from mixcompare.stems.values import Stems

SCHEMA_VERSION = 1  # of ``report.schema.json``
MAP_POINTS_PER_S = 20.0  # resolution of the map in the report and page

Json = dict[str, Any]


def to_document(results: Results, files: Sequence[str] = ()) -> Json:
    """Results as a tree of dicts, lists, strings, numbers and None.

    Parameters
    ----------
    results : Results
        What the comparison found.
    files : sequence of str
        Everything that the report consists of, as paths relative to ``report.json``.

    Returns
    -------
    dict
        Valid after :func:`schema`.
    """
    results = results.on_file_clocks()
    warnings = dict.fromkeys((*results.warnings, *results.alignment.warnings))
    return {
        "schema_version": SCHEMA_VERSION,
        "mixcompare_version": version(),
        "reference": plain(results.reference),
        "candidate": plain(results.candidate),
        "alignment": alignment_document(results.alignment),
        "level": _level(results.level),
        "verdict": results.verdict,
        "measurements": {
            aspect: {
                "reference": plain(measured.reference),
                "candidate": plain(measured.candidate),
                "difference": plain(measured.difference),
            }
            for aspect, measured in results.measurements.items()
        },
        "findings": [plain(finding) for finding in results.findings],
        "parts": parts_of(results),
        "stems": stems_of(results),
        "preview": plain(results.stems.preview) if results.stems else None,
        "detectable": [plain(least) for least in results.detectable],
        "unseen": results.unseen,
        "untold": list(results.untold),
        "warnings": list(warnings),
        "settings": plain(results.settings),
        "files": list(files),
    }


def parts_of(results: Results) -> list[Json]:
    """What is known of the parts of a score: their levels, and how their notes are held."""
    of_balance, of_articulation = (
        found.difference if found is not None else None
        for found in map(results.measurements.get, ("balance", "articulation"))
    )
    voices: tuple[VoiceArticulation, ...] = of_articulation.voices if of_articulation else ()
    held = {voice.name: voice for voice in voices if voice.written}
    levels: dict[str, PartLevel] = {
        part.name: part for part in (of_balance.parts if of_balance else ())
    }
    leads: tuple[Lead, ...] = of_balance.leads if of_balance else ()
    out = []
    for name in dict.fromkeys((*levels, *held)):
        level, voice = levels.get(name), held.get(name)
        out.append(
            {
                "name": name,
                "level_difference_db": plain(level.level_db) if level else None,
                "interval": plain(level.level_db_interval) if level else None,
                "resolved": level is not None and level.is_resolved,
                "group": list(level.together_with) if level else [],
                "audible_share": level.audible_share if level else None,
                "candidate_audible_share": level.candidate_audible_share if level else None,
                "leads": [_lead(one) for one in leads if one.name == name],
                "written": level.written if level else None,
                "covered_by": list(level.covered_by) if level else [],
                "bars": [
                    [*stretch.bars, plain(stretch.level_db)]
                    for stretch in (level.course if level else ())
                    if stretch.bars is not None
                ],
                "position_reference": plain(level.reference_position) if level else None,
                "position_candidate": plain(level.candidate_position) if level else None,
                "position_difference": plain(level.position) if level else None,
                "position_interval": plain(level.position_interval) if level else None,
                "sounding_ratio_reference": plain(voice.reference_ratio) if voice else None,
                "sounding_ratio_candidate": plain(voice.candidate_ratio) if voice else None,
                "reason": level.reason if level else None,
            }
        )
    return out


def _lead(lead: Lead) -> Json:
    """Where a part leads, and how its line stands over the rest there."""
    return {
        "span_s": [plain(lead.start_s), plain(lead.end_s)],
        "bars": plain(lead.bars),
        "doubled_by": list(lead.doubled_by),
        "reference": lead.reference,
        "candidate": lead.candidate,
        "reference_db": plain(lead.reference_db),
        "candidate_db": plain(lead.candidate_db),
        "difference_db": plain(lead.difference_db),
        "covered_in_reference_by": list(lead.covered_in_reference_by),
        "covered_in_candidate_by": list(lead.covered_in_candidate_by),
    }


def stems_of(results: Results) -> list[Json]:
    """What every stem carries, and its trim."""
    stems: Stems | None = results.stems
    return [
        {
            "name": stem.name,
            "share_percent": plain(stem.share_percent),
            "trim_db": plain(stem.trim_db),
            "interval": plain(stem.interval),
            "identified": stem.trim_db is not None,
            "delay_ms": plain(stem.delay_ms),
            "delay_interval": plain(stem.delay_interval),
            "before_array_ms": plain(stem.before_array_ms),
            "before_array_interval": plain(stem.before_array_interval),
            "polarity": "inverted" if stem.is_inverted else "normal",
            "confused_with": list(stem.confused_with),
            "reason": stem.reason,
            "compared_with": stem.compared_with,
            "places": [[*place.span_s, place.trim_db] for place in stem.places],
        }
        for stem in (stems.stems if stems else ())
    ]


def trims_table(results: Results) -> str:
    """Trims as comma-separated values, a line a stem, for the desk: first those that are due.

    In the digits of the page; what is not due is there for the eye and needs no hand.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(
        (
            "stem", "trim_db", "low_95", "high_95", "share_percent", "delay_ms", "note",
            "compared_with", "place", "due", "polarity", "before_array_ms",
            "before_array_low_95", "before_array_high_95",
        )
    )  # fmt: skip
    stems: Stems | None = results.on_file_clocks().stems
    for stem in stems.in_order if stems else ():
        name, place = harmless(stem.name), "elsewhere" if stem.places else ""
        writer.writerow(
            (
                name,
                *_digits((stem.trim_db, *(stem.interval or (None, None)), stem.share_percent), 1),
                *_digits((stem.delay_ms,), 2),
                harmless(stem.reason or ""),
                harmless(stem.compared_with or ""),
                place,
                "yes" if stem.is_due else "no",
                "" if stem.delay_ms is None else "inverted" if stem.is_inverted else "normal",
                *_digits((stem.before_array_ms, *(stem.before_array_interval or (None, None))), 2),
            )
        )
        for there in stem.places:
            own = _digits((there.trim_db, *there.interval), 1)
            writer.writerow(
                (name, *own, "", "", "", "", _spans((there.span_s,), 1), "yes", *[""] * 4)
            )
    return buffer.getvalue()


def _digits(values: Sequence[float | None], decimals: int) -> list[str]:
    """Numbers for a spreadsheet, a zero without a sign; nothing for one that is not known."""
    return [
        "" if value is None else units.plain_number(value, decimals=decimals) for value in values
    ]


def to_json(document: Json) -> str:
    """The document as text; the same results always give the same text."""
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def schema(aspects: Iterable[str] | None = None) -> Json:
    """The JSON Schema (draft 2020-12) of a report.

    Parameters
    ----------
    aspects : iterable of str, optional
        Aspects that may have findings, where there are others than those that come with mixcompare.
    """
    text = resources.files("mixcompare.report").joinpath("report.schema.json").read_text("utf-8")
    loaded: Json = json.loads(text)
    if aspects is not None:
        loaded["$defs"]["finding"]["properties"]["aspect"]["enum"] = list(aspects)
    return loaded


def version() -> str:
    """Version of the package that is installed."""
    return metadata.version("mixcompare")


def plain(value: Any) -> Any:
    """Any value of a result as JSON data.

    Dataclasses become objects (without the fields marked ``{"report": False}``), arrays and
    tuples become lists, numbers that are not finite become None.

    Raises
    ------
    TypeError
        For a value that has no place in a report.
    """
    if value is None or isinstance(value, (str, bool)):
        return value
    if is_dataclass(value) and not isinstance(value, type):
        return {
            item.name: plain(getattr(value, item.name))
            for item in fields(value)
            if item.metadata.get("report", True)
        }
    if isinstance(value, (np.ndarray, np.generic)):
        return plain(value.tolist())
    if isinstance(value, int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, Path):
        return str(value)
    raise TypeError(f"{type(value).__name__} has no place in a report")


def findings_table(findings: Sequence[Finding]) -> str:
    """Findings as comma-separated values, one line each, for a spreadsheet."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(
        (
            "rank", "aspect", "kind", "subject", "difference", "unit", "low_95", "high_95",
            "just_noticeable_differences", "confidence", "spans_s", "candidate_spans_s", "bars",
            "low_hz", "high_hz", "players", "room", "mix", "text", "advice",
        )
    )  # fmt: skip
    for finding in findings:
        low_hz, high_hz = (
            (f"{edge:.0f}" for edge in finding.band_hz) if finding.band_hz else ("", "")
        )
        writer.writerow(
            (
                finding.rank,
                finding.aspect,
                finding.kind,
                harmless(finding.subject),
                finding.scale.number(finding.difference),
                finding.scale.in_full,
                *map(finding.scale.number, finding.interval),
                f"{finding.jnd:.1f}",
                f"{finding.confidence:.2f}",
                _spans(finding.spans_s, 2),
                _spans(finding.candidate_spans_s, 2),
                _spans(finding.bars or (), 0),
                low_hz,
                high_hz,
                f"{finding.cause.players:.2f}",
                f"{finding.cause.room:.2f}",
                f"{finding.cause.mix:.2f}",
                harmless(finding.text),
                harmless(" ".join(finding.advice)),
            )
        )
    return buffer.getvalue()


def alignment_document(alignment: Alignment) -> Json:
    """Alignment of a report; unrelated recordings have no places in common."""
    related = alignment.relation != UNRELATED
    points = alignment.time_map.thinned(MAP_POINTS_PER_S)
    pairs = np.round(np.stack([points.reference_s, points.candidate_s], axis=1), 6)
    known: Json = {
        "offset_s": alignment.offset_s,
        "drift_ppm": alignment.drift_ppm,
        "polarity": alignment.polarity,
        "channels_swapped": alignment.channels_swapped,
        "transposition_semitones": alignment.transposition_semitones,
        "tuning_cents": alignment.tuning_cents,
        "tempo_ratio": alignment.tempo_ratio,
        "uncertainty_ms": alignment.uncertainty_ms,
    }
    return {
        "relation": alignment.relation,
        "confidence": plain(alignment.confidence),
        **{name: plain(value) if related else None for name, value in known.items()},
        "time_map": pairs.tolist() if related else [],
        "time_map_half_width_ms": plain(np.round(points.half_width_ms, 3)) if related else [],
        "events": plain(alignment.events) if related else [],
        "places": plain(alignment.places) if related else [],
    }


def _level(level: Level | None) -> Json:
    if level is None:
        return {"gain_db": None, "interval": None, "method": None}
    taken: Json = plain(level)
    return taken


def _spans(spans: Sequence[tuple[float, float]], decimals: int) -> str:
    return "; ".join(f"{start:.{decimals}f} to {end:.{decimals}f}" for start, end in spans)


def harmless(text: str) -> str:
    """Keep a spreadsheet from taking a name for a formula, or half of it for a line."""
    text = text.replace("\r", " ")
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t") else text
