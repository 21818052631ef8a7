"""The command that measures one recording alone."""

from __future__ import annotations

import argparse
import json
import math
import shutil
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from mixcompare.features import Features

from mixcompare.cli.shared import OK, Commands
from mixcompare.cli.terminal import Status, printed


def add_to(commands: Commands) -> None:
    """Describe the command and its options."""
    parser = commands.add_parser(
        "measure",
        help="measure one recording alone",
        description="Print one recording's own values: loudness, tone, width, room and so on.",
    )
    parser.add_argument("file", metavar="FILE", help="audio file")
    parser.add_argument("--span", metavar="A-B", help="part to measure, such as 0:12-0:45.5")
    parser.add_argument("--json", action="store_true", help="print the values as JSON")
    parser.set_defaults(run=run, outputs=lambda arguments: [])


def run(arguments: argparse.Namespace) -> int:
    """Do what the command says; returns the exit code."""
    from mixcompare.audio.span import parse_span

    span = parse_span(arguments.span) if arguments.span else None
    status = Status(quiet=arguments.json)
    with status:
        status.say("preparing (the very first run takes longer)")
        from mixcompare.aspects import ANALYZERS
        from mixcompare.comparison import load
        from mixcompare.features import Features

        features = Features.of(load(arguments.file, span))
        measured = {analyzer.aspect: analyzer.measure(features) for analyzer in ANALYZERS}
    with printed():
        if arguments.json:
            from mixcompare.report.document import plain

            document = {aspect: plain(value) for aspect, value in measured.items()}
            print(json.dumps(document, indent=2, allow_nan=False))
        else:
            _print_values(features, measured)
    return OK


def _print_values(features: Features, measured: Mapping[str, Any]) -> None:
    from mixcompare.aspects import ANALYZERS

    width = min(shutil.get_terminal_size((80, 24)).columns, 80)
    titles = {analyzer.aspect: analyzer.about.title for analyzer in ANALYZERS}
    print(f"{features.name}: {features.duration_s:.1f} s, {features.sample_rate_hz} Hz")
    for aspect, measurement in measured.items():
        printed = printable(measurement)
        print()
        print(titles[aspect])
        longest = max((len(name) for name, _ in printed.rows), default=0)
        for name, text in printed.rows:
            print(f"  {name:<{longest}}  {text}")
        notes = list(printed.reasons)
        if printed.untold:
            notes.insert(0, f"Can't tell: {', '.join(printed.untold)}.")
        for note in notes:
            print(textwrap.fill(note, width, initial_indent="  ", subsequent_indent="  "))
    for warning in features.warnings:
        print(f"note: {warning}")


@dataclass(frozen=True)
class Printable:
    """What of a measurement fits on a line each.

    Attributes
    ----------
    rows : tuple of (words, value)
    untold : tuple of str
        What could not be told.
    reasons : tuple of str
        Why.
    """

    rows: tuple[tuple[str, str], ...]
    untold: tuple[str, ...]
    reasons: tuple[str, ...]


def printable(measurement: Any) -> Printable:
    """Words and value of every single value, with its 95 % interval where there is one."""
    from mixcompare.fields import label_and_unit
    from mixcompare.units import plain_number, written

    values = {entry.name: getattr(measurement, entry.name) for entry in fields(measurement)}
    rows, untold = [], []
    for entry in fields(measurement):
        value = values[entry.name]
        if not entry.metadata.get("report", True) or entry.name.endswith("_interval"):
            continue
        label, unit = label_and_unit(entry)
        if value is None:
            untold.append(label if label.isupper() else label[:1].lower() + label[1:])
        elif isinstance(value, bool | str | int):
            rows.append((label, f"{value} {written(unit)}".rstrip()))
        elif isinstance(value, float):
            text = f"{plain_number(value, unit)} {written(unit)}".rstrip()
            around = values.get(f"{entry.name}_interval")
            if around is not None and all(map(math.isfinite, around)):
                low, high = (plain_number(bound, unit) for bound in around)
                text += f" (95 %: {low} to {high})"
            rows.append((label, text))
    return Printable(tuple(rows), tuple(untold), tuple(values.get("reasons", ())))
