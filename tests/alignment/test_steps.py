"""Single steps of alignment on signals small enough to work out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.alignment import coarse, elastic, exact
from mixcompare.alignment.coarse import Run
from mixcompare.alignment.elastic import STEP_S, Track
from mixcompare.alignment.events import gap_event
from mixcompare.alignment.joining import chain, joined, touch
from mixcompare.alignment.laid import _proven, _smoother
from mixcompare.alignment.representation import Representation, _attacks, without_tail
from mixcompare.alignment.result import Event
from mixcompare.audio.recording import Recording
from mixcompare.features import LOWEST_ONSET, AlignmentFeatures
from tests import synthetic

# --- exact --------------------------------------------------------------------------------------


def test_robust_line_is_found_among_outliers() -> None:
    x = np.linspace(0.0, 60.0, 61)
    y = 0.25 - 120e-6 * x + 1e-5 * np.sin(7 * x)
    y[::4] += 0.02  # a quarter of the windows locked to something else
    offset, slope, scatter = exact.robust_line(x, y, np.ones(61))
    assert offset == pytest.approx(0.25, abs=1e-5)
    assert slope == pytest.approx(-120e-6, abs=1e-6)
    # 1.4826 x the median of all distances; a quarter lies far out, the rest is a sine of 1e-5.
    assert 0.5e-5 < scatter < 1.6e-5


def test_robust_line_goes_no_further_than_a_clock_does() -> None:
    x = np.linspace(0.0, 60.0, 61)
    assert exact.robust_line(x, 0.01 * x, np.ones(61))[1] == 1e-3
    assert exact.robust_line(x, -0.01 * x, np.ones(61))[1] == -1e-3


# --- coarse -------------------------------------------------------------------------------------


def notes(*pitches: int) -> np.ndarray:
    """One unit row for each pitch."""
    return np.eye(12, dtype=np.float32)[list(pitches)]


def test_path_goes_on_by_none_one_or_two_frames() -> None:
    driver = notes(0, 1, 2, 3, 4, 5)
    cost, place = coarse.jump_path(driver, driver, 4.0)
    assert list(place) == [0, 1, 2, 3, 4, 5]
    assert cost == pytest.approx(0.0, abs=1e-6)
    cost, place = coarse.jump_path(notes(0, 0, 1, 1, 2, 2), notes(0, 1, 2), 4.0)
    assert list(place) == [0, 0, 1, 1, 2, 2]
    assert cost == pytest.approx(3 * 0.1 / 6, abs=1e-6)  # stood still three times, 0.1 each
    _, place = coarse.jump_path(notes(0, 2, 4, 6), notes(0, 1, 2, 3, 4, 5, 6), 4.0)
    assert list(place) == [0, 2, 4, 6]


def test_path_finds_no_place_for_what_the_other_lacks() -> None:
    applause = np.zeros((40, 12), np.float32)
    music = notes(*(list(range(12)) * 4))
    _, place = coarse.jump_path(np.concatenate([applause, music]), music, 4.0)
    assert (place[:38] == -1).all()
    assert list(place[41:]) == list(range(1, 48))


def test_runs_are_split_where_a_clock_jumps_and_short_ones_dropped() -> None:
    rows = np.arange(60)
    columns = np.concatenate([np.arange(20), 40 + np.arange(20), 5 + np.arange(20)])
    runs = coarse._runs(rows, columns, 4.0)
    assert [(run.reference_s[0], run.reference_s[-1]) for run in runs] == [
        (0.0, 4.75),
        (5.0, 9.75),
        (10.0, 14.75),
    ]
    assert [(run.candidate_s[0], run.candidate_s[-1]) for run in runs] == [
        (0.0, 4.75),
        (10.0, 14.75),
        (1.25, 6.0),
    ]
    short = np.concatenate([np.arange(30), 60 + np.arange(10)])  # the second lasts 2.25 s
    (run,) = coarse._runs(np.arange(40), short, 4.0)
    assert run.reference_s[-1] == 7.25


def test_a_run_is_as_long_for_either_clock() -> None:
    rows, columns = np.arange(60), np.concatenate([np.arange(40), 80 + 2 * np.arange(20)])
    there = coarse._runs(rows, columns, 4.0)
    back = coarse._runs(columns, rows, 4.0)
    assert [run.length_s for run in there] == [run.length_s for run in back]
    # 4.75 s of the one are 9.5 s of the other.
    assert there[1].length_s == pytest.approx(4.75 * np.sqrt(2))
    assert there[1].mirrored().reference_s == pytest.approx(back[1].reference_s)


@pytest.mark.parametrize("later_s", [3.0, -3.0])
def test_rough_offset_has_the_sign_of_the_candidates_delay(later_s: float) -> None:
    music = synthetic.play(3)
    cut = music[int(3.0 * synthetic.RATE_HZ) :]
    pair = (cut, music) if later_s > 0 else (music, cut)
    views = [
        Representation(AlignmentFeatures.of(Recording.from_array(one, synthetic.RATE_HZ)))
        for one in pair
    ]
    found = coarse.find_offset_s(*views)
    assert found[0] == pytest.approx(later_s, abs=0.1)
    assert len(found) == 3
    assert np.abs(np.subtract(found[1:], found[0])).min() >= 1.5


def heard(samples: np.ndarray) -> Representation:
    return Representation(AlignmentFeatures.of(Recording.from_array(samples, synthetic.RATE_HZ)))


def test_the_same_music_runs_better_forwards_than_backwards() -> None:
    """By definition: what is played backwards gains as much by being played backwards again."""
    first = heard(synthetic.play(3, performance=1))
    slower = synthetic.play(3, performance=2, beat_s=0.66)
    higher = synthetic.play(3, performance=2, a4_hz=440 * 2 ** (3 / 12))
    gain = coarse.find_path(first, heard(slower)).order_gain
    assert gain > 0.5
    assert coarse.find_path(first, heard(higher)).order_gain > 0.5
    assert coarse.find_path(heard(slower), first).order_gain == pytest.approx(gain, abs=0.01)
    assert coarse.find_path(first, heard(slower[::-1])).order_gain == pytest.approx(-gain, abs=0.05)
    other = heard(synthetic.play(23, beat_s=0.55))
    assert abs(coarse.find_path(first, other).order_gain) < 0.2


# --- elastic ------------------------------------------------------------------------------------


def track(slope: float = 1.0, offset_s: float = 0.0, steps: int = 200) -> Track:
    reference = STEP_S * np.arange(steps)
    none = np.zeros(steps)
    return Track(reference, offset_s + slope * reference, none, none)


@pytest.mark.parametrize("late_s", [0.12, -0.12])
def test_tracker_finds_a_lag_on_either_side(late_s: float) -> None:
    """Features of one second's notes; the candidate has them later or earlier by the lag."""
    rng = np.random.default_rng(0)
    rows = np.repeat(rng.random((20, 12)), 50, axis=0).astype(np.float32)
    rows /= np.linalg.norm(rows, axis=1, keepdims=True)
    moved = np.roll(rows, round(50 * late_s), axis=0)
    found = elastic.follow(rows, moved, 50.0, track(), elastic.MIDDLE)
    inner = slice(20, 180)
    lag = (found.candidate_s - found.reference_s)[inner]
    assert np.median(lag) == pytest.approx(late_s, abs=0.02)
    assert np.median(found.spread_s[inner]) < 0.05


