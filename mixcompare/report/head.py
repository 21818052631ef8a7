"""What the page says first: which recordings these are, and how they were laid together."""

from __future__ import annotations

from pathlib import PurePath

from mixcompare import units
from mixcompare.alignment.result import UNRELATED, Alignment
from mixcompare.findings import chance, moment
from mixcompare.report import wording
from mixcompare.results import Level, Results, Source

_HEARD_DB = 0.05  # what would be printed as 0.0 dB
_SURE_DB = 1.0  # breadth of an interval that is not worth printing; our choice


def compared(results: Results) -> str:
    """What was compared with what, and what was taken off, in a sentence or two."""
    alignment = results.alignment
    if alignment.relation == UNRELATED:
        surely = "" if alignment.is_sure else "probably "
        return f"The two recordings {surely}do not share a passage."
    start_s, end_s = alignment.time_map.span_s
    length = moment(end_s - start_s)
    kind = wording.RELATIONS.get(alignment.relation, alignment.relation)
    probably = "" if alignment.is_sure else ", probably"
    sentences = [f"Compared over {length}{probably}: {kind}{_clock(alignment)}."]
    sentences += [_level(results.level)] if results.level is not None else []
    return " ".join(sentences + _turned(alignment))


def _clock(alignment: Alignment) -> str:
    """How the candidate's clock runs against the reference's; nothing where it runs alike."""
    percent = _faster_percent(alignment)
    return f"; the candidate is {_pace(percent)}" if abs(percent) >= 0.05 else ""


def _faster_percent(alignment: Alignment) -> float:
    """As a person speaks of a tempo: in half the time it is 100 % faster."""
    return 100 * (1 / alignment.tempo_ratio - 1)


def _pace(percent: float) -> str:
    return f"{abs(percent):.1f} % {'faster' if percent > 0 else 'slower'}"


def _level(level: Level) -> str:
    gain_db, (low_db, high_db) = level.gain_db, level.interval
    if abs(gain_db) < _HEARD_DB or low_db <= 0 <= high_db:
        return "What did not change is about equally loud in both."
    louder = "louder" if gain_db > 0 else "softer"
    doubt = f" ({wording.interval(level.interval, 'dB')})" if high_db - low_db > _SURE_DB else ""
    return (
        f"The candidate as a whole is {abs(gain_db):.1f} dB{doubt} {louder}; that is a matter of"
        " gain, and taken out of all that follows."
    )


def _turned(alignment: Alignment) -> list[str]:
    """What no one should have to look for: polarity, exchanged channels, another key."""
    told = []
    if alignment.polarity == -1:
        told.append("Its polarity is inverted.")
    if alignment.channels_swapped:
        told.append("Its left and right channels are exchanged.")
    if alignment.transposition_semitones:
        told.append(f"It is transposed by {alignment.transposition_semitones:+d} semitones.")
    return told


def short(side: Source) -> str:
    """Name of a recording's file without its folder."""
    return PurePath(side.path).name or side.path


def source(side: Source) -> dict[str, str]:
    """A recording's name, kind and length in words."""
    channels = {1: "mono", 2: "stereo"}.get(side.channels, f"{side.channels} channels")
    start, end = side.span_s
    low, high = side.usable_band_hz
    rate_khz = side.sample_rate_hz / 1000
    whole = start <= 0.01 and end >= side.duration_s - 0.01
    return {
        "name": short(side),
        "path": side.path,
        "kind": f"{side.format}, {rate_khz:g}\N{NO-BREAK SPACE}kHz, {channels}",
        "length": moment(side.duration_s),
        "span": "" if whole else f"{moment(start)} to {moment(end)}",
        "usable_band": wording.band((low, high)) if low > 5 else f"up to {high / 1000:.1f} kHz",
    }


def facts(results: Results) -> list[tuple[str, str]]:
    """What alignment found, as pairs of a name and words."""
    alignment = results.alignment
    sure = chance(alignment.confidence)
    told = [
        ("Relation", f"{wording.RELATIONS.get(alignment.relation, alignment.relation)}; {sure}")
    ]
    if alignment.relation == UNRELATED:
        return told
    if results.level is not None:
        gain = units.quantity(results.level.gain_db, "dB", signed=True)
        around = wording.interval(results.level.interval, "dB")
        after = "most of the sound is at one level after that"
        told.append(("Level taken out", f"{gain} (95 %: {around}); {after}"))
    if alignment.same_take:
        told.append(("Offset", _offset(alignment.offset_s)))
        if alignment.drift_ppm is not None:
            told.append(("Clock drift", units.quantity(alignment.drift_ppm, "ppm", signed=True)))
        if alignment.polarity == -1:
            told.append(("Polarity", "inverted in the candidate"))
    else:
        percent = _faster_percent(alignment)
        alike = abs(percent) < 0.05
        told.append(("Tempo", "the same" if alike else f"the candidate is {_pace(percent)}"))
        told.append(("Places", f"right to about {alignment.uncertainty_ms:.0f} ms (median)"))
    if alignment.channels_swapped:
        told.append(("Channels", "left and right are exchanged in the candidate"))
    if alignment.transposition_semitones:
        told.append(("Transposition", f"{alignment.transposition_semitones:+d} semitones"))
    tuning_cents = results.tuning_cents
    if abs(tuning_cents) >= 0.05:
        told.append(("Tuning", units.quantity(tuning_cents, "cents", signed=True)))
    for event in alignment.events:
        if event.text not in results.warnings:
            told.append((event.kind.capitalize(), event.text))
    return told


def _offset(offset_s: float) -> str:
    if abs(offset_s) < 5e-7:
        return "none"
    side = "later" if offset_s >= 0 else "earlier"
    return f"the candidate lies {abs(1000 * offset_s):.3f} ms {side}"
