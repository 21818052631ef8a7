"""Where a moment of the reference lies in the candidate, and back.

Conventions
-----------
Times are seconds from the start of each recording's span. The map is piecewise linear
between nodes and strictly increasing in both clocks. Outside the nodes it goes on with the
slope of the nearest segment, so that a span that reaches a little further still has a place;
``covers`` tells what is really matched.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from mixcompare.errors import AlignmentError

FloatArray = npt.NDArray[np.float64]

DEVIATIONS_90 = 1.645  # normal quantile: half width of 90 % in standard deviations
_SURE = 1.2  # times the usual half width
_LATEST_S, _LEAST_S = 1e7, 1e-10  # range in which slopes are numbers; our choice


@dataclass(frozen=True)
class TimeMap:
    """A strictly increasing map between two clocks.

    Attributes
    ----------
    reference_s, candidate_s : ndarray, shape (n,)
        Nodes, n >= 2, strictly increasing in both.
    half_width_ms : ndarray, shape (n,), optional
        Half width of the 90 % band of the map's error at each node; infinite where the
        reference has no counterpart in the candidate. Default: zero everywhere.

    Raises
    ------
    AlignmentError
        If the nodes are fewer than two, not finite or not strictly increasing.
    """

    reference_s: FloatArray
    candidate_s: FloatArray
    half_width_ms: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        reference = np.asarray(self.reference_s, np.float64)
        candidate = np.asarray(self.candidate_s, np.float64)
        if reference.shape != candidate.shape or reference.ndim != 1 or len(reference) < 2:
            raise AlignmentError("a time map needs two lists of at least two times, equally long.")
        if not (np.isfinite(reference).all() and np.isfinite(candidate).all()):
            raise AlignmentError("a time map holds times that are not numbers.")
        if max(np.abs(reference).max(), np.abs(candidate).max()) > _LATEST_S:
            raise AlignmentError("a time map holds times that no recording has; give seconds.")
        if min(np.diff(reference).min(), np.diff(candidate).min()) < _LEAST_S:
            raise AlignmentError("the times of a map must rise from row to row in both columns.")
        width = np.asarray(self.half_width_ms, np.float64)
        if width.size == 0:
            width = np.zeros(len(reference))
        if width.shape != reference.shape or not (width >= 0).all():
            raise AlignmentError("a time map needs one width, of zero or more, for every time.")
        object.__setattr__(self, "reference_s", reference)
        object.__setattr__(self, "candidate_s", candidate)
        object.__setattr__(self, "half_width_ms", width)

    @classmethod
    def linear(
        cls, offset_s: float, slope: float, start_s: float, end_s: float, half_width_ms: float = 0.0
    ) -> TimeMap:
        """Map t to ``offset_s + slope * t`` for reference times from start to end."""
        reference = np.array([start_s, end_s])
        return cls(reference, offset_s + slope * reference, np.full(2, half_width_ms))

    @property
    def span_s(self) -> tuple[float, float]:
        """Part of the reference that is matched."""
        return float(self.reference_s[0]), float(self.reference_s[-1])

    @property
    def candidate_span_s(self) -> tuple[float, float]:
        """Part of the candidate that is matched."""
        return float(self.candidate_s[0]), float(self.candidate_s[-1])

    def to_candidate(self, reference_s: npt.ArrayLike) -> FloatArray:
        """Candidate times of the given reference times."""
        return _interpolate(np.asarray(reference_s, np.float64), self.reference_s, self.candidate_s)

    def to_reference(self, candidate_s: npt.ArrayLike) -> FloatArray:
        """Reference times of the given candidate times."""
        return _interpolate(np.asarray(candidate_s, np.float64), self.candidate_s, self.reference_s)

    def uncertainty_ms(self, reference_s: npt.ArrayLike) -> FloatArray:
        """Half width of the 90 % band at the given reference times."""
        times = np.asarray(reference_s, np.float64)
        left = np.clip(np.searchsorted(self.reference_s, times) - 1, 0, len(self.reference_s) - 2)
        gap = ~np.isfinite(self.half_width_ms[left]) & ~np.isfinite(self.half_width_ms[left + 1])
        finite = np.where(np.isfinite(self.half_width_ms), self.half_width_ms, 0.0)
        width = np.interp(times, self.reference_s, finite)
        return np.where(gap | ~self._inside(times), np.inf, width)

    def covers(self, reference_s: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Whether the given reference times have a counterpart in the candidate."""
        return np.isfinite(self.uncertainty_ms(reference_s))

    @property
    def matched(self) -> npt.NDArray[np.bool_]:
        """Which segments between nodes are matched (both ends without a counterpart = a gap)."""
        told = np.isfinite(self.half_width_ms)
        matched: npt.NDArray[np.bool_] = told[:-1] | told[1:]
        return matched

    def pace(self) -> tuple[float, float]:
        """Ratio of the matched durations, candidate over reference, and its standard deviation.

        Each matched stretch counts between its first and last sure places: before the first attack
        and in the last chord's decay the map only goes on evenly.
        """
        padded = np.concatenate([[False], self.matched, [False]])
        changes = np.flatnonzero(padded[1:] != padded[:-1])
        width_ms = self.half_width_ms
        told = np.isfinite(width_ms)
        sure = width_ms <= _SURE * np.median(width_ms[told]) if told.any() else told
        reference = candidate = square = 0.0
        for first, last in zip(changes[::2], changes[1::2], strict=True):
            ends = np.array([first, last])
            inside = first + np.flatnonzero(sure[first : last + 1])
            if len(inside) > 1:
                near = inside[[0, -1]]
                if np.ptp(self.reference_s[near]) >= 0.5 * np.ptp(self.reference_s[ends]):
                    ends = near
            reference += float(np.ptp(self.reference_s[ends]))
            candidate += float(np.ptp(self.candidate_s[ends]))
            square += float(np.sum(width_ms[ends][told[ends]] ** 2))
        if reference == 0.0:
            return float(np.ptp(self.candidate_s) / np.ptp(self.reference_s)), 0.0
        return candidate / reference, float(np.sqrt(square)) / 1000 / DEVIATIONS_90 / reference

    def _inside(self, times: FloatArray) -> npt.NDArray[np.bool_]:
        start, end = self.span_s
        inside: npt.NDArray[np.bool_] = (times >= start - 1e-9) & (times <= end + 1e-9)
        return inside

    def moved(self, reference_by_s: float, candidate_by_s: float) -> TimeMap:
        """The same map on clocks that read so much more."""
        return TimeMap(
            self.reference_s + reference_by_s,
            self.candidate_s + candidate_by_s,
            self.half_width_ms,
        )

    def inverse(self) -> TimeMap:
        """The map with the roles of the two recordings exchanged."""
        return TimeMap(self.candidate_s, self.reference_s, self.half_width_ms)

    def then(self, other: TimeMap) -> TimeMap:
        """Compose: from this map's reference, through its candidate, to the other's candidate."""
        nodes = np.union1d(self.reference_s, self.to_reference(other.reference_s))
        inside = (nodes >= self.reference_s[0]) & (nodes <= self.reference_s[-1])
        nodes = nodes[inside]
        middle = self.to_candidate(nodes)
        keep = np.concatenate([[True], (np.diff(nodes) > 1e-9) & (np.diff(middle) > 1e-9)])
        nodes, middle = nodes[keep], middle[keep]
        width = np.hypot(self.uncertainty_ms(nodes), other.uncertainty_ms(middle))
        return TimeMap(nodes, other.to_candidate(middle), width)

    def thinned(self, points_per_s: float = 20.0) -> TimeMap:
        """At most so many nodes a second on either clock (for the report)."""
        spacing = 1.0 / points_per_s
        keep = [0]
        last = len(self.reference_s) - 1
        for index in range(1, last):
            steps = (
                self.reference_s[index] - self.reference_s[keep[-1]],
                self.candidate_s[index] - self.candidate_s[keep[-1]],
                self.reference_s[last] - self.reference_s[index],
                self.candidate_s[last] - self.candidate_s[index],
            )
            if min(steps) >= spacing:
                keep.append(index)
        keep.append(last)
        return TimeMap(self.reference_s[keep], self.candidate_s[keep], self.half_width_ms[keep])

    def warp(
        self, candidate_frames: npt.NDArray[np.floating], rate_hz: float, reference_s: npt.ArrayLike
    ) -> FloatArray:
        """Sample the candidate's frames at the places of the given reference times.

        Parameters
        ----------
        candidate_frames : ndarray, shape (frames, ...)
            Frame k lies at k / rate_hz seconds.
        rate_hz : float
            Frames a second.
        reference_s : array_like, shape (m,)
            Where to sample.

        Returns
        -------
        ndarray, shape (m, ...)
            Linear interpolation; the edge frames hold outside the recording.
        """
        return sample_frames(candidate_frames, rate_hz, self.to_candidate(reference_s))


