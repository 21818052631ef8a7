"""In which order the bars of a score are played: repeats, endings, da capo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from mixcompare.knowledge.notes import MOST_BARS


@dataclass
class Signs:
    """What is printed at a bar.

    Attributes
    ----------
    forward : bool
        A repeat begins here.
    times : int
        How often the repeat that ends here is played; 0 where none ends.
    endings : frozenset of int
        The turns in which the bar is played; empty where it is no ending.
    segno, coda, to_coda, fine, da_capo, dal_segno : bool
    """

    forward: bool = False
    times: int = 0
    endings: frozenset[int] = frozenset()
    segno: bool = False
    coda: bool = False
    to_coda: bool = False
    fine: bool = False
    da_capo: bool = False
    dal_segno: bool = False


def orders(signs: Sequence[Signs]) -> list[list[int]]:
    """Orders in which the bars may be played, each once: all repeats, none, as printed."""
    ways = [_played(signs, True), _played(signs, False), list(range(len(signs)))]
    return [way for at, way in enumerate(ways) if way not in ways[:at]]


def _played(signs: Sequence[Signs], repeats: bool) -> list[int]:
    """Bars in playing order; after a da capo, or without repeats, only last endings are played."""
    last = _last_turns(signs)
    marks = {
        name: next((at for at, sign in enumerate(signs) if getattr(sign, name)), None)
        for name in ("segno", "coda")
    }
    order: list[int] = []
    at, start, turn, again, back = 0, 0, 1, repeats, False
    while at < len(signs) and len(order) <= MOST_BARS:
        sign = signs[at]
        past_endings = at > 0 and last[at - 1] and not last[at]
        if at != start and (sign.forward or past_endings):
            start, turn = at, 1
        if last[at] and (turn if again else last[at]) not in sign.endings:
            at += 1
            continue
        order.append(at)
        times = last[at] or sign.times
        if sign.times and again and turn < times:
            at, turn = start, turn + 1
            continue
        if sign.times and not last[at]:
            start, turn = at + 1, 1
        if back and sign.fine:
            break
        coda = marks["coda"]
        if back and sign.to_coda and coda is not None:
            at = start = coda
            continue
        if (sign.da_capo or sign.dal_segno) and not back:
            segno = marks["segno"]
            back, again, turn = True, False, 1
            at = start = segno if sign.dal_segno and segno is not None else 0
            continue
        at += 1
    return order


def _last_turns(signs: Sequence[Signs]) -> list[int]:
    """Of every bar in a group of endings, the group's last turn; 0 elsewhere.

    Endings that no repeat leads back from are bars like others.
    """
    last = [0] * len(signs)
    at = 0
    while at < len(signs):
        end = at
        while end < len(signs) and signs[end].endings:
            end += 1
        group = signs[at:end]
        if any(sign.times for sign in group):
            last[at:end] = [max(max(sign.endings) for sign in group)] * len(group)
        at = max(end, at + 1)
    return last