def test_mirrored_track_holds_the_same_places_on_the_other_clock() -> None:
    slow = track(slope=2.0, offset_s=3.0)
    mirrored = slow.mirrored()
    assert (mirrored.reference_s[0], mirrored.reference_s[-1]) == pytest.approx((3.0, 42.8))
    assert np.diff(mirrored.reference_s) == pytest.approx(STEP_S)
    assert mirrored.candidate_s == pytest.approx((mirrored.reference_s - 3.0) / 2)


def test_path_rises_by_at_least_a_fifth_of_the_pace() -> None:
    path = np.array([0.0, 0.1, 0.05, 0.3, 0.2])
    risen = elastic.increasing(path)
    assert risen == pytest.approx([0.0, 0.1, 0.12, 0.3, 0.32])


def test_rough_path_on_the_grid_keeps_its_slope() -> None:
    reference = np.arange(0.0, 10.1, 0.25)
    found = elastic.grid_of(reference, 2.0 + 1.06 * reference, smooth_s=0.8)
    assert np.diff(found.reference_s) == pytest.approx(STEP_S)
    assert found.candidate_s == pytest.approx(2.0 + 1.06 * found.reference_s, abs=1e-6)


def test_ends_without_attacks_go_on_evenly_and_less_surely() -> None:
    bent = track(steps=200)
    candidate = bent.candidate_s.copy()
    candidate[:20] -= np.linspace(1.0, 0.0, 20)
    candidate[160:] += np.linspace(0.0, 2.0, 40)
    even = elastic.with_even_ends(
        Track(bent.reference_s, candidate, bent.spread_s, bent.likelihood),
        np.array([2.0, 5.0, 15.0]),
    )
    assert even.candidate_s == pytest.approx(bent.reference_s, abs=0.02)
    # 0.05 s of doubt for every second away from the first attack and from 0.3 s after the last.
    assert even.spread_s[0] == pytest.approx(0.1)
    assert even.spread_s[20:153] == pytest.approx(0.0)
    assert even.spread_s[-1] == pytest.approx(0.05 * (19.9 - 15.3))


