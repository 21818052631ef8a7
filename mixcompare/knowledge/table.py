"""A table of notes: CSV with the columns ``part``, ``onset_s``, ``end_s`` and ``pitch``.

A note without a pitch is a stroke of unpitched percussion.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

from mixcompare.errors import ScoreError
from mixcompare.knowledge.notes import MOST_NOTES, UNMARKED, Reading
from mixcompare.knowledge.struck import UNKNOWN, Stroke
from mixcompare.paths import hindrance

_MOST_BYTES = 50_000_000  # cost: more than so many notes take
_COLUMNS = ("part", "onset_s", "end_s", "pitch")


def readings(path: Path) -> list[Reading]:
    """The notes; a table has no bars.

    Raises
    ------
    ScoreError
        If it is no such table.
    """
    trouble = hindrance(path, _MOST_BYTES)
    if trouble:
        raise ScoreError(f"{path}: {trouble}")
    rows: list[tuple[str, float, float, float, float]] = []
    strokes: list[Stroke] = []
    try:
        with path.open(newline="", encoding="utf-8-sig") as lines:
            table = csv.DictReader(lines)
            missing = [name for name in _COLUMNS if name not in (table.fieldnames or ())]
            if missing:
                raise ScoreError(
                    f"{path}: lacks the column {missing[0]!r}; a table of notes has the columns"
                    f" {', '.join(_COLUMNS)}."
                )
            for row in table:
                struck = row["pitch"] is not None and not row["pitch"].strip()
                row["pitch"] = "0" if struck else row["pitch"]
                onset_s, end_s, pitch = (float(row[name]) for name in _COLUMNS[1:])
                if not (0 <= onset_s < end_s and 0 <= pitch <= 127 and math.isfinite(end_s)):
                    raise ScoreError(
                        f"{path}: line {table.line_num} has a note without length, before zero or"
                        " outside the pitches 0 to 127; mend that line."
                    )
                name = str(row["part"]).strip() or "part"
                if struck:
                    strokes.append(Stroke(name, onset_s, end_s, UNKNOWN, UNMARKED, False))
                else:
                    rows.append((name, onset_s, end_s, pitch, UNMARKED))
                if len(rows) + len(strokes) > MOST_NOTES:
                    raise ScoreError(
                        f"{path}: holds more than {MOST_NOTES} notes; cut it to what is compared."
                    )
    except ScoreError:
        raise
    except (OSError, csv.Error, ValueError, TypeError) as error:
        raise ScoreError(
            f"{path}: is no table of notes (a field that should hold a number does not, or the file"
            " is no text); write it again."
        ) from error
    return [Reading(rows, strokes=strokes)]
