"""From stems to trims: how the candidate is made of them, and what each has to change.

Conventions
-----------
A trim is what to add to a stem, in dB, for the candidate to have the reference's balance; what most
stems need is nothing: only the rest is told. Where the reference's stems are at hand, levels are
compared stem by stem (:mod:`mixcompare.stems.paired`). Where the reference is another mix of the
same take, both are made of the same stems (:mod:`mixcompare.stems.take`); otherwise the candidate's
cells have to become as loud as the reference's (:mod:`mixcompare.stems.trims`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypedDict

import numpy as np
import numpy.typing as npt
from scipy import signal

from mixcompare.alignment.timemap import sample_frames
from mixcompare.audio.recording import Recording
from mixcompare.features.together import RATE_HZ
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import RATE_HZ as PAIR_RATE_HZ
from mixcompare.pair.spectra import THIRDS_ABOVE_HZ
from mixcompare.stems.arrivals import array_of, early
from mixcompare.stems.cells import StemCells
from mixcompare.stems.doubts import cut_short, doubts, spare
from mixcompare.stems.explained import SOUNDS, Laid, Making, makings_of, wholly_inside
from mixcompare.stems.paired import levels_between
from mixcompare.stems.places import Course, courses
from mixcompare.stems.sounding import sounding
from mixcompare.stems.take import beside_most, trims_of
from mixcompare.stems.trims import fit
from mixcompare.stems.values import LEAST_DB, Interval, Place, Stem, Stems, due_course
from mixcompare.stems.worn import wearing, wearing_moved

FloatArray = npt.NDArray[np.float64]

_SAME_CLOCK_S = 1e-3  # drift over the take beyond which stems don't lie under the reference
_HEARD_DB = 52.0  # below the loudest cell; our judgement, not measured
_LEAST_SHARE = 1e-4  # of the mix's energy: less can't be told
_WIDEST_DB = 3.0  # half an interval; beyond, no trim is told
_OF_SPREAD, _OF_SCATTER = 1.7, 0.08
"""How much wider the doubt is than the fit says, and by how much of the scatter: with 1.3 and 0.05
the intervals of 99 stems of other instruments held the truth in 82 %, with these of 45 in 93 %."""
_LEAST_DB = 0.2  # doubt of a trim beside a place that was told
_OF_RIDE = 0.4  # of the swing of what rides or presses the whole mix; of 6 pressed mixes
_DECAY_S = 1.8  # of halls in general: the late part follows the stems so slowly; our choice
_AGREE = 2.0  # standard deviations within which two ways say the same
_CONFUSED = 0.6


@dataclass(frozen=True)
class Judged:
    """Stems with what a preview needs.

    Attributes
    ----------
    told : Stems
    making : Making
        How the candidate is made of them.
    cells : StemCells
        Where each of them sounds.
    same_take : bool
        Whether the reference is another mix of them.
    """

    told: Stems
    making: Making
    cells: StemCells
    same_take: bool = False

    def late_gain(self) -> FloatArray:
        """By how much a hall's late part rises with the trims that are due, shape (n, bands).

        Amplitude. It hangs on to what every stem fed to it up to then.
        """
        keep = float(np.exp(-6 * np.log(10) / (self.cells.rate_hz * _DECAY_S)))
        own = self.cells.own.astype(np.float64)
        fed = signal.lfilter([1 - keep], [1, -keep], own, axis=1)
        at_s = np.asarray((np.arange(own.shape[1]) + 0.5) / self.cells.rate_hz)
        gain = 10 ** (np.array([due_course(one, at_s) for one in self.told.stems]) / 10)
        kept = signal.lfilter([1 - keep], [1, -keep], own * gain[..., None], axis=1)
        louder = kept.sum(axis=0) + 1e-12 * float(fed.max())
        fed += 1e-12 * float(fed.max())
        return np.asarray(np.sqrt(louder / fed.sum(axis=0)))


def judged(
    pair: Pair,
    reference: Recording,
    candidate: Recording,
    stems: Mapping[str, Recording],
    notes: Sequence[str] = (),
    reference_stems: Mapping[str, Recording] | None = None,
) -> Judged:
    """What each stem carries, and its trim.

    Parameters
    ----------
    pair : Pair
        The compared pair, its level matched.
    reference, candidate : Recording
        Its sound.
    stems : mapping of str to Recording
        On the clock of the candidate's file.
    notes : sequence of str
        What is known of them before.
    reference_stems : mapping of str to Recording, optional
        Those of the reference, on the clock of its file.
    """
    names, files = list(stems), list(stems.values())
    mixes, offset_s = _mixes(pair, reference, candidate)
    starts = [candidate.span_s[0]] * len(files)
    worn = wearing(pair, mixes[1]) if len(mixes) > 1 else None
    mixes = mixes if worn is None else [*mixes, worn]
    makings = makings_of(mixes, files, starts)
    making = makings[0]
    if left_out := spare(names, making):
        kept = {name: stem for name, stem in stems.items() if name not in left_out}
        told = (*notes, *left_out.values())
        return judged(pair, reference, candidate, kept, told, reference_stems)
    if worn is not None:
        mixes, makings = _under_one_tail(pair, mixes, makings, files, starts)
    spectra = pair.of_elements
    centre_hz = spectra.centre_hz[spectra.centre_hz < THIRDS_ABOVE_HZ]
    match = pair.match
    higher = (match.tuning_cents + 100 * match.transposition_semitones) / 1200
    own_hz, folded = centre_hz * 2**higher, worn is not None
    cells, over_time = sounding(mixes, makings, files, starts, own_hz, folded)
    take = _take_trims(pair, makings, over_time, offset_s) if over_time else None
    found = _found(
        pair, (reference, reference_stems or {}), (candidate, stems), cells, making, take
    )
    trim_db, deviation = found.trim_db, found.deviation_db
    own = cells.own.sum(axis=(1, 2)) / max(float(cells.mix.sum()), 1e-30)
    heard = (making.sounds > SOUNDS) & (own > _LEAST_SHARE)
    known = heard & np.isfinite(trim_db) & (1.96 * deviation <= _WIDEST_DB)
    # Those that can't be told apart count too: an array that moved is not what most spots need.
    fitted = heard & np.isfinite(trim_db)
    common = _usual(trim_db[fitted], np.sqrt(own[fitted])) if known.any() else 0.0
    array = array_of(names, np.where(heard, own, 0.0))
    early_s, doubt_s = early(making, array) if array is not None else np.full((2, len(own)), np.nan)
    out = []
    for place, name in enumerate(names):
        half = 1.96 * float(deviation[place])
        trim = float(trim_db[place]) - common
        late_ms = 1e3 * float(making.delay_s[place])
        around_ms = 1.96e3 * float(making.delay_deviation_s[place])
        out.append(
            Stem(
                name=name,
                share_percent=100 * float(own[place]) if making.sounds[place] > SOUNDS else None,
                trim_db=trim if known[place] else None,
                interval=(trim - half, trim + half) if known[place] else None,
                delay_ms=late_ms if heard[place] else None,
                delay_interval=(late_ms - around_ms, late_ms + around_ms) if heard[place] else None,
                is_inverted=bool(making.is_inverted[place] and heard[place]),
                confused_with=tuple(names[other] for other in found.confused[place])
                if not known[place]
                else (),
                reason=None if known[place] else _reason(heard[place], making.sounds[place]),
                compared_with=found.partner[place] if known[place] else None,
                places=_places(found, place, trim) if known[place] else (),
                **_before_array(float(early_s[place]), float(doubt_s[place])),
            )
        )
    explained = 1 - float(cells.left.sum() / max(float(cells.mix.sum()), 1e-30))
    return Judged(
        Stems(
            tuple(out),
            max(explained, 0.0),
            (
                *notes,
                *cut_short(candidate, stems),
                *doubts(names, making, cells, heard),
                *found.notes,
            ),
            names[array] if array is not None and np.isfinite(early_s).any() else None,
        ),
        making,
        cells,
        pair.same_take,
    )


class _BeforeArray(TypedDict):
    before_array_ms: float | None
    before_array_interval: Interval | None


def _before_array(early_s: float, doubt_s: float) -> _BeforeArray:
    """As a stem has it."""
    if not np.isfinite(early_s):
        return {"before_array_ms": None, "before_array_interval": None}
    around_ms = 1.96e3 * doubt_s
    interval = 1e3 * early_s - around_ms, 1e3 * early_s + around_ms
    return {"before_array_ms": 1e3 * early_s, "before_array_interval": interval}


def _usual(trims: FloatArray, weight: FloatArray) -> float:
    """What most of the sound needs: the weighted median."""
    order = np.argsort(trims)
    heap = np.cumsum(weight[order])
    return float(trims[order][np.searchsorted(heap, heap[-1] / 2)])


def _reason(is_heard: bool, sounds: float) -> str:
    if sounds <= SOUNDS:
        return "Does not sound in the mix at the place where it lies."
    return (
        "Can't be told from the other stems closely enough."
        if is_heard
        else "Carries too little of the mix."
    )


@dataclass(frozen=True)
class _Found:
    """Trims up to a common shift, and what else is known of them, by stem."""

    trim_db: FloatArray
    deviation_db: FloatArray
    confused: Sequence[Sequence[int]]
    partner: tuple[str | None, ...]
    notes: tuple[str, ...] = ()
    courses: Sequence[Course] = ()
    offset_s: float = 0.0


def _found(
    pair: Pair,
    reference: tuple[Recording, Mapping[str, Recording]],
    candidate: tuple[Recording, Mapping[str, Recording]],
    cells: StemCells,
    making: Making,
    take: _Found | None,
) -> _Found:
    """Levels against the reference's stems; from the mixes where there are none."""
    count, found, direct = len(making.sounds), take, None
    if reference[1]:
        direct = levels_between(pair.match.time_map, reference, candidate, making)
    if direct is not None and np.isfinite(direct.trim_db).all():
        wide = np.hypot(direct.deviation_db, _ride_db(pair))
        alone = _Found(direct.trim_db, wide, [[]] * count, direct.partner, direct.notes)
        return alone if found is None else _together(alone, found)
    if found is None:
        found = _trims(pair, cells)
    if direct is None:
        return found
    paired = np.isfinite(direct.trim_db)
    both = paired & np.isfinite(found.trim_db)
    shift = float(np.median((direct.trim_db - found.trim_db)[both])) if both.any() else 0.0
    return _Found(
        np.where(paired, direct.trim_db, found.trim_db + shift),
        np.where(paired, np.hypot(direct.deviation_db, _ride_db(pair)), found.deviation_db),
        [[] if one else other for one, other in zip(paired, found.confused, strict=True)],
        tuple(name if one else None for one, name in zip(paired, direct.partner, strict=True)),
        direct.notes,
    )


