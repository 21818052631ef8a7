"""A comparison with stems: their trims, and the candidate with them compared once more."""

from __future__ import annotations

import tempfile
import weakref
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path

from mixcompare.analysis import Tell, analyse
from mixcompare.audio.recording import Recording
from mixcompare.errors import OutputError
from mixcompare.features import Features
from mixcompare.features.grid import ANALYSIS_RATE_HZ
from mixcompare.listening.preview import Late, Trimmed, write_preview
from mixcompare.results import Results
from mixcompare.stems.advice import in_names_of_stems
from mixcompare.stems.judge import Judged
from mixcompare.stems.values import Preview, due_course

_WORSE = (
    "With the trims the balance stands further from the reference than before: leave the faders,"
    " and see what differs between the recordings besides levels."
)


def with_stems(
    results: Results,
    reference: Features,
    candidate: Recording,
    stems: Mapping[str, Recording],
    found: Judged,
    tell: Tell,
) -> tuple[Results, Recording | None]:
    """The same results with what the stems say, and the candidate with the trims that are due."""
    told = found.told
    findings = tuple(
        in_names_of_stems(one, told.stems, found.cells, found.same_take) for one in results.findings
    )
    results = replace(results, findings=findings)
    preview = None
    if told.due:
        tell("trying the trims")
        preview, lowered_db = _trimmed(candidate, stems, found)
        after = analyse(reference, Features.of(preview), results.alignment)
        judged = Preview(
            lowered_db=lowered_db,
            level_db=after.level.gain_db if after.level is not None else 0.0,
            before=results.verdict,
            after=after.verdict,
            largest_before=_largest(results),
            largest_after=_largest(after),
            left=tuple(f"{one.amount} {one.subject}" for one in after.findings),
        )
        notes = (*told.notes, _WORSE) if judged.is_worse else told.notes
        told = replace(told, preview=judged, notes=notes)
    return replace(results, stems=told, warnings=results.warnings + told.notes), preview


def _largest(results: Results) -> float:
    """The largest finding of balance, in just-noticeable differences."""
    return max((one.jnd for one in results.findings if one.aspect == "balance"), default=0.0)


def _trimmed(
    candidate: Recording, stems: Mapping[str, Recording], found: Judged
) -> tuple[Recording, float]:
    """The candidate with the trims that are due, in a file that goes when nobody needs it."""
    making = found.making
    trimmed = [
        Trimmed(
            stem=stems[stem.name],
            start_s=candidate.span_s[0],
            filters=making.filters[place],
            first_tap=making.first_tap,
            rate_hz=ANALYSIS_RATE_HZ,
            trim_db=partial(due_course, stem),
        )
        for place, stem in enumerate(found.told.stems)
    ]
    late = Late(found.late_gain(), found.cells.rate_hz, found.cells.centre_hz)
    try:
        folder = tempfile.TemporaryDirectory(prefix="mixcompare-")
        path = Path(folder.name) / "with_trims.flac"
        lowered_db = write_preview(path, candidate, trimmed, late)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise OutputError(
            f"{tempfile.gettempdir()}, the folder for temporary files: {reason}; make room there,"
            " or name another by TMPDIR."
        ) from error
    preview = Recording.open(path)
    weakref.finalize(preview, folder.cleanup)
    return preview, lowered_db
