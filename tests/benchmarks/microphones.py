"""How near are trims and arrivals of microphones that hear everyone? An array, flanks and spots.

``python -m tests.benchmarks.microphones SCORES [--set reporting] [--part 0/2] [--cache F]
[--only WORD]`` seats the sections of :mod:`tests.benchmarks.symphonic` in a rectangular hall
(image sources of pyroomacoustics): a main pair, two flanks and a spot a section, all of them
hearing all sections. The mix is their sum with faders; the candidate's microphones are its stems.
The reference is the same take with one or two faders elsewhere, or the same players again. Truth
is the fader. Printed: error of the trims, how many intervals hold the truth, how many of the moved
ones are right within 1 dB, how many of those that were not told were flagged, false trims, error
of shares, and error of each spot's arrival before the array (by the distances of its section).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyroomacoustics
from pyroomacoustics.directivities import Cardioid, DirectionVector, Omnidirectional
from scipy import signal

from mixcompare.alignment import align
from mixcompare.analysis import matched
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.numerics import one_numeric_thread
from mixcompare.pair.pair import aligned
from mixcompare.stems.judge import judged
from mixcompare.stems.values import Stems
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.parts import LONGER_S, again, spread
from tests.benchmarks.rendering import Part
from tests.benchmarks.symphonic import (
    DURATION_S,
    RATE_HZ,
    Excerpt,
    excerpt,
    movements,
    over_scores,
    played,
)
from tests.benchmarks.tails import SOUNDFONTS, heard_sections

FloatArray = npt.NDArray[np.float64]

SOUND_M_S = 343.0  # at 20 °C
HALL_M = (28.0, 20.0, 11.0)
DECAY_S, ORDER = 1.6, 14
ARRAY_M = (14.0, 5.0, 3.2)
APART_M, FLANKS_M = 0.6, 9.0
HEARS_M, SEAT_M = 1.0, 1.1  # spot to section; height of a section
MOST_SPOTS = 8
FLANKS_DB, SPOTS_DB = -5.0, -12.0  # against the array, in energy
CHANGES_DB = (5.0, -5.0, 4.0, -4.0, 6.0, -6.0)
LEAST_DB = 2.0  # a fader that is off by so much has to be told, or flagged
FORMAT, LIKE = 3, "-like"


@dataclass(frozen=True)
class Session:
    """Microphones of one performance.

    Attributes
    ----------
    raw : dict of str to ndarray, shape (samples, 2)
        Panned.
    early_s : dict of str to float
        By how much each spot hears its section before the nearer microphone of the array.
    faders : dict of str to float
        Their usual gains in the mix.
    """

    raw: dict[str, FloatArray]
    early_s: dict[str, float]
    faders: dict[str, float]

    @property
    def sounds(self) -> dict[str, FloatArray]:
        """As they go into the mix, at the usual faders."""
        return {name: self.faders[name] * sound for name, sound in self.raw.items()}

    def mixed(self, faders_db: Mapping[str, float]) -> FloatArray:
        """The mix with some faders elsewhere."""
        return np.sum(
            [10 ** (faders_db.get(name, 0.0) / 20) * one for name, one in self.sounds.items()],
            axis=0,
        )


def session(name: str, music: Excerpt, cache: Path, first: Excerpt | None = None) -> Session:
    """Sections through the hall, from the cache if they were there before.

    Spots stand where they did in the first performance, and faders lie as they did there.
    """
    sections = heard_sections(first or music)[:MOST_SPOTS]
    seats = {part.name: _seat(part) for part in music.parts}
    nearer = [np.array(ARRAY_M) + (side * APART_M / 2, 0, 0) for side in (-1, 1)]
    spots = {one: _spot(seats[one]) for one in sections}
    early = {
        f"Spot {one}": (
            min(float(np.linalg.norm(seats[one] - mic)) for mic in nearer)
            - float(np.linalg.norm(seats[one] - spot))
        )
        / SOUND_M_S
        for one, spot in spots.items()
    }
    asked = f"{FORMAT} {sections} {music.parts!r} {_length(music)}"
    key = hashlib.sha256(asked.encode()).hexdigest()[:12]
    path = cache / f"microphones-{name}-{key}.npz"
    if not path.exists():
        np.savez(path, **{k: v.astype(np.float32) for k, v in _heard(music, seats, spots).items()})
    with np.load(path) as stored:
        sounds = {key: stored[key].astype(np.float64) for key in stored.files}
    if first is None:
        return Session(sounds, early, _faders(sounds))
    faders = session(name.removesuffix(LIKE), first, cache).faders
    return Session(sounds, early, faders)


def _faders(sounds: Mapping[str, FloatArray]) -> dict[str, float]:
    """Usual gains: so much less energy than the array's."""
    energy = {name: float(np.square(sound).sum()) for name, sound in sounds.items()}
    below_db = {"Main pair": 0.0, "Flanks": FLANKS_DB}
    return {
        name: 10 ** (below_db.get(name, SPOTS_DB) / 20) * np.sqrt(energy["Main pair"] / own)
        for name, own in energy.items()
    }