# --- joining runs -------------------------------------------------------------------------------


def stretch(start_s: float, end_s: float, later_s: float = 0.0, spread_s: float = 0.01) -> Track:
    reference = np.arange(start_s, end_s + 1e-9, STEP_S)
    count = len(reference)
    return Track(reference, reference + later_s, np.full(count, spread_s), np.zeros(count))


@pytest.mark.parametrize(
    ("second", "kind", "words"),
    [
        (stretch(14.1, 20.0, -4.0), "cut", "The candidate leaves out 4.0 s at 10.0 s"),
        (stretch(10.1, 20.0, 4.0), "repeat", "The candidate has 4.0 s that the reference lacks"),
    ],
)
def test_what_lies_between_two_runs_is_an_event_and_a_gap(
    second: Track, kind: str, words: str
) -> None:
    time_map, (event,) = joined([stretch(0.0, 10.0), second])
    assert event.kind == kind
    assert event.text.startswith(words)
    assert event.reference_s == pytest.approx((10.0, float(second.reference_s[0])))
    assert event.candidate_s == pytest.approx((10.0, float(second.candidate_s[0])))
    middle = (10.0 + float(second.reference_s[0])) / 2
    assert not time_map.covers(middle)
    assert time_map.covers([9.0, 16.0]).all()
    # 90 % half width: 2.2 times the spread less 6 ms, at least 20 ms (regression: fitted).
    assert time_map.uncertainty_ms(5.0) == pytest.approx(20.0)


def test_half_width_grows_with_the_trackers_spread() -> None:
    time_map, _ = joined([stretch(0.0, 10.0, spread_s=0.05)])
    assert time_map.uncertainty_ms(5.0) == pytest.approx(104.0)  # regression: fitted


@pytest.mark.parametrize(("missing_s", "told"), [(1.4, 0), (1.6, 1)])
def test_less_than_a_second_and_a_half_between_two_runs_is_no_event(
    missing_s: float, told: int
) -> None:
    after = stretch(10.1 + missing_s, 20.0, -missing_s)
    assert len(joined([stretch(0.0, 10.0), after])[1]) == told


def test_gap_that_a_repeat_makes_is_not_told_twice() -> None:
    repeat = Event("repeat", (9.0, 12.0), (9.0, 12.0), "A repeat.")
    at_its_end = gap_event(3.0, (12.4, 12.4), (12.6, 15.6))
    at_its_start = gap_event(3.0, (8.4, 8.4), (8.6, 11.6))
    before, after = (
        gap_event(-3.0, (4.0, 4.0), (7.5, 4.5)),
        gap_event(-3.0, (13.5, 20.0), (16.5, 20.0)),
    )
    assert [touch(gap, repeat) for gap in (at_its_end, at_its_start, before, after)] == [
        True,
        True,
        False,
        False,
    ]


def run(start_s: float, end_s: float, later_s: float) -> Run:
    reference = np.arange(start_s, end_s, 0.25)
    return Run(reference, reference + later_s)


