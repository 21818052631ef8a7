"""What sticks out, on pairs whose one change is known: precision, recall, sizes, coverage.

``python -m tests.benchmarks.elements [--set reporting] [--performances same other] [--each]``

Half of the pairs have nothing or a nuisance changed. Constants were chosen on the made-up
passages 0 and 1 and on the tuning movements of :mod:`tests.benchmarks.corpus`; report figures of
the others. A folder of recordings of one's own is read with ``--folder``: for every
``truth.json`` in it ({"reference": file, "candidate": file, "element": name or null,
"change_db": number, "band_hz": [low, high]}) one pair.
"""

from __future__ import annotations

import argparse
import io
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
from scipy import signal

from mixcompare.alignment import align
from mixcompare.analysis import analyse
from mixcompare.aspects.balance.values import AGAINST
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.findings import Finding
from tests.aspects.stereo_music import filtered
from tests.benchmarks.corpus import SETS, cache_folder
from tests.benchmarks.scenes import RATE_HZ, MadeUp, Scene, Scored, Stems, mixed

FloatArray = npt.NDArray[np.float64]

PASSAGES = {"tuning": (0, 1), "reporting": (2, 3, 4)}
OTHER_PERFORMANCES = (5, 9)


@dataclass(frozen=True)
class Scenario:
    """What the candidate has that the reference lacks.

    Attributes
    ----------
    name : str
    element : str or None
        The changed element; None where nothing may be reported of balance.
    change_db : float
    span_s : tuple of float or None
        Where the change holds, if not everywhere.
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
    span_s: tuple[float, float] | None = None
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
OTHER_INSTRUMENTS = Scenario("other instruments", soundfont=1, expected=("tone", "articulation"))
OTHER_CAUSES = (
    Scenario("shelf +4", shelf_db=4.0, expected=("tone",)),
    Scenario("shelf -4", shelf_db=-4.0, expected=("tone",)),
    Scenario("wetter", room_s=2.2, wet_db=0.0, expected=("room",)),
)
IN_PLACES_S = (10.0, 16.0)
LARGE_DB = 4.0


def element_changes(scene: Scene) -> tuple[Scenario, ...]:
    """Single changes of one element: the large ones, then 3 dB, then one in a span only."""
    if isinstance(scene, MadeUp):
        chosen = [("figure", 6), ("figure", 4), ("figure", 3), ("figure", -6), ("melody", 6)]
        chosen += [("melody", 4), ("bass", 5), ("chords", 5), ("horns", 6), ("timpani", 6)]
        chosen += [("oboes", 6)]
    else:
        colours = [name for name in scene.elements if name not in ("melody", "bass", "inner")]
        chosen = [("melody", 6), ("melody", 4), ("melody", 3), ("melody", -5), ("bass", 5)]
        chosen += [("inner", 6), *((name, 6) for name in colours[:2])]
    everywhere = [Scenario(f"{name} {change:+d}", name, float(change)) for name, change in chosen]
    local = Scenario("melody +6 in places", "melody", 6.0, IN_PLACES_S)
    return (*everywhere, local)


@dataclass(frozen=True)
class Answer:
    """What was found on one pair."""

    scenario: Scenario
    scene: str
    performance: str
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


def candidate_of(scenario: Scenario, scene: Scene, performance: int, cache: Path) -> FloatArray:
    """The changed recording."""
    stems = scene.stems(scenario.soundfont, performance, cache)
    gains = {scenario.element: scenario.change_db} if scenario.element else {}
    room = (scenario.room_s, scenario.wet_db, scenario.room_seed)
    out = mixed(stems, scene.elements, gains, room, scenario.span_s)
    if scenario.shelf_db:
        shelf = ("high_shelf", 2000.0, scenario.shelf_db, float(np.sqrt(0.5)))
        out = filtered(out, shelf, rate_hz=RATE_HZ)
    out = out * 10 ** (scenario.gain_db / 20)
    return coded(out) if scenario.codec else out


def element_band_hz(stems: Stems, parts: Sequence[str]) -> tuple[float, float]:
    """Range that holds seven eighths of an element's energy."""
    gains = {part.name: 10 ** (part.gain_db / 20) for part in stems.parts}
    whole = np.sum([gains[p] * stems.samples[p] for p in parts if p in stems.samples], axis=0)
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
    scenario: Scenario,
    scene: str,
    performance: str,
    findings: Sequence[Finding],
    band: tuple[float, float] | None,
) -> Answer:
    """Sort findings into the right one and false ones."""

    def fits(finding: Finding) -> bool:
        if scenario.element is None:
            return finding.aspect in scenario.expected
        against = finding.subject.endswith(AGAINST)
        return against or (
            finding.aspect == "balance"
            and np.sign(finding.difference) == np.sign(scenario.change_db)
            and finding.band_hz is not None
            and band is not None
            and overlap(finding.band_hz, band) > 0.5
        )

    if performance == "other":  # their tempi do differ
        findings = [finding for finding in findings if finding.aspect != "tempo"]
    right = [finding for finding in findings if fits(finding)]
    false = tuple(finding for finding in findings if not fits(finding))
    return Answer(
        scenario,
        scene,
        performance,
        tuple(findings),
        bool(findings) and fits(findings[0]),
        right[0] if right else None,
        false,
    )


