"""What a person hears of a comparison: level-matched, aligned excerpts, and sound for the page.

Conventions
-----------
The broadband level difference is taken out by turning the louder recording down, never the
other one up, by one gain for the whole comparison: a finding's own difference stays audible.
Where a true peak would pass -1 dBTP both recordings are lowered alike. Spans are seconds on the
reference's clock; the candidate's part begins and ends where the time map puts the same music,
so its length differs where its tempo does. Samples are float32, shape (n, 2).
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
from scipy import signal

from mixcompare.bs1770 import TruePeak
from mixcompare.errors import OutputError
from mixcompare.findings import Excerpts, Finding, Span
from mixcompare.recording import Recording
from mixcompare.timemap import TimeMap

Samples = npt.NDArray[np.float32]

FADE_S = 0.015
CEILING_DBTP = -1.0
"""Highest true peak of anything written (EBU R 128, 2023: -1 dBTP)."""

METER_MARGIN_DB = 0.1
"""What another true-peak meter may read higher."""

CODEC_MARGIN_DB = 1.0
"""What MP3 coding may add to a peak (common practice, no source)."""

SHORTEST_S, LONGEST_S = 3.0, 12.0
CONTEXT_S = 1.0
"""Music before and after a finding's span that lets the ear find its way in."""

SEARCH_STEP_S = 0.5
PAGE_BUDGET_BYTES = 8_200_000
"""Of coded sound in a page: 11 MB once it is written as text."""

BIT_RATES_KBPS = (192, 160, 128, 112, 96)
MP3_RATES_HZ = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
_BLOCK_S = 30.0


@dataclass(frozen=True)
class Pair:
    """Two recordings and how they lie against each other, ready to be cut.

    Attributes
    ----------
    reference, candidate : Recording
    time_map : TimeMap
    gain_db : float
        Level of the candidate against the reference.
    """

    reference: Recording
    candidate: Recording
    time_map: TimeMap
    gain_db: float

    @property
    def span_s(self) -> Span:
        """Part of the reference that both recordings have."""
        start, end = self.time_map.span_s
        candidate_ends = np.array([0.0, self.candidate.duration_s])
        first, last = self.time_map.to_reference(candidate_ends)
        return max(start, 0.0, float(first)), min(end, self.reference.duration_s, float(last))


@dataclass(frozen=True)
class Excerpt:
    """Sound cut out of one recording; ``span_s`` is on that recording's own clock."""

    samples: Samples
    sample_rate_hz: int
    span_s: Span


@dataclass(frozen=True)
class ExcerptPair:
    """The same music of both recordings, and the gain that each was given (never above 0 dB)."""

    reference: Excerpt
    candidate: Excerpt
    reference_gain_db: float
    candidate_gain_db: float


@dataclass(frozen=True)
class Passage:
    """Part of a comparison, coded as MP3 for the page.

    Attributes
    ----------
    reference_span_s, candidate_span_s : tuple of float
        What was coded, each on its own clock.
    reference_mp3, candidate_mp3 : bytes
    reference_gain_db, candidate_gain_db : float
    """

    reference_span_s: Span
    candidate_span_s: Span
    reference_mp3: bytes
    candidate_mp3: bytes
    reference_gain_db: float
    candidate_gain_db: float


def matching_gains_db(gain_db: float) -> tuple[float, float]:
    """Gains of (reference, candidate) that turn the louder of the two down.

    Parameters
    ----------
    gain_db : float
        Level of the candidate against the reference.
    """
    return min(gain_db, 0.0), min(-gain_db, 0.0)


def true_peak_dbtp(samples: Samples, sample_rate_hz: int) -> float:
    """True peak (BS.1770-5 Annex 2) of samples of shape (n, 2); -inf for silence."""
    meter = TruePeak(sample_rate_hz)
    meter.push(samples, last=True)
    return _decibels(meter.peak)


