"""A WAV copy of a recording in which every finding is a marker, for any workstation to show.

Sources: cue points and their labels after the RIFF specification (Multimedia Programming Interface
and Data Specifications 1.0, 1991: ``cue ``, ``LIST`` of type ``adtl``, ``labl``, ``ltxt``), from
memory.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from mixcompare.audio.recording import Recording
from mixcompare.errors import OutputError
from mixcompare.findings import Finding, Span
from mixcompare.listening.writing import new_sound

_MOST_BYTES = 4_000_000_000  # a WAV file counts its bytes with 32 bits
_BYTES_A_SAMPLE = 3


@dataclass(frozen=True)
class Marker:
    """A stretch with a name, in s from the start of the copy."""

    start_s: float
    end_s: float
    label: str


def markers_of(findings: Sequence[Finding]) -> list[Marker]:
    """One for every place of every finding, on the candidate's clock, in order of time."""
    found = [
        Marker(max(start, 0.0), max(end, 0.0), _label(one))
        for one in findings
        for start, end in one.candidate_spans_s
    ]
    return sorted(found, key=lambda marker: (marker.start_s, marker.label))


def markers_within(
    findings: Sequence[Finding], span_s: Span, *, of_candidate: bool
) -> list[Marker]:
    """Places of findings that meet an excerpt, in s from its start.

    Parameters
    ----------
    findings : sequence of Finding
        Of the whole passage.
    span_s : tuple of float
        Of the excerpt, on the clock of the recording that it is cut from.
    of_candidate : bool
        Whether that is the candidate.
    """
    begin, until = span_s
    found = []
    for one in findings:
        for start, end in one.candidate_spans_s if of_candidate else one.spans_s:
            start, end = max(start, begin), min(end, until)
            if end > start:
                found.append(Marker(start - begin, end - begin, _label(one)))
    return sorted(found, key=lambda marker: (marker.start_s, marker.label))


def _label(finding: Finding) -> str:
    return f"{finding.rank} {finding.subject} {finding.amount}"


def write_marked(path: Path, recording: Recording, markers: Sequence[Marker]) -> None:
    """Write a copy, 24 bit, all channels, with its markers.

    Parameters
    ----------
    path : Path
        To be written.
    recording : Recording
        What is copied: its span, from its start on.
    markers : sequence of Marker
        Stretches of it.

    Raises
    ------
    OutputError
        If it is too long for a WAV file.
    OSError
        If it cannot be written.
    """
    rate_hz = recording.sample_rate_hz
    if recording.frames * recording.channels * _BYTES_A_SAMPLE > _MOST_BYTES:
        raise OutputError(
            f"{recording.name}: is too long for a WAV file with markers; name a span of it."
        )
    with new_sound(path, rate_hz, recording.channels, ("WAV", "PCM_24")) as file:
        for block in recording.raw_blocks():
            file.write(block)
    add_markers(path, markers, rate_hz, recording.frames)


def add_markers(path: Path, markers: Sequence[Marker], rate_hz: int, frames: int) -> None:
    """Put markers into a WAV file that has none yet, of so many frames."""
    _add(path, _chunks(markers, rate_hz, frames))


def _add(path: Path, chunks: bytes) -> None:
    """Append chunks, and count them in."""
    with path.open("r+b") as file:
        size = file.seek(0, 2)
        file.write(b"\0" * (size % 2) + chunks)
        end = file.tell()
        file.seek(4)
        file.write(struct.pack("<I", end - 8))


def _chunks(markers: Sequence[Marker], rate_hz: int, frames: int) -> bytes:
    """Cue points, and the list of their names and lengths."""
    points, names = [], []
    for number, marker in enumerate(markers, 1):
        start, end = (
            min(round(time_s * rate_hz), frames - 1) for time_s in (marker.start_s, marker.end_s)
        )
        points.append(struct.pack("<II4sIII", number, start, b"data", 0, 0, start))
        label = marker.label.encode("utf-8", "replace") + b"\0"
        names.append(_chunk(b"labl", struct.pack("<I", number) + label))
        lasts = struct.pack("<II4sHHHH", number, max(end - start, 0), b"rgn ", 0, 0, 0, 0)
        names.append(_chunk(b"ltxt", lasts))
    cue = _chunk(b"cue ", struct.pack("<I", len(points)) + b"".join(points))
    return cue + _chunk(b"LIST", b"adtl" + b"".join(names))


def _chunk(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)