def answers(
    scenes: Sequence[Scene], performances: Sequence[str], cache: Path, only: str = ""
) -> Iterator[Answer]:
    """Run every scenario on every scene."""
    for index, scene in enumerate(scenes):
        stems = scene.stems(0, 0, cache)
        reference = _features(mixed(stems, scene.elements, {}))
        for performance in performances:
            number = 0 if performance == "same" else OTHER_PERFORMANCES[index % 2]
            scenarios = UNCHANGED + element_changes(scene) + OTHER_CAUSES
            if number:
                scenarios += (OTHER_INSTRUMENTS,)
            for scenario in scenarios:
                if only not in scenario.name:
                    continue
                parts = scene.elements[scenario.element] if scenario.element else ()
                if scenario.element and not set(parts) & set(stems.samples):
                    continue
                candidate = _features(candidate_of(scenario, scene, number, cache))
                results = analyse(reference, candidate, align(reference, candidate))
                band = element_band_hz(stems, parts) if parts else None
                yield judge(scenario, scene.name, performance, results.findings, band)


def folder_answers(folder: Path) -> Iterator[Answer]:
    """Pairs of one's own, each described by a truth file."""
    for path in sorted(folder.rglob("truth.json")):
        truth = json.loads(path.read_text())
        pair = [Features.of(Recording.open(path.parent / truth[k])) for k in ROLES]
        results = analyse(*pair, align(*pair))
        element = truth.get("element")
        scenario = Scenario(
            str(truth.get("scenario", element or "nothing")),
            element,
            float(truth.get("change_db", 0.0)),
            expected=tuple(truth.get("expected", ())),
        )
        band = tuple(truth["band_hz"]) if element else None
        yield judge(scenario, path.parent.name, "folder", results.findings, band)


ROLES = ("reference", "candidate")


def _features(samples: FloatArray) -> Features:
    return Features.of(Recording.from_array(samples, RATE_HZ))


def report(told: Sequence[Answer]) -> str:
    """Tables as text."""
    lines = [
        f"{'scenario':22} {'pairs':>5} {'found':>5} {'first':>5} {'false':>5} {'size error':>11}"
    ]
    for name in dict.fromkeys(answer.scenario.name for answer in told):
        group = [answer for answer in told if answer.scenario.name == name]
        errors = _size_errors(group)
        size = f"{np.median(errors):.1f} dB" if len(errors) else "-"
        found = sum(answer.found is not None for answer in group)
        first = sum(answer.first_right for answer in group)
        false = sum(len(answer.false) for answer in group)
        lines.append(f"{name:22} {len(group):5} {found:5} {first:5} {false:5} {size:>11}")
    changed = [answer for answer in told if answer.scenario.element]
    right = [answer for answer in changed if answer.found]
    quiet = [answer for answer in told if answer.scenario in UNCHANGED]
    all_findings = sum(len(answer.findings) for answer in changed)
    false_ones = sum(len(answer.false) for answer in changed)
    wrong_balance = sum(f.aspect == "balance" for answer in told for f in answer.false)
    balance = sum(f.aspect == "balance" for answer in told for f in answer.findings)
    lines.append(
        f"recall {len(right)}/{len(changed)}, precision {1 - false_ones / max(all_findings, 1):.0%}"
        f" ({false_ones} of {all_findings} findings false)"
    )
    lines.append(f"balance findings on the wrong element or cause: {wrong_balance}/{balance}")
    for words, group in (
        ("4 dB or more", [a for a in changed if abs(a.scenario.change_db) >= LARGE_DB]),
        ("3 dB", [a for a in changed if abs(a.scenario.change_db) < LARGE_DB]),
    ):
        firsts = sum(answer.first_right for answer in group)
        lines.append(f"first place at {words}: {firsts}/{len(group)}")
    loud = sum(bool(answer.findings) for answer in quiet)
    lines.append(f"unchanged pairs with a finding: {loud}/{len(quiet)}")
    errors = _size_errors(right)
    if len(errors):
        held = [_holds(answer) for answer in right]
        lines.append(
            f"size error {np.median(errors):.1f} dB median, {np.percentile(errors, 90):.1f} dB at"
            f" the 90th percentile; interval holds the truth in {np.mean(held):.0%}"
        )
    lines += _confidence_table(told)
    edges = [
        max(abs(a.found.spans_s[0][0] - a.scenario.span_s[0]),
            abs(a.found.spans_s[-1][1] - a.scenario.span_s[1]))
        for a in right
        if a.found and a.scenario.span_s
    ]  # fmt: skip
    if edges:
        lines.append(
            f"worse edge of a span: {np.median(edges):.1f} s median, {max(edges):.1f} most"
        )
    return "\n".join(lines)


