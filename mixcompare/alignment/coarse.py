"""Where the passage lies: transposition, excerpt, cuts and repeats, on a coarse clock.

One recording drives: each of its frames is either placed in the other one, moving on by none,
one or two frames, jumping (a cut or a repeat), or has no place at all (talking, applause,
silence). The cheapest such path is found by dynamic programming over rows, vectorised over
columns. The rate is lowered for long recordings so that time and memory grow linearly.

As a graph, ``scipy.sparse.csgraph.dijkstra`` (1.17) finds the same paths, 9 times slower with 300
frames on either side (75 s), 37 times with 1200; it keeps the whole graph in memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import fft

from mixcompare.alignment.representation import Representation

Float32Array = npt.NDArray[np.float32]
FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

FINEST_RATE_HZ = 4.0  # resolution: a quarter of a second; later steps are finer
LARGEST_TABLE = 6_000_000  # cost: cells of the table, beyond which the rate is lowered
LARGEST_TRANSPOSITION = 7  # a fifth, in semitones; our choice

_STEP_COST = 0.1  # our choice, no record on what
_NO_PLACE = 0.75  # cost per frame of having no counterpart; similar frames cost 0.1 to 0.6
_JUMP_COST = 8.0  # at the finest rate; our choice, no record on what
_AS_CHEAP = 0.02
"""Per frame: within that the smaller transposition is likelier. A wrong one costs 0.3 to 0.7 more,
in a bad recording 0.03 to 0.2 (the benchmark's tuning set)."""
_SHORTEST_RUN_S = 4.0  # our choice, no record on what


@dataclass(frozen=True)
class Run:
    """A stretch in which both recordings go on together, seconds on both clocks."""

    reference_s: FloatArray
    candidate_s: FloatArray

    @property
    def length_s(self) -> float:
        """Geometric mean of its lengths on both clocks, so that neither counts for more."""
        return float(np.sqrt(np.ptp(self.reference_s) * np.ptp(self.candidate_s)))

    def mirrored(self) -> Run:
        """The run with the roles of the two recordings exchanged."""
        return Run(self.candidate_s, self.reference_s)


@dataclass(frozen=True)
class CoarsePath:
    """How one recording runs through the other.

    Attributes
    ----------
    runs : tuple of Run
        In playing order.
    semitones : int
        The transposition found.
    cost : float
        Mean misfit of what is placed.
    order_gain : float
        By how much a path through the candidate played backwards costs more, per frame: it has the
        same notes, chords and instruments, in another order, as other music has.
    """

    runs: tuple[Run, ...]
    semitones: int
    cost: float
    order_gain: float


def find_offset_s(
    reference: Representation,
    candidate: Representation,
    within_s: tuple[float, float] | None = None,
) -> list[float]:
    """Candidate times that may fall on reference time 0 if both are one take, best first.

    Cross-correlation by FFT of the harmony at 10 frames a second, summed over semitones; of part
    of the reference only where a span of it is given.
    """
    rate = 10.0
    of_reference = reference.harmony(rate)
    first = 0
    if within_s is not None:
        first = round(within_s[0] * rate)
        of_reference = of_reference[first : round(within_s[1] * rate)]
    of_candidate = candidate.harmony(rate)
    size = fft.next_fast_len(len(of_reference) + len(of_candidate))
    total = np.zeros(size // 2 + 1, np.complex128)
    for column in range(of_reference.shape[1]):
        total += np.conj(fft.rfft(of_reference[:, column], size)) * fft.rfft(
            of_candidate[:, column], size
        )
    correlation = fft.irfft(total, size)
    lags = np.arange(size)
    lags = np.where(lags < len(of_candidate), lags, lags - size)
    overlap = np.minimum(len(of_reference), len(of_candidate) - lags) - np.maximum(0, -lags)
    score = correlation / np.sqrt(np.maximum(overlap, 20))
    score[overlap < 20] = -np.inf
    found: list[float] = []
    for _ in range(3):
        best = int(np.argmax(score))
        if not np.isfinite(score[best]):
            break
        found.append(float((lags[best] - first) / rate))
        score[np.abs(lags - lags[best]) < 15] = -np.inf
    return found


def find_path(reference: Representation, candidate: Representation) -> CoarsePath:
    """Find where the passage lies, over all transpositions up to a fifth.

    Parameters
    ----------
    reference, candidate : Representation
        The two recordings; the candidate is held against the reference.

    Returns
    -------
    CoarsePath
        ``semitones`` is the candidate's transposition on the tuned semitone grids.
    """
    rate = _rate_for(reference.duration_s, candidate.duration_s, LARGEST_TABLE, FINEST_RATE_HZ)
    semitones = _transposition(reference, candidate)
    of_reference = reference.harmony(rate)
    of_candidate = candidate.transposed(semitones).harmony(rate)
    total, rows, columns = _drive(of_reference, of_candidate, rate)
    misfit = 1 - np.einsum("ik,ik->i", of_reference[rows], of_candidate[columns])
    runs = _runs(rows, columns, rate)
    backwards = total
    if runs:
        # Another transposition may fit best then: what other music may have, it may have too.
        semitones_back = _transposition(reference, candidate, backwards=True)
        of_candidate = candidate.transposed(semitones_back).harmony(rate)[::-1]
        backwards, _, _ = _drive(of_reference, of_candidate, rate)
    cost = float(misfit.mean()) if len(rows) else 1.0
    return CoarsePath(runs, semitones, cost, backwards - total)


def whole_places(passage: Representation, other: Representation) -> list[tuple[float, float]]:
    """Where the other recording may have a passage from beginning to end, the likeliest first.

    All of the passage is placed, moving on by none, one or two frames; places don't overlap.
    """
    rate = _rate_for(passage.duration_s, other.duration_s, LARGEST_TABLE, FINEST_RATE_HZ)
    rows, columns = passage.harmony(rate), other.harmony(rate)
    cost = 1 - rows[0] @ columns.T
    begins = np.arange(len(columns))
    for row in rows[1:]:
        options = np.full((3, len(columns)), np.inf)
        options[0, 1:] = cost[:-1]
        options[1] = cost + _STEP_COST
        options[2, 2:] = cost[:-2] + _STEP_COST
        choice = options.argmin(axis=0)
        came_from = np.maximum(np.arange(len(columns)) - np.array([1, 0, 2])[choice], 0)
        begins = begins[came_from]
        cost = options.min(axis=0) + (1 - row @ columns.T)
    cost /= len(rows)
    places = []
    while cost.min() < _NO_PLACE:
        end = int(cost.argmin())
        first = int(begins[end])
        places.append((first / rate, end / rate))
        ends = np.arange(len(cost))
        cost = np.where((ends > first) & (begins < end), np.inf, cost)
    return places


def _transposition(
    reference: Representation, candidate: Representation, backwards: bool = False
) -> int:
    """The candidate's transposition with which it costs least, up to a fifth either way."""
    rate = _rate_for(reference.duration_s, candidate.duration_s, 400_000, 1.0)
    of_reference = reference.harmony(rate)
    of_candidate = candidate.harmony(rate)[:: -1 if backwards else 1]
    costs = {}
    for semitones in range(-LARGEST_TRANSPOSITION, LARGEST_TRANSPOSITION + 1):
        shifted = np.zeros_like(of_candidate)
        low, high = max(0, semitones), of_candidate.shape[1] + min(0, semitones)
        shifted[:, low - semitones : high - semitones] = of_candidate[:, low:high]
        costs[semitones] = _drive(of_reference, shifted, rate)[0]
    least = min(costs.values()) + _AS_CHEAP
    return min(
        (shift for shift in costs if costs[shift] <= least),
        key=lambda shift: (abs(shift), costs[shift]),
    )


def _rate_for(reference_s: float, candidate_s: float, cells: int, finest_hz: float) -> float:
    return float(min(finest_hz, np.sqrt(cells / (reference_s * candidate_s))))


def _drive(
    of_reference: Float32Array, of_candidate: Float32Array, rate: float
) -> tuple[float, IntArray, IntArray]:
    """Let the shorter drive, or both where they are about equally long; take the cheaper."""
    tries = []
    if len(of_reference) < 1.5 * len(of_candidate):
        cost, columns = jump_path(of_reference, of_candidate, rate)
        rows = np.flatnonzero(columns >= 0)
        tries.append((cost, rows, columns[rows]))
    if len(of_candidate) < 1.5 * len(of_reference):
        cost, rows_of = jump_path(of_candidate, of_reference, rate)
        columns = np.flatnonzero(rows_of >= 0)
        tries.append((cost, rows_of[columns], columns))
    return min(tries, key=lambda attempt: attempt[0])


def jump_path(driver: Float32Array, other: Float32Array, rate: float) -> tuple[float, IntArray]:
    """Place every frame of the driver in the other recording, or nowhere (-1).

    Parameters
    ----------
    driver : ndarray, shape (n, bands)
        Its frames are placed.
    other : ndarray, shape (m, bands)
        The recording they are placed in.
    rate : float
        Frames a second; costs of jumps are set per second.

    Returns
    -------
    cost : float
        Mean cost per driving frame.
    place : ndarray of int, shape (n,)
    """
    rows, columns = len(driver), len(other)
    jump = _JUMP_COST * rate / FINEST_RATE_HZ
    step = _STEP_COST
    costs = (1 - driver[0] @ other.T).astype(np.float64)
    nowhere = _NO_PLACE
    came = np.zeros((rows, columns), np.int8)
    jumped_from = np.zeros(rows, np.int64)
    nowhere_from = np.full(rows, -1, np.int64)
    for row in range(1, rows):
        best = int(costs.argmin())
        entry_jump = costs[best] + jump
        entry_nowhere = nowhere + 0.5 * jump
        enters = min(entry_jump, entry_nowhere)
        # The first of equals counts, as of an argmin over all four at once, which takes longer.
        least, choice = np.empty_like(costs), came[row]
        least[0], least[1:] = np.inf, costs[:-1]
        held = costs + step
        for number, first, others in ((1, 0, held), (2, 2, held[:-2])):
            better = others < least[first:]
            np.copyto(choice[first:], number, where=better)
            np.copyto(least[first:], others, where=better)
        choice[least > enters] = 3
        np.minimum(least, enters, out=least)
        jumped_from[row] = best if entry_jump <= entry_nowhere else -1
        leave = costs[best] + 0.5 * jump
        if leave < nowhere:
            nowhere_from[row] = best
        nowhere = min(nowhere, leave) + _NO_PLACE
        costs = least + (1 - driver[row] @ other.T)
    place = np.full(rows, -1, np.int64)
    state = int(costs.argmin())
    total = min(float(costs[state]), float(nowhere))
    if nowhere < costs[state]:
        state = -1
    for row in range(rows - 1, -1, -1):
        place[row] = state
        if row == 0:
            break
        if state < 0:
            state = int(nowhere_from[row])
        else:
            state = (state - 1, state, state - 2, int(jumped_from[row]))[came[row, state]]
    return total / rows, place


def _runs(rows: IntArray, columns: IntArray, rate: float) -> tuple[Run, ...]:
    """Split a placed path where either clock jumps, and drop runs too short to trust."""
    if len(rows) == 0:
        return ()
    broken = (np.diff(rows) > 2) | (np.diff(columns) > 2) | (np.diff(columns) < 0)
    broken |= np.diff(rows) < 0
    pieces = np.split(np.arange(len(rows)), np.flatnonzero(broken) + 1)
    runs = []
    for piece in pieces:
        run = Run(rows[piece] / rate, columns[piece] / rate)
        if run.length_s >= _SHORTEST_RUN_S or (len(pieces) == 1 and run.length_s > 0):
            runs.append(run)
    return tuple(runs)
