"""What is known of a pair of recordings, and how it is kept in files."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from tests.benchmarks.performances import Played

Samples = npt.NDArray[np.float32]
Times = npt.NDArray[np.float64]

SHORTEST_INTERVAL_S = 0.005
"""Onsets closer than this (scatter may even exchange two) count once."""


@dataclass(frozen=True)
class Jump:
    """Music that one recording has and the other lacks.

    Attributes
    ----------
    lacking
        `"candidate"` or `"reference"`.
    kind
        `"cut"` or `"repeat"`.
    length_s
        How long the missing music lasts, in the recording that has it.
    from_s, until_s
        Where it stands there. Of a repeat either visit may be taken as the missing one: the
        jump can then lie anywhere within `from_s - length_s .. until_s`.
    other_s
        Where the joint stands in the recording that lacks it; the end of the passage that is
        played once, if it is a repeat.
    """

    lacking: str
    kind: str
    length_s: float
    from_s: float
    until_s: float
    other_s: float


@dataclass(frozen=True)
class Pair:
    """Two recordings and what is known of them.

    Attributes
    ----------
    name, condition, movement, seed
        What it is.
    reference, candidate
        (n, 2) float32.
    reference_rate_hz, candidate_rate_hz
        Sample rates.
    relation
        `"same_take"`, `"same_passage"` or `"unrelated"`.
    true_reference_s, true_candidate_s
        (events,) onsets that both recordings have, strictly increasing where there is no jump.
        Empty if unrelated.
    sharp
        (events,) whether an instrument that begins at once takes part.
    offset_s, drift_ppm
        Same take only: candidate time = offset_s + reference time x (1 + drift_ppm 1e-6).
    polarity
        1 or -1 (same take inverted).
    channels_swapped
        Whether left and right are exchanged.
    transposition_semitones, tuning_cents
        Candidate against reference.
    tempo_ratio
        Candidate's duration against the reference's, between the first and the last onset in
        both (above 1: the candidate is slower). With jumps: without the music they skip.
    reference_span_s, candidate_span_s
        Where the music they share begins and ends.
    jumps
        Cuts and repeats.
    """

    name: str
    condition: str
    movement: str
    seed: int
    reference: Samples
    candidate: Samples
    reference_rate_hz: int
    candidate_rate_hz: int
    relation: str
    true_reference_s: Times
    true_candidate_s: Times
    sharp: npt.NDArray[np.bool_]
    offset_s: float | None = None
    drift_ppm: float | None = None
    polarity: int = 1
    channels_swapped: bool = False
    transposition_semitones: int = 0
    tuning_cents: float = 0.0
    tempo_ratio: float | None = None
    reference_span_s: tuple[float, float] | None = None
    candidate_span_s: tuple[float, float] | None = None
    jumps: tuple[Jump, ...] = ()

    def truth(self) -> dict[str, object]:
        """All but the samples, for a JSON file."""
        plain: dict[str, object] = {}
        for field in dataclasses.fields(self):
            value = getattr(self, field.name)
            if field.name in ("reference", "candidate"):
                continue
            if isinstance(value, np.ndarray):
                value = np.round(value, 9).tolist() if value.dtype != bool else value.tolist()
            if field.name == "jumps":
                value = [dataclasses.asdict(jump) for jump in value]
            plain[field.name] = value
        return plain


# --- from what was played ---


def shared_onsets(
    reference: Played, candidate: Played
) -> tuple[Times, Times, npt.NDArray[np.bool_]]:
    """Onsets in both: reference time, candidate time, sharpness, in order of reference time.

    A place that one plays more often than the other has no single counterpart and is left out.
    """
    places = [_places(reference), _places(candidate)]
    common = sorted(
        place
        for place in places[0].keys() & places[1].keys()
        if (place[0], 1) in places[0].keys() & places[1].keys()
        or not ((place[0], 1) in places[0] or (place[0], 1) in places[1])
    )
    pairs = [(places[0][place], places[1][place]) for place in common]
    rows = [
        (reference.onset_s[i], candidate.onset_s[j], reference.sharp[i] and candidate.sharp[j])
        for i, j in pairs
    ]
    rows.sort()
    kept = rows[:1]
    for row in rows[1:]:
        step_s = min(row[0] - kept[-1][0], row[1] - kept[-1][1])
        if step_s >= SHORTEST_INTERVAL_S:
            kept.append(row)
    table = np.array(kept, dtype=np.float64)
    return table[:, 0], table[:, 1], table[:, 2].astype(np.bool_)


def _places(played: Played) -> dict[tuple[float, int], int]:
    """Index of the event by (place in the score, visit)."""
    keys = zip(played.score_quarter.tolist(), played.visit.tolist(), strict=True)
    return {key: index for index, key in enumerate(keys)}


def find_jumps(change: str | None, reference: Played, candidate: Played) -> tuple[Jump, ...]:
    if change is None:
        return ()
    lacking = "candidate" if change in ("cut", "repeat not taken") else "reference"
    lacks, has = (candidate, reference) if lacking == "candidate" else (reference, candidate)
    if change in ("cut", "insertion"):
        # The one that lacks the bars has a joint; the other plays straight on.
        last_quarter, next_quarter = _around_joint(lacks)
        from_s, until_s = _time_after(has, last_quarter), _time_of(has, next_quarter)
        return (Jump(lacking, "cut", until_s - from_s, from_s, until_s, float(lacks.joint_s[1])),)
    second = has.visit == 1
    from_s = float(has.joint_s[1])
    until_s = _time_after(has, float(has.score_quarter[second].max()), visit=1)
    other_s = _time_after(lacks, float(has.score_quarter[second].max()))
    return (Jump(lacking, "repeat", until_s - from_s, from_s, until_s, other_s),)


def _around_joint(played: Played) -> tuple[float, float]:
    """The last place before the joint and the first behind it."""
    gap = int(np.argmax(np.diff(np.unique(played.score_quarter))))
    quarter = np.unique(played.score_quarter)
    return float(quarter[gap]), float(quarter[gap + 1])


def _time_of(played: Played, quarter: float, visit: int = 0) -> float:
    index = (np.abs(played.score_quarter - quarter) < 1e-6) & (played.visit == visit)
    return float(played.onset_s[index][0])


def _time_after(played: Played, quarter: float, visit: int = 0) -> float:
    """Onset of the event that follows a place, or of the music's end."""
    now_s = _time_of(played, quarter, visit)
    later = played.onset_s[played.onset_s > now_s + 1e-6]
    return float(later.min()) if len(later) else float(played.joint_s[-1])


