"""Filters beside elements of one take: their shapes, and whether they are told apart.

Shapes are checked against scipy's analogue filters. The bell is the second-order peaking filter of
the Audio EQ Cookbook (R. Bristow-Johnson; W3C Working Group Note 2021), from memory.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.audio.recording import Recording
from mixcompare.elements.change import Split
from mixcompare.elements.changes import split_difference
from mixcompare.elements.filters import SHAPES, any_filter_in, filter_in, on_curve
from mixcompare.features import Features
from mixcompare.pair.shapes import bell_db, high_shelf_db, low_shelf_db
from mixcompare.pair.spectra import PairSpectra
from tests import operations
from tests.elements.test_panned import mix, pair_of, reference, stem, told
from tests.elements.voices import CENTRE_HZ, TIMES_S, VOICES, pair, voice
from tests.operations import third_octaves

FloatArray = npt.NDArray[np.float64]
GAINS_DB = (4.0, -4.0, 9.0)


def analogue_db(b: list[float], a: list[float]) -> FloatArray:
    _, response = signal.freqs(b, a, 2 * np.pi * CENTRE_HZ)
    return np.asarray(20 * np.log10(np.abs(response)))


def high_shelf(gain_db: float, corner_hz: float) -> FloatArray:
    root, turn = 10 ** (gain_db / 40), 2 * np.pi * corner_hz
    return analogue_db([root, turn], [1 / root, turn])


def low_shelf(gain_db: float, corner_hz: float) -> FloatArray:
    root, turn = 10 ** (gain_db / 40), 2 * np.pi * corner_hz
    return analogue_db([1, root * turn], [1, turn / root])


def bell(gain_db: float, middle_hz: float) -> FloatArray:
    root, turn = 10 ** (gain_db / 40), 2 * np.pi * middle_hz
    return analogue_db([1, root * turn, turn**2], [1, turn / root, turn**2])


@pytest.mark.parametrize("gain_db", GAINS_DB)
@pytest.mark.parametrize(
    ("ours", "analogue"),
    [(high_shelf_db, high_shelf), (low_shelf_db, low_shelf), (bell_db, bell)],
)
def test_shapes_are_those_of_analogue_filters(
    ours: Callable[..., FloatArray], analogue: Callable[..., FloatArray], gain_db: float
) -> None:
    assert ours(CENTRE_HZ, gain_db, 1000.0) == pytest.approx(analogue(gain_db, 1000.0), abs=1e-9)


def test_steeper_and_sharper() -> None:
    at_hz = np.array([500.0, 1000.0, 2000.0])
    first, steep = (high_shelf_db(at_hz, 6.0, 1000.0, slope) for slope in (1.0, 2.0))
    assert first[1] == steep[1] == pytest.approx(3.0)  # half its gain at the corner
    assert steep[0] < first[0] < 3.0 < first[2] < steep[2] < 6.0
    wide, sharp = (bell_db(at_hz, 6.0, 1000.0, sharpness) for sharpness in (0.5, 2.0))
    assert wide[1] == sharp[1] == pytest.approx(6.0)
    assert 0 < sharp[0] < wide[0] < 6.0


def weight_of(cells: PairSpectra) -> FloatArray:
    softer = np.minimum(cells.reference, cells.candidate)
    return np.where(cells.audible, softer, 0.0) ** 0.3


def split_beside(
    filter_db: FloatArray, changes_db: dict[str, float]
) -> tuple[Split, FloatArray, FloatArray]:
    """What is found, how far the tone lies from the filter in each band, and the bands' weights."""
    cells = pair(changes_db, other=False, tone_db=filter_db)
    split = split_difference(cells, same_take=True)
    return split, np.abs(split.tone_db - filter_db), weight_of(cells).sum(axis=0)