def _together(direct: _Found, take: _Found) -> _Found:
    """Where both of one take's ways agree, their mean, the surer one weighing more.

    A take's own stems under both mixes cancel all that a hall does to a stem's gain; they are
    deceived where the stem itself was treated in between, and then the two disagree.
    """
    apart = direct.trim_db - take.trim_db
    apart = apart - np.median(apart[np.isfinite(apart)])
    doubt = np.hypot(direct.deviation_db, take.deviation_db)
    agree = np.abs(apart) <= _AGREE * doubt
    share = np.square(direct.deviation_db / np.maximum(doubt, 1e-9))
    return replace(
        direct,
        trim_db=np.where(agree, direct.trim_db - share * apart, direct.trim_db),
        # They hear the same mixes: two of them know hardly more than the surer one.
        deviation_db=np.where(
            agree, np.minimum(direct.deviation_db, take.deviation_db), direct.deviation_db
        ),
    )


def _places(found: _Found, stem: int, trim_db: float) -> tuple[Place, ...]:
    """A stem's own places, on both clocks."""
    out = []
    for change in found.courses[stem].changes if found.courses else ():
        start, end = change.span_s
        there_db, half = trim_db + change.by_db, 1.96 * change.deviation_db
        span_s = (max(start - found.offset_s, 0.0), end - found.offset_s)
        around = (there_db - half, there_db + half)
        out.append(Place(span_s, (start, end), there_db, around))
    return tuple(out)


