"""A take in stereo against a take in mono: folded by adding samples, read by cells."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.elements.take import split_pair
from tests.pair.whole import held, left_over_db, played, side, told
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]


def one_channel(samples: FloatArray, channel: int) -> FloatArray:
    return np.column_stack([samples[:, channel]] * 2)


FOLDS = {
    "both": lambda samples: side(samples, 0.0),
    "left": lambda samples: one_channel(samples, 0),
    "right": lambda samples: one_channel(samples, 1),
}


# The algebra of sums is exact; 0.2 dB are what the steps of stored features leave (regression).
@pytest.mark.parametrize("fold", FOLDS)
def test_a_take_that_was_folded_differs_in_no_cell(fold: str) -> None:
    pair = held(FOLDS[fold](played())).pair
    assert pair.candidate.is_mono
    assert left_over_db(pair) < 0.2
    assert left_over_db(pair.mirrored()) < 0.2
    assert split_pair(pair).changes == ()


@pytest.mark.parametrize("gain_db", [5.0, -5.0])
@pytest.mark.parametrize("fold", FOLDS)
def test_an_element_is_found_in_what_was_folded(fold: str, gain_db: float) -> None:
    pair = held(FOLDS[fold](played(figure=gain_db))).pair
    (change,) = split_pair(pair).changes
    assert change.difference_db == pytest.approx(gain_db, abs=0.5)
    (back,) = split_pair(pair.mirrored()).changes
    assert back.difference_db == pytest.approx(-gain_db, abs=0.5)


# A filter's response is its own formula's (scipy); 0.15 dB on band means at the elements' clock.
@pytest.mark.parametrize("gain_db", [0.0, 4.0, -4.0])
@pytest.mark.parametrize("fold", [*FOLDS, "narrower"])
def test_the_tone_beside_it_is_that_of_the_filter(fold: str, gain_db: float) -> None:
    """Channels that are less alike in some bands than in others lose more there when summed."""
    part, factor = signal.butter(1, 3000.0, "high", fs=RATE_HZ), 10 ** (gain_db / 20) - 1
    filtered = played() + factor * signal.lfilter(*part, played(), axis=0)
    one = held(side(filtered, 0.1) if fold == "narrower" else FOLDS[fold](filtered))
    tone = one.results.measurements["tone"].difference
    level_db = np.array([np.nan if level is None else level for level in tone.band_level_db])
    _, response = signal.freqz(*part, worN=tone.band_centre_hz, fs=RATE_HZ)
    due_db = 20 * np.log10(np.abs(1 + factor * response))
    heard = np.array(tone.audible) & np.isfinite(level_db) & (np.array(tone.band_centre_hz) < 12e3)
    assert heard.sum() > 15
    away_db = (level_db - due_db)[heard]
    assert np.abs(away_db - np.median(away_db)).max() < 0.4
    kinds = [finding.kind for finding in one.results.findings]
    assert (kinds == ["narrower"]) == (gain_db == 0)


# 20 lg of the factor is the change of side against mid, by definition.
def test_an_element_is_told_beside_mono_and_next_to_it() -> None:
    mono = told(held(side(played(figure=5.0), 0.0)).results)
    assert set(mono) == {"narrower", "repeating_figure_louder"}
    assert mono["repeating_figure_louder"] == pytest.approx(5.0, abs=0.5)
    nearly = told(held(side(played(figure=5.0), 0.1)).results)
    assert nearly == {
        "narrower": pytest.approx(-20.0, abs=0.5),
        "repeating_figure_louder": pytest.approx(5.0, abs=0.5),
    }
