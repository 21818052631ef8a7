"""What was done to the whole of a take is taken off: made by plain algebra, and undone."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.alignment import align
from mixcompare.alignment.result import Alignment
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from mixcompare.results import Results
from tests import synthetic
from tests.synthetic import RATE_HZ
from tests.told import told_of

FloatArray = npt.NDArray[np.float64]


@functools.cache
def played(**gains_db: float) -> FloatArray:
    return synthetic.in_room(synthetic.play(5, bars=8, gains_db=gains_db), 1.0, -9.0)


def side(samples: FloatArray, factor: float) -> FloatArray:
    middle = samples.mean(axis=1, keepdims=True)
    return middle + factor * (samples - middle)


def turned(samples: FloatArray, by_db: float) -> FloatArray:
    return samples * [10 ** (-by_db / 40), 10 ** (by_db / 40)]


def ridden(samples: FloatArray, by_db: float, start_s: float, end_s: float) -> FloatArray:
    time_s = np.arange(len(samples)) / RATE_HZ
    inside = (time_s > start_s) & (time_s < end_s)
    return samples * np.where(inside, 10 ** (by_db / 20), 1.0)[:, None]


def faded(samples: FloatArray, by_db: float) -> FloatArray:
    return samples * 10 ** (np.linspace(-by_db / 2, by_db / 2, len(samples)) / 20)[:, None]


@functools.cache
def reference() -> Features:
    return Features.of(Recording.from_array(played(), RATE_HZ))


@functools.cache
def one_clock() -> Alignment:
    """Of every candidate: nothing here is moved in time."""
    alignment = align(reference(), reference())
    assert alignment.same_take
    return alignment


@dataclass(frozen=True)
class Held:
    """A candidate held against the reference; the pair and what is told, when asked for."""

    candidate: Features

    @functools.cached_property
    def pair(self) -> Pair:
        pair = aligned(reference(), self.candidate, one_clock())
        return pair.with_gain(match_level(pair).gain_db)

    @functools.cached_property
    def results(self) -> Results:
        return told_of(reference(), self.candidate, one_clock())


def held(candidate: FloatArray) -> Held:
    return Held(Features.of(Recording.from_array(candidate, RATE_HZ)))


def told(results: Results) -> dict[str, float]:
    return {finding.kind: finding.difference for finding in results.findings}


def left_over_db(pair: Pair) -> float:
    """What of the cells' level differences is left when the whole is undone, in nine of ten."""
    spectra = pair.of_elements
    return float(np.percentile(np.abs(spectra.difference_db[spectra.audible]), 90))


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


@pytest.mark.parametrize("by_db", [4.0, -4.0])
def test_a_ride_of_the_whole_is_told_where_it_is(by_db: float) -> None:
    made = held(ridden(played(), by_db, 6.0, 12.0))
    pair, results = made.pair, made.results
    (finding,) = results.findings
    assert finding.kind == ("whole_louder" if by_db > 0 else "whole_softer")
    assert finding.difference == pytest.approx(by_db, abs=0.4)
    assert finding.interval[0] <= by_db <= finding.interval[1]
    ((start, end),) = finding.spans_s
    assert (start, end) == (pytest.approx(6.0, abs=0.5), pytest.approx(12.0, abs=0.5))
    assert left_over_db(pair) < 0.2


@pytest.mark.parametrize("by_db", [6.0, -6.0])
def test_a_fade_is_told_from_end_to_end(by_db: float) -> None:
    results = held(faded(played(), by_db)).results
    (finding,) = results.findings
    assert finding.kind == ("whole_swells" if by_db > 0 else "whole_fades")
    assert finding.difference == pytest.approx(by_db, abs=0.6)


def test_a_figure_is_told_beside_a_ride() -> None:
    results = held(ridden(played(figure=6.0), 4.0, 6.0, 12.0)).results
    found = told(results)
    assert found == {
        "repeating_figure_louder": pytest.approx(6.0, abs=0.5),
        "whole_louder": pytest.approx(4.0, abs=0.5),
    }


@pytest.mark.parametrize("gains_db", [{}, {"figure": 6.0}, {"melody": 5.0}, {"bass": -5.0}])
def test_an_element_is_no_operation_on_the_whole(gains_db: dict[str, float]) -> None:
    pair = held(played(**gains_db)).pair
    assert pair.image.is_none
    assert not pair.ride.moves


def late(samples: FloatArray, delay_s: float) -> FloatArray:
    """The right channel later by any part of a sample, in the spectrum."""
    count = len(samples) + 4096
    spectrum = np.fft.rfft(samples[:, 1], count)
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(count, 1 / RATE_HZ) * delay_s)
    return np.column_stack([samples[:, 0], np.fft.irfft(spectrum * turn, count)[: len(samples)]])


@pytest.mark.parametrize("delay_us", [600.0, -300.0])
def test_a_late_channel_is_told_as_one(delay_us: float) -> None:
    results = held(late(played(), delay_us * 1e-6)).results
    (finding,) = results.findings
    assert finding.kind == ("right_later" if delay_us > 0 else "left_later")
    assert finding.difference == pytest.approx(delay_us, abs=50)  # half of 100 us
    assert "ms later" in finding.text


def shelved(samples: FloatArray, level_db: float) -> FloatArray:
    """All above 2 kHz by so much, in the spectrum, a third of an octave from side to side."""
    frequency_hz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    share = np.clip(3 * np.log2(np.maximum(frequency_hz, 1) / 2000) + 0.5, 0, 1)
    spectrum = np.fft.rfft(samples, axis=0) * 10 ** (level_db * share / 20)[:, None]
    return np.asarray(np.fft.irfft(spectrum, len(samples), axis=0))


# Whatever plays, the bands above 2.2 kHz stand so much higher: that is the filter. The figure's
# partials go the same way; next to nothing else of this music lies as high.
@pytest.mark.parametrize(("shelf_db", "figure_db"), [(4.0, 6.0), (-4.0, -6.0)])
def test_tone_is_told_beside_an_element_and_at_its_own_size(
    shelf_db: float, figure_db: float
) -> None:
    results = held(shelved(played(figure=figure_db), shelf_db)).results
    found = told(results)
    figure = "repeating_figure_louder" if figure_db > 0 else "repeating_figure_weaker"
    tone = "tone_brighter" if shelf_db > 0 else "tone_darker"
    assert set(found) == {figure, tone}
    assert found[figure] == pytest.approx(figure_db, abs=0.5)
    assert found[tone] == pytest.approx(shelf_db, abs=0.75)  # half of 1.5 dB