def _ride_db(pair: Pair) -> float:
    """What rides or presses the whole mix moves stems by when they play: nobody's trim."""
    return _OF_RIDE * float(np.std(pair.ride.level_db)) if pair.ride.moves else 0.0


def _mixes(pair: Pair, reference: Recording, candidate: Recording) -> tuple[list[Laid], float]:
    """What is made of the candidate's stems, on its clock, and how much later that is.

    The reference is, where it is another mix of the same take on the same clock.
    """
    own = Laid.of(candidate)
    time_map = pair.match.time_map
    span_s = np.array(time_map.span_s)
    there_s = time_map.to_candidate(span_s)
    offsets = there_s - span_s
    if not pair.same_take or abs(offsets[1] - offsets[0]) > _SAME_CLOCK_S:
        return [own], 0.0
    offset_s = float(offsets.mean())
    # The reference is given what rides or presses the candidate, or stems that play when the whole
    # is turned down would be taken for softer.
    at_s = np.arange(len(own.gain)) / RATE_HZ
    ride = 10 ** (np.interp(at_s - offset_s, pair.spectra.times_s, pair.ride.level_db) / 20)
    shared = wholly_inside(at_s, there_s[0], there_s[1])
    return [own, Laid(reference, -offset_s, np.where(shared, ride, 0.0))], offset_s


