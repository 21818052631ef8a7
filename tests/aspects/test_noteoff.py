"""Envelopes of notes whose note-off, slope, floor, attack and accent are set."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.aspects.articulation.noteoff import (
    Envelope,
    FollowedNote,
    Hinge,
    _best_shape,
    _medians_before,
    fit_hinge,
    follow_note,
    note_envelope,
    sounding_ratios,
    trust,
    typical_attack_ms,
    without_hidden_ends,
)
from mixcompare.features import LOWEST_ONSET, ONSET_RATE_HZ
from mixcompare.pair.notes import REST, Note, partial_bands

FloatArray = npt.NDArray[np.float64]


def envelope(
    held_s: float,
    interval_s: float,
    *,
    slope_db_per_s: float = 140.0,
    floor_db: float = -30.0,
    rise_s: float = 0.02,
    accent_db: float = 0.0,
    noise_db: float = 0.0,
    seed: int = 1,
) -> Envelope:
    """Linear rise of the amplitude, plateau, decay, floor; 0.3 s before to 0.4 s behind."""
    time_s = np.arange(-0.3, interval_s + 0.4, 0.01)
    amplitude = np.clip((time_s + 1e-9) / rise_s, 1e-3, 1)
    level = 20 * np.log10(amplitude) - slope_db_per_s * np.maximum(time_s - held_s, 0)
    level = np.maximum(level, floor_db) + accent_db * np.exp(-np.maximum(time_s, 0) / 0.03)
    level[time_s < 0] = floor_db
    return Envelope(
        time_s, level + noise_db * np.random.default_rng(seed).standard_normal(len(time_s)), 4, True
    )


# A step of the search is a sixtieth of the note; 0.08 of the length is just noticeable.
@pytest.mark.parametrize("interval_s", [0.3, 0.6, 1.2])
@pytest.mark.parametrize("ratio", [0.4, 0.6, 0.85, 1.0])
def test_note_off(ratio: float, interval_s: float) -> None:
    for slope, floor in ((60.0, -23.0), (140.0, -30.0), (350.0, -17.0)):
        made = envelope(
            ratio * interval_s, interval_s, slope_db_per_s=slope, floor_db=floor, noise_db=0.5
        )
        hinge = fit_hinge(made, interval_s, repeated=False)
        assert hinge is not None
        assert hinge.held_s / interval_s == pytest.approx(ratio, abs=0.04)
        if ratio < 0.9:
            assert hinge.slope_db_per_s == slope
            assert hinge.floor_db == floor
        assert hinge.misfit_db < 1.0


def test_a_longer_reverberation_leaves_the_note_off_where_it_was() -> None:
    for slope in (27.0, 60.0, 220.0):
        hinge = fit_hinge(envelope(0.4, 0.8, slope_db_per_s=slope), 0.8, repeated=False)
        assert hinge is not None
        assert hinge.held_s == pytest.approx(0.4, abs=0.02)


# 60 dB in 3 s are 20 dB/s: halls for music die away sooner (common practice, no source).
@pytest.mark.parametrize(
    ("held", "slope", "let_go"),
    [(0.4, 18.0, False), (0.74, 12.0, False), (0.4, 27.0, True), (0.76, 12.0, True)],
)
def test_what_only_sinks_has_not_been_let_go(held: float, slope: float, let_go: bool) -> None:
    assert Hinge(0.8 * held, slope, -17, 9, 0.03, 0.0, 0.5).is_let_go(0.8) == let_go


@pytest.mark.parametrize(
    ("slope", "is_followed"), [(15.0, False), (18.0, False), (27.0, True), (40.0, True)]
)
def test_a_note_that_only_sinks_is_not_followed(slope: float, is_followed: bool) -> None:
    own = {pitch: course(1.0, 0.4, -20.0, slope) for pitch in (69, 81, 88)}
    following = {pitch: course(2.2, 0.6, -20.0) for pitch in (74, 86, 93)}
    note = Note(69, 74, 1.0, 2.2, written=True)
    frame_s = np.arange(0, 4, 0.02)
    features = _features(own | following)
    assert (follow_note(note, (features, frame_s, 0), frame_s) is not None) == is_followed


# 60 dB in 2 s are 30 dB/s; held from 1.0 to 1.4 of the 0.8 s that are written.
@pytest.mark.parametrize(("slope", "is_followed"), [(27.0, False), (40.0, True)])
def test_before_a_rest_a_slow_tail_hides_the_end(slope: float, is_followed: bool) -> None:
    own = {pitch: course(1.0, 0.4, -20.0, slope) for pitch in (69, 81, 88)}
    frame_s = np.arange(0, 4, 0.02)
    note = Note(69, REST, 1.0, 1.8, written=True)
    found = follow_note(note, (_features(own), 1.25 * frame_s - 0.25, 0), frame_s)
    assert (found is not None) == is_followed
    if found is not None:
        # The recording takes 5/4 of the time that is written.
        assert found.interval_s == pytest.approx(1.0, abs=0.01)
        assert found.hinge.held_s == pytest.approx(0.4, abs=0.04)


@pytest.mark.parametrize("depth_db", [3.0, 12.0, 25.0])
def test_depth_of_the_gap(depth_db: float) -> None:
    hinge = fit_hinge(envelope(0.3, 0.8, floor_db=-depth_db), 0.8, repeated=False)
    assert hinge is not None
    assert hinge.gap_depth_db == pytest.approx(depth_db, abs=0.1)


def test_the_gap_is_as_deep_as_its_deepest_moment() -> None:
    # From 0.72 s on it falls by 140 dB/s; the next note begins at 0.8 s.
    hinge = fit_hinge(envelope(0.72, 0.8, floor_db=-9.0), 0.8, repeated=False)
    assert hinge is not None
    assert hinge.gap_depth_db == pytest.approx(9.0, abs=0.1)


@pytest.mark.parametrize(("depth_db", "held"), [(5.5, 0.8), (8.0, 0.4)])
def test_a_repeated_note_without_a_dip_is_held(depth_db: float, held: float) -> None:
    # 6 dB: what a partial has to fall after its note to be its own.
    hinge = fit_hinge(envelope(0.4, 0.8, floor_db=-depth_db), 0.8, repeated=True)
    assert hinge is not None
    assert hinge.held_s == pytest.approx(held, abs=0.02)


@pytest.mark.parametrize("rise_s", [0.06, 0.12, 0.2])
def test_attack(rise_s: float) -> None:
    # A linear rise takes 80 % of its length from 10 to 90 %; the window's own 34 ms are taken
    # out as squares: what is left of an envelope without a window is known.
    hinge = fit_hinge(envelope(0.6, 0.8, rise_s=rise_s), 0.8, repeated=False)
    assert hinge is not None
    known = np.sqrt(max((0.8 * rise_s) ** 2 - 0.034**2, 0))
    assert hinge.attack_s == pytest.approx(known, abs=0.006)


def test_a_note_that_does_not_rise_clear_of_the_last_has_no_attack() -> None:
    for before_db, told in ((-12.0, True), (-8.0, False)):  # 0.35 of the amplitude: -9.1 dB
        made = envelope(0.5, 0.8)
        level = np.where(made.time_s < 0, before_db, made.level_db)
        hinge = fit_hinge(replace(made, level_db=level), 0.8, repeated=False)
        assert hinge is not None
        assert np.isfinite(hinge.attack_s) == told


@pytest.mark.parametrize("accent_db", [0.0, 3.0, 8.0])
def test_accent(accent_db: float) -> None:
    made = envelope(0.6, 0.8)
    struck = (made.time_s > 0.03) & (made.time_s <= 0.1)
    hinge = fit_hinge(
        replace(made, level_db=made.level_db + accent_db * struck), 0.8, repeated=False
    )
    assert hinge is not None
    assert hinge.accent_db == pytest.approx(accent_db, abs=0.1)
    later = (made.time_s > 0.2) & (made.time_s <= 0.27)
    swelling = replace(made, level_db=made.level_db + accent_db * later)
    hinge = fit_hinge(swelling, 0.8, repeated=False)
    assert hinge is not None
    assert hinge.accent_db == pytest.approx(0.0, abs=0.1)


def test_what_has_no_such_shape_is_no_note() -> None:
    made = envelope(0.5, 0.8)
    wild = 12 * np.sin(2 * np.pi * made.time_s / 0.13)
    assert fit_hinge(replace(made, level_db=wild), 0.8, repeated=False) is None
    assert fit_hinge(envelope(0.05, 0.09), 0.09, repeated=True) is None


def _features(partials_db: dict[int, FloatArray], frames: int = 400) -> Any:
    """Short-time power with given levels in single semitone bands, else next to nothing."""
    power = np.full((frames, 60), 1e-9, np.float32)
    for pitch, level in partials_db.items():
        power[:, pitch - LOWEST_ONSET] = 10 ** (level / 10)
    return SimpleNamespace(onset_power=power)


def course(onset_s: float, held_s: float, level_db: float, slope: float = 140.0) -> FloatArray:
    time_s = np.arange(400) / ONSET_RATE_HZ
    fall = -slope * np.maximum(time_s - onset_s - held_s, 0)
    return np.where(time_s >= onset_s, np.maximum(level_db + fall, -80), -80)


def test_partials_of_others_are_left_out() -> None:
    own = {pitch: course(1.0, 0.4, -20.0 - step) for pitch, step in ((69, 0), (81, 6), (88, 10))}
    held_by_others = np.full(400, -25.0)
    plain = note_envelope(_features(own), 69, 1.0, 0.8, False)
    shared = note_envelope(_features(own | {93: held_by_others}), 69, 1.0, 0.8, False)
    assert plain is not None
    assert shared is not None
    assert plain.partials == shared.partials == 3
    assert plain.clear
    hinge = fit_hinge(shared, 0.8, repeated=False)
    assert hinge is not None
    assert hinge.held_s == pytest.approx(0.4, abs=0.03)
    # One that grows by 5 dB within the note is another's.
    grows = course(1.0, 0.4, -20.0) + np.clip((np.arange(400) / 100 - 1.3) / 0.1, 0, 1) * 9
    assert note_envelope(_features(own | {93: grows}), 69, 1.0, 0.8, False).partials == 3  # type: ignore[union-attr]


def test_covered_partials_count_only_where_there_are_no_others() -> None:
    own = {pitch: course(1.0, 0.4, -20.0) for pitch in (69, 81, 88)}
    some = note_envelope(_features(own), 69, 1.0, 0.8, False, covered=(81,))
    every = note_envelope(_features(own), 69, 1.0, 0.8, False, covered=(69, 81, 88))
    assert some is not None
    assert every is not None
    assert (some.partials, some.clear) == (2, True)
    assert (every.partials, every.clear) == (3, False)


def test_a_partial_that_never_falls_is_no_note() -> None:
    assert note_envelope(_features({69: course(1.0, 9.0, -20.0)}), 69, 1.0, 0.8, False) is None
    assert note_envelope(_features({69: course(1.0, 9.0, -20.0)}), 69, 1.0, 0.8, True) is not None
    assert len(partial_bands(40)) > 0
    assert note_envelope(_features({}), 104, 1.0, 0.8, False) is None


@pytest.mark.parametrize("delay_s", [0.0, 0.4])
def test_a_note_is_followed_on_the_recordings_own_clock(delay_s: float) -> None:
    own = {pitch: course(1.0 + delay_s, 0.4, -20.0) for pitch in (71, 83, 90)}
    following = {pitch: course(1.8 + delay_s, 0.6, -20.0) for pitch in (74, 86, 93)}
    # Expected 60 ms late, at the pitch it would have without the shift of two semitones.
    note = Note(69, 72, 1.06, 1.8, written=True)
    frame_s = np.arange(0, 4, 0.02)
    found = follow_note(note, (_features(own | following), frame_s + delay_s, 2), frame_s)
    assert found is not None
    assert found.interval_s == pytest.approx(0.8, abs=0.04)
    assert found.hinge.held_s == pytest.approx(0.4, abs=0.04)


def followed(
    held_s: float, interval_s: float, attack_s: float = 0.03, clear: bool = True
) -> FollowedNote:
    made = replace(envelope(0.3, 0.6), clear=clear)
    return FollowedNote(interval_s, made, Hinge(held_s, 140, -30, 20, attack_s, 0.0, 0.5))


def test_sounding_ratio_is_the_time_held_over_the_time_to_the_next() -> None:
    notes = [followed(0.3, 0.6, float("nan"))] * 9
    np.testing.assert_allclose(sounding_ratios(notes), 0.5)
    # An attack of 60 ms rises steepest 21 ms behind the onset, 1 ms later than usual.
    notes = [followed(0.3, 0.6, 0.06)] * 9
    np.testing.assert_allclose(sounding_ratios(notes), (0.3 + 0.001) / 0.6)
    # A struck one at once, and no more than 20 ms are made of it.
    np.testing.assert_allclose(sounding_ratios([followed(0.3, 0.6, 0.0)] * 9), 0.28 / 0.6)
    np.testing.assert_allclose(sounding_ratios([followed(0.3, 0.6, 0.3)] * 9), 0.32 / 0.6)


@pytest.mark.parametrize(
    ("others", "fall_db_per_s", "interval_s", "stays"),
    [
        (9, 27.0, 0.4, False),  # let go half-way it falls by 5.4 dB, too little to be seen
        (9, 27.0, 0.5, True),  # by 6.75 dB
        (9, 140.0, 0.2, True),  # by 14 dB
        (7, 140.0, 0.39, False),  # too few to know the room by: 60 dB in 2 s
        (7, 140.0, 0.41, True),
    ],
)
@pytest.mark.parametrize("held_s", [0.1, 0.38])
def test_repeated_notes_whose_end_the_room_hides_are_left_out_held_or_not(
    others: int, fall_db_per_s: float, interval_s: float, stays: bool, held_s: float
) -> None:
    lines = [Note(60, 62, 0.0, 0.5)] * others, [Note(60, 60, 0.0, 0.5)] * 20
    # The others are shorter still, and none of them is left out: another pitch follows.
    short = followed(0.1, 0.2)
    hinge = replace(short.hinge, slope_db_per_s=fall_db_per_s)
    found: list[FollowedNote | None] = [replace(short, hinge=hinge)] * others
    found += [followed(held_s, interval_s)] * 19 + [None]
    kept = without_hidden_ends([*lines[0], *lines[1]], found)
    assert kept[:others] == found[:others]
    assert kept[others:] == (found[others:] if stays else [None] * 20)


def test_typical_attack_needs_eight_notes() -> None:
    some = [followed(0.3, 0.6, at) for at in (0.02, 0.03, 0.04, 0.05, 0.06, 0.07, 0.08)]
    unknown = [followed(0.3, 0.6, float("nan"))] * 5
    assert typical_attack_ms(some + unknown) is None
    assert typical_attack_ms([*some, followed(0.3, 0.6, 0.05), *unknown]) == pytest.approx(50)


def test_trust_grows_with_a_notes_length() -> None:
    notes = [followed(0.1, 0.1), followed(0.3, 0.4), followed(0.3, 2.0)]
    np.testing.assert_allclose(trust(notes, written=True), [0.04, 0.16, 0.64])
    np.testing.assert_allclose(trust([followed(0.3, 0.4, clear=False)], True), [0.04])
    np.testing.assert_allclose(trust(notes, written=False), 1.0)


def test_medians_of_growing_parts() -> None:
    values = np.random.default_rng(5).normal(size=20)
    counts = np.array([0, 2, 3, 3, 8, 19, 20])
    expected = [0.0, 0.0, *(np.median(values[:count]) for count in counts[2:])]
    assert _medians_before(values, counts).tolist() == expected


def test_the_best_shape_is_the_best_of_all() -> None:
    for seed in range(5):
        rng = np.random.default_rng(seed)
        t, offs = np.arange(0.06, 0.9, 0.01), np.arange(0.1, 0.8, 0.013)
        y = np.maximum(-80 * np.maximum(t - 0.15 * (1 + seed), 0), -18) + rng.normal(0, 2, len(t))
        tried = {}
        for off in offs:
            before = y[t < off]
            plateau = np.median(before) if len(before) > 2 else 0.0
            for slope in (12.0, 18, 27, 40, 60, 90, 140, 220, 350):
                for floor in (-8.0, -12, -17, -23, -30):
                    shape = plateau + np.maximum(-slope * np.maximum(t - off, 0), floor)
                    misfit = np.minimum(np.abs(y - shape), 6.0).mean()
                    tried[off, slope, floor] = misfit
        misfit_db, *shape = _best_shape(t, y, offs)
        assert misfit_db == pytest.approx(min(tried.values()))
        assert tried[tuple(shape)] == pytest.approx(misfit_db)  # type: ignore[index]
