"""What sticks out, on pairs whose one change is known: precision, recall, sizes, coverage.

``python -m tests.benchmarks.elements [--passages 2 3 4] [--performances same other] [--each]``

Half of the pairs have nothing or a nuisance changed. Constants were chosen on passages 0 and 1;
report figures of the others.
"""

from __future__ import annotations

import argparse
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
from scipy import signal

from mixcompare.alignment import align
from mixcompare.comparison import analyse
from mixcompare.features import Features
from mixcompare.findings import Finding
from mixcompare.recording import Recording
from tests.analyzers.stereo_music import filtered
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.passages import ELEMENTS, RATE_HZ, mixed, stems_of

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Scenario:
    """What the candidate has that the reference lacks.

    Attributes
    ----------
    name : str
    element : str or None
        The changed element; None where nothing may be reported of balance.
    change_db : float
    shelf_db : float
        High shelf at 2 kHz: tone.
    room_s, wet_db, room_seed
        The candidate's room (reference: 1.4 s, -6 dB, seed 1).
    gain_db : float
    soundfont : int
    codec : bool
        Through a lossy codec.
    expected : tuple of str
        Aspects that may be reported.
    """

    name: str
    element: str | None = None
    change_db: float = 0.0
    shelf_db: float = 0.0
    room_s: float = 1.4
    wet_db: float = -6.0
    room_seed: int = 1
    gain_db: float = 0.0
    soundfont: int = 0
    codec: bool = False
    expected: tuple[str, ...] = ()


UNCHANGED = (
    Scenario("nothing"),
    Scenario("gain", gain_db=-5.0),
    Scenario("codec", codec=True),
    Scenario("other seats", room_seed=2),
    Scenario("other seats, louder", room_seed=3, gain_db=3.0),
)
OTHER_INSTRUMENTS = Scenario("other instruments", soundfont=1, expected=("tone",))
CHANGED = (
    *(
        Scenario(f"{element} {change:+d}", element, float(change))
        for element, change in (
            ("figure", 6), ("figure", 4), ("figure", 3), ("figure", -6), ("melody", 6),
            ("melody", 4), ("bass", 5), ("chords", 5), ("horns", 6), ("timpani", 6), ("oboes", 6),
        )
    ),
    Scenario("shelf +4", shelf_db=4.0, expected=("tone",)),
    Scenario("shelf -4", shelf_db=-4.0, expected=("tone",)),
    Scenario("wetter", room_s=2.2, wet_db=0.0, expected=("room",)),
)  # fmt: skip


@dataclass(frozen=True)
class Answer:
    """What was found on one pair."""

    scenario: Scenario
    name: str
    findings: tuple[Finding, ...]
    first_right: bool
    found: Finding | None
    false: tuple[Finding, ...]


def coded(samples: FloatArray) -> FloatArray:
    """Through Ogg Vorbis and back."""
    buffer = io.BytesIO()
    soundfile.write(buffer, samples, RATE_HZ, format="OGG", subtype="VORBIS")
    buffer.seek(0)
    return np.asarray(soundfile.read(buffer)[0])


def candidate_of(scenario: Scenario, passage: int, performance: int, cache: Path) -> FloatArray:
    """The changed recording."""
    stems = stems_of(passage, scenario.soundfont, performance, cache)
    gains = {scenario.element: scenario.change_db} if scenario.element else {}
    room = (scenario.room_s, scenario.wet_db, scenario.room_seed)
    out = mixed(stems, passage, gains, *room)
    if scenario.shelf_db:
        shelf = ("high_shelf", 2000.0, scenario.shelf_db, float(np.sqrt(0.5)))
        out = filtered(out, shelf, rate_hz=RATE_HZ)
    out = out * 10 ** (scenario.gain_db / 20)
    return coded(out) if scenario.codec else out


def element_band_hz(stems: dict[str, FloatArray], element: str) -> tuple[float, float]:
    """Range that holds seven eighths of an element's energy."""
    whole = np.sum([stems[part] for part in ELEMENTS[element]], axis=0)
    whole = whole.mean(axis=1) if whole.ndim == 2 else whole
    frequency_hz, power = signal.welch(whole, RATE_HZ, nperseg=8192)
    share = np.cumsum(power) / power.sum()
    low, high = np.interp([0.06, 0.94], share, frequency_hz)
    return max(float(low), 30.0), float(high)


