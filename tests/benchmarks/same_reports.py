"""Does a change of the code change what is reported? The same pairs, before and after.

``python -m tests.benchmarks.same_reports write FOLDER`` keeps the content of ``report.json`` of
the sample pairs and of twenty made-up ones; ``... compare FOLDER`` makes them again and prints
every value that differs by more than rounding. Run ``write`` before moving code, ``compare``
after; it ends with 1 where anything differs.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

import mixcompare
from tests import samples, synthetic

RATE_HZ = synthetic.RATE_HZ
LEFT_OUT = ("mixcompare_version", "settings", "files")
CLOSE = 1e-6
MOST_SHOWN = 20

Pair = tuple[Any, Any]
Samples = synthetic.FloatArray


def sample_pairs() -> dict[str, Callable[[], dict[str, Any]]]:
    """The shipped recordings: each candidate, the reference with itself, one with its score."""
    reference = samples.path("reference")
    pairs = {
        name: lambda name=name: _document((reference, samples.path(name)))
        for name in (*samples.CANDIDATES, "reference")
    }
    pairs["mirrored"] = lambda: _document((samples.path("candidate_figure_louder"), reference))
    pairs["with score"] = lambda: _document(
        (reference, samples.path("candidate_detached")), score=samples.FOLDER / "score.mid"
    )
    return pairs


def made_up_pairs() -> dict[str, Callable[[], dict[str, Any]]]:
    """Twenty pairs of made-up music: one take and two performances, one thing and several."""
    plain = synthetic.play(11)

    def side(samples_: Samples, factor: float) -> Samples:
        middle = samples_.mean(axis=1, keepdims=True)
        return middle + factor * (samples_ - middle)

    def played(seed: int = 11, **how: Any) -> Samples:
        how = {"scatter_s": 0.01, "scatter_db": 0.8, "performance": 1, **how}
        return synthetic.play(seed, **how)

    made: dict[str, Callable[[], Samples]] = {
        "gain": lambda: 0.4 * plain,
        "figure +6": lambda: synthetic.play(11, gains_db={"figure": 6}),
        "melody -4": lambda: synthetic.play(11, gains_db={"melody": -4}),
        "bass +3, pad -3": lambda: synthetic.play(11, gains_db={"bass": 3, "pad": -3}),
        "narrower": lambda: side(plain, 0.5),
        "wider, figure +4": lambda: side(synthetic.play(11, gains_db={"figure": 4}), 1.5),
        "room": lambda: synthetic.in_room(plain, 1.8, -3.0),
        "brighter": lambda: synthetic.play(11, brightness_db=2.0),
        "swapped": lambda: plain[:, ::-1],
        "inverted": lambda: -plain,
        "right channel +3": lambda: plain * [1.0, 1.41],
        "mono": lambda: plain.mean(axis=1),
        "late": lambda: np.concatenate([np.zeros((30_000, 2)), plain]),
        "compressed": lambda: np.tanh(4 * plain) / 4,
        "played again": played,
        "slower, higher": lambda: played(beat_s=0.64, a4_hz=443.0),
        "played, melody +6": lambda: played(gains_db={"melody": 6}),
        "played, room": lambda: synthetic.in_room(played(), 2.0, 0.0),
        "transposed": lambda: played(a4_hz=440.0 * 2 ** (2 / 12)),
        "other music": lambda: synthetic.play(41),
    }
    return {
        name: lambda make=make: _document(((plain, RATE_HZ), (make(), RATE_HZ)))
        for name, make in made.items()
    }


def _document(pair: Pair, **options: Any) -> dict[str, Any]:
    document = mixcompare.compare(*pair, **options).to_dict()
    for name in LEFT_OUT:
        document.pop(name)
    for role in ("reference", "candidate"):
        document[role]["path"] = Path(document[role]["path"]).name
    loaded: dict[str, Any] = json.loads(json.dumps(document))
    return loaded


def differences(kept: Any, made: Any, place: str = "") -> Iterator[str]:
    """Every place where two documents differ by more than rounding."""
    if isinstance(kept, dict) and isinstance(made, dict):
        for name in sorted({*kept, *made}):
            if name not in kept or name not in made:
                yield f"{place}.{name}: {'gone' if name in kept else 'new'}"
            else:
                yield from differences(kept[name], made[name], f"{place}.{name}")
    elif isinstance(kept, list) and isinstance(made, list) and len(kept) == len(made):
        for index, (one, other) in enumerate(zip(kept, made, strict=True)):
            yield from differences(one, other, f"{place}[{index}]")
    elif isinstance(kept, float) and isinstance(made, int | float) and not isinstance(made, bool):
        if not math.isclose(kept, made, rel_tol=CLOSE, abs_tol=CLOSE):
            yield f"{place}: {kept!r} -> {made!r}"
    elif kept != made:
        yield f"{place}: {str(kept)[:120]!r} -> {str(made)[:120]!r}"


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("what", choices=("write", "compare"))
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", default="", metavar="WORD", help="pairs whose name has the word")
    options = parser.parse_args(arguments)
    options.folder.mkdir(parents=True, exist_ok=True)
    differing = 0
    for name, make in {**sample_pairs(), **made_up_pairs()}.items():
        if options.only not in name:
            continue
        path = options.folder / f"{name}.json"
        document = make()
        if options.what == "write":
            path.write_text(json.dumps(document, indent=1), encoding="utf-8")
            print(f"kept      {name}: {document['verdict']}", flush=True)
            continue
        found = list(differences(json.loads(path.read_text(encoding="utf-8")), document))
        differing += bool(found)
        print(f"{'DIFFERS' if found else 'equal':10s}{name}", flush=True)
        print(*(f"    {line}" for line in found[:MOST_SHOWN]), sep="\n", end="\n" * bool(found))
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
