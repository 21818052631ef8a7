"""Sums of bins into bands."""

from __future__ import annotations

import numpy as np

from mixcompare.features.frames import Bands, cross_of
from mixcompare.standards.iec61260 import band_weights, semitone_edges_hz


def test_bands_are_sums_of_all_their_bins() -> None:
    rng = np.random.default_rng(2)
    weights = band_weights(semitone_edges_hz(28, 112, 20.0), 12_000 / 2048, 1025)
    values = rng.random((2, 5, 1025)).astype(np.float32)
    bands = Bands(weights)
    np.testing.assert_allclose(bands(values), values @ weights, rtol=1e-5)
    assert not weights[bands.reach :].any()
    assert weights[bands.reach - 1].any()


def test_bands_beyond_the_spectrum_are_empty() -> None:
    bands = Bands(np.zeros((4, 3), np.float32))
    assert bands(np.ones((2, 4), np.float32)).tolist() == [[0.0] * 3] * 2


def test_cross_power_is_told_twice() -> None:
    spectra = np.array([[[3 + 4j]], [[1 - 2j]]], np.complex64)
    real, imaginary = cross_of(spectra)
    assert (real.item(), imaginary.item()) == (2 * -5.0, 2 * 10.0)  # (3 + 4i)(1 + 2i)