def overlap(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Share of the narrower range, in octaves, that both have in common."""
    a, b = np.log2(one), np.log2(other)
    common = min(a[1], b[1]) - max(a[0], b[0])
    return float(max(common, 0.0) / max(min(np.ptp(a), np.ptp(b)), 1e-3))


def judge(
    scenario: Scenario, name: str, findings: Sequence[Finding], band: tuple[float, float] | None
) -> Answer:
    """Sort findings into the right one and false ones."""

    def fits(finding: Finding) -> bool:
        if scenario.element is None:
            return finding.aspect in scenario.expected
        return (
            finding.aspect == "balance"
            and np.sign(finding.difference) == np.sign(scenario.change_db)
            and finding.band_hz is not None
            and band is not None
            and overlap(finding.band_hz, band) > 0.5
        )

    right = [finding for finding in findings if fits(finding)]
    false = tuple(finding for finding in findings if not fits(finding))
    return Answer(
        scenario,
        name,
        tuple(findings),
        bool(findings) and fits(findings[0]),
        right[0] if right else None,
        false,
    )


def answers(passages: Sequence[int], performances: Sequence[str], cache: Path) -> Iterator[Answer]:
    """Run every scenario on every passage."""
    for passage in passages:
        stems = stems_of(passage, 0, 0, cache)
        reference = _features(mixed(stems, passage, {}))
        for performance in performances:
            number = 0 if performance == "same" else 5
            scenarios = UNCHANGED + CHANGED
            if number:
                scenarios += (OTHER_INSTRUMENTS,)
            for scenario in scenarios:
                candidate = _features(candidate_of(scenario, passage, number, cache))
                results = analyse(reference, candidate, align(reference, candidate))
                band = element_band_hz(stems, scenario.element) if scenario.element else None
                name = f"passage {passage}, {performance}, {scenario.name}"
                yield judge(scenario, name, results.findings, band)


def _features(samples: FloatArray) -> Features:
    return Features.of(Recording.from_array(samples, RATE_HZ))


def report(told: Sequence[Answer]) -> str:
    """Tables as text."""
    lines = [
        f"{'scenario':22} {'pairs':>5} {'found':>5} {'first':>5} {'false':>5} {'size error':>11}"
    ]
    for name in dict.fromkeys(answer.scenario.name for answer in told):
        group = [answer for answer in told if answer.scenario.name == name]
        errors = [
            answer.found.difference - answer.scenario.change_db
            for answer in group
            if answer.found and answer.scenario.element
        ]
        size = f"{np.median(np.abs(errors)):.1f} dB" if errors else "-"
        found = sum(answer.found is not None for answer in group)
        first = sum(answer.first_right for answer in group)
        false = sum(len(answer.false) for answer in group)
        lines.append(f"{name:22} {len(group):5} {found:5} {first:5} {false:5} {size:>11}")
    changed = [answer for answer in told if answer.scenario.element]
    right = [answer for answer in changed if answer.found]
    quiet = [answer for answer in told if answer.scenario in UNCHANGED]
    errors = np.abs([a.found.difference - a.scenario.change_db for a in right if a.found])
    held = [
        a.found.interval[0] <= a.scenario.change_db <= a.found.interval[1] for a in right if a.found
    ]
    large = [answer for answer in changed if abs(answer.scenario.change_db) >= 4]
    all_findings = sum(len(answer.findings) for answer in changed)
    precision = 1 - sum(len(answer.false) for answer in changed) / max(all_findings, 1)
    lines.append(f"recall {len(right)}/{len(changed)}, precision {precision:.0%}")
    firsts = sum(answer.first_right for answer in large)
    lines.append(f"first place at 4 dB or more: {firsts}/{len(large)}")
    loud = sum(bool(answer.findings) for answer in quiet)
    lines.append(f"unchanged pairs with a finding: {loud}/{len(quiet)}")
    if len(errors):
        lines.append(
            f"size error {np.median(errors):.1f} dB median, {np.percentile(errors, 90):.1f} dB at"
            f" the 90th percentile; interval holds the truth in {np.mean(held):.0%}"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the calibration and print its tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--passages", nargs="*", type=int, default=[2, 3, 4])
    parser.add_argument("--performances", nargs="*", default=["same", "other"])
    parser.add_argument("--cache", type=Path, help="folder for stems")
    parser.add_argument("--each", action="store_true", help="a line for every pair")
    options = parser.parse_args(arguments)
    told = []
    for answer in answers(options.passages, options.performances, cache_folder(options.cache)):
        told.append(answer)
        if options.each:
            words = [f"{f.kind} {f.difference:+.1f} {f.unit}" for f in answer.findings]
            print(f"{answer.name}: {'; '.join(words) or '-'}", flush=True)
    for performance in options.performances:
        group = [answer for answer in told if f", {performance}, " in answer.name]
        print(f"\n{performance} performance\n{report(group)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
