"""What the page says of stems: one sentence or two, and a table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from mixcompare.findings import clock, listed
from mixcompare.report.tables import Table
from mixcompare.units import SOUND_M_S

if TYPE_CHECKING:
    from mixcompare.stems.values import Stem, Stems

_HEADS = ("Stem", "Trim (dB)", "95 % interval", "Share (%)", "Delay in the mix (ms)", "Note")


def stems_sentence(stems: Stems) -> str:
    """Which trims are due, and what they come to."""
    explained = f"The stems explain {100 * stems.explained_share:.0f} % of the mix's energy."
    compared = sum(stem.compared_with is not None for stem in stems.stems)
    if compared:
        explained += (
            f" Levels of {compared} of {len(stems.stems)} were compared with the reference's own"
            " stems."
        )
    if not stems.due:
        return (
            f"{explained} No trim is due; of {len(stems.stems)} stems {stems.told} could be judged,"
            " and what lies within a stem's interval could not have been seen."
        )
    text = f"{explained} Trims: " + listed([_due(one) for one in stems.due])
    text += "."
    if stems.preview is not None:
        text += f" With these trims (preview/with_trims.flac): {stems.preview.after}"
        if stems.preview.lowered_db > 0.05:
            text += (
                f" The file was lowered by {stems.preview.lowered_db:.1f} dB to stay under -1 dBTP."
            )
    return text


def _due(stem: Stem) -> str:
    """Its trim, and where it is another one."""
    there = [
        f"{_signed(place.trim_db, 1)} dB from {clock(place.span_s[0])} to {clock(place.span_s[1])}"
        for place in stem.places
    ]
    whole = [f"{_signed(stem.due_db, 1)} dB"] if stem.is_due else []
    return f"{stem.name} {listed([*there, *(f'{one} else' if there else one for one in whole)])}"


def _signed(value: float, decimals: int) -> str:
    """With a true minus; what rounds to nothing has no sign."""
    rounded = round(value, decimals)
    return (
        f"{rounded:+.{decimals}f}".replace("-", "\N{MINUS SIGN}")
        if rounded
        else f"{0:.{decimals}f}"
    )


def _before(early_ms: float, interval: tuple[float, float] | None, array: str | None) -> str:
    """How much earlier than the array, in time and in metres of air."""
    way = "earlier" if early_ms > 0 else "later"
    around = (interval[1] - interval[0]) / 2 if interval is not None else 0.0
    return (
        f"Hears its section {abs(early_ms):.2f} ms (\N{PLUS-MINUS SIGN}{max(around, 0.01):.2f};"
        f" {abs(early_ms) * SOUND_M_S / 1e3:.2f} m of air at 20 °C) {way} than {array}."
    )


def stems_table(stems: Stems) -> Table:
    """A row a stem; first those whose fader is to move."""
    return Table("", _HEADS, tuple(_row(stem, stems.array) for stem in stems.in_order))


def _row(stem: Stem, array: str | None) -> tuple[str, ...]:
    low, high = stem.interval or (None, None)
    notes = [stem.reason or ""]
    if stem.is_inverted:
        notes.append("Polarity turned round.")
    if stem.before_array_ms is not None:
        notes.append(_before(stem.before_array_ms, stem.before_array_interval, array))
    if stem.confused_with:
        notes.append(f"Looks like {listed(stem.confused_with)}.")
    for place in stem.places:
        low_there, high_there = (_signed(edge, 1) for edge in place.interval)
        notes.append(
            f"From {clock(place.span_s[0])} to {clock(place.span_s[1])}"
            f" {_signed(place.trim_db, 1)} dB ({low_there} to {high_there})."
        )
    if stem.compared_with not in (None, stem.name):
        notes.append(f"Compared with the reference's stem {stem.compared_with}.")
    return (
        stem.name,
        "" if stem.trim_db is None else _signed(stem.trim_db, 1),
        "" if low is None or high is None else f"{_signed(low, 1)} to {_signed(high, 1)}",
        "" if stem.share_percent is None else f"{stem.share_percent:.1f}",
        "" if stem.delay_ms is None else _signed(stem.delay_ms, 2),
        " ".join(filter(None, notes)),
    )