def _length(music: Excerpt) -> int:
    return max(map(len, music.stems.values()))


def _seat(part: Part) -> FloatArray:
    """Strings in front, winds behind them, brass and drums at the back."""
    depth_m = 5.0 if 40 <= part.program <= 51 else 11.0 if part.program in range(56, 64) else 8.5
    return np.array([ARRAY_M[0] + 9.0 * part.pan, ARRAY_M[1] + depth_m, SEAT_M])


def _spot(seat: FloatArray) -> FloatArray:
    return np.asarray(seat + HEARS_M * np.array([0.0, -0.6, 0.8]))


def _heard(
    music: Excerpt, seats: Mapping[str, FloatArray], spots: Mapping[str, FloatArray]
) -> dict[str, FloatArray]:
    """What every microphone hears, panned."""
    array = np.array(ARRAY_M)
    pairs = {"Main pair": APART_M, "Flanks": FLANKS_M}
    places = [array + (side * wide / 2, 0, 0) for wide in pairs.values() for side in (-1, 1)]
    places += list(spots.values())
    # Array and flanks hear all around; a spot looks at its section (0, 0.6, -0.8).
    looks = DirectionVector(azimuth=90, colatitude=np.degrees(np.arccos(-0.8)), degrees=True)
    hears = [Omnidirectional()] * 4 + [Cardioid(looks)] * len(spots)
    absorption, _ = pyroomacoustics.inverse_sabine(DECAY_S, HALL_M)
    length = _length(music)
    heard = np.zeros((len(places), length))
    for part in music.parts:
        room = pyroomacoustics.ShoeBox(
            HALL_M, fs=RATE_HZ, materials=pyroomacoustics.Material(absorption), max_order=ORDER
        )
        room.add_source(seats[part.name])
        room.add_microphone_array(np.array(places).T, directivity=hears)
        room.compute_rir()
        # The library's filters for fractions of a sample hold half their length before time 0.
        skip = pyroomacoustics.constants.get("frac_delay_length") // 2
        sound = 10 ** (part.gain_db / 20) * music.stems[part.name]
        for place, responses in enumerate(room.rir):
            through = signal.oaconvolve(sound, responses[0][skip:])[:length]
            heard[place, : len(through)] += through
    out = {name: heard[2 * number : 2 * number + 2].T for number, name in enumerate(pairs)}
    for (name, _), sound in zip(spots.items(), heard[4:], strict=True):
        pan = (next(part.pan for part in music.parts if part.name == name) + 1) * np.pi / 4
        out[f"Spot {name}"] = sound[:, None] * [np.cos(pan), np.sin(pan)]
    return out


@dataclass(frozen=True)
class Answer:
    """What was told of one pair, and what is true."""

    kind: str
    stems: Stems
    truth_db: Mapping[str, float]
    share_percent: Mapping[str, float]
    early_s: Mapping[str, float]


@one_numeric_thread
def answer(
    kind: str, reference: Session, candidate: Session, faders_db: Mapping[str, float], scale: float
) -> Answer:
    """Judge a candidate whose faders lie elsewhere."""
    first = Recording.from_array(scale * reference.mixed({}), RATE_HZ)
    mix = scale * candidate.mixed(faders_db)
    second = Recording.from_array(mix, RATE_HZ)
    # The files of the microphones know nothing of the faders.
    stems = {
        name: Recording.from_array(scale * sound, RATE_HZ, name=name)
        for name, sound in candidate.sounds.items()
    }
    features = Features.of(first), Features.of(second)
    pair, _ = matched(aligned(*features, align(*features)))
    told = judged(pair, first, second, stems).told
    whole = float(np.square(mix).sum())
    shares = {
        name: 100 * scale**2 * 10 ** (faders_db.get(name, 0.0) / 10) * float(np.square(s).sum())
        / whole
        for name, s in candidate.sounds.items()
    }  # fmt: skip
    truth = {name: -faders_db.get(name, 0.0) for name in stems}
    return Answer(kind, told, truth, shares, candidate.early_s)


