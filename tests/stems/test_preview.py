"""The candidate with its trims, against the mix that was made with other levels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from mixcompare.listening.preview import Late, Trimmed, write_preview
from mixcompare.standards.bs1770 import TruePeak
from tests.stems import made
from tests.stems.made import RATE_HZ, mixed, recorded

PLAIN = Late(np.ones((400, 3)), 5.0, np.array([100.0, 1000.0, 5000.0]))


def steady(trim_db: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda times_s: np.full(len(times_s), trim_db)


def straight(parts: dict[str, np.ndarray], **trims_db: float) -> list[Trimmed]:
    """Stems that get into the mix as they are."""
    tap = np.zeros((2, 25))
    tap[:, 12] = 1.0
    return [
        Trimmed(recorded(sound, name), 0.0, tap, -12, 12_000, steady(trims_db.get(name, 0.0)))
        for name, sound in parts.items()
    ]


def written(path: Path) -> np.ndarray:
    samples, rate_hz = soundfile.read(path)
    assert rate_hz == RATE_HZ
    return np.asarray(samples)


def distance_db(one: np.ndarray, other: np.ndarray) -> float:
    assert one.shape == other.shape
    return float(20 * np.log10(np.std(one - other) / np.std(other)))


def test_trims_are_what_faders_would_have_done(tmp_path: Path) -> None:
    parts = made.stems(figure=5.0)
    mix = 0.3 * mixed(parts) / np.abs(mixed(parts)).max()
    scale = 0.3 / np.abs(mixed(parts)).max()
    scaled = {name: scale * sound for name, sound in parts.items()}
    lowered = write_preview(
        tmp_path / "preview.flac", recorded(mix), straight(scaled, figure=-5.0), PLAIN
    )
    assert lowered == 0.0
    expected = scale * mixed(made.stems())
    assert distance_db(written(tmp_path / "preview.flac"), expected) < -35


def test_what_is_in_no_stem_follows_band_by_band(tmp_path: Path) -> None:
    time = np.arange(6 * RATE_HZ) / RATE_HZ
    low, high = (0.1 * np.sin(2 * np.pi * f * time)[:, None] * [1, 1] for f in (110.0, 4000.0))
    gain = np.ones((30, 3))
    gain[:, 2] = 0.5
    late = Late(gain, 5.0, np.array([100.0, 1000.0, 3000.0]))
    silent = {"nothing": 1e-4 * np.random.default_rng(0).standard_normal(low.shape)}
    write_preview(tmp_path / "p.flac", recorded(low + high), straight(silent), late)
    inner = slice(RATE_HZ, -RATE_HZ)
    found = written(tmp_path / "p.flac")[inner]
    assert distance_db(found, (low + 0.5 * high)[inner]) < -35


def test_nothing_passes_one_below_full_scale(tmp_path: Path) -> None:
    parts = made.stems()
    scale = 0.9 / np.abs(mixed(parts)).max()
    scaled = {name: scale * sound for name, sound in parts.items()}
    mix = recorded(scale * mixed(parts))
    lowered = write_preview(tmp_path / "p.flac", mix, straight(scaled, melody=9.0), PLAIN)
    assert lowered > 1.0
    meter = TruePeak(RATE_HZ)
    meter.push(written(tmp_path / "p.flac").astype(np.float32), last=True)
    assert 20 * np.log10(meter.peak) == pytest.approx(-1.1, abs=0.05)


def test_an_echo_goes_on_from_block_to_block(tmp_path: Path) -> None:
    noise = np.random.default_rng(3).standard_normal((8 * RATE_HZ, 2))
    stem = 0.05 * signal.sosfiltfilt(
        signal.butter(6, [200, 2000], "bandpass", fs=RATE_HZ, output="sos"), noise, axis=0
    )
    late = round(0.05 * RATE_HZ)
    mix = stem + 0.8 * np.vstack([np.zeros((late, 2)), stem[:-late]])
    echo = np.zeros((2, 612))
    echo[:, 0], echo[:, 600] = 1.0, 0.8  # 50 ms at 12 kHz
    one = Trimmed(recorded(stem, "stem"), 0.0, echo, 0, 12_000, steady(-60.0))
    write_preview(tmp_path / "p.flac", recorded(mix), [one], PLAIN)
    found = written(tmp_path / "p.flac")
    after_a_block = slice(5 * RATE_HZ, 5 * RATE_HZ + late)
    assert np.std(found[after_a_block]) < 0.05 * np.std(mix)
    assert np.std(found[RATE_HZ:-RATE_HZ]) < 0.05 * np.std(mix)


def test_a_fader_that_moves_in_one_place_is_heard_there_alone(tmp_path: Path) -> None:
    """Over the border of two blocks of five seconds."""
    parts = made.stems()
    scale = 0.3 / np.abs(mixed(parts)).max()
    scaled = {name: scale * sound for name, sound in parts.items()}
    length = len(scaled["figure"])
    trimmed = straight(scaled)
    place = [
        replace(one, trim_db=lambda t: np.where((t >= 4) & (t < 7), -6.0, 0.0))
        if one.stem.name == "figure" else one
        for one in trimmed
    ]  # fmt: skip
    write_preview(tmp_path / "p.flac", recorded(scale * mixed(parts)), place, PLAIN)
    taken = scale * mixed(parts) - written(tmp_path / "p.flac")
    time_s = np.arange(length) / RATE_HZ
    inside = (time_s > 4.3) & (time_s < 6.7)
    outside = (time_s < 3.7) | (time_s > 7.3)
    expected = (1 - 10 ** (-6 / 20)) * scaled["figure"][inside]
    assert distance_db(taken[inside], expected) < -25
    assert np.std(taken[outside]) < 0.02 * np.std(scaled["figure"])
