"""Advice in the names of the stems: which faders undo a finding of balance, and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.findings import Finding, listed
from mixcompare.stems.cells import StemCells
from mixcompare.stems.values import Interval, Stem

FloatArray = npt.NDArray[np.float64]

# Of what all stems sound in the finding's own time and range, and of what the first of them does:
# less is not what was heard. Our choice.
_CARRIES, _BESIDE = 0.02, 0.25
_NEAR_DB = 2.0  # a trim that is farther from the finding's size undoes something else


def in_names_of_stems(
    finding: Finding, stems: Sequence[Stem], cells: StemCells, same_take: bool
) -> Finding:
    """The same finding; where trims that are due undo it, its advice for the desk names them.

    Parameters
    ----------
    finding : Finding
        Placed on the candidate's clock.
    stems : sequence of Stem
        In the order of the cells' own.
    cells : StemCells
        Where each of them sounds.
    same_take : bool
        Then nobody played otherwise, and the desk's advice comes first.
    """
    if finding.aspect != "balance" or not np.isfinite(finding.interval).all():
        return finding
    carried = _carried(finding, cells)
    found = [
        (float(share), faders)
        for stem, share in zip(stems, carried, strict=True)
        if share >= _CARRIES and (faders := _faders(stem, finding))
    ]
    if not found:
        return finding
    most = max(share for share, _ in found)
    heard = sorted((one for one in found if one[0] >= _BESIDE * most), key=lambda one: -one[0])
    words = [word for _, faders in heard for word in faders]
    told = f"Bring {listed(words)}."
    others = finding.advice[1:] if same_take else finding.advice[:-1]
    return replace(finding, advice=(told, *others) if same_take else (*others, told))


def _carried(finding: Finding, cells: StemCells) -> FloatArray:
    """Share of every stem in what all of them sound there."""
    at_s = (np.arange(len(cells.mix)) + 0.5) / cells.rate_hz
    when = np.zeros(len(at_s), bool)
    for start, end in finding.candidate_spans_s:
        when |= (at_s >= start) & (at_s <= end)
    low, high = finding.band_hz or (0.0, np.inf)
    where = (cells.centre_hz >= low) & (cells.centre_hz <= high)
    own = cells.own[:, when][..., where].sum(axis=(1, 2), dtype=np.float64)
    return np.asarray(own / max(float(own.sum()), 1e-30))


def _faders(stem: Stem, finding: Finding) -> list[str]:
    """What to do with one stem, for all of the time and for places of its own."""
    out = []
    if stem.is_due and stem.interval is not None and _undoes(stem.due_db, stem.interval, finding):
        out.append(_words(stem.name, stem.due_db, stem.interval))
    for place in stem.places:
        start, end = place.candidate_span_s
        meets = any(start < last and end > first for first, last in finding.candidate_spans_s)
        if meets and _undoes(place.trim_db, place.interval, finding):
            out.append(_words(stem.name, place.trim_db, place.interval) + " there")
    return out


def _undoes(trim_db: float, interval: Interval, finding: Finding) -> bool:
    doubt_db = (interval[1] - interval[0]) / 2
    near = abs(trim_db + finding.difference) <= _NEAR_DB + doubt_db
    return trim_db * finding.difference < 0 and near


def _words(name: str, trim_db: float, interval: Interval) -> str:
    low, high = sorted(abs(edge) for edge in interval)
    way = "up" if trim_db > 0 else "down"
    return f"the stem {name} {way} by {abs(trim_db):.1f} dB ({low:.1f} to {high:.1f})"
