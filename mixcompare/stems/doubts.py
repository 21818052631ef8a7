"""Do the stems add up to their mix? What is missing, doubled, late, turned round or pressed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from mixcompare.audio.recording import Recording
from mixcompare.findings import clock, listed
from mixcompare.stems.bus import pressed_note
from mixcompare.stems.cells import StemCells
from mixcompare.stems.explained import SOUNDS, Making
from mixcompare.stems.values import Interval
from mixcompare.units import SOUND_M_S

_COPY, _THE_MIX = 0.98, 0.999  # correlations
_SILENT = 1e-9  # of the loudest stem's energy: dither at most
_FEWEST = 2  # stems that have to stay
_SHORT_S = 1.0  # of silence that a mix may have behind all stems; our choice
_OFF_DB, _LATE_S = 4.0, 0.001
_HOLE_S, _HOLE, _USUALLY = 2.0, 0.75, 0.45  # shares of the mix's energy that no stem explains
_LITTLE = 0.3
_MOST_NAMES = 6  # in a sentence


def spare(names: Sequence[str], making: Making) -> dict[str, str]:
    """Stems that are there twice, or are the mix itself, with a sentence each.

    Of two that are one sound the shorter name stays.
    """
    out = {}
    if len(names) > _FEWEST:
        out = {
            name: f"The stem {name} is the mix itself; it was left out."
            for name, alike in zip(names, making.with_mix, strict=True)
            if alike > _THE_MIX
        }
    for one in range(len(names)):
        for other in range(one + 1, len(names)):
            kept, left = sorted((names[one], names[other]), key=lambda name: (len(name), name))
            if making.alike[one, other] > _COPY and not {kept, left} & set(out):
                out[left] = f"The stems {kept} and {left} are the same sound; {left} was left out."
    return out if len(names) - len(out) >= _FEWEST else {}


def cut_short(mix: Recording, stems: Mapping[str, Recording]) -> list[str]:
    """A sentence on stems that end before the mix does."""
    end_s = mix.span_s[1]
    short = {
        name: stem.span_s[1] for name, stem in stems.items() if stem.span_s[1] < end_s - _SHORT_S
    }
    if not short:
        return []
    ends = [f"{name} at {clock(at_s)}" for name, at_s in short.items()]
    return [
        f"Stems end before the mix does: {listed(ends, _MOST_NAMES)}. Check that nothing of"
        f" {'it' if len(short) == 1 else 'them'} was cut off."
    ]


def doubts(
    names: Sequence[str], making: Making, cells: StemCells, heard: npt.NDArray[np.bool_]
) -> list[str]:
    """What does not add up, in plain sentences.

    Parameters
    ----------
    names : sequence of str
        Of the stems.
    making : Making
        How the mix is made of them.
    cells : StemCells
        What sounds where.
    heard : ndarray of bool, shape (stems,)
        Which of them carry enough of the mix to be judged.
    """
    if _explain_little(cells):
        return [
            "The stems explain little of the mix: most of what sounds is in none of them. Check"
            " that they are of this mix and start where it does.",
        ]
    notes = _unheard(names, making)
    gains = making.gain_db
    usual = float(np.median(gains[heard])) if heard.any() else 0.0
    about_s = float(np.median(making.delay_s[heard])) if heard.any() else 0.0
    for place in np.flatnonzero(heard).tolist():
        name, away = names[place], float(gains[place]) - usual
        late_s = float(making.delay_s[place]) - about_s
        if making.is_inverted[place]:
            notes.append(f"The stem {name} is in the mix with its polarity turned round.")
        if abs(away) > _OFF_DB:
            stands = "louder" if away > 0 else "softer"
            notes.append(
                f"The stem {name} is {abs(away):.1f} dB {stands} in the mix than in its file, set"
                " against the other stems."
            )
        if abs(late_s) > max(_LATE_S, 3 * float(making.delay_deviation_s[place])):
            notes.append(
                f"The stem {name} sounds {1e3 * abs(late_s):.1f} ms"
                f" {'later' if late_s > 0 else 'earlier'} in the mix than the other stems do"
                f" ({SOUND_M_S * abs(late_s):.1f} m of air at 20 °C)."
            )
    return [*notes, *_holes(cells), *pressed_note(cells)]


def _unheard(names: Sequence[str], making: Making) -> list[str]:
    """Stems that are silent, and those that do not sound in the mix."""
    energy = np.einsum("bcfii->i", making.between).real
    least = _SILENT * float(energy.max())
    silent = [name for name, sounds in zip(names, energy, strict=True) if sounds <= least]
    away = [
        name
        for name, sounds in zip(names, making.sounds, strict=True)
        if sounds <= SOUNDS and name not in silent
    ]
    notes = []
    if silent:
        who = f"stem {silent[0]} is" if len(silent) == 1 else f"stems {listed(silent)} are"
        notes.append(f"The {who} silent.")
    if len(away) == 1:
        notes.append(
            f"The stem {away[0]} does not sound in the mix where it lies: check that it is of this"
            " mix and starts where the mix does."
        )
    elif away:
        notes.append(
            f"The stems {listed(away, _MOST_NAMES)} do not sound in the mix where they lie: check"
            " that they are of this mix and start where the mix does."
        )
    return notes


def _explain_little(cells: StemCells) -> bool:
    """Whether most of the mix is in no stem, most of the time."""
    mix, left = (power.sum(axis=1, dtype=np.float64) for power in (cells.mix, cells.left))
    loud = mix > 0.01 * mix.max(initial=0.0)
    return bool(loud.any() and np.median(left[loud] / mix[loud]) > 1 - _LITTLE)


def _holes(cells: StemCells) -> list[str]:
    """Stretches in which most of the mix is in no stem, where usually it is."""
    rows = max(round(_HOLE_S * cells.rate_hz), 1)
    count = len(cells.mix) // rows
    if count == 0:
        return []
    mix, left = (
        power[: count * rows].sum(axis=1, dtype=np.float64).reshape(count, rows).sum(axis=1)
        for power in (cells.mix, cells.left)
    )
    share = left / np.maximum(mix, 1e-30)
    loud = mix > 0.01 * mix.max()
    if not loud.any() or np.median(share[loud]) > _USUALLY:
        return []
    holes = np.flatnonzero(loud & (share > _HOLE))
    spans: list[Interval] = []
    for hole in holes:
        start = float(hole * rows / cells.rate_hz)
        end = float((hole + 1) * rows / cells.rate_hz)
        if spans and abs(spans[-1][1] - start) < 1e-6:
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((start, end))
    return [
        f"From {clock(start)} to {clock(end)} something plays in the mix that no stem holds."
        for start, end in spans
    ]