def test_runs_go_forward_on_both_clocks_and_what_is_cut_off_is_a_repeat() -> None:
    # The candidate plays 10 to 17 s twice.
    kept, (event,) = chain((run(0.0, 17.0, 0.0), run(10.0, 40.0, 7.0)))
    assert [(one.reference_s[0], one.reference_s[-1]) for one in kept] == [(0, 9.75), (10, 39.75)]
    assert event.kind == "repeat"
    assert event.reference_s == (10.0, 16.75)
    # The reference plays 10 to 17 s twice: its first pass is left without a counterpart.
    kept, (event,) = chain((run(0.0, 17.0, 0.0), run(17.0, 47.0, -7.0)))
    assert [(one.reference_s[0], one.reference_s[-1]) for one in kept] == [(0, 9.75), (17, 46.75)]
    assert event.kind == "cut"
    assert event.reference_s == (10.0, 16.75)


def test_of_the_shorter_runs_those_remain_that_hold_the_same_music() -> None:
    """Two pieces one after the other; the candidate has the first again, then a third piece."""
    first, again, second, other = (
        synthetic.play(3, performance=1),
        synthetic.play(3, performance=2, scatter_s=0.01),
        synthetic.play(5, bars=4),
        synthetic.play(9, bars=4),
    )

    def view(*pieces: np.ndarray) -> Representation:
        samples = np.concatenate(pieces)
        return Representation(
            AlignmentFeatures.of(Recording.from_array(samples, synthetic.RATE_HZ))
        )

    begins_s = len(first) / synthetic.RATE_HZ
    runs = [
        (stretch(0.5, 14.0), np.zeros(2)),
        (stretch(begins_s + 0.5, begins_s + 9.5), np.ones(2)),
    ]
    reference = view(first, second)
    assert _proven(runs, reference, view(again, second)) == runs
    assert _proven(runs, reference, view(again, other)) == runs[:1]
    # The longest needs no proof of its own: the whole is judged by it.
    assert _proven(runs[::-1], view(second, other), view(other, first)) == runs[:1]


def test_the_smoother_slopes_are_the_same_whichever_is_the_reference() -> None:
    first, second = (
        Representation(AlignmentFeatures.of(Recording.from_array(music, synthetic.RATE_HZ)))
        for music in (
            synthetic.play(3, performance=1),
            synthetic.play(3, performance=2, beat_s=0.66, scatter_s=0.01),
        )
    )
    times = np.arange(0.3, 14.0, 0.25)
    rough = Run(times, 0.3 + 1.1 * (times - 0.3))
    there, back = _smoother(rough, first, second), _smoother(rough.mirrored(), second, first)
    assert there is not None
    assert back is not None
    assert back[1] == pytest.approx(-there[1])
    assert np.median(there[1]) == pytest.approx(np.log(1.1), abs=0.02)  # the candidate is slower
    places = np.interp(there[0].reference_s, back[0].candidate_s, back[0].reference_s)
    assert places == pytest.approx(there[0].candidate_s, abs=0.05)
    assert _smoother(Run(times[:3], times[:3]), first, second) is None


# --- representation -----------------------------------------------------------------------------


def test_an_attack_25_db_under_another_is_still_an_attack() -> None:
    """Rises are read as ratios: in a soft passage soft entries tell where a moment lies."""
    power = np.full((400, 60), 1e-7, np.float32)
    power[50:, 20] += 10 ** (-np.arange(350) / 100)
    power[120:, 27] += 10**-2.5 * 10 ** (-np.arange(280) / 100)
    attacks = _attacks(power)
    loud = attacks[40:80, (LOWEST_ONSET + 20) % 12].max()
    soft = attacks[110:150, (LOWEST_ONSET + 27) % 12].max()
    assert loud == pytest.approx(0.9, abs=0.05)  # regression
    assert soft > 0.8 * loud


def test_reverberation_that_decays_evenly_is_taken_out() -> None:
    """A stroke with a tail of 3 s whose energy lies 6 dB under it leaves little but the stroke."""
    rate_hz = 100.0
    decay = 10 ** (-6 / (3.0 * rate_hz))
    tail = decay ** np.arange(1, 300)
    power = np.zeros((301, 1), np.float32)
    power[1, 0] = 1.0
    power[2:, 0] = 10**-0.6 * tail / tail.sum()
    dry = without_tail(power, rate_hz)
    assert dry[1, 0] == pytest.approx(1.0)
    assert dry[2:, 0].sum() < 0.08 * power[2:, 0].sum()
    assert (dry <= power).all()
    assert (dry >= 0.05 * power - 1e-9).all()
