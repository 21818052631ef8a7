"""One passage or other music, spans that were found, and passages that come twice.

``python -m tests.benchmarks.again SCORES [--set reporting] [--part 0/2] [--cache F]`` with SCORES a
folder of scores (see :mod:`tests.benchmarks.symphonic`). Every half minute is played again by like
and by other instruments, in other rooms and at another tempo, once as it is and once through a
small loudspeaker (150 Hz to 3.5 kHz, mono, with noise). Printed, as wrong of all: passages that are
refused, whole and as 14 s of the reference; of those that are not, spans that were found there, and
such 2 s off at either end, that are refused; other movements that are taken; passages that come
twice and are not told with both places, and such that come once and are told as more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import signal

from mixcompare.alignment import Alignment, align
from mixcompare.audio.recording import Recording
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.rendering import mix
from tests.benchmarks.symphonic import RATE_HZ, movements, over_scores
from tests.benchmarks.tails import OWN_ROOM
from tests.benchmarks.tones import OTHERS, SOUNDFONTS, performed

FloatArray = npt.NDArray[np.float64]

PART_S = 14.0
OFF_S = ((0.0, 0.0), (-2.0, 2.0), (2.0, -2.0), (-2.0, -2.0), (2.0, 2.0))


def played(
    number: int, name: str, scores: Path, cache: Path
) -> tuple[FloatArray, list[FloatArray]]:
    """A half minute, and the same played again."""
    fonts = [SOUNDFONTS[(number + step) % len(SOUNDFONTS)] for step in range(2)]
    own = performed(name, scores, cache, fonts[0], 1.0, 0)
    again = []
    for index, (_, font, tempo, room) in enumerate(OTHERS):
        other = performed(name, scores, cache, fonts[font], tempo, 5 + index)
        sound = _mono(mix(other.stems, other.parts, *room, sample_rate_hz=RATE_HZ))
        again += [sound, _small(sound, seed=10 * number + index)]
    return _mono(mix(own.stems, own.parts, *OWN_ROOM, sample_rate_hz=RATE_HZ)), again


def _mono(samples: npt.NDArray[np.floating]) -> FloatArray:
    one = np.asarray(samples, np.float64).mean(axis=1)
    return np.asarray(0.3 * one / np.abs(one).max())


def _small(sound: FloatArray, seed: int) -> FloatArray:
    sos = signal.butter(2, [150, 3500], "bandpass", fs=RATE_HZ, output="sos")
    out = signal.sosfilt(sos, sound)
    noise = np.random.default_rng(seed).standard_normal(len(out))
    return np.asarray(out + 10 ** (-26 / 20) * out.std() * noise)


def _laid(
    reference: FloatArray, candidate: FloatArray, span_s: tuple[float, float] | None = None
) -> Alignment:
    return align(
        Recording.from_array(reference, RATE_HZ),
        Recording.from_array(candidate, RATE_HZ, span_s=span_s),
    )


def _wrong(
    own: FloatArray, again: Sequence[FloatArray], others: Sequence[FloatArray]
) -> Iterator[tuple[str, bool]]:
    """Every answer: of which kind, and whether it is wrong."""
    part = own[int(6.0 * RATE_HZ) : int((6.0 + PART_S) * RATE_HZ)]
    for index, sound in enumerate(again):
        other, third = others[index % len(others)], others[(index + 1) % len(others)]
        found = [_laid(one, sound) for one in (own, part)]
        for what, one in zip(("whole", "part"), found, strict=True):
            yield f"same passage refused, {what}", one.relation == "unrelated"
        if found[1].relation != "unrelated":
            start, end = found[1].time_map.candidate_span_s
            for early, late in OFF_S:
                span_s = max(start + early, 0.0), min(end + late, len(sound) / RATE_HZ)
                refused = _laid(part, sound, span_s).relation == "unrelated"
                yield "span that was found refused", refused
        for one in (own, part):
            yield "other movement taken", _laid(one, other).relation != "unrelated"
        twice = np.concatenate([sound, other, again[(index + 1) % len(again)]])
        yield "twice, not told", len(_laid(own, twice).places) != 2
        once = np.concatenate([other, sound, third])
        yield "once, told as more", bool(_laid(own, once).places)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__).parse_args(arguments)
    cache = cache_folder(options.cache)
    music = {
        name: played(number, name, options.scores, cache) for number, name in movements(options)
    }
    wrong: Counter[str] = Counter()
    count: Counter[str] = Counter()
    for name, (own, again) in music.items():
        others = [other for at, (other, _) in music.items() if at != name]
        print(name, flush=True)
        for kind, is_wrong in _wrong(own, again, others):
            count[kind] += 1
            wrong[kind] += is_wrong
            if is_wrong:
                print(f"{name}: {kind}", flush=True)
    for kind, of in count.items():
        print(f"{kind}: {wrong[kind]} of {of}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
