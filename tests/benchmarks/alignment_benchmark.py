"""Measure alignment on pairs whose truth is known, and print tables by condition.

``python -m tests.benchmarks.alignment_benchmark --set tuning --conditions dry-dry dry-wet --peer``

Choose constants on ``--set tuning`` only; report figures of ``--set reporting``.
"""

from __future__ import annotations

import argparse
import importlib
import json
import random
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from mixcompare.audio.recording import Recording
from tests.benchmarks.alignment_pairs import add_plan_options, make_pair, planned
from tests.benchmarks.alignment_peer import peer_map
from tests.benchmarks.alignment_scores import (
    PLACE_TOLERANCE_S,
    JumpScore,
    MapsTimes,
    OnsetErrors,
    onset_errors,
    place_error_s,
    score_jumps,
)
from tests.benchmarks.alignment_truth import Pair, read_pair
from tests.benchmarks.corpus import cache_folder

Aligner = Callable[[Recording, Recording], Any]


@dataclass(frozen=True)
class Answer:
    """What was measured on one pair.

    Attributes
    ----------
    name, condition, true_relation
        Which pair.
    relation, confidence
        What was answered; empty and NaN for the peer.
    cpu_s
        Processor time.
    errors
        At the onsets; None where the music is unrelated or was called so.
    place_s
        Distance from the true place, in seconds, in the middle of the shared music.
    is_excerpt
        Whether one of the two is an excerpt of the other.
    jumps
        Cuts and repeats.
    drift_error_ppm, flags_right, flags_wrong
        Same take: error of the drift; whether polarity and channel exchange are both right;
        whether one of them is wrong (neither where an answer is "can't tell").
    failure
        Message of an exception, if there was one.
    """

    name: str
    condition: str
    true_relation: str
    relation: str
    confidence: float
    cpu_s: float
    errors: OnsetErrors | None = None
    place_s: float | None = None
    is_excerpt: bool = False
    jumps: JumpScore | None = None
    drift_error_ppm: float | None = None
    flags_right: bool | None = None
    flags_wrong: bool | None = None
    failure: str | None = None

    @property
    def right(self) -> bool:
        """Whether the relation was answered rightly."""
        return self.relation == self.true_relation


def measure(pair: Pair, align: Aligner) -> Answer:
    """Align a pair and compare with its truth."""
    reference = Recording.from_array(pair.reference, pair.reference_rate_hz, "reference")
    candidate = Recording.from_array(pair.candidate, pair.candidate_rate_hz, "candidate")
    begin_s = time.process_time()
    try:
        found = align(reference, candidate)
    except Exception as error:  # a crash is a result, and the table goes on
        spent_s = time.process_time() - begin_s
        return _failed(pair, spent_s, f"{type(error).__name__}: {error}")
    spent_s = time.process_time() - begin_s
    is_take = pair.relation == found.relation == "same_take"
    drift_error_ppm = None
    flags_right, flags_wrong = None, None
    if is_take and pair.drift_ppm is not None:
        drift_error_ppm = float(found.drift_ppm) - pair.drift_ppm
        truth = (pair.polarity, pair.channels_swapped)
        answered = (found.polarity, found.channels_swapped)
        flags_right = answered == truth
        flags_wrong = any(
            value is not None and value != true for value, true in zip(answered, truth, strict=True)
        )
    errors, place_s = _on_the_map(pair, found.time_map, found.relation)
    return Answer(
        name=pair.name,
        condition=pair.condition,
        true_relation=pair.relation,
        relation=str(found.relation),
        confidence=float(found.confidence),
        cpu_s=spent_s,
        errors=errors,
        place_s=place_s,
        is_excerpt="excerpt" in pair.condition,
        jumps=score_jumps(pair, tuple(found.events)),
        drift_error_ppm=drift_error_ppm,
        flags_right=flags_right,
        flags_wrong=flags_wrong,
    )


