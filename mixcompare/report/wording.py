"""Words and numbers of the page: titles, explanations, units, sensible digits.

The sentences about findings come from the findings themselves; what is said here holds for
every comparison.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from mixcompare.findings import JUST_NOTICEABLE, Finding, JustNoticeable

MINUS = "\N{MINUS SIGN}"
NOT_KNOWN = "\N{EN DASH}"


@dataclass(frozen=True)
class Aspect:
    """Title of an aspect, what it means, and how it was measured."""

    title: str
    meaning: str
    method: str


ASPECTS: dict[str, Aspect] = {
    "loudness": Aspect(
        "Loudness",
        "How loud each recording is as it was delivered. The overall difference is a matter of"
        " gain, so it is shown here and taken out of everything else.",
        "Loudness and true peak after ITU-R BS.1770-5 (2023), momentary and short-term values"
        " after EBU Tech 3341, loudness range after EBU Tech 3342.",
    ),
    "balance": Aspect(
        "Balance",
        "How loud elements and registers stand against the rest while they play. Steady"
        " differences of tone belong to the next heading.",
        "Levels of both recordings on one clock, in bands and moments where both sound; what is"
        " present all the time is tone, what comes and goes with an element is balance.",
    ),
    "tone": Aspect(
        "Tone",
        "The steady spectral difference, whatever plays: the mix, the room, or the microphones.",
        "Third-octave bands with the mid-band frequencies of IEC 61260-1:2014; per band the value"
        " on which most moments agree.",
    ),
    "articulation": Aspect(
        "Articulation",
        "How much of the time between two onsets a note sounds: near 1 is legato, near 0.3 is a"
        " sharp staccato. The first tables speak of the leading line as it is heard, the last one"
        " of every voice.",
        "Level of single notes against time, from their onset to the next, with the decay of the"
        " room told apart where it can be.",
    ),
    "width": Aspect(
        "Width",
        "How much differs between left and right, in level (side against mid) and in likeness"
        " (correlation: 1 is mono).",
        "Power of the sum and the difference of both channels, and their correlation, per band.",
    ),
    "placement": Aspect(
        "Placement",
        "Where the sound lies between left (\N{MINUS SIGN}1) and right (+1).",
        "Level difference between the channels per band, where something sounds.",
    ),
    "room": Aspect(
        "Room",
        "How long the sound hangs on, and how much of it there is beside the direct sound.",
        "Decays that the music leaves free, and how much reverberation must be added to one"
        " recording to come to the other; decay times in the sense of ISO 3382-1. In running"
        " music much of this cannot be told, and is then left open.",
    ),
    "dynamics": Aspect(
        "Dynamics",
        "How far the level swings, and how both recordings shape the same phrase.",
        "Loudness against time of both on one clock; loudness range after EBU Tech 3342.",
    ),
    "tempo": Aspect(
        "Tempo",
        "How fast the same music goes by in each recording, as a whole and from place to place.",
        "Slope of the time map between the recordings; onsets a minute where they can be counted.",
    ),
    "tuning": Aspect(
        "Tuning",
        "The pitch that the ensemble is tuned to, in cents (hundredths of a semitone).",
        "Deviation of the steady partials from equal temperament at A = 440 Hz.",
    ),
}

RELATIONS = {
    "same_take": "the same take: one performance, heard through two mixes or rooms",
    "same_passage": "the same passage, played or rendered a second time",
    "unrelated": "not the same passage",
}

LIMITS = (
    "Figures are estimates from finished recordings. The intervals say how far they may be off;"
    " where one says 95 %, about one in twenty lies outside.",
    "Who causes a difference is weighed from the evidence and never certain: the same change can"
    " come from the players, the room or the mix.",
    "Elements that sound at the same time in the same range cannot always be told apart.",
    "A place that the two recordings do not share (a cut, a repeat) is left out of the comparison.",
    "Just-noticeable differences come from listening tests on simpler sounds; in dense music the"
    " ear may miss what is listed, or mind what is not.",
    "What a difference is worth is a matter of taste: the reference is only a reference.",
)

_UNITS = (
    ("_db_per_octave", "dB/octave"),
    ("_db_per_db", "dB/dB"),
    ("_per_minute", "per minute"),
    ("_per_s", "per s"),
    ("_semitones", "semitones"),
    ("_percent", "%"),
    ("_degrees", "degrees"),
    ("_cents", "cents"),
    ("_lufs", "LUFS"),
    ("_dbtp", "dBTP"),
    ("_ppm", "ppm"),
    ("_lu", "LU"),
    ("_db", "dB"),
    ("_hz", "Hz"),
    ("_ms", "ms"),
    ("_us", "\N{MICRO SIGN}s"),
    ("_s", "s"),
)
_UNIT_ELSEWHERE = {"percent": "%", "cents_against_440": "cents"}
_DIFFERENCE_UNITS = {"LUFS": "LU", "dBTP": "dB"}
_DECIMALS = {
    "dB": 1, "LUFS": 1, "LU": 1, "dBTP": 1, "%": 1, "s": 2, "ms": 0, "\N{MICRO SIGN}s": 0, "Hz": 0,
    "cents": 1,
    "dB/octave": 2, "dB/dB": 2, "per minute": 1, "per s": 1, "degrees": 0, "ppm": 1, "semitones": 0,
}  # fmt: skip
WITHOUT_UNIT = {
    "agreeing_share", "agreement", "band_correlation", "blend", "candidate_audible_share",
    "candidate_loudness_share", "candidate_ratio", "confidence", "consistency", "correlation",
    "evenness", "explained", "image_scale", "low_correlation", "motif_notes", "notes",
    "notes_left_out", "overall_position", "own_position", "position", "ratio",
    "reference_audible_share", "reference_loudness_share", "reference_position",
    "reference_ratio", "register_audible_share", "register_loudness_share", "shaping_q",
    "sounding_ratio", "voice_audible_share", "voice_loudness_share",
}  # fmt: skip
"""Numbers that are shares, counts, factors, or places between \N{MINUS SIGN}1 and +1."""
_LABELS = {
    "loudness range": "Loudness range (LRA)",
    "max momentary": "Loudest 0.4 s (momentary)",
    "max short term": "Loudest 3 s (short-term)",
    "peak to loudness": "True peak above loudness",
    "side to mid": "Side against mid",
    "side to mid direct": "Side against mid in attacks, difference",
    "side to mid decay": "Side against mid in decays, difference",
    "mono fold down loss": "Loss when folded to mono",
    "agreeing share": "Share of the bands that differ this way",
    "agreement": "Share of the notes that changed this way",
    "reference ratio": "Share sounding, reference",
    "candidate ratio": "Share sounding, candidate",
    "evenness": "Evenness of the registers' loudness (1 = all alike)",
    "blend": "Blend: evenness of the voices' loudness (1 = none obtrudes)",
    "scatter": "Scatter that nothing explains",
    "residual": "Left over by these filters",
    "kernel time": "Decay time of what is added",
    "explained": "Share of the differences explained",
    "decay time early": "First of two decay times in a row",
    "decay time late": "Second of two decay times in a row",
    "decay time at most": "Decay time, at most",
    "turn": "Right channel against left, throughout",
    "image scale": "Breadth of the image, factor",
    "peak to short term": "True peak above the loudest 3 s",
    "loudest": "Loudest 3 s",
    "softest": "Softest 3 s",
    "loudest difference": "Difference where the reference is loudest",
    "softest difference": "Difference where the reference is softest",
    "swing": "Swing of the candidate for that of the reference",
    "above knee": "The same above the knee",
    "knee": "Knee: level above which the swings differ",
    "level range": "Range from soft to loud",
    "ratio": "Duration, candidate over reference",
    "percent": "Time taken, candidate against reference",
    "own spread difference": "Freedom of tempo, difference",
    "clarity c80": "Clarity C80",
    "cents against 440": "Against A4 = 440 Hz",
    "a4": "A4",
    "crest": "Crest (peak against mean)",
    "gap depth": "Dip before the next note (depends on the room)",
    "accent": "Accent: peak at the onset over what is held, change",
    "release": "Time to fall by 10 dB after the note's end, change (with the room)",
}
_OF_ASPECT = {
    "tone": ("tone", "tone_tilt"),
    "room": ("decay", "wetness"),
    "dynamics": ("dynamics", "loudness_range"),
}


def aspect_title(aspect: str) -> str:
    """Title of an aspect; its name where it is not known here."""
    known = ASPECTS.get(aspect)
    return known.title if known else aspect.replace("_", " ").capitalize()


def label_and_unit(name: str) -> tuple[str, str]:
    """Words and unit of a named value: ``("Gap depth", "dB")`` for ``gap_depth_db``."""
    stem, unit = name, _UNIT_ELSEWHERE.get(name, "")
    for suffix, symbol in _UNITS:
        if name.endswith(suffix):
            stem, unit = name.removesuffix(suffix), symbol
            break
    words = stem.replace("_", " ")
    return _LABELS.get(words, words[:1].upper() + words[1:]), unit


def difference_unit(unit: str) -> str:
    """Unit of a difference between two values: LU for LUFS, dB for dBTP."""
    return _DIFFERENCE_UNITS.get(unit, unit)


def number(value: float | None, unit: str = "", signed: bool = False) -> str:
    """A value with the digits that its unit deserves; an en dash where it is not known."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    if isinstance(value, int):
        return f"{value}".replace("-", MINUS)
    decimals = _DECIMALS.get(unit, 2)
    text = f"{value:+.{decimals}f}" if signed else f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.replace("+", "").replace("-", "")
    return text.replace("-", MINUS)