@pytest.mark.parametrize("change_db", [5.0, -5.0])
@pytest.mark.parametrize("name", ["melody", "middle", "tenor"])
@pytest.mark.parametrize(
    "filter_db",
    [high_shelf(4, 1500), high_shelf(-4, 1500), bell(4, 700), bell(-4, 1000), low_shelf(-4, 250)],
    ids=["brighter", "darker", "bell", "dip", "thinner"],
)
def test_a_filter_and_an_element_are_told_apart(
    name: str, change_db: float, filter_db: FloatArray
) -> None:
    split, away_db, weight = split_beside(filter_db, {name: change_db})
    (change,) = split.changes
    assert change.difference_db == pytest.approx(change_db, abs=0.4)
    assert change.interval[0] <= change_db <= change.interval[1]
    assert np.median(away_db) < 0.1
    assert np.average(away_db, weights=weight) < 0.25
    assert split.filter_db is not None
    assert np.corrcoef(split.filter_db, filter_db)[0, 1] > 0.95


HARDLY_RESTS = [
    (name, change_db, low_shelf(gain_db, corner_hz))
    for name in ("middle", "tenor")
    for change_db in (-4.0, -5.0)
    for gain_db, corner_hz in ((-4, 350), (-4, 200), (-3, 500))
]
ALONE_IN_ITS_BANDS = [
    ("bass", 4.0, low_shelf(4, 250)),
    ("bass", 6.0, low_shelf(-4, 200)),
    ("bass", -5.0, low_shelf(-4, 200)),
    ("tenor", 6.0, low_shelf(4, 250)),
    ("bass", 6.0, bell(3, 350)),
    ("melody", -4.0, high_shelf(-3, 800)),
]


@pytest.mark.parametrize(("name", "change_db", "filter_db"), [*HARDLY_RESTS, *ALONE_IN_ITS_BANDS])
def test_an_element_does_not_bend_the_filter_it_lies_under(
    name: str, change_db: float, filter_db: FloatArray
) -> None:
    # What is too low of a bend would be an element of its own that came up. One that is alone in
    # its bands lies on the filter's curve, its size further.
    split, away_db, weight = split_beside(filter_db, {name: change_db})
    (change,) = split.changes
    assert change.difference_db == pytest.approx(change_db, abs=0.1)
    assert np.average(away_db, weights=weight) < 0.1
    assert split.filter_db is not None
    assert np.abs(split.filter_db - filter_db)[weight > 0].max() < 0.3


@pytest.mark.parametrize("corner_hz", [1500.0, 3000.0, 5000.0])
def test_a_filter_alone_is_told_to_its_shape(corner_hz: float) -> None:
    # What persists is read from half an octave, and bends less sharply than the filter.
    split, away_db, weight = split_beside(high_shelf(-6, corner_hz), {})
    assert split.changes == ()
    assert away_db[weight > 0].max() < 0.1


def low_cut(corner_hz: float) -> FloatArray:
    return cut(2, corner_hz, "high")


def cut(order: int, corner_hz: float, kept: str) -> FloatArray:
    _, response = signal.freqs(*signal.butter(order, corner_hz, kept, analog=True), CENTRE_HZ)
    return np.asarray(20 * np.log10(np.abs(response)))


@pytest.mark.parametrize(
    ("name", "change_db", "filter_db"),
    [
        ("tenor", 5.0, low_cut(200) + high_shelf(-4, 1500)),
        ("middle", -5.0, low_cut(200) + high_shelf(4, 1500)),
        ("tenor", 5.0, high_shelf(-2.5, 1500) + bell(6, 350) + low_shelf(4, 350)),
        ("melody", -8.0, high_shelf(-6, 600) + bell(3, 4000)),
    ],
    ids=["cut_darker", "cut_brighter", "three", "bell_at_the_top"],
)
def test_several_filters_and_an_element(name: str, change_db: float, filter_db: FloatArray) -> None:
    # A cut is none of the shapes that are tried, and two are looked for: the others persist.
    split, away_db, weight = split_beside(filter_db, {name: change_db})
    (change,) = split.changes
    assert change.difference_db == pytest.approx(change_db, abs=0.1)
    assert np.average(away_db, weights=weight) < 0.25