def tempo_ratio(reference_s: Times, candidate_s: Times, jumps: tuple[Jump, ...]) -> float:
    skipped = {"reference": 0.0, "candidate": 0.0}
    for jump in jumps:
        has = "reference" if jump.lacking == "candidate" else "candidate"
        skipped[has] += jump.length_s
    candidate_length_s = candidate_s[-1] - candidate_s[0] - skipped["candidate"]
    return float(candidate_length_s / (reference_s[-1] - reference_s[0] - skipped["reference"]))


# --- files ---


def write_pair(pair: Pair, folder: Path) -> None:
    """Write a pair as two FLAC files of 24 bits and one JSON file."""
    folder.mkdir(parents=True, exist_ok=True)
    for role, samples, rate_hz in (
        ("reference", pair.reference, pair.reference_rate_hz),
        ("candidate", pair.candidate, pair.candidate_rate_hz),
    ):
        unfinished = folder / f"{pair.name}.{role}.part"
        soundfile.write(unfinished, samples, rate_hz, format="FLAC", subtype="PCM_24")
        unfinished.replace(unfinished.with_suffix(".flac"))
    text = json.dumps(pair.truth(), indent=1, allow_nan=False)
    (folder / f"{pair.name}.truth.json").write_text(text + "\n", encoding="utf-8")


def read_pair(folder: Path, name: str) -> Pair:
    """Read a pair that `write_pair` wrote."""
    truth = json.loads((folder / f"{name}.truth.json").read_text(encoding="utf-8"))
    for role in ("reference", "candidate"):
        truth[role], _ = soundfile.read(folder / f"{name}.{role}.flac", dtype="float32")
    for key in ("true_reference_s", "true_candidate_s"):
        truth[key] = np.array(truth[key], dtype=np.float64)
    truth["sharp"] = np.array(truth["sharp"], dtype=np.bool_)
    truth["jumps"] = tuple(Jump(**jump) for jump in truth["jumps"])
    return Pair(**truth)
