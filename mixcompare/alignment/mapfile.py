"""A time map as a file: CSV with the columns ``reference_s``, ``candidate_s``, ``half_width_ms``.

The third column may be missing; where it is infinite the recordings have no counterpart.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from mixcompare.alignment.timemap import TimeMap
from mixcompare.errors import AlignmentError
from mixcompare.paths import checked_path, hindrance

HEAD = "reference_s,candidate_s,half_width_ms"
_MOST_BYTES = 20_000_000  # cost: more than so many rows take
_MOST_ROWS = 100_000  # cost: an hour at twenty a second has 72 000


def map_text(time_map: TimeMap) -> str:
    """The map as text, at most twenty rows a second."""
    thin = time_map.thinned()
    rows = zip(thin.reference_s, thin.candidate_s, thin.half_width_ms, strict=True)
    return "\n".join(
        [HEAD, *(f"{first:.6f},{second:.6f},{width:.3f}" for first, second, width in rows), ""]
    )


def read_map(path: str | Path) -> TimeMap:
    """The user's own time map.

    Raises
    ------
    AlignmentError
        If it cannot be read, does not rise, or is too long to be one.
    """
    file = checked_path(path, "the time map")
    trouble = hindrance(file, _MOST_BYTES)
    if trouble:
        raise AlignmentError(f"{path}: {trouble}")
    rows: list[tuple[float, float, float]] = []
    try:
        with file.open(newline="", encoding="utf-8-sig") as handle:
            table = csv.DictReader(handle)
            for row in table:
                width = row.get("half_width_ms") or "0"
                rows.append((float(row["reference_s"]), float(row["candidate_s"]), float(width)))
                if len(rows) > _MOST_ROWS:
                    raise AlignmentError(f"{path}: has more than {_MOST_ROWS} rows; thin it out.")
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise AlignmentError(f"{path}: cannot be read ({reason}).") from error
    except (KeyError, TypeError, ValueError, csv.Error) as error:
        raise AlignmentError(
            f"{path}: needs two columns of seconds headed reference_s and candidate_s."
        ) from error
    reference_s, candidate_s, half_width_ms = np.array(rows or np.zeros((0, 3))).T
    try:
        return TimeMap(reference_s, candidate_s, half_width_ms)
    except AlignmentError as error:
        raise AlignmentError(f"{path}: {error}") from error