def measure_peer(pair: Pair) -> Answer:
    """The same for the peer, which answers with a path only."""
    begin_s = time.process_time()
    path = peer_map(pair.reference, pair.reference_rate_hz, pair.candidate, pair.candidate_rate_hz)
    spent_s = time.process_time() - begin_s
    errors, place_s = _on_the_map(pair, path, "")
    return Answer(
        name=pair.name,
        condition=pair.condition,
        true_relation=pair.relation,
        relation="",
        confidence=float("nan"),
        cpu_s=spent_s,
        errors=errors,
        place_s=place_s,
        is_excerpt="excerpt" in pair.condition,
    )


def _on_the_map(
    pair: Pair, time_map: MapsTimes, answered: str
) -> tuple[OnsetErrors | None, float | None]:
    if pair.relation == "unrelated" or answered == "unrelated":
        return None, None
    return onset_errors(pair, time_map), place_error_s(pair, time_map)


def _failed(pair: Pair, spent_s: float, message: str) -> Answer:
    return Answer(
        name=pair.name,
        condition=pair.condition,
        true_relation=pair.relation,
        relation="failed",
        confidence=float("nan"),
        cpu_s=spent_s,
        failure=message,
    )


# --- tables ---


def _size(values_ms: npt.NDArray[np.float64], percent: float) -> str:
    return f"{np.percentile(np.abs(values_ms), percent):.1f}" if len(values_ms) else "-"


def _share(values: Iterable[bool]) -> str:
    listed = list(values)
    return f"{sum(listed)}/{len(listed)}" if listed else "-"


def _mean(values: Iterable[float | None], digits: int) -> str:
    known = [value for value in values if value is not None and np.isfinite(value)]
    return f"{np.mean(known):.{digits}f}" if known else "-"


def onset_row(label: str, answers: Sequence[Answer]) -> list[str]:
    """One row of the table of errors at onsets, all onsets of the answers pooled."""
    errors = [answer.errors for answer in answers if answer.errors is not None]
    if not errors:
        return [label, str(len(answers)), "0", *["-"] * 13]
    error_ms = np.concatenate([part.error_ms for part in errors])
    centred_ms = np.concatenate([part.centred_ms for part in errors])
    sharp = np.concatenate([part.sharp for part in errors])
    half_width_ms = np.concatenate([part.half_width_ms for part in errors])
    stated = half_width_ms > 0.0
    in_band = np.abs(error_ms[stated]) <= half_width_ms[stated]
    return [
        label,
        str(len(errors)),
        str(len(error_ms)),
        f"{np.abs(error_ms).mean():.1f}" if len(error_ms) else "-",
        _size(error_ms, 50),
        _size(error_ms, 95),
        f"{error_ms.mean():+.1f}" if len(error_ms) else "-",
        _size(centred_ms, 50),
        _size(centred_ms, 95),
        _size(error_ms[sharp], 50),
        _size(error_ms[sharp], 95),
        f"{100.0 * in_band.mean():.0f}" if stated.any() else "-",
        f"{np.median(half_width_ms[stated]):.0f}" if stated.any() else "-",
        f"{100.0 * np.mean([part.mapped for part in errors]):.0f}",
        _mean([100.0 * part.within_window for part in errors], 0),
        _mean([part.perceptual for part in errors], 2),
    ]


ONSET_COLUMNS = [
    "condition", "pairs", "onsets", "mean", "median", "95 %", "bias", "median-c", "95 %-c",
    "sharp", "sharp 95 %", "in band %", "band", "mapped %", "<50 ms %", "perceptual",
]  # fmt: skip

ANSWER_COLUMNS = [
    "condition", "pairs", "relation", "wrongly", "confidence", "excerpt found", "place s",
    "jumps found", "false jumps", "jump length s", "CPU s",
]  # fmt: skip

TAKE_COLUMNS = [
    "condition", "pairs", "called so", "median us", "largest us", "drift ppm", "flags right",
    "flags wrong", "CPU s",
]  # fmt: skip


