"""What the calibration of findings is played on: passages with elements whose level can be set.

Two kinds: made-up passages (see :mod:`tests.benchmarks.passages`) and half minutes of written
scores (see :mod:`tests.benchmarks.corpus`), orchestrated and played with a tempo of their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from tests.benchmarks import passages
from tests.benchmarks.corpus import Movement, load_score
from tests.benchmarks.orchestration import ORCHESTRATIONS
from tests.benchmarks.passages import SOUNDFONTS
from tests.benchmarks.performances import Performance, passage, render
from tests.benchmarks.rendering import Part, mix

FloatArray = npt.NDArray[np.float64]

RATE_HZ = passages.RATE_HZ
DURATION_S = 30.0
_COLOURS = ("xylophone", "timpani", "horns", "horn", "harp", "oboe", "flute", "piano right hand")


@dataclass(frozen=True)
class Stems:
    """Dry stems with the parts that say where they sit."""

    samples: Mapping[str, FloatArray]
    parts: tuple[Part, ...]


class Scene(Protocol):
    """Music with elements."""

    @property
    def name(self) -> str: ...

    @property
    def elements(self) -> Mapping[str, tuple[str, ...]]:
        """Parts of every element that a scenario may change."""
        ...

    def stems(self, soundfont: int, performance: int, cache: Path) -> Stems:
        """Dry stems; performance 0 is the reference's."""
        ...


@dataclass(frozen=True)
class MadeUp:
    """One of the made-up passages."""

    number: int

    @property
    def name(self) -> str:
        return f"passage {self.number}"

    @property
    def elements(self) -> Mapping[str, tuple[str, ...]]:
        return passages.ELEMENTS

    def stems(self, soundfont: int, performance: int, cache: Path) -> Stems:
        samples = passages.stems_of(self.number, soundfont, performance, cache)
        return Stems(samples, tuple(passages.parts_of(self.number)))


@dataclass(frozen=True)
class Scored:
    """Half a minute of a movement; other performances have a tempo and scatter of their own."""

    movement: Movement

    @property
    def name(self) -> str:
        return self.movement.name

    @cached_property
    def elements(self) -> Mapping[str, tuple[str, ...]]:
        voices = ORCHESTRATIONS[self.movement.orchestration]
        lowest = 2 if max(voice.source for voice in voices) == 2 else 3
        struck = {voice.name for voice in voices if voice.manner in ("bar", "stroke")}
        groups: dict[str, tuple[str, ...]] = {}
        for name, sources in (
            ("melody", {0}),
            ("bass", {lowest}),
            ("inner", set(range(1, lowest))),
        ):
            members = (v.name for v in voices if v.source in sources and v.name not in struck)
            groups[name] = tuple(members)
        for voice in voices:
            if voice.name in _COLOURS:
                groups[voice.name] = (voice.name,)
        return groups

    def stems(self, soundfont: int, performance: int, cache: Path) -> Stems:
        score = load_score(self.movement, cache)
        played = Performance(
            self.movement,
            (passage(score, self.movement, DURATION_S, 0),),
            SOUNDFONTS[soundfont],
            seed=performance,
            tempo_ratio=1.0 + 0.01 * (performance % 7 - 3 if performance else 0),
            rubato=0.06,
        )
        found = render(played, cache)
        samples = {name: row.astype(np.float64) for name, row in found.samples.items()}
        if soundfont:  # other instruments, the same balance
            usual = self.stems(0, performance, cache).samples
            for name, stem in samples.items():
                samples[name] = stem * float(np.std(usual[name]) / np.std(stem))
        return Stems(samples, found.played.parts)


def mixed(
    stems: Stems,
    elements: Mapping[str, tuple[str, ...]],
    gains_db: Mapping[str, float],
    room: tuple[float, float, int] = (1.4, -6.0, 1),
    span_s: tuple[float, float] | None = None,
) -> FloatArray:
    """All stems in a room, elements changed by name; never above half of full scale.

    Parameters
    ----------
    stems, elements
    gains_db : mapping
        By element.
    room : tuple
        Decay time in s, wet level in dB, seed.
    span_s : tuple of float, optional
        Where the change holds; everywhere if None.
    """
    by_part = {part: change for name, change in gains_db.items() for part in elements[name]}
    by_part = {part: change for part, change in by_part.items() if part in stems.samples}
    samples = dict(stems.samples)
    if span_s is not None:
        for part, change in by_part.items():
            samples[part] = faded(samples[part], change, span_s)
        by_part = {}
    out = mix(samples, stems.parts, *room, by_part)
    return np.asarray(out * 0.5 / max(float(np.abs(out).max()), 0.5))


def faded(stem: FloatArray, change_db: float, span_s: tuple[float, float]) -> FloatArray:
    """A stem with another gain in one span, reached within 0.1 s."""
    clock = np.arange(len(stem)) / RATE_HZ
    start, end = span_s
    gain_db = np.interp(clock, [start - 0.05, start + 0.05, end - 0.05, end + 0.05], [0, 1, 1, 0])
    return np.asarray(stem * 10 ** (change_db * gain_db / 20))
