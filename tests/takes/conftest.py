"""One run of all takes on this machine, against which others are held."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from mixcompare.takes.run import Takes, compare_all
from tests.takes import clips


@dataclass(frozen=True)
class Run:
    """The recordings, and what came of them."""

    music: Path
    reference: Path
    candidates: tuple[Path, ...]
    result: Takes
    beforehand: str


@pytest.fixture(scope="package")
def local(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """Two mixes and a file that is none, in two processes."""
    music = tmp_path_factory.mktemp("music")
    reference, *mixes = (clips.write(music, name) for name in clips.MIXES)
    broken = music / "broken.flac"
    broken.write_bytes(b"fLaC and no more")
    candidates = (mixes[0], broken, *mixes[1:])
    said: list[str] = []
    out = tmp_path_factory.mktemp("out") / "takes"
    result = compare_all(reference, candidates, out, jobs=2, beforehand=said.append)
    return Run(music, reference, candidates, result, " ".join(said))
