"""Who leads, whether that is heard through the rest, and who covers it: against known stems."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.audio.recording import Recording
from mixcompare.elements.audibility import clearance_db, strongest
from mixcompare.features import (
    HIGHEST_SEMITONE,
    LOWEST_SEMITONE,
    SEMITONE_RATE_HZ,
    Features,
)
from mixcompare.knowledge.notes import Bars
from mixcompare.parts.covering import as_told, leads_in, lines_in
from mixcompare.parts.fit import Cells
from mixcompare.parts.values import CLEAR, COVERED, OPEN, Lead, PartLevel, Stretch
from mixcompare.standards.iec61260 import pitch_hz
from tests import synthetic
from tests.parts.test_leading import BASS, CHORD, TUNE, line
from tests.parts.written import BARS, SEED, VOICES, features, levels, played_again

FloatArray = npt.NDArray[np.float64]

CENTRE_HZ = pitch_hz(np.arange(40, 110))
TIMES_S = np.arange(10.0, 26.0, 0.15)
FOUR_BARS = Bars(10.0 + 2.0 * np.arange(8), 12.0 + 2.0 * np.arange(8), np.arange(9, 17),
                 np.full(8, 4))  # fmt: skip
LONG = replace(TUNE, notes=np.concatenate([TUNE.notes, TUNE.notes + [8.0, 8.0, 0.0, 0.0]]))
LOW = line("low", [43, 38, 40, 43] * 8)


def at(pitch: int, level_db: float) -> FloatArray:
    """One moment of a single band."""
    out = np.zeros((1, len(CENTRE_HZ)))
    out[0, pitch - 40] = 10 ** (level_db / 10)
    return out


# --- the measure -----------------------------------------------------------------------------


@pytest.mark.parametrize("below_db", [-6.0, 0.0, 10.0])
def test_in_one_band_the_ratio_at_threshold_is_what_counts(below_db: float) -> None:
    # Moore, Glasberg and Baer (1997), from memory: 3 dB under the rest is just heard above 800 Hz,
    # 8 dB over it at 100 Hz (MIDI 43 is 98 Hz).
    (high,) = clearance_db(at(88, -below_db), at(88, 0.0), CENTRE_HZ)
    assert high == pytest.approx(3.0 - below_db, abs=0.1)
    (low,) = clearance_db(at(43, -below_db), at(43, 0.0), CENTRE_HZ)
    assert low == pytest.approx(-8.1 - below_db, abs=0.3)


def test_low_sound_covers_high_sound_and_not_the_other_way_round() -> None:
    # Glasberg and Moore (1990): the lower skirt of a filter is the shallower one.
    (over_low,) = clearance_db(at(84, -25.0), at(76, 0.0), CENTRE_HZ)
    (over_high,) = clearance_db(at(76, -25.0), at(84, 0.0), CENTRE_HZ)
    assert over_high > over_low + 6
    (far,) = clearance_db(at(96, -25.0), at(60, 0.0), CENTRE_HZ)
    assert far > over_high


def test_a_weak_partial_that_stands_alone_does_not_make_a_line_clear() -> None:
    strong, stray = at(84, 0.0), at(103, -15.0)
    assert not strongest(strong + stray, CENTRE_HZ)[0, 103 - 40]
    (level,) = clearance_db(strong + stray, at(84, 12.0), CENTRE_HZ)
    assert level == pytest.approx(-9.0, abs=0.3)


def test_what_nothing_covers_stands_over_the_floor() -> None:
    # 60 dB under the loudest filter; those around it lie up to 10 dB lower.
    (level,) = clearance_db(at(84, 0.0), 0 * at(84, 0.0), CENTRE_HZ)
    assert 50 < level < 60


# --- who leads -------------------------------------------------------------------------------


def test_a_line_is_the_part_that_leads_and_those_that_play_its_notes() -> None:
    octave = replace(LONG, name="octave", notes=LONG.notes - [0.0, 0.0, 12.0, 0.0])
    found = lines_in((CHORD, octave, LONG, BASS), TIMES_S, FOUR_BARS)
    assert [one.window.bars for one in found] == [(number, number) for number in range(9, 17)]
    assert {one.lead for one in found} == {2}
    assert {one.players for one in found} == {(1, 2)}


def test_another_line_leads_where_the_first_one_rests() -> None:
    late = replace(TUNE, name="late", notes=TUNE.notes + [8.0, 8.0, 0.0, 0.0])
    found = lines_in((TUNE, late, LOW), TIMES_S, FOUR_BARS)
    assert [one.lead for one in found] == [0] * 4 + [1] * 4
    assert lines_in((line("elsewhere", [72, 74], 50.0),), TIMES_S, FOUR_BARS) == ()


# --- how it stands ---------------------------------------------------------------------------


def cells(
    levels_db: dict[str, tuple[float, float]], band_of_both: int = 84
) -> tuple[Cells, FloatArray, FloatArray]:
    """A tune of one band, horns in the same band, a bass far away: levels in both halves."""
    powers = np.zeros((2, 3, len(CENTRE_HZ), len(TIMES_S)))
    late = TIMES_S >= 18.0
    for side in (0, 1):
        for place, (name, band) in enumerate(
            (("tune", band_of_both), ("horns", band_of_both), ("bass", 127 - band_of_both))
        ):
            level_db = np.where(late, levels_db[name][1], 0.0) if side else np.zeros(len(TIMES_S))
            level_db = level_db - 6.0 * (name == "horns")
            powers[side, place, band - 40] = 10 ** (level_db / 10)
        powers[side] += 1e-9
    whole = powers.sum(axis=1)
    shares = powers / whole[:, None]
    made = Cells(CENTRE_HZ, *whole, *powers, np.ones(whole[0].shape, bool))
    return made, shares[0], shares[1]


PARTS = (replace(LONG, name="Oboe"), replace(CHORD, name="Horn"), replace(LOW, name="Bass"))


def told(horns_db: float, tune_db: float = 0.0, bars: Bars | None = FOUR_BARS) -> tuple[Lead, ...]:
    made, *shares = cells({"tune": (0, tune_db), "horns": (0, horns_db), "bass": (0, 0.0)})
    return leads_in(made, (shares[0], shares[1]), PARTS, TIMES_S, bars)


def test_a_theme_that_horns_cover_in_some_bars_is_told_with_them() -> None:
    first, second = told(20.0)
    assert (first.name, first.bars, first.reference, first.candidate) == ("Oboe", (9, 12), CLEAR,
                                                                        CLEAR)  # fmt: skip
    assert (second.bars, second.reference, second.candidate) == ((13, 16), CLEAR, COVERED)
    assert (second.start_s, second.end_s) == (18.0, 26.0)
    # 6 dB under it and -3 dB at threshold: 9 dB over; with 20 dB more of them 11 dB under.
    assert second.reference_db == pytest.approx(9.0, abs=0.3)
    assert second.candidate_db == pytest.approx(-11.0, abs=0.3)
    assert second.difference_db == pytest.approx(-20.0, abs=0.1)
    assert second.covered_in_candidate_by == ("Horn",)
    assert second.covered_in_reference_by == first.covered_in_candidate_by == ()
    assert second.heard == (True, False)


def test_who_covers_a_line_is_never_the_line_itself() -> None:
    # At 98 Hz what is 6 dB softer covers it still: 8 dB over it is the ratio at threshold.
    levels_db = {"tune": (0.0, 0.0), "horns": (0.0, 0.0), "bass": (0.0, 0.0)}
    made, *shares = cells(levels_db, 43)
    found = leads_in(made, (shares[0], shares[1]), PARTS, TIMES_S, FOUR_BARS)
    assert all(one.reference_db < 0 for one in found)
    assert {one.covered_in_reference_by for one in found} == {("Horn",)}


def test_near_the_threshold_it_cant_be_told() -> None:
    for horns_db, expected in ((5.0, CLEAR), (7.0, OPEN), (10.5, OPEN), (12.0, COVERED)):
        assert told(horns_db)[-1].candidate == expected
    assert told(7.0)[-1].heard == (True, None)


def test_without_bars_it_is_told_by_time() -> None:
    found = told(20.0, bars=None)
    assert [one.bars for one in found] == [None, None]
    assert found[1].start_s == pytest.approx(18.0, abs=1.0)


def test_a_line_that_rests_for_most_of_a_bar_is_not_judged_there() -> None:
    short = replace(PARTS[0], notes=PARTS[0].notes[:5])  # two seconds and a half
    made, *shares = cells({"tune": (0, 0.0), "horns": (0, 0.0), "bass": (0, 0.0)})
    found = leads_in(made, (shares[0], shares[1]), (short, *PARTS[1:]), TIMES_S, FOUR_BARS)
    assert [one.bars for one in found if one.name == "Oboe"] == [(9, 9)]


def test_shares_are_read_as_loud_as_parts_are_told() -> None:
    shares = np.array([0.5, 0.4])[:, None, None] * np.ones((2, 3, 10))
    times_s = np.arange(10.0)
    oboe = PartLevel("Oboe", -3.0, (-4.0, -2.0), (), 0.3, 1.0, 1.0,
                     course=(Stretch(5.0, 10.0, None, -13.0),))  # fmt: skip
    horn = PartLevel("Horn", None, None, (), 0.3, 1.0, 1.0)
    read_db = np.array([-3.0, 0.0])
    found = as_told(shares, (oboe, horn), read_db, (), times_s)
    assert found[:, 0, 0] == pytest.approx([0.5, 0.4])
    # Ten dB less of it: 0.05 beside 0.4, and a tenth that is nobody's.
    assert found[:, 0, 7] == pytest.approx([0.05 / 0.55, 0.4 / 0.55])
    moved = as_told(shares, (replace(oboe, course=()), horn), np.array([7.0, 0.0]), {0}, times_s)
    assert moved[:, 0, 0] == pytest.approx([0.05 / 0.55, 0.4 / 0.55])
    gone = replace(oboe, level_db_interval=(-40.0, -2.0))
    assert as_told(shares, (gone, horn), read_db, (), times_s) == pytest.approx(shares)


# --- against the stems of made-up music -------------------------------------------------------


@functools.cache
def voice(name: str) -> FloatArray:
    """Power of one voice's own sound in the room, shape (n, bands)."""
    gains = {other: -200.0 for other in VOICES if other != name}
    sound = synthetic.in_room(synthetic.play(SEED, bars=BARS, gains_db=gains), 1.0, -9.0)
    alone = Features.of(Recording.from_array(sound, synthetic.RATE_HZ))
    return np.asarray(alone.semitone_power, np.float64)