def sample_frames(
    frames: npt.NDArray[np.floating],
    rate_hz: float,
    times_s: npt.ArrayLike,
    columns: npt.NDArray[np.int64] | None = None,
) -> FloatArray:
    """Linear interpolation of a frame matrix (frame k at k / rate_hz) at the given times.

    Of some columns only where they are given: the others are not touched, nor copied.
    """
    position = np.clip(np.asarray(times_s, np.float64) * rate_hz, 0, len(frames) - 1)
    left = np.minimum(position.astype(np.int64), max(len(frames) - 2, 0))
    right = np.minimum(left + 1, len(frames) - 1)
    weight = (position - left).reshape((-1,) + (1,) * (frames.ndim - 1))
    if columns is None:
        before, behind = frames[left], frames[right]
    else:
        before, behind = frames[left[:, None], columns], frames[right[:, None], columns]
    return np.asarray(before * (1 - weight) + behind * weight, np.float64)


def _interpolate(times: FloatArray, from_s: FloatArray, to_s: FloatArray) -> FloatArray:
    inside = np.interp(times, from_s, to_s)
    first = (to_s[1] - to_s[0]) / (from_s[1] - from_s[0])
    last = (to_s[-1] - to_s[-2]) / (from_s[-1] - from_s[-2])
    before = to_s[0] + (times - from_s[0]) * first
    after = to_s[-1] + (times - from_s[-1]) * last
    return np.where(times < from_s[0], before, np.where(times > from_s[-1], after, inside))
