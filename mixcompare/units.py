"""Units of what is measured: one table for report, page, command line and sentences.

A field's name ends in its unit (``gap_depth_db``); this table says how the unit is written, with
how many decimals a value of it is worth showing, and what a difference of two values is in.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

MINUS = "\N{MINUS SIGN}"
_HYPHEN_AS_MINUS = re.compile(r"(?<![\w.,)\]-])-(?=\.?\d)")
DASH = "\N{EN DASH}"
_HYPHEN_IN_TIMES = re.compile(r"(?<=\d:\d\d)-(?=\d+:\d\d)|(?<=\d:\d\d\.\d)-(?=\d+:\d\d)")
_BEFORE_PER_CENT = re.compile(r"(?<=\d) (?=%)")
_BARS = re.compile(r"\bbars \d+(?:-\d+)?(?:(?:, | and )\d+(?:-\d+)?)*")
SOUND_M_S = 343.0  # in dry air at 20 °C; ISO 9613-1:1993 has 343.2, from memory
NOT_KNOWN = DASH


def in_print(text: str) -> str:
    """A sentence as it is printed, with minus signs and dashes; terminals get hyphens for both."""
    text = _HYPHEN_IN_TIMES.sub(DASH, _HYPHEN_AS_MINUS.sub(MINUS, text))
    text = _BEFORE_PER_CENT.sub("\N{NO-BREAK SPACE}", text)
    return _BARS.sub(lambda found: found.group().replace("-", DASH), text)


@dataclass(frozen=True)
class Unit:
    """One unit.

    Attributes
    ----------
    symbol : str
        As it is written after a number.
    ending : str
        Of the names of fields in this unit.
    decimals : int
    difference : str
        Symbol of a difference between two values, where it is another one.
    written : str
        How it is written, where not by its symbol.
    times : float
        What a value is multiplied by when it is written.
    """

    symbol: str
    ending: str
    decimals: int
    difference: str = ""
    written: str = ""
    times: float = 1.0


SHARE = "share"
"""Symbol of a part of the whole, 0 to 1, which is written in per cent."""

POINTS = "points"
"""How the difference of two percentages is written: "39 % less" might be read as a share of one."""

OF_TUNING, OF_DECAY = "Hz of tuning", "s of decay"
"""Symbols of frequencies and times that are told more finely, or less, than others."""

_SHARE_POINTS, _PERCENT_POINTS = "share points", "percent points"

UNITS = (
    Unit("dB/octave", "_db_per_octave", 2),
    Unit("dB/dB", "_db_per_db", 2),
    Unit("per minute", "_per_minute", 1),
    Unit("per s", "_per_s", 1),
    Unit("semitones", "_semitones", 0),
    Unit("%", "_percent", 1, difference=_PERCENT_POINTS),
    Unit(_PERCENT_POINTS, "_percent_points", 1, written=POINTS),
    Unit(_SHARE_POINTS, "_share_points", 0, written=POINTS, times=100.0),
    Unit("degrees", "_degrees", 0),
    Unit("cents", "_cents", 1),
    Unit("LUFS", "_lufs", 1, difference="LU"),
    Unit("dBTP", "_dbtp", 1, difference="dB"),
    Unit("dBFS", "_dbfs", 1, difference="dB"),
    Unit("ppm", "_ppm", 1),
    Unit("LU", "_lu", 1),
    Unit("dB", "_db", 1),
    Unit("Hz", "_hz", 0),
    Unit(OF_TUNING, "_tuned_hz", 1, written="Hz"),
    Unit(OF_DECAY, "_decay_s", 1, written="s"),
    Unit("ms", "_ms", 0),
    Unit("\N{MICRO SIGN}s", "_us", 0),
    Unit("s", "_s", 2),
    Unit(SHARE, "_share", 0, difference=_SHARE_POINTS, written="%", times=100.0),
)
"""Longer endings first: the first that fits is the unit."""

BARE_DECIMALS = 2
"""Of shares, ratios and places between -1 and +1, which have no unit."""

_BY_SYMBOL = {unit.symbol: unit for unit in UNITS}


def _unit(symbol: str) -> Unit:
    """What is known of a unit; of others and of none, what holds for bare numbers."""
    return _BY_SYMBOL.get(symbol) or Unit(symbol, "", BARE_DECIMALS)


def words_and_unit(name: str) -> tuple[str, str]:
    """The name's own words, and its unit: ``("gap depth", "dB")`` for ``gap_depth_db``."""
    for unit in UNITS:
        if name.endswith(unit.ending):
            return name.removesuffix(unit.ending).replace("_", " "), unit.symbol
    return name.replace("_", " "), ""


def decimals_of(symbol: str) -> int:
    """With how many decimals a value is worth showing."""
    return _unit(symbol).decimals


def step_of(symbol: str) -> float:
    """The least difference between two values that can be seen when they are written."""
    unit = _unit(symbol)
    return float(10.0**-unit.decimals / unit.times)


def written(symbol: str) -> str:
    """The unit as it stands after a number."""
    return _unit(symbol).written or symbol


def difference_unit(symbol: str) -> str:
    """Unit of a difference between two values: LU for LUFS, points for per cent."""
    return _unit(symbol).difference or symbol


def number(value: float | None, symbol: str = "", signed: bool = False) -> str:
    """A value with the decimals that its unit deserves; an en dash where it is not known."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    if isinstance(value, int):
        return (f"{value:+d}" if signed and value else f"{value}").replace("-", MINUS)
    text = plain_number(value, symbol, signed)
    return text.replace("-", MINUS)


def plain_number(
    value: float, symbol: str = "", signed: bool = False, decimals: int | None = None
) -> str:
    """The same in plain letters, for sentences and terminals: ``-3.1``; zero has no sign."""
    decimals = decimals_of(symbol) if decimals is None else decimals
    value *= _unit(symbol).times
    text = f"{value:+.{decimals}f}" if signed else f"{value:.{decimals}f}"
    return text.replace("+", "").replace("-", "") if float(text) == 0 else text


def quantity(value: float | None, symbol: str = "", signed: bool = False) -> str:
    """A value with its unit."""
    text = number(value, symbol, signed)
    return text if text == NOT_KNOWN or not symbol else f"{text}\N{NO-BREAK SPACE}{written(symbol)}"
