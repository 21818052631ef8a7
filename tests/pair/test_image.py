"""What was done to a take's image is taken off: made by plain algebra, and undone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from tests import synthetic
from tests.pair.whole import held, left_over_db, played, side, told, turned
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]


# 20 lg of the factor is the change of side against mid, by definition; half a just-noticeable
# difference of width is 0.75 dB.
@pytest.mark.parametrize(("factor", "kind"), [(0.6, "narrower"), (1.5, "wider")])
def test_width_alone_is_width_and_leaves_nothing_over(factor: float, kind: str) -> None:
    made = held(side(played(), factor))
    pair, results = made.pair, made.results
    assert pair.image.side_db == pytest.approx(20 * np.log10(factor), abs=0.1)
    assert pair.image.turn_db == pytest.approx(0.0, abs=0.05)
    assert told(results) == {kind: pytest.approx(20 * np.log10(factor), abs=0.2)}
    assert left_over_db(pair) < 0.2


@pytest.mark.parametrize("factor", [0.6, 1.4])
@pytest.mark.parametrize("gain_db", [6.0, -6.0])
def test_a_figure_and_the_width_are_told_side_by_side(factor: float, gain_db: float) -> None:
    results = held(side(played(figure=gain_db), factor)).results
    found = told(results)
    width = "wider" if factor > 1 else "narrower"
    figure = "repeating_figure_louder" if gain_db > 0 else "repeating_figure_weaker"
    assert set(found) == {width, figure}
    assert found[width] == pytest.approx(20 * np.log10(factor), abs=0.5)
    assert found[figure] == pytest.approx(gain_db, abs=0.5)  # half of 1 dB, ISO 3382-1 Table A.1


@pytest.mark.parametrize("turned_last", [True, False])
def test_a_turn_and_a_width_in_either_order(turned_last: bool) -> None:
    made = turned(side(played(), 0.6), 3.0) if turned_last else side(turned(played(), 3.0), 0.6)
    pair = held(made).pair
    assert pair.image.turn_db == pytest.approx(3.0, abs=0.3)
    assert pair.image.side_db == pytest.approx(20 * np.log10(0.6), abs=0.4)
    assert pair.image.turned_last is turned_last
    assert left_over_db(pair) < 0.2


def late(samples: FloatArray, delay_s: float) -> FloatArray:
    """The right channel later by any part of a sample, in the spectrum."""
    count = len(samples) + 4096
    spectrum = np.fft.rfft(samples[:, 1], count)
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(count, 1 / RATE_HZ) * delay_s)
    return np.column_stack([samples[:, 0], np.fft.irfft(spectrum * turn, count)[: len(samples)]])


@pytest.mark.parametrize("delay_us", [600.0, -300.0, 2600.0])
def test_a_late_channel_is_told_as_one(delay_us: float) -> None:
    results = held(late(played(), delay_us * 1e-6)).results
    (finding,) = results.findings
    assert finding.kind == ("right_later" if delay_us > 0 else "left_later")
    assert finding.difference == pytest.approx(delay_us, abs=50)  # half of 100 us
    assert "ms later" in finding.text


# A delay turns the phase of the cross power and leaves the powers; width changes them. 50 us is
# half of the just-noticeable difference of a delay.
@pytest.mark.parametrize(("factor", "delay_us"), [(0.6, 600.0), (1.4, -300.0)])
def test_width_and_a_late_channel_are_told_side_by_side(factor: float, delay_us: float) -> None:
    made = held(late(side(played(), factor), delay_us * 1e-6))
    found = told(made.results)
    assert set(found) == {
        "narrower" if factor < 1 else "wider",
        "right_later" if delay_us > 0 else "left_later",
    }
    assert made.pair.image.side_db == pytest.approx(20 * np.log10(factor), abs=0.3)
    assert made.pair.image.later_us == pytest.approx(delay_us, abs=50)
    assert abs(made.pair.image.later_us - delay_us) <= made.pair.image.within_us
    assert left_over_db(made.pair) < 0.3


@pytest.mark.parametrize("delay_us", [1400.0, -500.0])
def test_a_late_channel_is_told_under_another_tail(delay_us: float) -> None:
    """Levels scatter there and phases agree. Both channels together are combed: no filter is told.

    The truth is the delay that was made.
    """
    roomy = synthetic.in_room(synthetic.play(5, bars=8), 1.6, -3.0, seed=2)
    made = held(late(roomy, delay_us * 1e-6))
    assert not made.pair.image.told
    assert made.pair.image.later_us == pytest.approx(delay_us, abs=30)
    assert made.pair.under_one_tail is None
    found = told(made.results)
    side_later = "right_later" if delay_us > 0 else "left_later"
    assert set(found) <= {side_later, "wetter", "narrower"}
    assert abs(found[side_later]) == pytest.approx(abs(delay_us), abs=30)


def test_another_width_moves_no_time_between_the_channels() -> None:
    results = held(side(played(), 1.6)).results
    moved = results.measurements["placement"].difference.time_difference_us
    assert [value for value in moved if value is not None] == pytest.approx(
        [0.0] * sum(value is not None for value in moved), abs=20
    )


def test_places_between_left_and_right_do_not_hang_on_the_gain() -> None:
    pair = held(0.5 * played()).pair
    places = pair.right_less_left
    assert places is not None
    cells = pair.of_elements.audible
    assert places[1][cells] == pytest.approx(places[0][cells], abs=0.01)
    assert np.abs(places[0][cells]).max() > 0.3
