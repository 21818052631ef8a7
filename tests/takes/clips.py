"""Tiny recordings of one made-up piece: a reference, and mixes in which one voice stands out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from tests import synthetic

BARS = 2  # six seconds
MIXES: dict[str, dict[str, float]] = {
    "reference": {},
    "far": {"figure": 8.0},
    "near": {"figure": 4.0},
}


def write(folder: Path, name: str, gains_db: dict[str, float] | None = None) -> Path:
    """Write one of the mixes, or another, as a file."""
    chosen = MIXES[name] if gains_db is None else gains_db
    path = folder / f"{name}.flac"
    music = synthetic.play(3, bars=BARS, gains_db=chosen)
    soundfile.write(path, np.clip(music, -1, 1), synthetic.RATE_HZ)
    return path


def files(folder: Path) -> dict[str, bytes]:
    """All files under a folder, by relative path."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
