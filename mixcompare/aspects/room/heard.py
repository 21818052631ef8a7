"""How much wetter one mix of a take is, where the response from one to the other shows it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from mixcompare.aspects.room.values import Interval
from mixcompare.pair.added_tail import Tail, raised_db
from mixcompare.pair.pair import Pair

_MOST_HIDDEN_DB = -18.0
"""A tail under this is not heard between the notes; where more would stay hidden, the response says
nothing. Chosen by ear's limit in gaps (0.2 dB of wetness), not on any pair."""

_LESS = "The {} is mono: a sum of two channels has up to 3 dB less reverberation."
_LOST_IN_A_SUM_DB = 3.0  # 10 lg 2: independent channels against equal ones, ordinary signal theory


@dataclass(frozen=True)
class Heard:
    """The part of a room's difference that speaks of the amount of reverberation.

    Names and meanings are those of :class:`mixcompare.aspects.room.values.RoomDifference`.
    """

    wetness_db: float | None
    wetness_db_interval: Interval | None
    kernel_time_s: float | None = None
    register_wetness_db: tuple[float, ...] = ()
    explained: float | None = None
    kernel_time_s_interval: Interval | None = None
    gaps_db: float | None = None
    gaps_db_interval: Interval | None = None
    tail_level_db: float | None = None
    tail_level_db_interval: Interval | None = None
    tail_predelay_ms: float | None = None
    tail_predelay_ms_interval: Interval | None = None
    tail_top_db: float | None = None
    tail_top_db_interval: Interval | None = None
    tail_borne_out: float | None = None
    reasons: tuple[str, ...] = ()


def heard_in(pair: Pair) -> Heard | None:
    """What the response between both mixes tells; None where it can't be read."""
    response = pair.reverberation
    if response is None:
        return None
    tail = told_tail(pair)
    if tail is not None:
        return _of_tail(tail)
    if response.hidden_db > _MOST_HIDDEN_DB:
        return None
    most_db = wetness_db(response.hidden_db)
    return Heard(
        wetness_db=0.0, wetness_db_interval=(-most_db, most_db), register_wetness_db=(0.0,) * 4
    )


def told_tail(pair: Pair) -> Tail | None:
    """The tail that one of the two has and the other lacks."""
    return None if pair.reverberation is None else pair.reverberation.tail


def across_channels(heard: Heard, mono: tuple[bool, bool], tail: Tail | None = None) -> Heard:
    """With the doubt of one channel against two.

    Reverberation differs between two channels and adds up as noise does, the direct sound of the
    middle is the same in both: summed to one, a recording has up to 3 dB less reverberation. What a
    tail holds in the mid, such a sum keeps.
    """
    if mono[0] == mono[1]:
        return heard
    who = "reference" if mono[0] else "candidate"
    heard = replace(heard, reasons=(*heard.reasons, _LESS.format(who)))
    if tail is not None and tail.added == mono[0]:
        # The one with two channels is the wetter one, and at least by what lies in its mid.
        by_db = 10 * np.log10(max(tail.mid_share, 1e-9))
        sign, low_db = (1.0 if tail.added else -1.0), tail.level_interval_db[0] + by_db
        least = wetness_db(low_db), raised_db(tail.gaps_interval_db[0], by_db)
        return replace(
            heard,
            wetness_db_interval=_reaching(heard.wetness_db_interval, sign * least[0]),
            gaps_db_interval=_reaching(heard.gaps_db_interval, sign * least[1]),
        )

    def widened(bounds: Interval | None) -> Interval | None:
        if bounds is None:
            return None
        low, high = bounds
        return (low - _LOST_IN_A_SUM_DB, high) if mono[0] else (low, high + _LOST_IN_A_SUM_DB)

    return replace(
        heard,
        wetness_db_interval=widened(heard.wetness_db_interval),
        gaps_db_interval=widened(heard.gaps_db_interval),
    )


def _reaching(bounds: Interval | None, to: float) -> Interval | None:
    return None if bounds is None else (min(bounds[0], to), max(bounds[1], to))


def wetness_db(level_db: float) -> float:
    """Wetness by a tail of a level against the direct sound (:mod:`mixcompare.pair.wetness`)."""
    return float(10 * np.log10(1 + 2 * 10 ** (level_db / 10)))


def _of_tail(tail: Tail) -> Heard:
    sign = 1.0 if tail.added else -1.0
    predelay, late = tail.predelay_s, tail.predelay_interval_s
    low_db, high_db = tail.level_interval_db
    return Heard(
        wetness_db=sign * wetness_db(tail.level_db),
        wetness_db_interval=_signed(sign, (wetness_db(low_db), wetness_db(high_db))),
        kernel_time_s=tail.decay_s,
        register_wetness_db=tuple(sign * wetness_db(one) for one in tail.register_db),
        kernel_time_s_interval=tail.decay_interval_s,
        gaps_db=sign * tail.gaps_db,
        gaps_db_interval=_signed(sign, tail.gaps_interval_db),
        tail_level_db=tail.level_db,
        tail_level_db_interval=tail.level_interval_db,
        tail_predelay_ms=None if predelay is None else 1e3 * predelay,
        tail_predelay_ms_interval=None if late is None else (1e3 * late[0], 1e3 * late[1]),
        tail_top_db=tail.top_db,
        tail_top_db_interval=tail.top_interval_db,
        tail_borne_out=tail.borne_out,
    )


def _signed(sign: float, limits: Interval) -> Interval:
    low, high = sorted(sign * limit for limit in limits)
    return low, high
