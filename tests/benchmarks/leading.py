"""Does the part that is taken to lead have the theme by the ears of analysts?

``python -m tests.benchmarks.leading SCORES [--set reporting]`` with SCORES a folder of scores
(``NAME.mxl``) and beside each ``NAME_annotations.csv`` (bar, fraction of the bar and number of the
part, a line for every segment of the theme), as in the OpenScore Orchestra corpus (CC0; its
annotations CC BY-SA). Segments longer than 12 s count by their first 12. Printed: how often the
part that :mod:`mixcompare.parts.leading` names is the annotated one, or plays the same notes.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from mixcompare.knowledge.notes import Bars, PartNotes
from mixcompare.knowledge.score import Score
from mixcompare.parts.leading import leading_part
from tests.benchmarks.symphonic import movements, over_scores

_LONGEST_S = 12.0
_TOGETHER_S, _SAME_NOTES = 0.06, 0.6


def segments(name: str, scores: Path) -> Iterator[tuple[list[PartNotes], float, float, str]]:
    """Every segment of the theme: all parts, start and end in s, and who has it."""
    score = Score.open(scores / f"{name}.mxl")
    score = score.otherwise[-1] if score.otherwise else score  # without repeats, as it is printed
    parts = [PartNotes(part, notes, notes[:0]) for part, notes in score.parts]
    columns = _columns(name, scores) or [part.name for part in parts]
    assert score.bars is not None
    with (scores / f"{name}_annotations.csv").open(encoding="utf-8") as file:
        heard = list(csv.DictReader(file))
    starts = [_moment(row, score.bars) for row in heard]
    ends = [*starts[1:], None if starts[-1] is None else starts[-1] + 4.0]
    for row, start, end in zip(heard, starts, ends, strict=True):
        place = int(row["part_num"])
        if start is not None and end is not None and end > start and place < len(columns):
            yield parts, start, min(end, start + _LONGEST_S), columns[place]


def _columns(name: str, scores: Path) -> list[str]:
    """All parts as they are numbered, those without a pitch among them."""
    path = scores / f"{name}_part_relations.csv"
    if not path.exists():
        return []
    with path.open(encoding="utf-8") as file:
        return next(csv.reader(file))[2:]


def _moment(row: dict[str, str], bars: Bars) -> float | None:
    found = np.flatnonzero(bars.number == int(row["measure"]))
    if not len(found):
        return None
    start, end = float(bars.start_s[found[0]]), float(bars.end_s[found[0]])
    return start + float(row["measure_fraction"] or 0) * (end - start)


def same_notes(one: PartNotes, other: PartNotes, start: float, end: float) -> bool:
    """Whether two parts have most of the shorter one's notes in common, at whatever octave."""
    first, second = (
        {
            (round(onset / _TOGETHER_S), int(pitch) % 12)
            for onset, _, pitch in part.notes[:, :3]
            if start - _TOGETHER_S <= onset < end
        }
        for part in (one, other)
    )
    return len(first & second) >= _SAME_NOTES * max(1, min(len(first), len(second)))


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table."""
    options = over_scores(__doc__).parse_args(arguments)
    exact = alike = whole = 0
    for _, name in movements(options):
        own = [0, 0, 0]
        for parts, start, end, theme in segments(name, options.scores):
            by_name = {part.name: part for part in parts}
            found = leading_part(parts, (start, end))
            if theme not in by_name or found is None:
                continue
            led = parts[found]
            own[0] += led.name == theme
            own[1] += led.name == theme or same_notes(led, by_name[theme], start, end)
            own[2] += 1
        print(f"{name}: the part itself {own[0]}, or one with the same notes {own[1]}, of {own[2]}")
        exact, alike, whole = exact + own[0], alike + own[1], whole + own[2]
    print(f"together: {exact / whole:.2f}, {alike / whole:.2f} of {whole}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
