"""What a person hears of a comparison: aligned excerpts at one gain, and sound for the page.

Conventions
-----------
The broadband level difference is taken out by turning the louder recordings down, never the
softest one up, by one gain for the whole comparison, that of what did not change: a finding's own
difference stays audible, and what it adds to the loudness too. So they are not equally loud.
Where a true peak would pass -1 dBTP all of them are lowered alike. Spans are seconds on the
reference's clock; the candidate's part begins and ends where the time map puts the same music,
so its length differs where its tempo does. Samples are float32, shape (n, 2).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.findings import Excerpts, Finding, Span
from mixcompare.listening.markers import add_markers, markers_within
from mixcompare.listening.writing import new_sound
from mixcompare.standards.bs1770 import TruePeak

Samples = npt.NDArray[np.float32]

REFERENCE, CANDIDATE, PREVIEW = "reference", "candidate", "preview"

FADE_S = 0.015  # half a raised cosine; our choice
CEILING_DBTP = -1.0
"""Highest true peak of anything written (EBU R 128, 2023: -1 dBTP)."""

METER_MARGIN_DB = 0.1
"""What another true-peak meter may read higher."""


SHORTEST_S, LONGEST_S = 3.0, 12.0  # of an excerpt, for the ear; our choice
CONTEXT_S = 1.0
"""Music before and after a finding's span that lets the ear find its way in."""

SEARCH_STEP_S = 0.5  # resolution of the search for the loudest place

# MPEG-1, MPEG-2 and MPEG-2.5 Layer III, from memory.
MP3_RATES_HZ = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
BLOCK_S = 30.0  # cost: sound coded at a time


@dataclass(frozen=True)
class AlignedSound:
    """Two recordings and how they lie against each other, ready to be cut.

    Attributes
    ----------
    reference, candidate : Recording
    time_map : TimeMap
    gain_db : float
        Level of the candidate against the reference.
    preview : Recording or None
        The candidate with its stems' trims, on its clock.
    preview_gain_db : float
        Level of the preview against the reference.
    """

    reference: Recording
    candidate: Recording
    time_map: TimeMap
    gain_db: float
    preview: Recording | None = None
    preview_gain_db: float = 0.0

    @property
    def voices(self) -> dict[str, tuple[Recording, float]]:
        """All that can be heard, each with its level against the reference, in dB."""
        known = {
            REFERENCE: (self.reference, 0.0),
            CANDIDATE: (self.candidate, self.gain_db),
        }
        if self.preview is not None:
            known[PREVIEW] = (self.preview, self.preview_gain_db)
        return known

    def span_of(self, voice: str, span_s: Span) -> Span:
        """A span of the reference on a voice's own clock."""
        return span_s if voice == REFERENCE else on_candidate(self.time_map, span_s)

    @property
    def span_s(self) -> Span:
        """Part of the reference that both recordings have."""
        start, end = self.time_map.span_s
        candidate_ends = np.array([0.0, self.candidate.duration_s])
        first, last = self.time_map.to_reference(candidate_ends)
        return max(start, 0.0, float(first)), min(end, self.reference.duration_s, float(last))


@dataclass(frozen=True)
class Excerpt:
    """Sound cut out of one recording, on its own clock, and the gain that it was given (<= 0)."""

    samples: Samples
    sample_rate_hz: int
    span_s: Span
    gain_db: float


@dataclass(frozen=True)
class ExcerptPair:
    """The same music of both recordings."""

    reference: Excerpt
    candidate: Excerpt


def matching_gains_db(levels_db: Sequence[float]) -> tuple[float, ...]:
    """Gains that turn all down to the softest.

    Parameters
    ----------
    levels_db : sequence of float
        Of the recordings, against any one of them.
    """
    softest = min(levels_db)
    return tuple(softest - level for level in levels_db)


def true_peak_dbtp(samples: Samples, sample_rate_hz: int) -> float:
    """True peak (BS.1770-5 Annex 2) of samples of shape (n, 2); -inf for silence."""
    meter = TruePeak(sample_rate_hz)
    meter.push(samples, last=True)
    return _decibels(meter.peak)


def excerpt_span(finding: Finding, pair: AlignedSound, profile: Samples | None = None) -> Span:
    """Which 3 to 12 seconds show a finding: its longest place, with music around it.

    Parameters
    ----------
    finding : Finding
        What sticks out.
    pair : AlignedSound
        The aligned pair.
    profile : ndarray, optional
        Result of :func:`busy_profile`. With it, the busiest part of a long place is chosen;
        without, the middle.

    Returns
    -------
    tuple of float
        (start, end) on the reference's clock.
    """
    first, last = pair.span_s
    spans = finding.spans_s or ((first, last),)
    start, end = max(spans, key=lambda span: span[1] - span[0])
    start, end = max(start, first), min(end, last)
    if end <= start:
        start, end = first, last
    if end - start > LONGEST_S:
        start = _busiest_start(start, end, profile)
        end = start + LONGEST_S
    spare = LONGEST_S - (end - start)
    context = max(min(CONTEXT_S, spare / 2), (SHORTEST_S - (end - start)) / 2)
    start, end = start - context, end + context
    shift = max(first - start, 0.0) - max(end - last, 0.0)
    return max(start + shift, first), min(end + shift, last)


