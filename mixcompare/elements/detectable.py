"""What could not have been found: the smallest change of an element that would have been listed.

Read from the pair itself: into the candidate, with all found changes taken off, an element of a
known share of a register is raised step by step, and the finder is asked again. Nothing is assumed
of the scatter between the two recordings: it is there. What can't be heard in the whole is not
listed however much it changed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mixcompare.elements.change import Change, Split, overlap, without_change
from mixcompare.elements.one_take import EXACT_SCATTER_DB
from mixcompare.elements.take import ground
from mixcompare.findings.confidence import evidence
from mixcompare.findings.detectable import Band, Detectable
from mixcompare.findings.ranking import LEAST_CONFIDENCE, size_in_jnd
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import RATE_HZ, PairSpectra

FloatArray = npt.NDArray[np.float64]
Find = Callable[[PairSpectra], Split]

ELEMENT_SHARES = (0.1, 0.3)
"""Of its register's energy: an element among others, and one that leads there."""

# Resolution: the answer is one of these.
_LEVELS_DB = (1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 12.0)
_OWN = (0.4, 0.9)
"""An element's share of the cells in which it plays, anything between: where one has a tenth of an
octave it moves as much of the sound under another tail as real soloists do (two scores)."""
_NOTE_FRAMES = 8  # 0.4 s: length of the notes that are drawn; our choice
_LONGEST_S = 20.0  # cost: the search takes time; what is told with 40 s is no truer (24 pairs)
_FEWEST_BANDS = 6  # half an octave of semitones; our judgement, not measured
_ITS_OWN = 0.4  # overlap of the found element and the one that was raised


def detectable(
    pair: Pair, registers_hz: Sequence[Band], noticeable_db: float
) -> tuple[Detectable, ...]:
    """Find the smallest change that would have been listed, for every register.

    Registers in which too little sounds are left out.

    Parameters
    ----------
    pair : Pair
        Of two performances nothing can be told: what differs from note to note hides an element.
    registers_hz : sequence of (low, high)
        The registers.
    noticeable_db : float
        Just-noticeable difference of an element's level.
    """
    wanted = [(band_hz, share) for band_hz in registers_hz for share in ELEMENT_SHARES]
    still = None
    if pair.same_take:
        spectra, find, left = ground(pair)
        still = _unchanged(_stretch(spectra), find)
    if still is None:
        return tuple(Detectable(*one, None) for one in wanted)
    elements = [(one, _element(still, *one)) for one in wanted]
    finder = _Finder(still, noticeable_db, find, left)
    near: dict[float, int] = {}
    found = []
    for (band_hz, share), own in elements:
        if own is not None:
            # Mostly it is that of the register below.
            near[share] = finder.smallest(own, near.get(share, 0))
            found.append(Detectable(band_hz, share, (*_LEVELS_DB, None)[near[share]]))
    return tuple(found)


def _stretch(spectra: PairSpectra) -> PairSpectra:
    """The middle of a long pair: the search takes time, and scatter hardly depends on the place."""
    frames, most = len(spectra.times_s), round(_LONGEST_S * RATE_HZ)
    if frames <= most:
        return spectra
    first = (frames - most) // 2
    inside = slice(first, first + most)
    judged = None if spectra.judged is None else spectra.judged[inside]
    return replace(
        spectra,
        times_s=spectra.times_s[inside],
        reference=spectra.reference[inside],
        candidate=spectra.candidate[inside],
        judged=judged,
    )


def _unchanged(spectra: PairSpectra, find: Find) -> PairSpectra | None:
    """The pair as if no element had changed; None where single elements can't be told.

    Without filters too, which are known and need not be looked for beside every element.
    """
    if len(spectra.times_s) < 3 * RATE_HZ:
        return None
    split = find(spectra)
    if not split.scatter_db < EXACT_SCATTER_DB:
        return None
    for change in split.changes:
        spectra = without_change(spectra, change)
    if split.filter_db is None:
        return spectra
    return replace(spectra, candidate=spectra.candidate * 10 ** (-split.filter_db / 10))


def _element(spectra: PairSpectra, band_hz: Band, share: float) -> FloatArray | None:
    """Share of an element's power in every cell: notes drawn from what sounds in the register."""
    inside = np.flatnonzero((spectra.centre_hz >= band_hz[0]) & (spectra.centre_hz < band_hz[1]))
    power = np.where(spectra.audible, np.minimum(spectra.reference, spectra.candidate), 0.0)
    total = power[:, inside].sum()
    if len(inside) < _FEWEST_BANDS or total <= 0:
        return None
    starts = np.arange(0, len(power), _NOTE_FRAMES)
    energy = np.add.reduceat(power[:, inside], starts, axis=0).T.ravel()
    rng = np.random.default_rng(0)
    part = rng.uniform(*_OWN, len(energy))
    notes = rng.permutation(np.flatnonzero(energy > 0))
    taken = notes[np.cumsum(part[notes] * energy[notes]) <= share * total]
    own = np.zeros(power.shape)
    for note in taken:
        band, start = divmod(int(note), len(starts))
        own[starts[start] : starts[start] + _NOTE_FRAMES, inside[band]] = part[note]
    return own if len(taken) else None


@dataclass(frozen=True)
class _Finder:
    """Whether an element would be listed in a pair in which nothing changed."""

    spectra: PairSpectra
    noticeable_db: float
    find: Find
    left: float

    def smallest(self, own: FloatArray, near: int) -> int:
        """Its place among the levels, from a guess on: a larger change is never harder to find."""
        low, high, middle = 0, len(_LEVELS_DB), min(near, len(_LEVELS_DB) - 1)
        step = 1
        while low < high:
            if self._would_list(own, _LEVELS_DB[middle]):
                high = middle
                middle = max(high - step, low)
            else:
                low = middle + 1
                middle = min(low + step - 1, high - 1)
            step *= 2
        return low

    def _would_list(self, own: FloatArray, level_db: float) -> bool:
        raised = self.spectra.candidate * (1 + self.left * own * (10 ** (level_db / 10) - 1))
        changes = self.find(replace(self.spectra, candidate=raised)).changes
        return any(self._is_it(change, own * self.spectra.reference) for change in changes)

    def _is_it(self, change: Change, part: FloatArray) -> bool:
        alike = overlap(change.energy, part) > _ITS_OWN
        proof = evidence(change.difference_db, change.interval, True, change.agreeing)
        size = size_in_jnd(change.difference_db, change.interval, self.noticeable_db)
        listed = size >= 1 and proof.confidence >= LEAST_CONFIDENCE
        return change.difference_db > 0 and alike and listed
