"""An element's level against time: told where it plays, by as much as it was changed there."""

from __future__ import annotations

import numpy as np

from mixcompare.aspects.balance.course import course_of
from mixcompare.elements.change import Change
from mixcompare.pair.spectra import PairSpectra


def test_the_course_follows_the_change() -> None:
    """By hand: 1 of its own power beside 2 of others in its cells, +6 dB at first, +3 dB then."""
    frames, bands = 400, 12
    energy = np.zeros((frames, bands))
    energy[50:350, 4] = 1.0
    reference = np.full((frames, bands), 0.5) + energy
    gain = np.where(np.arange(frames) < 200, 10**0.6, 10**0.3)[:, None]
    tone_db = np.linspace(-3, 3, bands)
    candidate = (reference - energy + gain * energy) * 10 ** (tone_db / 10)
    times_s, centre_hz = np.arange(frames) / 20, np.geomspace(100, 2000, bands)
    spectra = PairSpectra(times_s, centre_hz, reference, candidate)
    change = Change(4.5, (3.0, 6.0), 1.0, energy)
    course_s, course_db = course_of(change, spectra, tone_db)
    assert len(course_s) == len(course_db)
    told = np.array(course_db, float)
    at = 20 * np.array(course_s)
    early, late = (at > 100) & (at < 180), (at > 220) & (at < 300)
    np.testing.assert_allclose(told[early], 6.0, atol=0.1)
    np.testing.assert_allclose(told[late], 3.0, atol=0.1)
    assert np.isnan(told[at < 30]).all()
    assert np.isnan(told[at > 370]).all()
