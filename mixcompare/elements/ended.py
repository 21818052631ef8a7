"""Notes that end sooner are no level: what moved only after a note-off, in one take.

An element that is softer is softer from its attacks on. Where its notes are cut short, both mixes
are alike from the attack to the earlier note-off and differ only after it; read as a level, that
would be several decibels of whoever plays so.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.attacks import rise, risen
from mixcompare.elements.change import Change, Split
from mixcompare.elements.describe import describe
from mixcompare.elements.one_take import BEATING
from mixcompare.pair.spectra import PairSpectra

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_MOVED = 0.4  # of an element's size, for a cell to have moved; our choice
_AS_LOUD = 1 / 3  # of its size: less than that away, a note is as loud while it is held; our choice
_ATTACK_DB = 6.0  # rise from one of two frames to the next; a new note begins. Our choice
_AFTER_ENDS, _UNDER_A_TAIL, _ALSO = 0.4, 0.5, 0.35
"""Of what a change moves: in one room, under another tail, and beside another such change. Of 14
sections raised or lowered by 5 dB (two scores) 0.34 and less lies after such a note, of detached
themes more than 0.42 in one room; under another tail, where a cell is less sure, 0.35 to 0.76."""
_RISES_DB = 1.0  # at an attack; our choice
_WITH_ATTACKS = 0.5
"""Of what differs, come about while both rise: 0.67 and more of 21 sections raised or lowered alone
and 24 pairs of them (three scores), at most 0.37 of notes held 0.4 or 0.7 as long."""
_IN_COMMON = 0.5  # of a voice's range of pitches, for cells to be its own; our choice
_NEXT_CELLS = (5, 3)  # frames and bands that hear of a cell; our choice


def ends_apart(split: Split, spectra: PairSpectra, one_tail: bool = False) -> Split:
    """The same split, without elements of which only the notes' ends moved: those are ``ended``.

    Parameters
    ----------
    split : Split
        Of one take.
    spectra : PairSpectra
        The cells in which it was found.
    one_tail : bool
        Whether another tail was taken off them first.
    """
    least = _UNDER_A_TAIL if one_tail else _AFTER_ENDS
    shares = [_after_ends(one, spectra, split.tone_db) for one in split.changes]
    if not (split.ended or one_tail):
        # Where others hold its attacks an element seems to move later; others set in with it.
        shares = [
            0.0 if _sets_in_with_attacks(one, spectra, split.tone_db) > _WITH_ATTACKS else share
            for one, share in zip(split.changes, shares, strict=True)
        ]
    least = _ALSO if split.ended or max(shares, default=0.0) > least else least
    only_ends = [share > least for share in shares]
    changes = tuple(itertools.compress(split.changes, [not one for one in only_ends]))
    ended = [*split.ended, *itertools.compress(split.changes, only_ends)]
    if not ended:
        return split
    most = max(ended, key=lambda one: one.strength)
    # What is left of beating without the notes' ends has the other sign and says nothing.
    ended = [one for one in ended if one.difference_db * most.difference_db > 0]
    beats = BEATING * most.strength
    changes = tuple(one for one in changes if one.strength >= beats)
    return replace(split, changes=changes, ended=tuple(ended))


def cells_of(ended: tuple[Change, ...]) -> BoolArray:
    """Cells in which the notes' ends are heard: none of them says anything of a level."""
    sounds = np.logical_or.reduce([one.energy > 0 for one in ended])
    return np.asarray(ndimage.binary_dilation(sounds, np.ones(_NEXT_CELLS)))


def in_range_of(band_hz: tuple[float, float], ended: Change, spectra: PairSpectra) -> bool:
    """Whether cells of notes' ends lie in most of a voice's range of pitches."""
    low, high = np.log2(band_hz)
    first, last = np.log2(describe(ended.energy, spectra).band_hz)
    return bool(min(high, last) - max(low, first) > _IN_COMMON * (high - low))


def _after_ends(change: Change, spectra: PairSpectra, tone_db: FloatArray) -> float:
    """How much of what moved lies after a moment at which the same note was as loud."""
    longer, shorter, moved_db, moved = _moved_cells(change, spectra, tone_db)
    weight = np.where(moved, 10 ** (0.03 * longer), 0.0)
    size = abs(change.difference_db)
    asked = np.ones(moved.shape, np.bool_)
    if spectra.judged is not None:
        asked = spectra.judged[:, : moved.shape[1]]
    after = _moved_at_its_loudest(longer, shorter, moved_db, asked) < _AS_LOUD * size
    return float(weight[after].sum() / max(weight.sum(), 1e-30))


def _sets_in_with_attacks(change: Change, spectra: PairSpectra, tone_db: FloatArray) -> float:
    """How much of what moved began to as both recordings rose: at attacks, not at notes' ends."""
    longer, shorter, _, moved = _moved_cells(change, spectra, tone_db)
    more = np.maximum(10 ** (longer / 10) - 10 ** (shorter / 10), 0.0)
    sets_in = moved & risen(more)
    weight = np.where(sets_in, 10 ** (0.03 * longer), 0.0)
    rises = rise(shorter) > _RISES_DB
    return float(weight[rises].sum() / max(weight.sum(), 1e-30))


def _moved_cells(
    change: Change, spectra: PairSpectra, tone_db: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Levels where notes are longer and where shorter, their difference, and which cells moved."""
    size, sign = abs(change.difference_db), np.sign(change.difference_db)
    bands = slice(0, change.energy.shape[1])
    floor = 1e-9 * max(spectra.reference.max(), spectra.candidate.max(), 1e-20)
    tone_db = np.pad(tone_db, (0, len(spectra.centre_hz)))[bands]
    of_reference = 10 * np.log10(spectra.reference[:, bands] + floor)
    of_candidate = 10 * np.log10(spectra.candidate[:, bands] + floor) - tone_db
    moved_db = sign * (of_candidate - of_reference)
    longer, shorter = (of_candidate, of_reference)[:: int(sign) or 1]
    moved = (change.energy > 0) & (moved_db > _MOVED * size) & spectra.audible[:, bands]
    return longer, shorter, moved_db, moved


def _moved_at_its_loudest(
    longer: FloatArray, shorter: FloatArray, moved_db: FloatArray, asked: BoolArray
) -> FloatArray:
    """Of every cell, the change at the loudest moment since its note began, shape (n, bands).

    Loudest in the recording in which notes end sooner; a note begins where the other one rises.
    Where a cell is not asked, as around a gain that moves, nothing is known of its change.
    """
    before = np.minimum(longer[:-1], np.vstack([longer[:1], longer[:-2]]))
    begins = np.vstack([np.ones((1, longer.shape[1]), bool), longer[1:] - before > _ATTACK_DB])
    out = np.empty_like(moved_db)
    loudest = np.full(longer.shape[1], -np.inf)
    at_loudest = np.full(longer.shape[1], np.inf)
    for row, begin in enumerate(begins):
        loudest, at_loudest = np.where(begin, -np.inf, loudest), np.where(begin, np.inf, at_loudest)
        louder = asked[row] & (shorter[row] > loudest)
        loudest = np.where(louder, shorter[row], loudest)
        at_loudest = np.where(louder, moved_db[row], at_loudest)
        out[row] = at_loudest
    return out