def answers(
    name: str, number: int, scores: Path, cache: Path, only: str = ""
) -> Iterator[tuple[str, Mapping[str, float], Answer]]:
    """All pairs of one movement."""
    soundfont = SOUNDFONTS[number % len(SOUNDFONTS)]
    music = excerpt(name, scores, soundfont, cache)
    like = played(name + LIKE, again(music.parts, number + 1, 0.94, 15), soundfont, cache,
                  DURATION_S + LONGER_S)  # fmt: skip
    own = session(name, music, cache)
    scale = 0.3 / float(np.abs(own.mixed({})).max())
    rng = np.random.default_rng(number + 70)
    spots = [str(one) for one in rng.permutation([n for n in own.sounds if n.startswith("Spot")])]
    sizes = np.roll(CHANGES_DB, -number).tolist()
    for kind in ("one take", "like players"):
        if only not in f"{name} {kind}":
            continue
        other = own if kind == "one take" else session(name + LIKE, like, cache, music)
        for faders in (
            {}, {spots[0]: sizes[0]}, {spots[1]: sizes[1]}, {"Main pair": sizes[2] / 2},
            {spots[2 % len(spots)]: sizes[3], spots[0]: sizes[4]},
        ):  # fmt: skip
            yield kind, faders, answer(kind, own, other, faders, scale)


def report(answered: Sequence[Answer]) -> str:
    """The figures as text, a line for each kind of pair."""
    lines = []
    for kind in dict.fromkeys(one.kind for one in answered):
        errors, held, moved, right, silent, false, still, shares = [], [], 0, 0, 0, 0, 0, []
        early, told_early, asked_early = [], 0, 0
        for one in (entry for entry in answered if entry.kind == kind):
            known = [s.trim_db - one.truth_db[s.name] for s in one.stems.stems
                     if s.trim_db is not None]  # fmt: skip
            # What most need is nothing, and which those are is the tool's to say.
            shift = float(np.median(known)) if known else 0.0
            for stem in one.stems.stems:
                truth = one.truth_db[stem.name]
                off = abs(truth) >= LEAST_DB
                moved += off
                if stem.share_percent is not None:
                    shares.append(abs(stem.share_percent - one.share_percent[stem.name]))
                if stem.name in one.early_s:
                    asked_early += 1
                    if stem.before_array_ms is not None:
                        told_early += 1
                        early.append(abs(stem.before_array_ms - 1e3 * one.early_s[stem.name]))
                if stem.trim_db is None or stem.interval is None:
                    silent += off
                    continue
                away = stem.trim_db - truth - shift
                errors.append(abs(away))
                held.append(stem.interval[0] <= truth + shift <= stem.interval[1])
                right += off and abs(away) <= 1.0
                still += not truth
                false += not truth and stem.is_due
        lines.append(
            f"{kind}: error {spread(errors)} dB, intervals hold {np.mean(held or [0]):.2f}; of"
            f" {moved} moved {right} right within 1 dB, {silent} flagged; false {false} of {still};"
            f" shares off by {spread(shares, 1)} %; arrivals told {told_early} of {asked_early},"
            f" off by {spread(early, 3)} ms"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__, by_pair=True).parse_args(arguments)
    answered = []
    cache = cache_folder(options.cache)
    for number, name in movements(options):
        for kind, faders, one in answers(name, number, options.scores, cache, options.only):
            answered.append(one)
            told = ", ".join(
                f"{stem.name} {'?' if stem.trim_db is None else f'{stem.trim_db:+.1f}'}"
                for stem in one.stems.stems
                if stem.is_due or stem.trim_db is None
            )
            print(f"{name} {kind} {dict(faders)}: {told or '-'}", flush=True)
    print(report(answered))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
