"""What sounds where in a mix: all mixes and stems read once more, each stem through its filter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mixcompare.audio.recording import Recording
from mixcompare.features.grid import LOW_FFT, SEMITONE_FFT
from mixcompare.features.together import frames_together
from mixcompare.stems.cells import CellSums, StemCells
from mixcompare.stems.explained import Laid, Making
from mixcompare.stems.places import Products

FloatArray = npt.NDArray[np.float64]


def sounding(
    mixes: Sequence[Laid],
    makings: Sequence[Making],
    stems: Sequence[Recording],
    starts_s: Sequence[float],
    centre_hz: FloatArray,
    folded: bool = False,
) -> tuple[StemCells, list[FloatArray]]:
    """Cells of the first mix, and the products over time of all where there are several.

    Parameters
    ----------
    mixes : sequence of Laid
        The candidate, and the reference where it is of the same take.
    makings : sequence of Making
        How each is made of the stems.
    stems : sequence of Recording
        Of the candidate.
    starts_s : sequence of float
        Where the common clock begins in each stem.
    centre_hz : ndarray, shape (bands,)
        Semitones on the candidate's own tuning.
    folded : bool
        Whether products over time are of both channels heard as one.
    """
    count, others = len(mixes[0].gain), len(mixes)
    cells = CellSums(makings[0], centre_hz, count)
    shared = np.all([mix.gain > 0 for mix in mixes], axis=0)
    laid = zip(mixes, makings, strict=True) if others > 1 else ()
    over_time = [Products(making, np.where(shared, mix.gain, 0.0), folded) for mix, making in laid]
    files = [*(mix.mix for mix in mixes), *stems]
    begins_s = [*(mix.start_s for mix in mixes), *starts_s]
    own = range(others, len(files))
    first = 0
    for low, high in frames_together(files, (LOW_FFT, SEMITONE_FFT), count, begins_s):
        cells.push(LOW_FFT, first, low[[0, *own]])
        cells.push(SEMITONE_FFT, first, high[[0, *own]])
        for place, products in enumerate(over_time):
            products.push(first, high[[place, *own]])
        first += high.shape[2]
    return cells.result(), [products.result() for products in over_time]