def answer_row(label: str, answers: Sequence[Answer]) -> list[str]:
    """One row of the table of relations, places and jumps."""
    wrong = sorted({answer.relation for answer in answers if answer.relation and not answer.right})
    excerpts = [answer for answer in answers if answer.is_excerpt]
    jumps = [answer.jumps for answer in answers if answer.jumps is not None]
    lengths = [abs(error) for score in jumps for error in score.length_errors_s]
    found = sum(score.found_count for score in jumps)
    there = sum(score.true_count for score in jumps)
    placed = [
        answer.place_s is not None and answer.place_s <= PLACE_TOLERANCE_S for answer in excerpts
    ]
    return [
        label,
        str(len(answers)),
        _share(answer.right for answer in answers if answer.relation),
        ", ".join(wrong) or "-",
        _mean([answer.confidence for answer in answers], 2),
        _share(placed),
        _mean([answer.place_s for answer in excerpts], 2),
        f"{found}/{there}" if there else "-",
        str(sum(score.false_count for score in jumps)) if jumps else "-",
        _mean(lengths, 2),
        _mean([answer.cpu_s for answer in answers], 1),
    ]


def take_row(label: str, answers: Sequence[Answer]) -> list[str]:
    """One row of the table of same takes; times in microseconds."""
    called = [answer for answer in answers if answer.right and answer.errors is not None]
    error_us = [1e3 * np.abs(answer.errors.error_ms) for answer in called if answer.errors]
    pooled = np.concatenate(error_us) if error_us else np.zeros(0)
    drifts = [answer.drift_error_ppm for answer in called if answer.drift_error_ppm is not None]
    return [
        label,
        str(len(answers)),
        _share(answer.right for answer in answers),
        f"{np.median(pooled):.2f}" if len(pooled) else "-",
        f"{pooled.max():.2f}" if len(pooled) else "-",
        f"{np.abs(drifts).max():.3f}" if drifts else "-",
        _share(bool(answer.flags_right) for answer in called),
        str(sum(bool(answer.flags_wrong) for answer in called)),
        _mean([answer.cpu_s for answer in answers], 1),
    ]


