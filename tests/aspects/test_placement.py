"""Placement: what it measures, what it recovers, what it must not react to."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal, stats

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import placement
from mixcompare.aspects.placement.image import BothWays, Image
from mixcompare.aspects.placement.values import PlacementDifference
from mixcompare.features import Features
from mixcompare.pair.match import Match
from mixcompare.pair.thirds import BANDS, CENTRES_HZ
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from tests.aspects import stereo_music
from tests.aspects.stereo_music import features_of, filtered, music, same_clock, with_side
from tests.pairs import Remembering

analyzer = Remembering(placement.analyzer)

FloatArray = npt.NDArray[np.float64]

INSIDE = (THIRD_OCTAVE_CENTRES_HZ > 1900) & (THIRD_OCTAVE_CENTRES_HZ < 3300)


@pytest.fixture(scope="module")
def reference() -> Features:
    return stereo_music.features()


def source() -> FloatArray:
    """Noise from 1.8 to 3.6 kHz, as long as the music."""
    rng = np.random.default_rng(9)
    band = signal.butter(6, [1800, 3600], "band", fs=stereo_music.RATE_HZ, output="sos")
    wave = signal.sosfilt(band, rng.standard_normal(len(music())))
    return np.asarray(0.15 * wave / wave.std())


def with_source(position: float) -> FloatArray:
    """Music without that range, and the source there by the tangent law."""
    stop = signal.butter(6, [1600, 4000], "bandstop", fs=stereo_music.RATE_HZ, output="sos")
    rest = signal.sosfiltfilt(stop, music(), axis=0)
    return np.asarray(0.5 * rest + source()[:, None] * [(1 - position) / 2, (1 + position) / 2])


def positions(difference: PlacementDifference) -> FloatArray:
    return np.array([np.nan if value is None else value for value in difference.position])


@pytest.mark.parametrize(
    ("level_db", "angle_deg"), [(1, 1.9), (3, 5.6), (6, 10.9), (10, 16.7), (15, 21.9), (20, 25.3)]
)
def test_tangent_law(level_db: float, angle_deg: float) -> None:
    # tan(angle) / tan(30) = (gL - gR) / (gL + gR), Bennett, Barker and Edeko 1985.
    wave = 0.1 * np.random.default_rng(2).standard_normal(4 * 44_100)
    measured = analyzer.measure(
        features_of(np.column_stack([10 ** (-level_db / 20) * wave, wave]), 44_100)
    )
    assert measured.overall_position is not None
    angle = np.rad2deg(np.arctan(measured.overall_position * np.tan(np.deg2rad(30))))
    assert angle == pytest.approx(angle_deg, abs=0.1)
    assert measured.position[20] == pytest.approx(measured.overall_position, abs=0.005)


def test_mono_has_no_placement() -> None:
    mono = features_of(music().mean(axis=1))
    assert analyzer.measure(mono).position == (None,) * 31
    difference = analyzer.compare(mono, mono, same_clock(mono))
    assert difference.turn_db is None
    assert "mono" in difference.reasons[0]
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize("gain", [1.0, 0.5, 1.7])
def test_identical_and_gain_only(reference: Features, gain: float) -> None:
    difference = analyzer.compare(reference, stereo_music.scaled(gain), same_clock(reference))
    assert np.nanmax(np.abs(positions(difference))) < 0.003
    assert difference.turn_db == pytest.approx(0, abs=0.02)
    assert difference.image_scale == pytest.approx(1, abs=0.02)
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize(("start", "end"), [(-0.3, 0.2), (0.4, 0.1)])
def test_a_panned_source_comes_back(start: float, end: float) -> None:
    before, after = features_of(with_source(start)), features_of(with_source(end))
    difference = analyzer.compare(before, after, same_clock(before))
    assert positions(difference)[INSIDE] == pytest.approx(end - start, abs=0.05)
    (finding,) = analyzer.findings(difference)
    assert finding.kind == ("moved_right" if end > start else "moved_left")
    assert finding.difference == pytest.approx(end - start, abs=0.05)
    assert finding.band_hz is not None
    assert finding.band_hz[0] == pytest.approx(1800, rel=0.25)
    assert finding.band_hz[1] == pytest.approx(3600, rel=0.25)


def test_mirror() -> None:
    before, after = features_of(with_source(-0.3)), features_of(with_source(0.2))
    match = same_clock(before)
    there = analyzer.compare(before, after, match)
    back = analyzer.compare(after, before, match.mirrored())
    assert np.nanmax(np.abs(positions(there) + positions(back))) < 0.03
    assert [finding.kind for finding in analyzer.findings(there)] == ["moved_right"]
    assert [finding.kind for finding in analyzer.findings(back)] == ["moved_left"]


def test_one_channel_louder_turns_the_whole_image(reference: Features) -> None:
    candidate = features_of(0.7 * music() * [1, 10 ** (3 / 20)])
    difference = analyzer.compare(reference, candidate, same_clock(reference))
    assert difference.turn_db == pytest.approx(3, abs=0.1)
    (finding,) = analyzer.findings(difference)
    assert (finding.kind, finding.subject) == ("moved_right", "the whole image")
    assert "3.0 dB" in finding.text


def test_a_missing_channel(reference: Features) -> None:
    difference = analyzer.compare(reference, features_of(music() * [1, 0]), same_clock(reference))
    (finding,) = analyzer.findings(difference)
    assert finding.kind == "moved_left"
    assert "channel is missing" in finding.text


def test_exchanged_channels_are_put_right(reference: Features) -> None:
    match = replace(same_clock(reference), channels_swapped=True)
    difference = analyzer.compare(reference, features_of(music()[:, ::-1]), match)
    assert np.nanmax(np.abs(positions(difference))) < 0.003
    (finding,) = analyzer.findings(difference)
    assert finding.kind == "channels_swapped"
    assert finding.jnd >= 1


@pytest.mark.parametrize("change", ["narrower", "wider", "brighter", "inverted"])
def test_other_changes_move_nothing(reference: Features, change: str) -> None:
    candidate = {
        "narrower": with_side(music(), 0.4),
        "wider": with_side(music(), 1.6),
        "brighter": filtered(music(), ("high_shelf", 3000.0, 5.0, 0.7)),
        "inverted": music() * [1, -1],
    }[change]
    difference = analyzer.compare(reference, features_of(0.5 * candidate), same_clock(reference))
    assert analyzer.findings(difference) == []


def test_other_performance_moves_nothing(reference: Features) -> None:
    other = stereo_music.features(seed=3)
    difference = analyzer.compare(reference, other, same_clock(reference, same_take=False))
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize("delay_us", [-400.0, 250.0, 600.0])
def test_time_between_channels_comes_back(delay_us: float) -> None:
    # Woodworth's formula gives 0.65 ms for a source at the side of a head (1938, from memory).
    mono = music().mean(axis=1)
    spectrum = np.fft.rfft(mono)
    turn = np.exp(
        -2j * np.pi * np.fft.rfftfreq(len(mono), 1 / stereo_music.RATE_HZ) * delay_us / 1e6
    )
    spaced = features_of(np.column_stack([mono, np.fft.irfft(spectrum * turn, len(mono))]))
    measured = analyzer.measure(spaced)
    told = [value for value in measured.time_difference_us if value is not None]
    assert len(told) >= 6
    # A band's sound may lie anywhere within it: up to an eighth off its middle.
    assert np.allclose(told, delay_us, rtol=0.125)
    assert np.median(told) == pytest.approx(delay_us, rel=0.05)
    level_only = features_of(np.column_stack([mono, 0.6 * mono]))
    difference = analyzer.compare(level_only, spaced, same_clock(spaced))
    changes = [value for value in difference.time_difference_us if value is not None]
    assert np.allclose(changes, delay_us, rtol=0.125)
    for value, around in zip(
        difference.time_difference_us, difference.time_difference_us_interval, strict=True
    ):
        assert value is None or (around and around[0] <= value <= around[1])


def test_unrelated_channels_have_no_time_between_them() -> None:
    wide = 0.1 * np.random.default_rng(3).standard_normal((6 * 32_000, 2))
    assert set(analyzer.measure(features_of(wide)).time_difference_us) == {None}


# --- every reported field, both directions ------------------------------------------------------

PLACES = np.linspace(-0.6, 0.5, 31)


def placed(position: npt.ArrayLike, delay_us: npt.ArrayLike = 0.0) -> Features:
    """Cells of one source per band: gains by the tangent law, the right so much later.

    A wave e^(iwt) that comes d later on the right gives left x conj(right) = e^(iwd).
    """
    right = (1 + np.asarray(position)) / 2
    left = 1 - right
    turn = 2 * np.pi * THIRD_OCTAVE_CENTRES_HZ * np.asarray(delay_us) * 1e-6
    return stereo_music.cells(
        1e-3 * left**2, 1e-3 * right**2, 1e-3 * left * right * np.exp(1j * turn)
    )


def turned(position: FloatArray, level_db: float) -> FloatArray:
    """Positions with the right channel so much louder."""
    right, left = (1 + position) * 10 ** (level_db / 20), 1 - position
    return np.asarray((right - left) / (right + left))


def told(values: tuple[float | None, ...]) -> FloatArray:
    return np.array([np.nan if value is None else value for value in values])


def test_positions_and_times_of_one_recording() -> None:
    measured = analyzer.measure(placed(PLACES, 300.0))
    assert told(measured.position) == pytest.approx(PLACES, abs=1e-3)
    power = np.array([((1 - PLACES) ** 2).sum(), ((1 + PLACES) ** 2).sum()])
    left, right = np.sqrt(power)
    assert measured.overall_position == pytest.approx((right - left) / (right + left), abs=1e-3)
    times = told(measured.time_difference_us)
    assert np.flatnonzero(np.isfinite(times)).tolist() == list(range(16))  # 20 to 630 Hz
    assert times[:16] == pytest.approx(300.0, abs=0.1)


def test_a_channel_40_db_down_is_as_far_as_it_goes() -> None:
    measured = analyzer.measure(placed(np.where(np.arange(31) < 15, -1.0, 1.0)))
    # (1 - 0.01) / (1 + 0.01) for amplitudes 40 dB apart.
    assert told(measured.position)[[0, 30]] == pytest.approx([-0.9802, 0.9802], abs=1e-4)


@pytest.mark.parametrize("same_take", [True, False])
@pytest.mark.parametrize(
    ("turn_db", "scale", "by"),
    [(2.5, 1.0, 0.3), (-2.5, 1.0, 0.3), (0.0, 0.5, -0.3), (0.0, 1.5, 0.25), (-1.5, 0.7, 0.3),
     (1.5, 1.3, -0.3)],
)  # fmt: skip
def test_turn_scale_and_own_moves_are_told_apart(
    turn_db: float, scale: float, by: float, same_take: bool
) -> None:
    # The whole image is scaled, then turned; bands 20 to 23 also move by their own.
    moved = np.zeros(31)
    moved[20:24] = by
    end = turned(scale * PLACES, turn_db) + moved
    match = same_clock(placed(PLACES), same_take=same_take)
    difference = analyzer.compare(placed(PLACES), placed(end), match)
    assert told(difference.position) == pytest.approx(end - PLACES, abs=0.005)
    assert told(difference.reference_position) == pytest.approx(PLACES, abs=0.005)
    assert difference.turn_db == pytest.approx(turn_db, abs=0.1)
    assert difference.image_scale == pytest.approx(scale, abs=0.03)
    assert told(difference.own_position) == pytest.approx(moved, abs=0.02)
    assert told(difference.consistency)[20:24] == pytest.approx(1.0)
    around = difference.turn_db_interval
    assert around is not None
    assert around[0] <= turn_db + 0.1
    assert around[1] >= turn_db - 0.1
    assert around[1] - around[0] < 0.3
    for values, pairs in (
        (difference.position, difference.position_interval),
        (difference.own_position, difference.own_position_interval),
    ):
        for value, pair in zip(values, pairs, strict=True):
            assert value is not None
            assert pair is not None
            assert pair[0] <= value <= pair[1]
            # Another performance: widened where neighbours move apart, here at the edges.
            assert pair[1] - pair[0] < (0.05 if same_take else 0.6)
    (finding, *_) = [one for one in analyzer.findings(difference) if one.band_hz is not None]
    assert finding.kind == ("moved_right" if by > 0 else "moved_left")
    assert finding.difference == pytest.approx(by, abs=0.02)


@pytest.mark.parametrize("sign", [1, -1])
def test_consistency_is_the_share_of_the_time(sign: int) -> None:
    # One band goes out by 0.4 for 8 of 12 s and comes back by 0.2 for 4 s.
    late = (np.arange(stereo_music.FRAMES) / 25 >= 8)[:, None]
    candidate = np.broadcast_to(PLACES, (stereo_music.FRAMES, 31)).copy()
    candidate[:, 15:16] += sign * np.where(late, -0.2, 0.4)
    difference = analyzer.compare(placed(PLACES), placed(candidate), same_clock(placed(PLACES)))
    assert told(difference.own_position)[15] == pytest.approx(sign * 0.4, abs=0.01)
    assert told(difference.consistency)[15] == pytest.approx(2 / 3, abs=0.02)


@pytest.mark.parametrize("swapped", [False, True])
@pytest.mark.parametrize(("before_us", "after_us"), [(0.0, 300.0), (300.0, 0.0), (-200.0, 150.0)])
def test_a_change_of_the_time_between_channels(
    before_us: float, after_us: float, swapped: bool
) -> None:
    candidate = placed(-PLACES, -after_us) if swapped else placed(PLACES, after_us)
    match = replace(same_clock(candidate), channels_swapped=swapped)
    difference = analyzer.compare(placed(PLACES, before_us), candidate, match)
    assert difference.channels_swapped is swapped
    times = told(difference.time_difference_us)
    assert times[:16] == pytest.approx(after_us - before_us, abs=0.1)
    assert np.isnan(times[16:]).all()
    assert told(difference.position) == pytest.approx(0, abs=1e-3)
    for pair in difference.time_difference_us_interval[:16]:
        assert pair == pytest.approx((after_us - before_us,) * 2, abs=0.1)


def test_time_is_read_from_what_is_matched() -> None:
    # The last six seconds of one recording are the first six of the other.
    late = (np.arange(stereo_music.FRAMES) / 25 >= 6)[:, None]
    early, whole = placed(PLACES, np.where(late, -500.0, 100.0)), placed(PLACES, 0.0)
    there = placed(PLACES, np.where(late, 300.0, -500.0))
    match = Match(TimeMap.linear(6.0, 1.0, 0.0, 5.9), same_take=True)
    for pair, which, expected in (
        ((early, there), match, 200.0),
        ((there, early), match.mirrored(), -200.0),
        ((whole, there), match, 300.0),
    ):
        found = told(analyzer.compare(*pair, which).time_difference_us)
        assert found[:16] == pytest.approx(expected, abs=15)


@pytest.mark.parametrize("sign", [1, -1])
def test_the_interval_of_a_turn_reaches_to_where_some_moments_lie(sign: int) -> None:
    # The last of four stretches of three seconds is turned by 4 dB.
    late = np.arange(stereo_music.FRAMES)[:, None] / 25 >= 9
    there = np.where(late, turned(PLACES, 4.0 * sign), PLACES)
    difference = analyzer.compare(placed(PLACES), placed(there), same_clock(placed(PLACES)))
    assert difference.turn_db == pytest.approx(0, abs=0.1)
    assert difference.turn_db_interval is not None
    low, high = (sign * end for end in difference.turn_db_interval[::sign])
    assert -0.3 < low <= 0.1
    assert high == pytest.approx(4.0, abs=0.5)


def test_intervals_by_hand() -> None:
    # Bands in the centre whose moves are spread like a normal distribution of 0.012. A position of
    # p is 17.37 p dB; of 31 bands every three are taken to move together.
    rng = np.random.default_rng(31)
    moves = 0.012 * rng.permutation(stats.norm.ppf((np.arange(31) + 0.5) / 31))
    features = placed(np.zeros(31)), placed(moves)
    difference = analyzer.compare(*features, same_clock(features[0]))
    around = difference.turn_db_interval
    assert around is not None
    half = 1.96 * 0.012 * 17.37 / np.sqrt(31 / 3)
    assert (around[1] - around[0]) / 2 == pytest.approx(half, rel=0.1)
    for pair in difference.position_interval:
        assert pair is not None
        assert (pair[1] - pair[0]) / 2 == pytest.approx(1.96 * 2 * 0.012, rel=0.1)


@pytest.mark.parametrize("delay_us", [300.0, -300.0])
def test_a_real_delay_by_a_fractional_delay_filter(delay_us: float) -> None:
    # 9.6 samples at 32 kHz, on the right or (negative) on the left.
    wave = np.array(music().mean(axis=1))
    right, left = (stereo_music.later(wave, max(sign * delay_us, 0.0)) for sign in (1, -1))
    spaced = features_of(np.column_stack([left, right]))
    plain = features_of(np.column_stack([wave, 0.7 * wave]))
    told_us = [value for value in analyzer.measure(spaced).time_difference_us if value is not None]
    assert len(told_us) >= 6
    assert np.median(told_us) == pytest.approx(delay_us, rel=0.05)
    for pair, sign in (((plain, spaced), 1), ((spaced, plain), -1)):
        difference = analyzer.compare(*pair, same_clock(plain))
        changes = [value for value in difference.time_difference_us if value is not None]
        assert np.median(changes) == pytest.approx(sign * delay_us, rel=0.05)


@pytest.mark.parametrize(("correlation", "told_at_all"), [(0.7, True), (0.5, False)])
def test_time_is_told_where_both_channels_carry_mostly_the_same(
    correlation: float, told_at_all: bool
) -> None:
    features = stereo_music.cells(1e-3, 1e-3, 1e-3 * correlation)
    times = analyzer.measure(features).time_difference_us[:16]
    assert all((value is not None) is told_at_all for value in times)


def test_moments_meet_where_the_map_says() -> None:
    # Everything wanders to the right in both.
    before, after = (placed(-0.5 + 0.08 * one * np.ones(31)) for one in stereo_music.clocks())
    difference = analyzer.compare(before, after, stereo_music.slower())
    assert told(difference.position) == pytest.approx(0, abs=0.01)
    assert difference.turn_db == pytest.approx(0, abs=0.1)


def test_five_bands_are_too_few_for_an_image() -> None:
    narrow = replace(placed(PLACES), usable_band_hz=(350.0, 1200.0))  # 400 to 1000 Hz
    other = replace(placed(turned(PLACES, 3.0)), usable_band_hz=(350.0, 1200.0))
    difference = analyzer.compare(narrow, other, same_clock(narrow))
    assert (difference.turn_db, difference.image_scale) == (None, None)
    assert np.isfinite(told(difference.position)).sum() == 5
    six = [replace(one, usable_band_hz=(281.0, 1200.0)) for one in (narrow, other)]
    assert analyzer.compare(*six, same_clock(narrow)).turn_db == pytest.approx(3.0, abs=0.1)


def stated(**changes: object) -> PlacementDifference:
    """A difference with made-up numbers: nothing moves."""
    nothing = (0.0,) * BANDS
    around = ((-0.02, 0.02),) * BANDS
    values: dict[str, object] = {
        "band_centre_hz": CENTRES_HZ, "position": nothing, "position_interval": around,
        "reference_position": nothing, "turn_db": 0.0, "turn_db_interval": (-0.1, 0.1),
        "image_scale": 1.0, "own_position": nothing, "own_position_interval": around,
        "consistency": (1.0,) * BANDS, "weight": (1.0,) * BANDS,
    }  # fmt: skip
    same_take = bool(changes.pop("same_take", True))
    difference = PlacementDifference(**(values | changes))  # type: ignore[arg-type]
    return analyzer.stated(difference, same_take)


def moved(bands: range, by: float, **changes: object) -> PlacementDifference:
    """These bands moved by so much from 0.1 left, by their own; +-0.05."""
    own = [by if band in bands else 0.0 for band in range(BANDS)]
    pairs = [(value - 0.05, value + 0.05) for value in own]
    return stated(
        own_position=tuple(own), own_position_interval=tuple(pairs), position=tuple(own),
        reference_position=(-0.1,) * BANDS, **changes,
    )  # fmt: skip


@pytest.mark.parametrize("sign", [1, -1])
def test_a_turn_in_words(sign: int) -> None:
    around = (2.0, 4.0) if sign > 0 else (-4.0, -2.0)
    (finding,) = analyzer.findings(stated(turn_db=3.0 * sign, turn_db_interval=around))
    side, other = ("right", "left") if sign > 0 else ("left", "right")
    assert (finding.kind, finding.subject) == (f"moved_{side}", "the whole image")
    # Position of a level difference: (10^(dB/20) - 1) / (10^(dB/20) + 1); 3 dB = 0.171 = 5.6 deg.
    low, value, high = ((10 ** (db / 20) - 1) / (10 ** (db / 20) + 1) for db in (2.0, 3.0, 4.0))
    assert finding.difference == pytest.approx(sign * value)
    assert finding.interval == pytest.approx((low, high) if sign > 0 else (-high, -low))
    assert finding.jnd == pytest.approx(value / 0.1 * (1 - ((high - low) / 3.92 / value) ** 2))
    assert finding.text == (
        f"The whole image of the candidate lies further {side}: the {side} channel is 3.0 dB"
        f" louder against the {other} one than in the reference (between 2.0 and 4.0 dB), about"
        f" 6 degrees between loudspeakers ({value * sign:+.2f}, -1 left to +1 right)."
    )
    assert finding.advice == (
        f"Bring the {side} channel down by about 3 dB, or turn the balance.",
    )  # fmt: skip
    assert (finding.cause.players, finding.cause.room, finding.cause.mix) == pytest.approx(
        (0.0, 0.05, 0.95), abs=0.03
    )
    assert finding.confidence > 0.9
    assert finding.unit == ""
    assert finding.spans_s == (stereo_music.SPAN_S,)
    (other_take,) = analyzer.findings(
        stated(turn_db=3.0 * sign, turn_db_interval=around, same_take=False)
    )
    assert other_take.confidence < finding.confidence
    cause = other_take.cause
    assert (cause.players, cause.room, cause.mix) == pytest.approx((0.12, 0.15, 0.73), abs=0.03)


@pytest.mark.parametrize("sign", [1, -1])
def test_a_missing_channel_in_words(sign: int) -> None:
    around = (33.0, 37.0) if sign > 0 else (-37.0, -33.0)
    (finding,) = analyzer.findings(stated(turn_db=35.0 * sign, turn_db_interval=around))
    side = "right" if sign > 0 else "left"
    assert finding.text == (
        "One channel is missing: between left and right the level differs by 35 dB more to the"
        f" {side} than in the reference."
    )
    assert finding.advice == (
        "Check the cabling and the export: one channel is silent or nearly so.",
    )  # fmt: skip
    (less,) = analyzer.findings(stated(turn_db=29.0 * sign, turn_db_interval=(28.0, 30.0)))
    assert "missing" not in less.text


@pytest.mark.parametrize("sign", [1, -1])
def test_moved_bands_in_words(sign: int) -> None:
    (finding,) = analyzer.findings(moved(range(17, 21), 0.3 * sign))
    side, back = ("right", "left") if sign > 0 else ("left", "right")
    # 1 to 2 kHz: edges 891 and 2239 Hz.
    assert finding.band_hz == pytest.approx((891.25, 2238.72), abs=0.01)
    assert finding.subject == "what sounds from 890 Hz to 2.2 kHz"
    assert finding.kind == f"moved_{side}"
    assert finding.difference == pytest.approx(0.3 * sign)
    assert finding.interval == pytest.approx((0.3 * sign - 0.05, 0.3 * sign + 0.05))
    assert finding.jnd == pytest.approx(3 * (1 - (0.05 / 1.96 / 0.3) ** 2))
    # atan(p tan 30): 0.1 is 3.3 degrees, 0.2 is 6.6, 0.4 is 13.0.
    place, turn = ("7 degrees right", 10) if sign > 0 else ("13 degrees left", 10)
    around = "+0.25 and +0.35" if sign > 0 else "-0.35 and -0.25"
    assert finding.text == (
        f"In the candidate what sounds from 890 Hz to 2.2 kHz lies further {side}: {place} instead"
        f" of 3 degrees left ({0.3 * sign:+.2f}, between {around}, -1 left to +1 right)."
    )
    assert finding.advice == (f"Pan it about {turn} degrees back to the {back}.",)
    assert finding.cause.mix == pytest.approx(0.95, abs=0.04)
    held = moved(range(17, 21), 0.3 * sign, same_take=False, consistency=(0.71,) * BANDS)
    (other,) = analyzer.findings(held)
    cause = other.cause
    assert (cause.players, cause.room, cause.mix) == pytest.approx((0.23, 0.06, 0.71), abs=0.03)


def test_louder_bands_count_more_in_a_range() -> None:
    own = [0.0] * BANDS
    own[17], own[18] = 0.2, 0.4
    weight = [0.0] * BANDS
    weight[17], weight[18] = 3.0, 1.0
    pairs = tuple((value - 0.05, value + 0.05) for value in own)
    difference = stated(
        own_position=tuple(own), own_position_interval=pairs, weight=tuple(weight),
        position=tuple(own),
    )  # fmt: skip
    (finding,) = analyzer.findings(difference)
    assert finding.difference == pytest.approx(0.25)
    assert finding.interval == pytest.approx((0.2, 0.3))


@pytest.mark.parametrize(
    "difference",
    [
        moved(range(17, 21), 0.09),  # under 0.1
        moved(range(17, 18), 0.3),  # one band alone
        moved(range(0, 7), 0.3),  # up to 80 Hz: too low to be placed
        stated(turn_db=1.6, turn_db_interval=(1.5, 1.7)),  # 0.092
        stated(turn_db=2.5, turn_db_interval=(-0.1, 5.1)),
        moved(range(17, 21), 0.3, consistency=(0.69,) * BANDS),
    ],
)
def test_less_than_can_be_heard_or_told_is_no_finding(difference: PlacementDifference) -> None:
    assert analyzer.findings(difference) == []


def test_neighbours_that_move_apart_are_two_findings() -> None:
    own = np.zeros(BANDS)
    own[12:15], own[15:18] = 0.3, -0.3
    pairs = tuple((float(value) - 0.05, float(value) + 0.05) for value in own)
    difference = stated(own_position=tuple(own.tolist()), own_position_interval=pairs)
    kinds = [finding.kind for finding in analyzer.findings(difference)]
    assert kinds == ["moved_right", "moved_left"]


def test_exchanged_channels_in_words() -> None:
    # Three quarters of the bands lie within 0.2: thrown across by twice that.
    places = tuple([0.2 if band % 2 else -0.2 for band in range(BANDS)])
    (finding,) = analyzer.findings(stated(channels_swapped=True, reference_position=places))
    assert (finding.kind, finding.subject) == ("channels_swapped", "the whole image")
    assert finding.difference == pytest.approx(0.4)
    assert finding.interval == pytest.approx((0.36, 0.44))
    assert 0.9 < finding.cause.mix < 1
    assert finding.advice == (
        "Exchange the candidate's channels; check the patching of the main array.",
    )  # fmt: skip
    (centred,) = analyzer.findings(stated(channels_swapped=True))
    assert centred.difference == pytest.approx(0.1)


@pytest.mark.parametrize("turn_db", [2.0, -2.0])
def test_real_music_turned(turn_db: float) -> None:
    samples, reference = stereo_music.strings(), stereo_music.strings_features()
    candidate = features_of(0.6 * samples * [1, 10 ** (turn_db / 20)], 44_100)
    difference = analyzer.compare(reference, candidate, same_clock(reference))
    assert difference.turn_db == pytest.approx(turn_db, abs=0.2)
    heard = told(difference.position)[8:26]
    assert np.sign(heard).tolist() == [np.sign(turn_db)] * len(heard)
    start = told(difference.reference_position)
    expected = turned(start, turn_db) - start
    assert told(difference.position)[8:26] == pytest.approx(expected[8:26], abs=0.05)
    (finding,) = analyzer.findings(difference)
    assert finding.kind == ("moved_right" if turn_db > 0 else "moved_left")
    assert f"{abs(difference.turn_db or 0):.1f} dB louder" in finding.text


@pytest.mark.parametrize(("start", "end"), [(0.0, 0.4), (0.4, 0.0), (0.1, -0.3)])
def test_real_music_panned_by_the_tangent_law(start: float, end: float) -> None:
    wave = stereo_music.strings().mean(axis=1)[: 6 * 44_100]
    before, after = (
        features_of(wave[:, None] * [(1 - place) / 2, (1 + place) / 2 * 0.999], 44_100)
        for place in (start, end)
    )
    difference = analyzer.compare(before, after, same_clock(before))
    assert told(difference.position)[8:26] == pytest.approx(end - start, abs=0.05)
    assert told(difference.reference_position)[8:26] == pytest.approx(start, abs=0.05)


@pytest.mark.parametrize("delay_us", [300.0, -300.0])
def test_real_music_with_one_channel_later(delay_us: float) -> None:
    wave = stereo_music.strings().mean(axis=1)[: 6 * 44_100]
    right, left = (stereo_music.later(wave, max(sign * delay_us, 0.0), 44_100) for sign in (1, -1))
    plain = features_of(np.column_stack([wave, 0.999 * wave]), 44_100)
    spaced = features_of(np.column_stack([left, right]), 44_100)
    difference = analyzer.compare(plain, spaced, same_clock(plain))
    times = [value for value in difference.time_difference_us if value is not None]
    assert len(times) >= 6
    assert np.median(times) == pytest.approx(delay_us, abs=10)
    assert np.allclose(times, delay_us, rtol=0.125)


def one_sided() -> tuple[FloatArray, FloatArray]:
    """Bands that lie mostly right of the centre, and where a narrower image leaves them.

    Not to a rule: players and rooms scatter every band.
    """
    rng = np.random.default_rng(3)
    start = rng.uniform(-0.1, 0.4, 24)
    return start, -0.4 * start + 0.06 * rng.standard_normal(24)


def test_what_either_fit_of_two_performances_says_lies_within_the_doubt() -> None:
    """There a scale is told from a turn otherwise than back; neither is right by itself."""
    start, moved = one_sided()
    there, back = (Image.fitted(start, moved, back=way) for way in (False, True))
    assert abs(there.turn_db - back.turn_db) > 0.1  # or nothing would be tested
    both = BothWays.fitted(start, moved, same_take=False)
    for image in (there, back):
        assert abs(image.turn_db - both.turn_db) <= both.doubt_db + 1e-9
        assert (np.abs(image.moves(start) - both.moves) <= both.doubt + 1e-9).all()


def test_an_image_leads_back_to_where_a_band_came_from() -> None:
    start = np.linspace(-0.6, 0.6, 7)
    image = Image(2.0, 0.8)
    assert image.came_from(start + image.moves(start)) == pytest.approx(start)


def test_one_take_has_no_such_doubt() -> None:
    start, moved = one_sided()
    both = BothWays.fitted(start, moved, same_take=True)
    assert both.turn_db == Image.fitted(start, moved).turn_db
    assert both.doubt_db == 0
    assert not both.doubt.any()


def test_a_turn_of_two_performances_is_told_all_the_same() -> None:
    """3 dB, bands on both sides: both fits say it."""
    start = np.linspace(-0.5, 0.5, 24)
    moved = Image(3.0, 1.0).moves(start) + 0.01 * np.random.default_rng(4).standard_normal(24)
    both = BothWays.fitted(start, moved, same_take=False)
    assert both.turn_db == pytest.approx(3.0, abs=0.1)
    assert both.doubt_db < 0.1


def test_every_interval_holds_the_doubt_of_the_image(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: a doubt of 1 dB, and of 0.05 in every band, beside none at all."""
    end = turned(PLACES, 2.0)
    match = same_clock(placed(PLACES), same_take=False)
    plain = analyzer.compare(placed(PLACES), placed(end), match)
    fitted = BothWays.fitted

    def doubted(*given: Any, **named: Any) -> BothWays:
        image = fitted(*given, **named)
        return replace(image, doubt_db=image.doubt_db + 1.0, doubt=image.doubt + 0.05)

    monkeypatch.setattr(BothWays, "fitted", doubted)
    wider = analyzer.compare(placed(PLACES), placed(end), match)
    due = np.array(plain.turn_db_interval) + [-1.0, 1.0]
    assert np.array(wider.turn_db_interval) == pytest.approx(due)
    for before, after in zip(plain.own_position_interval, wider.own_position_interval, strict=True):
        if before is not None:
            assert after == pytest.approx((before[0] - 0.05, before[1] + 0.05))