def stands_db(name: str, span_s: tuple[float, float], gain_db: float) -> float:
    """How far a voice stands over the others, by the sound of each alone."""
    first, last = (int(second * SEMITONE_RATE_HZ) for second in span_s)
    rest = sum(voice(other)[first:last] for other in VOICES if other != name)
    own = 10 ** (gain_db / 10) * voice(name)[first:last]
    centre_hz = pitch_hz(np.arange(LOWEST_SEMITONE, HIGHEST_SEMITONE + 1))
    return float(np.median(clearance_db(own, np.asarray(rest), centre_hz)))


@pytest.mark.parametrize("down_db", [-12.0, -30.0])
@pytest.mark.parametrize("again", [False, True])
def test_a_line_is_told_to_be_covered_where_its_stem_is(down_db: float, again: bool) -> None:
    made = played_again(figure=down_db) if again else features(figure=down_db)
    found = levels(made).leads
    assert {one.name for one in found} == {"figure"}  # above the melody, and it never rests long
    assert {one.candidate for one in found} == {COVERED}
    assert {one.reference for one in found} == {CLEAR, OPEN, COVERED}
    for one in found:
        span_s = one.start_s, one.end_s
        if one.reference == CLEAR:
            assert stands_db("figure", span_s, 0.0) > -3  # either will do so near to it
        if one.reference == COVERED:
            assert stands_db("figure", span_s, 0.0) < 3
        assert stands_db("figure", span_s, down_db) < 0
        assert one.covered_in_candidate_by == ("melody",)
    lower_db = float(np.median([one.difference_db for one in found]))
    assert lower_db == pytest.approx(down_db, abs=5.0)


def test_in_an_unchanged_take_every_line_stands_as_it_stood() -> None:
    found = levels(features()).leads
    assert found
    for one in found:
        assert one.reference == one.candidate
        assert one.difference_db == pytest.approx(0.0, abs=1e-3)