@pytest.mark.parametrize(("order", "corner_hz", "who"), [(3, 1800, "tenor"), (4, 2500, "bass")])
def test_a_high_cut_beside_an_element_keeps_its_slope(
    order: int, corner_hz: float, who: str
) -> None:
    # At its foot cells lose more than the element did, and are none of its own.
    filter_db = cut(order, corner_hz, "low")
    split, away_db, weight = split_beside(filter_db, {who: -5.0})
    (change,) = split.changes
    assert change.difference_db == pytest.approx(-5.0, abs=0.2)
    slope = (weight > 0) & (1.1 * corner_hz < CENTRE_HZ) & (filter_db > -28)
    assert slope.sum() > 10
    assert away_db[slope].max() < 0.5


def test_a_line_that_came_up_under_a_high_cut_is_no_filter() -> None:
    split, away_db, weight = split_beside(cut(2, 1800, "low"), {"melody": 5.0})
    (change,) = split.changes
    assert change.difference_db == pytest.approx(5.0, abs=0.2)
    assert np.average(away_db, weights=weight) < 0.3


@pytest.mark.parametrize(
    "changes_db", [{"bass": 6.0}, {"bass": -4.0}, {"tenor": 5.0, "melody": -5.0}]
)
def test_elements_alone_in_their_bands_are_no_filter(changes_db: dict[str, float]) -> None:
    split, away_db, _ = split_beside(np.zeros(len(CENTRE_HZ)), changes_db)
    sizes = sorted(change.difference_db for change in split.changes)
    assert sizes == pytest.approx(sorted(changes_db.values()), abs=0.2)
    assert split.filter_db is not None
    assert not split.filter_db.any()
    assert away_db.max() < 0.3


@pytest.mark.parametrize("change_db", [5.0, -5.0])
@pytest.mark.parametrize("name", VOICES)
def test_an_element_alone_is_no_filter(name: str, change_db: float) -> None:
    cells = pair({name: change_db}, other=False)
    assert not filter_in(cells, weight_of(cells)).any()


def test_nothing_heard_is_no_filter() -> None:
    cells = pair({}, other=False)
    assert not filter_in(cells, np.zeros_like(cells.reference)).any()


def test_less_than_a_decibel_is_no_filter() -> None:
    cells = pair({"middle": 5.0}, other=False, tone_db=high_shelf(0.8, 1500))
    assert not filter_in(cells, weight_of(cells)).any()


def test_share_of_the_sound_on_a_curve() -> None:
    cells = pair({}, other=False, tone_db=2.0)
    weight = weight_of(cells)
    assert on_curve(cells, weight, np.full(len(CENTRE_HZ), 2.0)).sum() == pytest.approx(
        1.0, abs=1e-6
    )
    # A quarter of a decibel beside it is one width of the bell curve: exp(-1/2).
    beside = on_curve(cells, weight, np.full(len(CENTRE_HZ), 2.25)).sum()
    assert beside == pytest.approx(np.exp(-0.5), abs=1e-3)
    assert on_curve(cells, weight, np.zeros(len(CENTRE_HZ))).sum() < 1e-6


def test_a_bass_line_and_a_flute_have_their_ends_to_themselves() -> None:
    # No filter begins where only the lowest strings or the highest partials are.
    for shape in SHAPES:
        assert shape.place_hz[0] >= 150.0
        assert shape.place_hz[1] <= 8000.0


def test_a_line_alone_at_the_top_is_no_tone() -> None:
    # What it holds there all the time, and half an octave of it, would persist.
    cells = pair({}, other=False)
    line = np.zeros_like(cells.reference)
    line[:, -9:] = voice("melody").max() * 0.01
    after = cells.reference + line * 10 ** (5.0 / 10)
    cells = PairSpectra(TIMES_S, CENTRE_HZ, cells.reference + line, after)
    split = split_difference(cells, same_take=True)
    assert split.filter_db is not None
    assert not split.filter_db.any()


