"""The sample recordings: paths, and what is computed of them once per test run."""

from __future__ import annotations

import functools
import json
from pathlib import Path
from typing import Any

from mixcompare.alignment import align
from mixcompare.analysis import analyse
from mixcompare.audio.recording import Recording
from mixcompare.comparison import Comparison, compare
from mixcompare.features import Features
from mixcompare.results import Results
from tests import once_a_run
from tests.told import nothing_unseen, told_of

FOLDER = Path(__file__).parent.parent / "sample_audio"
CANDIDATES = (
    "candidate_figure_louder",
    "candidate_detached",
    "candidate_wetter",
    "candidate_other_performance",
)


def path(name: str) -> Path:
    return FOLDER / f"{name}.flac"


def truth(name: str) -> dict[str, Any]:
    text = (FOLDER / f"{name}.truth.json").read_text(encoding="utf-8")
    document: dict[str, Any] = json.loads(text)
    return document


@functools.cache
def features(name: str) -> Features:
    return Features.of(Recording.open(path(name)))


@functools.cache
def compared(reference: str, candidate: str) -> Results:
    def made() -> Results:
        a, b = features(reference), features(candidate)
        return analyse(a, b, align(a, b)) if reference == "reference" else told_of(a, b)

    return once_a_run.made(f"{reference}-{candidate}", made)


def comparison(reference: str, candidate: str) -> Comparison:
    """The same with the recordings at hand."""
    return at_hand(compared(reference, candidate), reference, candidate)


def scored(candidate: str, score: str) -> Comparison:
    """With a score, and without the search for unseen changes."""

    def made() -> Results:
        with nothing_unseen():
            given = FOLDER / score
            return compare(path("reference"), path(candidate), score=given).results

    return at_hand(once_a_run.made(f"{candidate}-{score}", made), "reference", candidate)


@functools.cache
def trimmed() -> tuple[Results, bytes]:
    """The louder figure with its stems, again without that search; and the preview's file."""
    name = "candidate_figure_louder"

    def made() -> tuple[Results, bytes]:
        with nothing_unseen():
            stems = FOLDER / "stems" / name
            found = compare(path("reference"), path(name), stems=stems)
        assert found.preview is not None
        assert found.preview.file is not None
        return found.results, found.preview.file.read_bytes()

    return once_a_run.made(f"{name}-stems", made)


def at_hand(results: Results, reference: str, candidate: str) -> Comparison:
    """Results with their recordings."""
    recordings = (Recording.open(path(name)) for name in (reference, candidate))
    return Comparison(results, *recordings)
