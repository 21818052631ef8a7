"""Do the stems add up to their mix? What is missing, doubled, late, turned round or pressed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mixcompare.findings import clock
from mixcompare.stems.bus import pressed_note
from mixcompare.stems.cells import StemCells
from mixcompare.stems.explained import SOUNDS, Making
from mixcompare.stems.values import Interval
from mixcompare.units import SOUND_M_S

_COPY, _THE_MIX = 0.98, 0.999  # correlations
_OFF_DB, _LATE_S = 4.0, 0.001
_HOLE_S, _HOLE, _USUALLY = 2.0, 0.75, 0.45  # shares of the mix's energy that no stem explains
_LITTLE = 0.3


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
    notes = []
    for one in range(len(names)):
        for other in range(one + 1, len(names)):
            if making.alike[one, other] > _COPY:
                notes.append(
                    f"The stems {names[one]} and {names[other]} are the same sound; leave one out."
                )
    for place, name in enumerate(names):
        if making.with_mix[place] > _THE_MIX:
            notes.append(f"The stem {name} is the mix itself; leave it out.")
        elif making.sounds[place] <= SOUNDS:
            notes.append(
                f"The stem {name} does not sound in the mix where it lies: check that it is of"
                " this mix and starts where the mix does."
            )
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
        if loud.any() and np.median(share[loud]) > 1 - _LITTLE:
            return ["The stems explain little of the mix: most of what sounds is in none of them."]
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