def quantity(value: float | None, unit: str = "", signed: bool = False) -> str:
    """A value with its unit."""
    text = number(value, unit, signed)
    if text == NOT_KNOWN or not unit:
        return text
    return f"{text}\N{NO-BREAK SPACE}{unit}"


def interval(
    bounds: tuple[float | None, float | None] | None, unit: str = "", signed: bool = True
) -> str:
    """A 95 % interval: ``+4.9 to +6.7``; empty where there is none."""
    if bounds is None:
        return ""
    low, high = (number(bound, unit, signed) for bound in bounds)
    if NOT_KNOWN in (low, high):
        return ""
    return f"{low} to {high}"


def band(band_hz: tuple[float, float] | None) -> str:
    """A frequency range: ``200 to 800 Hz``, ``2.0 to 5.0 kHz``."""
    if band_hz is None:
        return ""
    low, high = band_hz
    if low >= 1000:
        return f"{low / 1000:.1f} to {high / 1000:.1f}\N{NO-BREAK SPACE}kHz"
    if high >= 1000:
        return f"{low:.0f}\N{NO-BREAK SPACE}Hz to {high / 1000:.1f}\N{NO-BREAK SPACE}kHz"
    return f"{low:.0f} to {high:.0f}\N{NO-BREAK SPACE}Hz"


def moment(seconds: float) -> str:
    """A place in the music with tenths: ``1:07.5``."""
    tenths = round(seconds * 10)
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    clock = f"{minutes}:{rest / 10:04.1f}"
    return f"{hours}:{minutes:02d}:{rest / 10:04.1f}" if hours else clock


def just_noticeable(finding: Finding) -> JustNoticeable | None:
    """The just-noticeable difference that a finding was measured by, where it is known."""
    for name in _OF_ASPECT.get(finding.aspect, (finding.aspect,)):
        entry = JUST_NOTICEABLE.get(name)
        if entry is not None and entry.unit == finding.unit:
            return entry
    return None


def causes(finding: Finding) -> tuple[tuple[str, int], ...]:
    """Players, room and mix with their weights in whole per cent, heaviest first."""
    weights = (
        ("players", finding.cause.players),
        ("room", finding.cause.room),
        ("mix", finding.cause.mix),
    )
    shares = [(name, round(100 * weight)) for name, weight in weights if weight >= 0.005]
    return tuple(sorted(shares, key=lambda share: -share[1]))