def test_a_shelf_is_told_beside_the_line_that_holds_the_top() -> None:
    # The sample's violins have the top of the orchestra to themselves.
    shelf = operations.high_shelf(3000, 4.0)
    samples = shelf(mix(level_db={"violins": -5.0}))
    results = told(Features.of(Recording.from_array(samples, stem("violins")[1])))
    line, tone = sorted(results.findings, key=lambda one: one.aspect)
    assert (line.aspect, tone.aspect) == ("balance", "tone")
    assert line.difference == pytest.approx(-5.0, abs=0.3)
    truth_db = shelf.response_db(third_octaves(tone)).mean()
    assert tone.difference > 0
    assert tone.interval[0] <= truth_db <= tone.interval[1]


@pytest.mark.parametrize(("name", "size_db"), [("horns", 5.0), ("horns", -5.0), ("violas", 5.0)])
def test_a_bell_is_told_beside_an_element_in_its_band(name: str, size_db: float) -> None:
    bell = operations.Filter(signal.butter(1, (700, 1400), "band", fs=stem(name)[1]), 4.0)
    samples = bell(mix(level_db={name: size_db}))
    results = told(Features.of(Recording.from_array(samples, stem(name)[1])))
    element, tone = sorted(results.findings, key=lambda one: one.aspect)
    assert element.interval[0] <= size_db <= element.interval[1]
    assert tone.kind == "tone_band_louder"
    assert tone.interval[0] <= bell.in_band(tone, pair_of(reference())) <= tone.interval[1]


# --- of no usual shape --------------------------------------------------------------------------


def three_bells_db() -> FloatArray:
    return bell(-6.0, 300.0) + bell(6.0, 900.0) + bell(-5.0, 2500.0)


def comb_db() -> FloatArray:
    """A reflection 1.8 ms late at half the amplitude: 1 + a exp(-i w t), by definition."""
    return np.asarray(20 * np.log10(np.abs(1 + 0.5 * np.exp(-2j * np.pi * CENTRE_HZ * 0.0018))))


@pytest.mark.parametrize("filtered_db", [three_bells_db(), comb_db(), -comb_db()])
def test_filters_of_any_shape_are_no_elements(filtered_db: FloatArray) -> None:
    cells = pair({}, other=False, tone_db=filtered_db)
    split = split_difference(cells, same_take=True)
    assert split.changes == ()
    # Up to the level of the whole; 0.5 dB is half of 1 dB, ISO 3382-1 Table A.1.
    weight = weight_of(cells).sum(axis=0)
    away_db = split.tone_db - filtered_db
    assert np.average(np.abs(away_db - np.median(away_db)), weights=weight) < 0.5


@pytest.mark.parametrize("who", ["melody", "tenor", "bass", "figure"])
def test_beside_a_comb_an_element_is_told_or_left(who: str) -> None:
    """One that has bands to itself looks like the filter there, and the others like its mirror."""
    split = split_difference(pair({who: 6.0}, other=False, tone_db=comb_db()), same_take=True)
    for change in split.changes:
        assert change.difference_db == pytest.approx(6.0, abs=0.6)


@pytest.mark.parametrize(
    "gains_db", [{}, {"bass": 5.0}, {"melody": -6.0}, {"tenor": 4.0, "melody": -4.0}]
)
def test_elements_are_no_filter_of_any_shape(gains_db: dict[str, float]) -> None:
    split = split_difference(pair(gains_db, other=False), same_take=True)
    assert split.filter_db is None or not split.filter_db.any()


def test_where_nothing_sounds_any_shape_goes_on() -> None:
    cells = pair({}, other=False, tone_db=comb_db())
    weight = weight_of(cells)
    curve_db, share = any_filter_in(cells, weight)
    assert share.sum() > 0.8
    weight[:, 20:30] = 0.0
    bridged_db, _ = any_filter_in(cells, weight)
    between = np.interp(np.log2(CENTRE_HZ[20:30]), np.log2(CENTRE_HZ[[19, 30]]), curve_db[[19, 30]])
    assert bridged_db[20:30] == pytest.approx(between, abs=0.01)
    nothing, none = any_filter_in(cells, np.zeros_like(weight))
    assert not nothing.any()
    assert not none.any()
