"""Fixtures shared by all tests: one seeded generator, real recordings, small synthetic signals."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from tests import once_a_run

FloatArray = npt.NDArray[np.float64]

ROOT = Path(__file__).parent
RATE_HZ = 48_000

# A shell starts what runs in its background deaf to interrupts; what is tested here listens.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)


LONG = (
    "test_chain",
    "published/test_real_recordings",
    "report/test_browser",
    "parts/test_levels",
    "takes/test_run",
    "alignment/test_align",
    "test_notebooks",
    "report/test_browser_loudness",
    "pair/test_image",
    "pair/test_undo",
    "aspects/test_contract",
    "stems/test_sample",
    "stems/test_judge",
    "report/test_report_contract",
    "parts/test_held",
    "stems/test_worn",
    "pair/test_folded",
    "aspects/test_told",
    "test_coverage",
    "pair/test_tail_direct",
    "elements/test_take",
    "test_comparison",
    "outputs/test_placing",
    "cli/test_closed",
    "stems/test_trimmed",
    "parts/test_passages",
    "report/test_firefox",
    "pair/test_tail",
    "report/test_browser_notes",
    "aspects/test_room",
    "elements/test_ended",
    "aspects/test_tone",
    "pair/test_reverberation",
    "stems/test_paired",
    "alignment/test_edits",
    "cli/test_guard",
    "parts/test_percussion",
    "elements/test_filters",
    "elements/test_panned",
    "parts/test_sample",
    "parts/test_course",
    "alignment/test_again",
    "pair/test_filled",
    "parts/test_placed",
    "test_hostile",
    "elements/test_detectable",
    "test_cli",
    "aspects/test_dynamics",
    "report/test_document",
    "elements/test_standing",
    "report/test_writer",
    "elements/test_changes",
)
"""Files that take seven seconds and more, the longest first: so begun, no worker is alone with one
of them at the end, and ``-m "not long"`` leaves them out."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest; the others stay in their order.

    What hears sound as it is played, or reads the clock, has three attempts: a machine may stand
    still for seconds. A fault fails them all.
    """
    place = {ROOT / f"{name}.py": index for index, name in enumerate(LONG)}
    items.sort(key=lambda item: place.get(item.path, len(place)))
    for item in items:
        if item.path in place:
            item.add_marker(pytest.mark.long)
        if item.get_closest_marker("browser") or item.get_closest_marker("clock"):
            item.add_marker(pytest.mark.flaky(reruns=2))


def pytest_configure(config: pytest.Config) -> None:
    """The process that controls the workers makes the folder that they share."""
    if not hasattr(config, "workerinput"):
        once_a_run.begin(config.getoption("numprocesses", None) or 0)


def pytest_unconfigure(config: pytest.Config) -> None:
    if not hasattr(config, "workerinput"):
        once_a_run.end()


@pytest.fixture
def rng() -> np.random.Generator:
    """The one source of chance; the same in every run."""
    return np.random.default_rng(20_240_229)


@pytest.fixture(scope="session")
def real_audio() -> Path:
    """Folder of real recordings named by ``MIXCOMPARE_REAL_AUDIO``."""
    folder = os.environ.get("MIXCOMPARE_REAL_AUDIO")
    if not folder:
        pytest.skip("needs real recordings: set MIXCOMPARE_REAL_AUDIO to their folder")
    path = Path(folder)
    if not path.is_dir():
        pytest.skip(f"needs real recordings: MIXCOMPARE_REAL_AUDIO={folder} is no folder")
    return path


@pytest.fixture
def no_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    """A report without them: to write them takes most of its time."""
    monkeypatch.setattr("mixcompare.plots.draw_all", lambda results: {})


@pytest.fixture
def sine() -> FloatArray:
    """Two seconds of a 997 Hz sine at -20 dBFS in both channels, 48 kHz, shape (n, 2)."""
    wave = 0.1 * np.sin(2 * np.pi * 997 * np.arange(2 * RATE_HZ) / RATE_HZ)
    return np.column_stack([wave, wave])


@pytest.fixture(scope="session")
def play() -> Callable[..., FloatArray]:
    """Play 26 s of made-up music: ``play(seed)`` is one performance of it.

    Three voices of harmonic tones a second long, each at its own place, at 16 kHz, shape (n, 2).
    The dynamics move over about 25 dB in phrases of some seconds; the seed decides how much each
    tone strays from them, and whether the notes are others with ``notes``.
    """
    return _play


@pytest.fixture(scope="session")
def phrases() -> FloatArray:
    """The first performance of the made-up music, not to be written to."""
    music = _play(0)
    music.flags.writeable = False
    return music


def _play(seed: int, notes: int = 0, range_db: float = 25.0) -> FloatArray:
    rate_hz, seconds = 16_000, 26
    strays, melody = np.random.default_rng(seed), np.random.default_rng(notes)
    time_s = np.arange(rate_hz) / rate_hz
    envelope = np.minimum(time_s / 0.03, 1) * np.minimum((1 - time_s) / 0.1, 1)
    level_db = -30 + range_db / 2 * np.sin(2 * np.pi * np.arange(seconds) / 13)
    harmonics = np.arange(1, 7)[:, np.newaxis]
    out = np.zeros((seconds * rate_hz, 2))
    for pitch_hz, left in ((110.0, 0.9), (293.7, 0.6), (659.3, 0.3)):
        for second in range(seconds):
            note_hz = pitch_hz * 2 ** (melody.integers(0, 8) / 12)
            phase = strays.uniform(0, 2 * np.pi, (6, 1))
            tone = (np.sin(2 * np.pi * note_hz * harmonics * time_s + phase) / harmonics).sum(
                axis=0
            )
            gain = 10 ** ((level_db[second] + strays.normal(0, 1)) / 20)
            place = slice(second * rate_hz, (second + 1) * rate_hz)
            out[place] += gain * (tone * envelope)[:, np.newaxis] * [left, 1 - left]
    return out