def table(columns: list[str], rows: list[list[str]]) -> str:
    """Lay out a table in plain text, the first column to the left and the others to the right."""
    cells = [columns, *rows]
    widths = [max(len(row[index]) for row in cells) for index in range(len(columns))]
    lines = []
    for row in cells:
        rest = [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        lines.append("  ".join([row[0].ljust(widths[0]), *rest]).rstrip())
    return "\n".join(lines)


def _grouped(answers: Sequence[Answer]) -> Iterator[tuple[str, list[Answer]]]:
    """By condition, in order of appearance; then all together."""
    names = list(dict.fromkeys(answer.condition for answer in answers))
    for name in names:
        yield name, [answer for answer in answers if answer.condition == name]
    if len(names) > 1:
        yield "all", list(answers)


def report(answers: Sequence[Answer], peers: Sequence[Answer]) -> str:
    """All tables as text."""
    passages = [answer for answer in answers if answer.true_relation == "same_passage"]
    takes = [answer for answer in answers if answer.true_relation == "same_take"]
    sections = []
    if passages:
        rows = []
        for name, group in _grouped(passages):
            rows.append(onset_row(name, group))
            others = [peer for peer in peers if name in (peer.condition, "all")]
            if others:
                rows.append(onset_row("  librosa chroma", others))
        title = "Other performance: errors at onsets, ms (-c: without each pair's constant part)"
        sections.append(f"{title}\n{table(ONSET_COLUMNS, rows)}")
    if takes:
        rows = [take_row(name, group) for name, group in _grouped(takes)]
        sections.append(f"Same take: errors at onsets\n{table(TAKE_COLUMNS, rows)}")
    rows = [answer_row(name, group) for name, group in _grouped(answers)]
    if peers:
        rows.append(answer_row("  librosa chroma", peers))
    sections.append(f"Relation, place, cuts and repeats\n{table(ANSWER_COLUMNS, rows)}")
    sections.append(_confidences(answers))
    sections.extend(f"{one.name}: {one.failure}" for one in answers if one.failure)
    return "\n\n".join(sections)


def _confidences(answers: Sequence[Answer]) -> str:
    """Whether the stated confidence is the share of right answers."""
    rows = []
    for low, high in ((0.0, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 0.97), (0.97, 1.001)):
        group = [answer for answer in answers if low <= answer.confidence < high]
        if group:
            stated = _mean([answer.confidence for answer in group], 2)
            rows.append([f"{low:.2f}-{min(high, 1.0):.2f}", stated, _share(a.right for a in group)])
    return f"Confidence\n{table(['stated', 'mean', 'right'], rows)}"


# --- command line ---


def _loaded(name: str) -> Aligner:
    module, _, function = name.partition(":")
    aligner: Aligner = getattr(importlib.import_module(module), function)
    return aligner


def _pairs(options: argparse.Namespace) -> Iterator[Pair]:
    if options.pairs is not None:
        for path in sorted(options.pairs.glob("*.truth.json")):
            name = path.name.removesuffix(".truth.json")
            condition = json.loads(path.read_text(encoding="utf-8"))["condition"]
            if not options.conditions or condition in options.conditions:
                yield read_pair(options.pairs, name)
        return
    for movement, condition, seed in planned(options):
        yield make_pair(movement, condition, seed, cache_folder(options.cache))


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    add_plan_options(parser)
    parser.add_argument("--pairs", type=Path, help="folder of written pairs to use instead")
    parser.add_argument("--peer", action="store_true", help="also measure librosa's time warping")
    parser.add_argument("--each", action="store_true", help="a line for every pair")
    parser.add_argument(
        "--unrelated",
        type=int,
        default=0,
        metavar="N",
        help="with --pairs: also N crossings of different movements, a third each whole, cut to"
        " 30 s and cut to 15 s",
    )
    parser.add_argument("--aligner", default="mixcompare:align", help="MODULE:FUNCTION")
    options = parser.parse_args(arguments)
    align = _loaded(options.aligner)
    answers: list[Answer] = []
    peers: list[Answer] = []
    for pair in _pairs(options):
        if not answers:
            measure(pair, align)  # the first run compiles and imports: not timed
        answers.append(measure(pair, align))
        if options.peer and pair.relation == "same_passage":
            if not peers:
                measure_peer(pair)
            peers.append(measure_peer(pair))
        if options.each:
            _print_each(answers[-1])
    for pair in _crossed(options.pairs, options.unrelated) if options.unrelated else ():
        answers.append(measure(pair, align))
        if options.each:
            _print_each(answers[-1])
    print(report(answers, peers))
    return 0


def _crossed(folder: Path, count: int) -> Iterator[Pair]:
    """Recordings of different movements, set against each other; the candidate may be cut."""
    names = sorted(path.name.removesuffix(".truth.json") for path in folder.glob("*.truth.json"))
    draw = random.Random(1)
    while count:
        first, second = draw.sample(names, 2)
        if first.split(".")[0] == second.split(".")[0]:
            continue
        one, other = read_pair(folder, first), read_pair(folder, second)
        if "unrelated" in (one.relation, other.relation):
            continue
        length_s = (None, 30.0, 15.0)[count % 3]
        candidate, rate_hz = other.candidate, other.candidate_rate_hz
        if length_s is not None and len(candidate) > length_s * rate_hz:
            begin = int(draw.uniform(0, len(candidate) - length_s * rate_hz))
            candidate = candidate[begin : begin + int(length_s * rate_hz)]
        yield replace(
            one,
            name=f"{first} x {second}",
            condition=f"crossed-{length_s:.0f}" if length_s else "crossed",
            relation="unrelated",
            candidate=candidate,
            candidate_rate_hz=rate_hz,
        )
        count -= 1


def _print_each(answer: Answer) -> None:
    size, bias = "", ""
    if answer.errors is not None and len(answer.errors.error_ms):
        error_ms = answer.errors.error_ms
        size = f"median {_size(error_ms, 50)} ms, 95 % {_size(error_ms, 95)} ms"
        bias = f", bias {error_ms.mean():+.1f} ms"
    verdict = "right" if answer.right else "WRONG"
    print(
        f"{answer.name}: {answer.relation} ({verdict}, {answer.confidence:.2f}) {size}{bias}",
        flush=True,
    )


if __name__ == "__main__":
    raise SystemExit(main())