def _size_errors(group: Sequence[Answer]) -> FloatArray:
    """Of a finding that leaves open which group moved, the amount alone."""
    errors = []
    for answer in group:
        if answer.found and answer.scenario.element:
            size, truth = answer.found.difference, answer.scenario.change_db
            if answer.found.subject.endswith(AGAINST):
                size = np.sign(truth) * abs(size)
            errors.append(abs(size - truth))
    return np.array(errors)


def _holds(answer: Answer) -> bool:
    if answer.found is None:
        return False
    edges = answer.found.interval
    truth = answer.scenario.change_db
    if answer.found.subject.endswith(AGAINST):
        edges, truth = (abs(edges[0]), abs(edges[1])), abs(truth)
    return min(edges) <= truth <= max(edges)


def _confidence_table(told: Sequence[Answer]) -> list[str]:
    """Of the findings told with about one confidence, how many were right."""
    said = [
        (finding.confidence, finding not in answer.false)
        for answer in told
        for finding in answer.findings
        if finding.aspect == "balance"
    ]
    lines = []
    for low, high in ((0.5, 0.75), (0.75, 0.9), (0.9, 1.01)):
        inside = [entry for entry in said if low <= entry[0] < high]
        if inside:
            confidence, truth = np.mean(inside, axis=0)
            lines.append(
                f"confidence {low:.2f}-{min(high, 1):.2f}: said {confidence:.2f},"
                f" right {truth:.2f} of {len(inside)}"
            )
    return lines


def scenes_of(name: str, kinds: Sequence[str]) -> list[Scene]:
    """The scenes of a set."""
    scenes: list[Scene] = []
    if "made-up" in kinds:
        scenes += [MadeUp(number) for number in PASSAGES[name]]
    if "scored" in kinds:
        scenes += [Scored(movement) for movement in SETS[name]]
    return scenes


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the calibration and print its tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--set", choices=sorted(PASSAGES), default="reporting")
    parser.add_argument("--kinds", nargs="*", default=["made-up", "scored"])
    parser.add_argument("--performances", nargs="*", default=["same", "other"])
    parser.add_argument("--part", default="0/1", help="every n-th scene, as in 0/2 and 1/2")
    parser.add_argument("--scenario", default="", help="only those with this in their name")
    parser.add_argument("--folder", type=Path, help="read pairs with truth files instead")
    parser.add_argument("--cache", type=Path, help="folder for stems")
    parser.add_argument("--each", action="store_true", help="a line for every pair")
    options = parser.parse_args(arguments)
    share, shares = map(int, options.part.split("/"))
    scenes = scenes_of(options.set, options.kinds)[share::shares]
    cache = cache_folder(options.cache)
    source = (
        folder_answers(options.folder)
        if options.folder
        else answers(scenes, options.performances, cache, options.scenario)
    )
    told = []
    for answer in source:
        told.append(answer)
        if options.each:
            words = [
                f"{f.kind} {f.difference:+.1f} {f.unit} ({f.confidence:.2f}) [{f.subject}]"
                for f in answer.findings
            ]
            mark = "+" if answer.first_right else "o" if answer.found else "."
            told_words = "; ".join(words) or "-"
            print(
                f"{mark}{len(answer.false)} {answer.scene}, {answer.performance},"
                f" {answer.scenario.name}: {told_words}",
                flush=True,
            )
    for performance in dict.fromkeys(answer.performance for answer in told):
        group = [answer for answer in told if answer.performance == performance]
        print(f"\n{performance} performance\n{report(group)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
