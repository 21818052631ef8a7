"""Sound for the page: all voices, coded within a budget of bytes, and how loud each is.

It is coded at the same gain for what did not change. The loudness of every block goes with it, so
that the page can turn the louder ones down to the softest over whatever is played.
"""

from __future__ import annotations

import io
import itertools
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import soundfile
from scipy import signal

from mixcompare.audio.recording import Recording
from mixcompare.findings import Finding, Span
from mixcompare.listening.excerpts import (
    BLOCK_S,
    CEILING_DBTP,
    MP3_RATES_HZ,
    AlignedSound,
    Excerpt,
    Samples,
    busy_profile,
    excerpt_span,
    matched,
)
from mixcompare.standards.bs1770 import (
    ABSOLUTE_GATE_LUFS,
    KWeightedPower,
    gating_blocks,
    to_lufs,
)

CODEC_MARGIN_DB = 1.0
"""What MP3 coding may add to a peak (common practice, no source)."""


PAGE_BUDGET_BYTES = 8_200_000
"""Of coded sound in a page: 11 MB once it is written as text."""


BIT_RATES_KBPS = (192, 160, 128, 112, 96)  # some of MPEG-1 Layer III (from memory), best first


@dataclass(frozen=True)
class CodedVoice:
    """One recording's part as MP3, on its own clock.

    Attributes
    ----------
    span_s : tuple of float
    mp3 : bytes
    gain_db : float
        What it was given (<= 0).
    block_lufs : tuple of float
        Loudness, with that gain, of the gating blocks of BS.1770-5 from the start of the span; no
        lower than the absolute gate, where a block does not count. Before coding, which turns all
        voices down alike by some tenths of a decibel: differences count.
    """

    span_s: Span
    mp3: bytes
    gain_db: float
    block_lufs: tuple[float, ...] = ()


CodedSound = Mapping[str, CodedVoice]
"""Part of a comparison for the page, by voice: the reference, the candidate, perhaps a preview."""


def page_sound(
    pair: AlignedSound, findings: Sequence[Finding] = (), budget_bytes: int = PAGE_BUDGET_BYTES
) -> tuple[CodedSound, ...]:
    """Code the sound of a page: the whole passage, or the findings' places where it is too long.

    Parameters
    ----------
    pair : AlignedSound
        The aligned pair.
    findings : sequence of Finding
        Most salient first.
    budget_bytes : int
        Most that all of it may take.

    Returns
    -------
    tuple of CodedSound
        In the order of time; they do not overlap. Empty where the audio library cannot write MP3.
    """
    if "MP3" not in soundfile.available_formats():
        return ()
    spans, kbps = _spans_within([pair.span_s], pair, budget_bytes)
    if not spans:
        profile = busy_profile(pair)
        wanted = [excerpt_span(finding, pair, profile) for finding in findings]
        spans, kbps = _spans_within(wanted, pair, budget_bytes)
    return tuple(_coded(pair, span, kbps) for span in spans)


def _spans_within(
    wanted: Sequence[Span], pair: AlignedSound, budget_bytes: int
) -> tuple[list[Span], int]:
    """As many of the wanted spans as fit, merged, and the best bit rate for them."""
    for count in range(len(wanted), 0, -1):
        merged = _merged(wanted[:count])
        seconds = 0.0
        for span, voice in itertools.product(merged, pair.voices):
            start, end = pair.span_of(voice, span)
            seconds += end - start
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


def _coded(pair: AlignedSound, span_s: Span, kbps: int) -> CodedSound:
    ceiling_dbtp = CEILING_DBTP - CODEC_MARGIN_DB
    sound = matched(pair, span_s, _read_at_mp3_rate, ceiling_dbtp, tuple(pair.voices))
    # The coder works outside Python's lock, so two can be coded at once.
    with ThreadPoolExecutor(2) as workers:
        coded = list(workers.map(lambda voice: _mp3(voice, kbps), sound.values()))
    return {
        name: CodedVoice(voice.span_s, mp3, voice.gain_db, _block_lufs(voice))
        for (name, voice), mp3 in zip(sound.items(), coded, strict=True)
    }


def _block_lufs(excerpt: Excerpt) -> tuple[float, ...]:
    meter = KWeightedPower(excerpt.sample_rate_hz)
    size = round(BLOCK_S * excerpt.sample_rate_hz)
    for first in range(0, len(excerpt.samples), size):
        meter.push(excerpt.samples[first : first + size])
    blocks = np.maximum(to_lufs(gating_blocks(meter.result())), ABSOLUTE_GATE_LUFS)
    return tuple(np.round(blocks, 2).tolist())


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
        stop = min(start + BLOCK_S, end)
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