def excerpt_span(finding: Finding, pair: Pair, profile: Samples | None = None) -> Span:
    """Which 3 to 12 seconds show a finding: its longest place, with music around it.

    Parameters
    ----------
    finding : Finding
    pair : Pair
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


def busy_profile(pair: Pair) -> Samples:
    """Power of the reference in steps of half a second, shape (steps,)."""
    recording = pair.reference
    powers = []
    for block in recording.blocks(SEARCH_STEP_S):
        powers.append(float(np.mean(np.square(block))))
    return np.asarray(powers, np.float32)


def cut(pair: Pair, span_s: Span) -> ExcerptPair:
    """Cut the same music out of both recordings, level-matched, faded in and out.

    Parameters
    ----------
    pair : Pair
    span_s : tuple of float
        (start, end) on the reference's clock.
    """
    return _matched(pair, span_s, _read, CEILING_DBTP - METER_MARGIN_DB)


def excerpts(finding: Finding, pair: Pair, profile: Samples | None = None) -> ExcerptPair:
    """Level-matched, aligned excerpts of the place where a finding is heard.

    See Also
    --------
    excerpt_span : which place that is.
    """
    return cut(pair, excerpt_span(finding, pair, profile))


def write_excerpts(finding: Finding, sound: ExcerptPair, folder: Path) -> Excerpts:
    """Write both excerpts as FLAC (16 bit) into the report's folder ``listening``.

    Parameters
    ----------
    finding : Finding
        Gives the files their names.
    sound : ExcerptPair
    folder : Path
        The report's folder.

    Returns
    -------
    Excerpts
        Paths relative to ``folder``.

    Raises
    ------
    OutputError
        If the files cannot be written.
    """
    name = re.sub(r"[^a-z0-9]+", "-", finding.kind.lower()).strip("-") or finding.aspect
    paths = []
    for role, excerpt in (("reference", sound.reference), ("candidate", sound.candidate)):
        path = f"listening/{finding.rank:02d}-{name}-{role}.flac"
        target = folder / path
        try:
            target.parent.mkdir(exist_ok=True)
            soundfile.write(
                target, excerpt.samples, excerpt.sample_rate_hz, format="FLAC", subtype="PCM_16"
            )
        except (OSError, soundfile.SoundFileError) as error:
            raise OutputError(f"{target}: the excerpt cannot be written ({error}).") from error
        paths.append(path)
    return Excerpts(*paths)


def passages(
    pair: Pair, findings: Sequence[Finding] = (), budget_bytes: int = PAGE_BUDGET_BYTES
) -> tuple[Passage, ...]:
    """Code the sound of a page: the whole passage, or the findings' places where it is too long.

    Parameters
    ----------
    pair : Pair
    findings : sequence of Finding
        Most salient first.
    budget_bytes : int
        Most that all of it may take.

    Returns
    -------
    tuple of Passage
        In the order of time; they do not overlap. Empty where the audio library cannot write MP3.
    """
    if "MP3" not in soundfile.available_formats():
        return ()
    spans, kbps = _spans_within([pair.span_s], pair.time_map, budget_bytes)
    if not spans:
        profile = busy_profile(pair)
        wanted = [excerpt_span(finding, pair, profile) for finding in findings]
        spans, kbps = _spans_within(wanted, pair.time_map, budget_bytes)
    return tuple(_coded(pair, span, kbps) for span in spans)


def _spans_within(
    wanted: Sequence[Span], time_map: TimeMap, budget_bytes: int
) -> tuple[list[Span], int]:
    """As many of the wanted spans as fit, merged, and the best bit rate for them."""
    for count in range(len(wanted), 0, -1):
        merged = _merged(wanted[:count])
        seconds = 0.0
        for span in merged:
            start, end = _on_candidate(time_map, span)
            seconds += span[1] - span[0] + end - start
        for kbps in BIT_RATES_KBPS:
            if seconds * kbps * 125 <= budget_bytes:
                return merged, kbps
    return [], 0


def _merged(spans: Sequence[Span]) -> list[Span]:
    out: list[Span] = []
    for start, end in sorted(spans):
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((start, end))
    return out


def _coded(pair: Pair, span_s: Span, kbps: int) -> Passage:
    sound = _matched(pair, span_s, _read_at_mp3_rate, CEILING_DBTP - CODEC_MARGIN_DB)
    # The coder works outside Python's lock, so both can be coded at once.
    with ThreadPoolExecutor(2) as workers:
        sides = (sound.reference, sound.candidate)
        reference_mp3, candidate_mp3 = workers.map(lambda side: _mp3(side, kbps), sides)
    return Passage(
        sound.reference.span_s,
        sound.candidate.span_s,
        reference_mp3,
        candidate_mp3,
        sound.reference_gain_db,
        sound.candidate_gain_db,
    )


def _matched(
    pair: Pair,
    span_s: Span,
    read: Callable[[Recording, Span], tuple[Samples, int]],
    ceiling_dbtp: float,
) -> ExcerptPair:
    """Read both, turn the louder one down, lower both alike under the ceiling, fade."""
    span = _on_candidate(pair.time_map, span_s)
    reference, reference_rate = read(pair.reference, span_s)
    candidate, candidate_rate = read(pair.candidate, span)
    reference_gain_db, candidate_gain_db = matching_gains_db(pair.gain_db)
    peak_dbtp = max(
        true_peak_dbtp(reference, reference_rate) + reference_gain_db,
        true_peak_dbtp(candidate, candidate_rate) + candidate_gain_db,
    )
    lowering_db = min(ceiling_dbtp - peak_dbtp, 0.0)
    reference_gain_db += lowering_db
    candidate_gain_db += lowering_db
    return ExcerptPair(
        Excerpt(_shaped(reference, reference_rate, reference_gain_db), reference_rate, span_s),
        Excerpt(_shaped(candidate, candidate_rate, candidate_gain_db), candidate_rate, span),
        reference_gain_db,
        candidate_gain_db,
    )


def _read(recording: Recording, span_s: Span) -> tuple[Samples, int]:
    return recording.read(*span_s), recording.sample_rate_hz


def _read_at_mp3_rate(recording: Recording, span_s: Span) -> tuple[Samples, int]:
    """Read a span at a rate that MP3 knows, resampled in blocks where necessary."""
    rate = recording.sample_rate_hz
    if rate in MP3_RATES_HZ:
        return recording.read(*span_s), rate
    target = next((known for known in (48000, 44100) if rate % known == 0), 44100)
    margin_s = 1.0
    blocks = []
    start, end = span_s
    while start < end:
        stop = min(start + _BLOCK_S, end)
        wide = recording.read(start - margin_s, stop + margin_s)
        dense = signal.resample_poly(wide, target, rate, axis=0)
        first = round(margin_s * target)
        blocks.append(dense[first : first + round((stop - start) * target)])
        start = stop
    return np.concatenate(blocks).astype(np.float32), target


def _mp3(excerpt: Excerpt, kbps: int) -> bytes:
    # The library maps 0..1 onto 320..32 kbps and takes the nearest rate of the format.
    level = (320 - kbps) / (320 - 32)
    buffer = io.BytesIO()
    soundfile.write(
        buffer,
        excerpt.samples,
        excerpt.sample_rate_hz,
        format="MP3",
        subtype="MPEG_LAYER_III",
        compression_level=level,
        bitrate_mode="CONSTANT",
    )
    return buffer.getvalue()


def _shaped(samples: Samples, rate: int, gain_db: float) -> Samples:
    """Apply a gain and raised-cosine fades at both ends."""
    out = samples * np.float32(10 ** (gain_db / 20))
    count = min(round(FADE_S * rate), len(out) // 2)
    if count:
        ramp = (0.5 - 0.5 * np.cos(np.pi * (np.arange(count) + 0.5) / count)).astype(np.float32)
        out[:count] *= ramp[:, None]
        out[-count:] *= ramp[::-1, None]
    return np.asarray(out, np.float32)


def _on_candidate(time_map: TimeMap, span_s: Span) -> Span:
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
