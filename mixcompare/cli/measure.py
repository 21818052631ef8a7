"""The command that measures one recording alone."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from dataclasses import fields
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
    print(f"{features.name}: {features.duration_s:.1f} s, {features.sample_rate_hz} Hz")
    for aspect, measurement in measured.items():
        print()
        print(aspect)
        rows = _printable(measurement)
        width = max(len(name) for name, _ in rows)
        for name, text in rows:
            print(f"  {name:<{width}}  {text}")
    for warning in features.warnings:
        print(f"note: {warning}")


def _printable(measurement: Any) -> list[tuple[str, str]]:
    """Words and value of everything that fits on a line."""
    from mixcompare.fields import label_and_unit
    from mixcompare.units import plain_number, written

    rows, reasons = [], []
    for entry in fields(measurement):
        value = getattr(measurement, entry.name)
        if not entry.metadata.get("report", True) or entry.name.endswith("_interval"):
            continue
        label, unit = label_and_unit(entry)
        if entry.name == "reasons":
            reasons = [("", reason) for reason in value]
        elif value is None:
            rows.append((label, "can't tell"))
        elif isinstance(value, bool | str | int):
            rows.append((label, f"{value} {written(unit)}".rstrip()))
        elif isinstance(value, float):
            rows.append((label, f"{plain_number(value, unit)} {written(unit)}".rstrip()))
    return rows + reasons
