"""A gain of the whole take is taken off: made by plain algebra, and undone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.alignment import align
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.pair.spectra import PairSpectra
from mixcompare.pair.undo import ride_between
from tests import operations, synthetic
from tests.pair.whole import faded, held, left_over_db, played, ridden, told
from tests.synthetic import RATE_HZ
from tests.told import told_of

FloatArray = npt.NDArray[np.float64]


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


def test_a_level_of_two_steps_is_told_where_half_of_the_bands_sound_in_one_of_them() -> None:
    # A soft section 10 dB nearer to the loud one, as 2:1 leaves 20 dB: some pitches sound in the
    # one, some in the other, some in both, and of none but these the own median tells.
    rows, bands = 400, 60
    rng = np.random.default_rng(0)
    soft = np.arange(rows)[:, None] >= 180
    only = np.arange(bands)[None, :] % 3
    reference = 10 ** rng.uniform(-3, -1, (rows, bands)) * np.where(soft, 0.01, 1.0)
    reference = np.where((only == 0) & soft | (only == 1) & ~soft, 1e-12, reference)
    candidate = reference * np.where(soft, 10.0, 1.0)
    spectra = PairSpectra(
        np.arange(rows) / 20, np.geomspace(100, 3000, bands), reference, candidate
    )
    ride = ride_between(spectra)
    assert ride.moves
    assert np.ptp(ride.level_db) == pytest.approx(10.0, abs=0.2)
    assert ride.level_db[200:] - ride.level_db[100] == pytest.approx(10.0, abs=0.2)


def dying_away(raised_db: FloatArray) -> PairSpectra:
    """Sixty bands that play for 10 s and then fall silent one after another; all raised so much."""
    rows, bands = 240, 60
    rng = np.random.default_rng(1)
    sounding = np.arange(rows)[:, None] < 200 + np.arange(bands) * 0.6
    reference = np.where(sounding, 10 ** rng.uniform(-3, -1, (rows, bands)), 1e-12)
    candidate = reference * 10 ** (raised_db / 10)[:, None]
    return PairSpectra(np.arange(rows) / 20, np.geomspace(100, 3000, bands), reference, candidate)


# As a gain that follows the music leaves it: half a second, most of it with few bands sounding.
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_gain_is_followed_to_the_end_of_what_dies_away(sign: float) -> None:
    raised = sign * np.clip(0.25 * (np.arange(240) - 222), 0, 3.0)
    ride = ride_between(dying_away(raised))
    assert ride.moves
    heard = np.arange(240) < 234  # a few bands are left
    np.testing.assert_allclose(ride.level_db[heard], raised[heard], atol=0.1)
    assert ride.told[heard].all()


@pytest.mark.parametrize("span", [(100, 112), (228, 240)])
def test_one_stroke_is_no_gain_that_is_followed(span: tuple[int, int]) -> None:
    place = np.arange(240)
    raised = np.where((place >= span[0]) & (place < span[1]), 3.0, 0.0)
    assert not ride_between(dying_away(raised)).moves


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
    assert ride_between(pair.straightened).settled


# Under the other room every cell scatters; the truth is the gain that was drawn over both.
@pytest.mark.parametrize("by_db", [4.0, 0.0])
def test_a_ride_is_told_under_another_tail(by_db: float) -> None:
    roomy = synthetic.in_room(synthetic.play(5, bars=8), 1.6, -3.0, seed=2)
    pair = held(ridden(roomy, by_db, 6.0, 12.0)).pair
    plain = ride_between(pair.straightened)
    assert not plain.moves
    assert not plain.settled
    assert pair.ride.moves == (by_db > 0)
    time_s = pair.spectra.times_s
    inside, outside = (time_s > 7) & (time_s < 11), (time_s < 5) | (time_s > 13)
    level_db = pair.ride.level_db
    assert np.median(level_db[inside]) - np.median(level_db[outside]) == pytest.approx(
        by_db, abs=0.4
    )


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


def swelling(samples: FloatArray) -> FloatArray:
    """Louder and softer by 8 dB, over and over."""
    swell_db = 8.0 * np.sin(2 * np.pi * np.arange(len(samples)) / RATE_HZ / 7.0)
    return samples * 10 ** (swell_db / 20)[:, None]


# A ratio of 1.5:1 leaves a third less of every swing, by definition.
@pytest.mark.parametrize(
    ("voice", "gain_db", "kind"),
    [
        ("melody", 7.0, "leading_line_louder"),
        ("pad", 7.0, "register_louder"),
        ("melody", -6.0, "leading_line_weaker"),
        ("figure", 7.0, "repeating_figure_louder"),
    ],
)
def test_a_gain_that_follows_the_music_is_told_beside_an_element(
    voice: str, gain_db: float, kind: str
) -> None:
    plain = Features.of(Recording.from_array(swelling(played()), RATE_HZ))
    changed = operations.squeezed(swelling(played(**{voice: gain_db})), 1.5, -90)
    candidate = Features.of(Recording.from_array(changed, RATE_HZ))
    found = told(told_of(plain, candidate, align(plain, plain)))
    assert found["dynamics_smaller"] == pytest.approx(1 / 1.5 - 1, abs=0.03)
    assert found[kind] == pytest.approx(gain_db, abs=0.5)
    assert set(found) <= {"dynamics_smaller", kind, "wetter"}
