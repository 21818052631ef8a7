"""An aligned pair of recordings: what all aspects read, each part of it computed once.

Everything here is on the reference's clock unless a name says otherwise. Nothing is computed before
somebody asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment.timemap import TimeMap
from mixcompare.features import SEMITONE_RATE_HZ, Features, common_bands
from mixcompare.features.clipping import FRAME_S
from mixcompare.knowledge.notes import Bars, PartNotes, PartStrokes
from mixcompare.pair import levels
from mixcompare.pair.filled import filled_cells
from mixcompare.pair.folded import with_other_folded
from mixcompare.pair.image import (
    ImageChange,
    image_between,
    later_between,
    right_less_left,
    with_image_undone,
)
from mixcompare.pair.lines import grid_shift, lead_and_bass_notes
from mixcompare.pair.match import Match
from mixcompare.pair.noise import Noise, noise_between
from mixcompare.pair.noise_shared import given_to, ruled_by, shared
from mixcompare.pair.notes import Note, Sounding
from mixcompare.pair.reverberation import (
    Reverberation,
    least_moved_db,
    reverberation_between,
)
from mixcompare.pair.spectra import PairSpectra, images, pair_spectra
from mixcompare.pair.tail import OneTail, under_one_tail
from mixcompare.pair.tail_direct import following_in_attacks
from mixcompare.pair.tail_frames import Added, Take, Wave
from mixcompare.pair.undo import (
    Ride,
    not_judged,
    ride_between,
    with_ride_undone,
    without_cells,
)
from mixcompare.pair.wetness import Wetness, wetness_between

if TYPE_CHECKING:
    from mixcompare.alignment.result import Alignment

FloatArray = npt.NDArray[np.float64]
Span = tuple[float, float]


class Measuring(Protocol):
    """Whatever measures one recording alone, under a name of its own."""

    @property
    def aspect(self) -> str:
        """Its name."""

    def measure(self, features: Features) -> Any:
        """Measure one recording."""


@dataclass(frozen=True, eq=False)
class Pair:
    """Reference and candidate, and how one lies against the other.

    Attributes
    ----------
    reference, candidate : Features
    match : Match
        Time map, level, tuning and written parts.
    noise : tuple of Hiss or Hum
        Steady noise that one of them had and the other had not; it was given to both.
    given : (ndarray, ndarray) or None
        How much of it reference and candidate were given in every band of the spectra, the gain
        left in.
    """

    reference: Features
    candidate: Features
    match: Match
    noise: Noise = ()
    given: tuple[FloatArray, FloatArray] | None = None

    @property
    def time_map(self) -> TimeMap:
        """Reference time to candidate time."""
        return self.match.time_map

    @property
    def same_take(self) -> bool:
        """Whether both are the same performance: then nothing can be the players' doing."""
        return self.match.same_take

    @property
    def gain_db(self) -> float:
        """Broadband level of the candidate against the reference."""
        return self.match.gain_db

    @property
    def span_s(self) -> Span:
        """Part of the reference that has a counterpart."""
        return self.match.time_map.span_s

    @property
    def candidate_span_s(self) -> Span:
        """The same part on the candidate's clock."""
        return self.match.time_map.candidate_span_s

    @property
    def duration_s(self) -> float:
        """Length of the part in common, on the reference's clock."""
        return float(np.ptp(self.span_s))

    def grid_s(self, rate_hz: float) -> FloatArray:
        """Reference times, evenly spaced, that have a counterpart in the candidate."""
        return self.match.grid_s(rate_hz)

    def mirrored(self) -> Pair:
        """The same pair with the roles exchanged."""
        noise = tuple(replace(one, in_candidate=not one.in_candidate) for one in self.noise)
        given = None if self.given is None else self.given[::-1]
        return Pair(self.candidate, self.reference, self.match.mirrored(), noise, given)

    def with_parts(
        self,
        parts: tuple[PartNotes, ...],
        bars: Bars | None = None,
        strokes: tuple[PartStrokes, ...] = (),
    ) -> Pair:
        """The same pair with the written notes of its parts, their bars and unpitched strokes."""
        return replace(self, match=replace(self.match, parts=parts, bars=bars, strokes=strokes))

    def with_noise_shared(self) -> Pair:
        """The same pair, each recording with the steady noise of the other as well."""
        noise = noise_between(self.reference, self.candidate, self.match)
        if not noise:
            return self
        both = shared(self.reference, self.candidate, self.match, noise)
        pair = Pair(*both, self.match, noise)
        forth = tuple(one for one in noise if one.in_candidate)
        back = tuple(one for one in noise if not one.in_candidate)
        spectra, noisier = self.spectra, pair.spectra
        given = (
            given_to(spectra, noisier, forth),
            given_to(spectra.mirrored(), noisier.mirrored(), back) * 10 ** (self.gain_db / 10),
        )
        return replace(pair, given=given)

    def with_gain(self, gain_db: float) -> Pair:
        """The same pair with another level taken out; what does not hang on it is kept."""
        other = replace(self, match=replace(self.match, gain_db=gain_db))
        spectra = self.spectra.raised(self.gain_db - gain_db)
        other.__dict__["spectra"] = spectra  # where a cached property keeps its value
        return other

    @cached_property
    def differences(self) -> dict[str, Any]:
        """What aspects found of this pair so far, for those that build on them; by aspect."""
        return {}

    def alone(self, measuring: Measuring) -> tuple[Any, Any]:
        """Both recordings' own measurements, made once while their features live."""
        one, other = (
            features.kept(measuring, measuring.measure)
            for features in (self.reference, self.candidate)
        )
        return one, other

    @cached_property
    def usable_bands(self) -> npt.NDArray[np.bool_]:
        """Third-octave bands that both recordings carry, shape (31,)."""
        return common_bands(self.reference, self.candidate)

    @cached_property
    def spectra(self) -> PairSpectra:
        """Both spectrograms laid over each other, the gain taken out."""
        return pair_spectra(self.reference, self.candidate, self.match)

    @cached_property
    def image(self) -> ImageChange:
        """What was done to the image as a whole; nothing that could be told of two performances."""
        if not self._has_image:
            return ImageChange()
        later = later_between(self.spectra, self.images)
        return image_between(self.reference, self.candidate, self.match, later)

    @cached_property
    def right_less_left(self) -> tuple[FloatArray, FloatArray] | None:
        """Where the cells of ``of_elements`` lie between left and right, as shares of the whole.

        Without what was done to the image as a whole; None where there is no image to compare.
        """
        if not self._has_image:
            return None
        return right_less_left(self.spectra, self.images, self.image, self.gain_db)

    @property
    def lies(self) -> tuple[FloatArray, FloatArray] | None:
        """Where the cells of ``spectra`` lie, as ``right_less_left``, but between performances too.

        Channels that were exchanged are put right; None where a recording is mono.
        """
        if not self._both_stereo:
            return None
        if self.right_less_left is not None:
            return self.right_less_left
        before, after = right_less_left(self.spectra, self.images, ImageChange(), self.gain_db)
        return before, -after if self.match.channels_swapped else after

    @property
    def _both_stereo(self) -> bool:
        return not (self.reference.is_mono or self.candidate.is_mono)

    @property
    def _has_image(self) -> bool:
        """Whether the images can be compared as those of one take."""
        return self.same_take and self._both_stereo and not self.match.channels_swapped

    @cached_property
    def images(self) -> tuple[FloatArray, FloatArray]:
        """Where the cells of both lie, see :func:`mixcompare.pair.spectra.images`."""
        return images(self.reference, self.candidate, self.match)

    @property
    def _is_folded(self) -> bool:
        return self.same_take and self.reference.is_mono != self.candidate.is_mono

    @property
    def has_other_image(self) -> bool:
        """Whether something was done to the image as a whole that moves levels of cells."""
        return self._is_folded or not self.image.is_none

    @cached_property
    def straightened(self) -> PairSpectra:
        """The spectra with the candidate's image put back as it was, or both in mono."""
        spectra = self.spectra
        if not self.image.is_none:
            spectra = with_image_undone(spectra, self.images[1], self.image, self.gain_db)
        mono = self.reference.is_mono, self.candidate.is_mono
        if self._is_folded:
            of_reference, of_candidate = self.images
            at_level = of_reference, of_candidate * 10 ** (-self.gain_db / 10)
            spectra = with_other_folded(spectra, at_level, mono)
        if self.given is None:
            return spectra
        of_reference, of_candidate = self.given[0], self.given[1] * 10 ** (-self.gain_db / 10)
        return without_cells(spectra, ruled_by(self.spectra, of_reference, of_candidate))

    @cached_property
    def ride(self) -> Ride:
        """What moves the whole over time; nothing that could be told of two performances.

        Under two tails every cell scatters: where none moves all of them, and few moments' cells
        agree, one tail is tried.
        """
        if not self.same_take:
            return self._no_ride
        plain = ride_between(self.straightened)
        if plain.moves or plain.settled or self.image.told or not self._both_stereo:
            return plain
        one = self._under_tail_unridden
        return plain if one is None else ride_between(one.spectra)

    @cached_property
    def of_elements(self) -> PairSpectra:
        """The spectra without what was done to the whole: what is left may be single elements'."""
        spectra = self.straightened
        if self.ride.moves:
            spectra = with_ride_undone(spectra, self.ride)
        filled = filled_cells(spectra) if self.same_take else None
        return self._unclipped(spectra if filled is None else not_judged(spectra, filled))

    def _unclipped(self, spectra: PairSpectra) -> PairSpectra:
        clipped = self.clipped(spectra.times_s)
        return not_judged(spectra, clipped[:, None]) if clipped.any() else spectra

    @cached_property
    def clipped_percent(self) -> tuple[float, float]:
        """Share of the time in common in which each recording's tops are cut off."""
        of_reference, of_candidate = self._cut_off
        if len(of_reference) == 0:
            return 0.0, 0.0
        return 100 * float(of_reference.mean()), 100 * float(of_candidate.mean())

    def clipped(self, times_s: FloatArray, around_s: float = 0.1) -> npt.NDArray[np.bool_]:
        """Moments so near to where one recording is clipped, and not the other, shape (n,).

        What is heard there is the clipping's doing; nothing else is to be judged by it.
        """
        if not self.same_take or not any(self.clipped_percent):
            return np.zeros(len(times_s), np.bool_)
        one, other = self._cut_off
        wide = ndimage.binary_dilation(one != other, iterations=max(round(around_s / FRAME_S), 1))
        near: npt.NDArray[np.bool_] = np.interp(times_s, self.grid_s(1 / FRAME_S), wide) > 0
        return near

    @cached_property
    def _cut_off(self) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
        """Frames in which one is clipped; where both are, they were before they became two."""
        times_s = self.grid_s(1 / FRAME_S)
        places = times_s, self.time_map.to_candidate(times_s)
        one, other = (
            features.clipped_frames[
                np.clip(np.floor(place / FRAME_S).astype(int), 0, len(features.clipped_frames) - 1)
            ]
            if len(features.clipped_frames)
            else np.zeros(len(times_s), np.bool_)
            for features, place in zip((self.reference, self.candidate), places, strict=True)
        )
        return one & ~ndimage.binary_dilation(other), other & ~ndimage.binary_dilation(one)

    @cached_property
    def under_one_tail(self) -> OneTail | None:
        """The reference with the candidate's tail; None where it can't be learnt.

        A channel that came late combs what both are together, of which it would be learnt.
        """
        if self.image.later_us:
            return None
        if self.ride.moves:
            return self._matched_tail(self.of_elements, self.ride)
        return self._under_tail_unridden

    def relearnt(self, factors: FloatArray) -> OneTail | None:
        """The same, learnt with some cells changed: their power factors, of the semitones."""
        one = self.under_one_tail
        return one and self._matched_tail(self.of_elements, self.ride, (one.level_db, factors))

    def relearnt_with(self, added: Wave) -> OneTail | None:
        """The same, learnt with a sound added to the reference, mono on its file's clock."""
        one = self.under_one_tail
        return one and self._matched_tail(self.of_elements, self.ride, Added(one.level_db, added))

    @cached_property
    def following_in_attacks(self) -> float:
        """Decibels for every one of the music by which what begins moved, in one take."""
        both = self.reference, self.candidate
        return following_in_attacks(Take(both, self.match, self.spectra.times_s, self._no_ride))

    @cached_property
    def _under_tail_unridden(self) -> OneTail | None:
        return self._matched_tail(self._unclipped(self.straightened), self._no_ride)

    @property
    def _no_ride(self) -> Ride:
        frames = len(self.spectra.times_s)
        return Ride(np.zeros(frames), np.ones(frames, bool))

    def _matched_tail(
        self,
        spectra: PairSpectra,
        ride: Ride,
        changed: tuple[float, FloatArray] | Added | None = None,
    ) -> OneTail | None:
        return under_one_tail((self.reference, self.candidate), self.match, spectra, ride, changed)

    @cached_property
    def wetness(self) -> Wetness | None:
        """How much wetter the candidate is; None where too little is in common."""
        return wetness_between(self.reference, self.candidate, self.match)

    @cached_property
    def reverberation(self) -> Reverberation | None:
        """What the response between two mixes of one take tells of the room."""
        if not self.same_take:
            return None
        ridden = None
        if self.ride.moves:
            ridden = np.column_stack([self.spectra.times_s, self.ride.level_db])
        moved_db = least_moved_db(self.of_elements)
        return reverberation_between(self.reference, self.candidate, self.match, ridden, moved_db)

    @cached_property
    def loudness_range(self) -> tuple[float, Span] | None:
        """Difference of the loudness ranges in LU, with its 95 % interval."""
        return levels.range_difference_lu(self.reference, self.candidate, self.match)

    @cached_property
    def note_frames_s(self) -> FloatArray:
        """Times of the common frames in which notes are looked for."""
        return self.grid_s(SEMITONE_RATE_HZ)

    @cached_property
    def sounding(self) -> tuple[Sounding, Sounding]:
        """Both recordings, each with its own times of those frames and its pitches' shift."""
        match = self.match
        shift = grid_shift(
            self.reference, self.candidate, match.transposition_semitones, match.tuning_cents
        )
        frames_s = self.note_frames_s
        return (
            (self.reference, frames_s, 0),
            (self.candidate, self.time_map.to_candidate(frames_s), shift),
        )

    @cached_property
    def lines(self) -> tuple[tuple[Note, ...], tuple[Note, ...]]:
        """Notes of the leading line and of the bass line, found in both recordings jointly."""
        return lead_and_bass_notes(self.sounding, self.note_frames_s)


def aligned(reference: Features, candidate: Features, alignment: Alignment) -> Pair:
    """A pair as alignment laid it; its level is not taken out yet."""
    match = Match(
        time_map=alignment.time_map,
        same_take=alignment.same_take,
        transposition_semitones=alignment.transposition_semitones,
        tuning_cents=alignment.tuning_cents,
        channels_swapped=bool(alignment.channels_swapped),
        uncertainty_ms=alignment.uncertainty_ms,
    )
    return Pair(reference, candidate, match)