def _under_one_tail(
    pair: Pair,
    mixes: Sequence[Laid],
    makings: Sequence[Making],
    stems: Sequence[Recording],
    starts_s: Sequence[float],
) -> tuple[list[Laid], list[Making]]:
    """The candidate, and the reference with its tail: learnt once more if a stem moved."""
    candidate, reference, worn = makings
    found = trims_of(worn, candidate)
    away = beside_most(found.trim_db)
    moved = np.abs(away) > np.maximum(1.96 * found.deviation_db, LEAST_DB)
    # The tail was learnt to hold some of them, and with it the level; without it nothing was.
    plain = trims_of(reference, candidate)
    start_db = beside_most(plain.trim_db)
    start_db = np.where(moved & (np.abs(start_db) > plain.deviation_db), start_db, 0.0)
    again = (
        wearing_moved(pair, mixes[1], reference, start_db, stems, starts_s)
        if start_db.any()
        else None
    )
    if again is None:
        return [mixes[0], mixes[2]], [candidate, worn]
    return [mixes[0], again], [candidate, *makings_of([again], stems, starts_s)]


def _take_trims(
    pair: Pair, makings: Sequence[Making], over_time: Sequence[FloatArray], offset_s: float
) -> _Found:
    """Trims of another mix of the same take."""
    candidate, other = makings
    found = trims_of(other, candidate)
    alike = [
        [int(place) for place in np.flatnonzero(row > _CONFUSED) if place != own]
        for own, row in enumerate(candidate.alike)
    ]
    wide = np.hypot(found.deviation_db, _ride_db(pair))
    over = courses(over_time[1], over_time[0])
    trim_db = found.trim_db + [one.base_db for one in over]
    # A ride makes a stem's blocks of time disagree; once it is told it is no doubt of the rest.
    told = [bool(one.changes) for one in over]
    wide = np.where(told, [np.hypot(_LEAST_DB, one.scatter_db) for one in over], wide)
    return _Found(trim_db, wide, alike, (None,) * len(alike), (), over, offset_s)


def _trims(pair: Pair, cells: StemCells) -> _Found:
    """Trims from the level differences of all cells."""
    spectra = pair.of_elements
    bands = len(cells.centre_hz)
    step = max(round(PAIR_RATE_HZ / cells.rate_hz), 1)
    count = len(spectra.times_s) // step
    reference, candidate = (
        power[: count * step, :bands].reshape(count, step, bands).mean(axis=1)
        for power in (spectra.reference, spectra.candidate)
    )
    times_s = spectra.times_s[: count * step].reshape(count, step).mean(axis=1)
    # A cell's own moment is its middle.
    there_s = pair.match.time_map.to_candidate(times_s) - 0.5 / cells.rate_hz
    cross = np.stack([sample_frames(power, cells.rate_hz, there_s) for power in cells.cross])
    floor = 10 ** (-_HEARD_DB / 10)
    heard = (reference > floor * reference.max()) & (candidate > floor * candidate.max())
    wanted = 10 * np.log10((reference + 1e-20) / (candidate + 1e-20))
    found = fit(wanted, heard, cells.pairs, cross)
    deviation = np.sqrt(np.diag(found.covariance))
    together = found.covariance / np.outer(deviation, deviation)
    confused = [
        [int(other) for other in np.flatnonzero(row < -_CONFUSED + 0.2)] for row in together
    ]
    wide = np.hypot(_OF_SPREAD * deviation, _OF_SCATTER * found.scatter_db)
    return _Found(found.trim_db, wide, confused, (None,) * len(deviation))
