"""The command that lays two recordings over each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from mixcompare.alignment.result import Alignment

import argparse
import io
import json
from pathlib import Path

from mixcompare.cli.shared import (
    OK,
    UNRELATED_EXIT,
    Commands,
    add_pair,
    map_of,
    pair_of,
    spans_of,
)
from mixcompare.cli.terminal import Status, printed
from mixcompare.errors import ParameterError

_MARK = b"drawn by mixcompare"
_KINDS = {".svg": "Creator", ".pdf": "Creator", ".png": "Software"}
"""Of figures, with the field of the file that says who made it."""


def add_to(commands: Commands) -> None:
    """Describe the command and its options."""
    parser = commands.add_parser(
        "align",
        help="lay two recordings over each other",
        description="Say whether two recordings are one take, one passage, or neither, and"
        " where the candidate lies against the reference.",
    )
    add_pair(parser)
    parser.add_argument("--map", metavar="FILE", help="write the time map as CSV")
    parser.add_argument("--figure", metavar="FILE", help="draw the map (SVG, PDF or PNG)")
    parser.add_argument("--map-from", metavar="FILE", help="check a time map of your own")
    parser.add_argument("--json", action="store_true", help="print the result as JSON")
    parser.set_defaults(run=run, outputs=_outputs)


def _outputs(arguments: argparse.Namespace) -> list[Path]:
    return [Path(name) for name in (arguments.map, arguments.figure) if name]


def run(arguments: argparse.Namespace) -> int:
    """Do what the command says; returns the exit code."""
    spans, read = spans_of(arguments), pair_of(arguments)
    _check_outputs(arguments, read)
    status = Status(quiet=arguments.json)
    with status:
        status.say("preparing (the very first run takes longer)")
        from mixcompare.alignment import align
        from mixcompare.alignment.result import UNRELATED
        from mixcompare.comparison import load

        status.say("reading both recordings and laying one over the other")
        alignment = align(
            load(arguments.reference, spans[0]),
            load(arguments.candidate, spans[1]),
            map_of(arguments),
        )
    if arguments.map:
        _write_map(alignment, arguments.map, read)
    if arguments.figure:
        _draw_map(alignment, arguments.figure, read)
    with printed():
        if arguments.json:
            from mixcompare.report.document import alignment_document

            print(json.dumps(alignment_document(alignment), indent=2, allow_nan=False))
        else:
            events = (event.text for event in alignment.events)
            notes = (f"note: {text}" for text in (*events, *alignment.warnings))
            print(*alignment_lines(alignment), *_worst_places(alignment), *notes, sep="\n")
    return UNRELATED_EXIT if alignment.relation == UNRELATED else OK


def alignment_lines(alignment: Alignment, tuning_cents: float | None = None) -> list[str]:
    """How the two lie against each other, line by line.

    ``tuning_cents`` is what was measured of the tuning, where it was.
    """
    names = {
        "same_take": "the same take",
        "same_passage": "the same passage, another performance",
        "unrelated": "not the same passage",
    }
    sure = min(alignment.confidence, 0.99)
    lines = [f"relation   {names[alignment.relation]} (sure to {sure:.0%})"]
    if alignment.relation == "unrelated":
        return lines
    if alignment.relation == "same_take":
        offset, drift = alignment.offset_s, alignment.drift_ppm or 0.0
        extra = [f"offset {offset:+.6f} s" if abs(offset) >= 5e-7 else "no offset"]
        extra.append(f"drift {drift:+.2f} ppm" if abs(drift) >= 0.005 else "no drift")
        if alignment.polarity == -1:
            extra.append("polarity inverted")
    else:
        ratio = alignment.tempo_ratio
        tuning_cents = alignment.tuning_cents if tuning_cents is None else tuning_cents
        extra = [
            f"offset {alignment.offset_s:+.2f} s",
            f"lasts {ratio:.3f} times as long",
            f"tuning {round(tuning_cents, 1) or 0.0:+.1f} cents",
        ]
        if alignment.transposition_semitones:
            extra.append(f"transposed {alignment.transposition_semitones:+d} semitones")
    if alignment.channels_swapped:
        extra.append("left and right exchanged")
    lines.append("alignment  " + ", ".join(extra))
    if alignment.relation == "same_passage" and alignment.uncertainty_ms > 0:  # 0: not stated
        lines.append(f"accuracy   about {alignment.uncertainty_ms:.0f} ms")
    return lines


def _worst_places(alignment: Alignment) -> list[str]:
    import numpy as np

    from mixcompare.findings import clock

    if alignment.relation != "same_passage":
        return []
    width = np.where(
        np.isfinite(alignment.time_map.half_width_ms), alignment.time_map.half_width_ms, -1.0
    )
    lines = []
    for _ in range(3):
        worst = int(np.argmax(width))
        if width[worst] < max(2 * np.median(width[width >= 0]), 1.0):
            break
        at = float(alignment.time_map.reference_s[worst])
        lines.append(f"least sure at {clock(at)} (within {width[worst]:.0f} ms)")
        width[np.abs(alignment.time_map.reference_s - at) < 2] = -1
    return lines


def _check_outputs(arguments: argparse.Namespace, read: list[str]) -> None:
    """Refuse, before the work, what may not be written."""
    from mixcompare.alignment.mapfile import HEAD
    from mixcompare.outputs import check_file, is_one_of

    if arguments.map:
        check_file(arguments.map, HEAD.encode(), read)
    if arguments.figure:
        if Path(arguments.figure).suffix.lower() not in _KINDS:
            raise ParameterError(f"{arguments.figure}: name a figure .svg, .pdf or .png.")
        if arguments.map and is_one_of(Path(arguments.figure), [arguments.map]):
            raise ParameterError(f"{arguments.figure}: is where the map goes; name another file.")
        check_file(arguments.figure, _MARK, read)


def _write_map(alignment: Alignment, path: str, read: list[str]) -> None:
    from mixcompare.alignment.mapfile import HEAD, map_text
    from mixcompare.outputs import write_file

    write_file(path, map_text(alignment.time_map).encode(), HEAD.encode(), read)


def _draw_map(alignment: Alignment, path: str, read: list[str]) -> None:
    from mixcompare.outputs import write_file
    from mixcompare.plots import style
    from mixcompare.plots.alignment import draw_alignment

    kind = Path(path).suffix.lower()
    drawn = io.BytesIO()
    with style.settings():
        figure = style.new_figure()
        draw_alignment(alignment, figure)
        figure.savefig(drawn, format=kind[1:], metadata={_KINDS[kind]: _MARK.decode()})
    write_file(path, drawn.getvalue(), _MARK, read)