def busy_profile(pair: AlignedSound) -> Samples:
    """Power of the reference in steps of half a second, shape (steps,)."""
    recording = pair.reference
    powers = []
    for block in recording.blocks(SEARCH_STEP_S):
        powers.append(float(np.mean(np.square(block))))
    return np.asarray(powers, np.float32)


def cut(pair: AlignedSound, span_s: Span) -> ExcerptPair:
    """Cut the same music out of both recordings, at the same gain, faded in and out.

    Parameters
    ----------
    pair : AlignedSound
        The aligned pair.
    span_s : tuple of float
        (start, end) on the reference's clock.
    """
    both = (REFERENCE, CANDIDATE)
    return ExcerptPair(**matched(pair, span_s, _read, CEILING_DBTP - METER_MARGIN_DB, both))


def excerpts(finding: Finding, pair: AlignedSound, profile: Samples | None = None) -> ExcerptPair:
    """Aligned excerpts, at the gain of what did not change, of the place where a finding is heard.

    See Also
    --------
    excerpt_span : which place that is.
    """
    return cut(pair, excerpt_span(finding, pair, profile))


def write_excerpts(
    finding: Finding, sound: ExcerptPair, folder: Path, marked: Sequence[Finding] = ()
) -> Excerpts:
    """Write both excerpts (16 bit) into the report's folder ``listening``.

    As FLAC; as WAV with the places of ``marked`` as markers, where there are some.

    Parameters
    ----------
    finding : Finding
        Gives the files their names.
    sound : ExcerptPair
        Excerpts of both recordings.
    folder : Path
        The report's folder.
    marked : sequence of Finding
        All that are marked where they meet an excerpt.

    Returns
    -------
    Excerpts
        Paths relative to ``folder``.

    Raises
    ------
    OSError
        If the files cannot be written.
    """
    name = re.sub(r"[^a-z0-9]+", "-", finding.kind.lower()).strip("-") or finding.aspect
    paths = []
    for role, excerpt in (("reference", sound.reference), ("candidate", sound.candidate)):
        kind = "WAV" if marked else "FLAC"
        path = f"listening/{finding.rank:02d}-{name}-{role}.{kind.lower()}"
        target = folder / path
        target.parent.mkdir(exist_ok=True)
        frames, channels = excerpt.samples.shape
        with new_sound(target, excerpt.sample_rate_hz, channels, (kind, "PCM_16")) as file:
            file.write(excerpt.samples)
        if marked:
            there = markers_within(marked, excerpt.span_s, of_candidate=role == CANDIDATE)
            add_markers(target, there, excerpt.sample_rate_hz, frames)
        paths.append(path)
    return Excerpts(*paths)


def matched(
    pair: AlignedSound,
    span_s: Span,
    read: Callable[[Recording, Span], tuple[Samples, int]],
    ceiling_dbtp: float,
    voices: Sequence[str],
) -> dict[str, Excerpt]:
    """Read some of the voices, turn the louder ones down, lower all under the ceiling, fade."""
    known = pair.voices
    spans = [pair.span_of(voice, span_s) for voice in voices]
    sounds = [read(known[voice][0], span) for voice, span in zip(voices, spans, strict=True)]
    gains_db = matching_gains_db([known[voice][1] for voice in voices])
    peak_dbtp = max(
        true_peak_dbtp(*sound) + gain_db for sound, gain_db in zip(sounds, gains_db, strict=True)
    )
    lowering_db = min(ceiling_dbtp - peak_dbtp, 0.0)
    return {
        voice: Excerpt(
            _shaped(samples, rate, gain_db + lowering_db), rate, span, gain_db + lowering_db
        )
        for voice, span, (samples, rate), gain_db in zip(
            voices, spans, sounds, gains_db, strict=True
        )
    }


def _read(recording: Recording, span_s: Span) -> tuple[Samples, int]:
    return recording.read(*span_s), recording.sample_rate_hz


def _shaped(samples: Samples, rate: int, gain_db: float) -> Samples:
    """Apply a gain and raised-cosine fades at both ends."""
    out = samples * np.float32(10 ** (gain_db / 20))
    count = min(round(FADE_S * rate), len(out) // 2)
    if count:
        ramp = (0.5 - 0.5 * np.cos(np.pi * (np.arange(count) + 0.5) / count)).astype(np.float32)
        out[:count] *= ramp[:, None]
        out[-count:] *= ramp[::-1, None]
    return np.asarray(out, np.float32)


def on_candidate(time_map: TimeMap, span_s: Span) -> Span:
    """A span of the reference on the candidate's clock."""
    start, end = time_map.to_candidate(np.array(span_s))
    return float(start), float(end)


def _busiest_start(start: float, end: float, profile: Samples | None) -> float:
    latest = end - LONGEST_S
    if profile is None:
        return (start + latest) / 2
    width = round(LONGEST_S / SEARCH_STEP_S)
    first = int(np.ceil(start / SEARCH_STEP_S))
    sums = np.convolve(profile[first : int(end / SEARCH_STEP_S)], np.ones(width), mode="valid")
    if len(sums) == 0:
        return start
    return min((first + int(np.argmax(sums))) * SEARCH_STEP_S, latest)


def _decibels(amplitude: float) -> float:
    return 20 * float(np.log10(amplitude)) if amplitude > 0 else float("-inf")
