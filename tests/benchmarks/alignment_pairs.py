"""Pairs of recordings whose relation is known, for measuring alignment.

``python -m tests.benchmarks.alignment_pairs --write FOLDER --set tuning`` writes them as files:
`NAME.reference.flac`, `NAME.candidate.flac` and `NAME.truth.json`.

What counts as the truth at an onset is the mean of the times at which its notes were struck, not
the moment at which they are heard: a slow attack or a room comes on top of it.
"""

from __future__ import annotations

import argparse
import zlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.benchmarks import sound
from tests.benchmarks.alignment_conditions import (
    CONDITIONS,
    DRY,
    Condition,
    OtherPerformance,
    Room,
    SameTake,
    Unrelated,
    condition_named,
)
from tests.benchmarks.alignment_truth import (
    Pair,
    Samples,
    Times,
    find_jumps,
    shared_onsets,
    tempo_ratio,
    write_pair,
)
from tests.benchmarks.corpus import SETS, Movement, cache_folder, load_score, movement_named
from tests.benchmarks.performances import (
    SAMPLE_RATE_HZ,
    Performance,
    Stems,
    passage,
    render,
)
from tests.benchmarks.rendering import mix

SOUNDFONTS = ("FluidR3_GM.sf2", "TimGM6mb.sf2")
PASSAGE_S = 45.0
LONG_PASSAGE_S = 120.0
REFERENCE_ROOM_SEED = 11
CANDIDATE_ROOM_SEED = 12


def make_pair(
    movement: Movement, condition: Condition, seed: int, cache: Path | None = None
) -> Pair:
    """Make one pair; the same arguments always give the same pair.

    Parameters
    ----------
    movement
        What is played.
    condition
        In which situation.
    seed
        Chooses the passage, the tempo curves, and which soundfont the reference has.
    cache
        Folder for stems and scores.
    """
    name = pair_name(movement, condition, seed)
    if isinstance(condition, SameTake):
        return _same_take(name, movement, condition, seed, cache)
    if isinstance(condition, Unrelated):
        return _unrelated(name, movement, condition, seed, cache)
    return _other_performance(name, movement, condition, seed, cache)


def pair_name(movement: Movement, condition: Condition, seed: int) -> str:
    """Name of a pair, also of its files."""
    return f"{movement.name}.{condition.name}.{seed}"


def _generator(name: str) -> np.random.Generator:
    """Random numbers that belong to a name."""
    return np.random.default_rng(zlib.crc32(name.encode()))


# --- another performance of the same passage ---


def _other_performance(
    name: str, movement: Movement, condition: OtherPerformance, seed: int, cache: Path | None
) -> Pair:
    reference_part, candidate_part = _performances(movement, condition, seed, cache)
    reference_stems, candidate_stems = render(reference_part, cache), render(candidate_part, cache)
    reference = mixdown(reference_stems, condition.reference_room, REFERENCE_ROOM_SEED)
    candidate = mixdown(candidate_stems, condition.candidate_room, CANDIDATE_ROOM_SEED)
    reference_s, candidate_s, sharp = shared_onsets(reference_stems.played, candidate_stems.played)
    jumps = find_jumps(condition.change, reference_stems.played, candidate_stems.played)
    rng = _generator(name)
    if condition.excerpt_s is not None:
        recordings = {"reference": reference, "candidate": candidate}
        onsets = {"reference": reference_s, "candidate": candidate_s}
        which = condition.excerpt_of
        latest = len(recordings[which]) / SAMPLE_RATE_HZ - condition.excerpt_s - 3.0
        begin_s = round(float(rng.uniform(2.0, max(latest, 2.0))), 4)
        recordings[which] = sound.cut_out(recordings[which], begin_s, condition.excerpt_s)
        heard = (onsets[which] > begin_s) & (onsets[which] < begin_s + condition.excerpt_s)
        onsets[which] = onsets[which] - begin_s
        reference, candidate = recordings["reference"], recordings["candidate"]
        reference_s, candidate_s = onsets["reference"][heard], onsets["candidate"][heard]
        sharp = sharp[heard]
    if condition.surroundings is not None:
        candidate, before_s = sound.surround(candidate, condition.surroundings, rng)
        candidate_s = candidate_s + before_s
    return Pair(
        name=name,
        condition=condition.name,
        movement=movement.name,
        seed=seed,
        reference=sound.finish(reference, seed=2 * seed),
        candidate=sound.finish(candidate, seed=2 * seed + 1),
        reference_rate_hz=SAMPLE_RATE_HZ,
        candidate_rate_hz=SAMPLE_RATE_HZ,
        relation="same_passage",
        true_reference_s=reference_s,
        true_candidate_s=candidate_s,
        sharp=sharp,
        transposition_semitones=condition.transposition_semitones,
        tuning_cents=condition.candidate_cents,
        tempo_ratio=tempo_ratio(reference_s, candidate_s, jumps),
        reference_span_s=(float(reference_s[0]), float(reference_s[-1])),
        candidate_span_s=(float(candidate_s[0]), float(candidate_s[-1])),
        jumps=jumps,
    )


def _performances(
    movement: Movement, condition: OtherPerformance, seed: int, cache: Path | None
) -> tuple[Performance, Performance]:
    """How the two play. Rooms, excerpts and surroundings don't matter here: stems are shared."""
    score = load_score(movement, cache)
    duration_s = LONG_PASSAGE_S if condition.excerpt_s is not None else PASSAGE_S
    first, behind = passage(score, movement, duration_s, seed)
    reference_form: tuple[tuple[int, int], ...] = ((first, behind),)
    candidate_form = reference_form
    if condition.change is not None:
        bars = behind - first
        begin, end = first + bars // 3, first + bars // 3 + max(bars // 5, 1)
        if condition.change in ("cut", "insertion"):
            changed = ((first, begin), (end, behind))
        else:
            changed = ((first, end), (begin, behind))
        if condition.change in ("cut", "extra repeat"):
            candidate_form = changed
        else:
            reference_form = changed
    rng = _generator(f"{movement.name}.{seed}")
    drawn = round(float(rng.uniform(0.85, 1.15)), 3)
    ratio = drawn if condition.tempo_ratio is None else condition.tempo_ratio
    reference_font, other_font = SOUNDFONTS if seed % 2 == 0 else SOUNDFONTS[::-1]
    reference = Performance(
        movement,
        reference_form,
        reference_font,
        seed=2 * seed,
        rubato=condition.rubato,
        fermatas=condition.fermatas,
    )
    candidate = replace(
        reference,
        form=candidate_form,
        soundfont=other_font if condition.other_instruments else reference_font,
        seed=2 * seed + 1,
        tempo_ratio=ratio,
        transposition_semitones=condition.transposition_semitones,
        tuning_cents=condition.candidate_cents,
    )
    return reference, candidate


def mixdown(
    stems: Stems, room: Room, room_seed: int, gains_db: dict[str, float] | None = None
) -> Samples:
    """Place the stems in a room: (n, 2) float32, not yet normalised."""
    mixed = mix(
        stems.samples,
        stems.played.parts,
        room.decay_s,
        room.wet_db,
        room_seed,
        gains_db,
        sample_rate_hz=SAMPLE_RATE_HZ,
    )
    return np.asarray(mixed, dtype=np.float32)


# --- one take, mixed twice ---


def _same_take(
    name: str, movement: Movement, condition: SameTake, seed: int, cache: Path | None
) -> Pair:
    plain = OtherPerformance("")
    performance, _ = _performances(movement, plain, seed, cache)
    stems = render(performance, cache)
    rng = _generator(name)
    reference = mixdown(stems, DRY, REFERENCE_ROOM_SEED)
    gains_db = {
        name: float(rng.uniform(-condition.balance_db, condition.balance_db))
        for name in stems.samples
    }
    room_seed = REFERENCE_ROOM_SEED if condition.room == DRY else CANDIDATE_ROOM_SEED
    candidate = mixdown(stems, condition.room, room_seed, gains_db)
    if condition.equaliser:
        candidate = sound.equalise(candidate, SAMPLE_RATE_HZ, rng)
    offset_s = float(rng.uniform(-0.4, 1.7)) if condition.offset else 0.0
    trim_s = float(rng.uniform(2.0, 6.0)) if condition.trimmed else 0.0
    offset_s -= trim_s
    length_s = len(candidate) / SAMPLE_RATE_HZ + offset_s - trim_s
    stretch = 1.0 + condition.drift_ppm * 1e-6
    times_s = np.arange(int(length_s * condition.candidate_rate_hz)) / condition.candidate_rate_hz
    candidate = sound.sample_at(candidate, SAMPLE_RATE_HZ, (times_s - offset_s) / stretch)
    if condition.reference_rate_hz != SAMPLE_RATE_HZ:
        count = int(len(reference) * condition.reference_rate_hz / SAMPLE_RATE_HZ)
        times_s = np.arange(count) / condition.reference_rate_hz
        reference = sound.sample_at(reference, SAMPLE_RATE_HZ, times_s)
    polarity = -1 if condition.inverted else 1
    candidate = polarity * (candidate[:, ::-1] if condition.swapped else candidate)
    onset_s = stems.played.onset_s
    candidate_s = offset_s + onset_s * stretch
    heard = (candidate_s > 0.0) & (candidate_s < length_s)
    return Pair(
        name=name,
        condition=condition.name,
        movement=movement.name,
        seed=seed,
        reference=sound.finish(reference, seed=2 * seed),
        candidate=sound.finish(candidate, seed=2 * seed + 1),
        reference_rate_hz=condition.reference_rate_hz,
        candidate_rate_hz=condition.candidate_rate_hz,
        relation="same_take",
        true_reference_s=onset_s[heard],
        true_candidate_s=candidate_s[heard],
        sharp=stems.played.sharp[heard],
        offset_s=offset_s,
        drift_ppm=condition.drift_ppm,
        polarity=polarity,
        channels_swapped=condition.swapped,
        tempo_ratio=stretch,
        reference_span_s=(float(onset_s[heard][0]), float(onset_s[heard][-1])),
        candidate_span_s=(float(candidate_s[heard][0]), float(candidate_s[heard][-1])),
    )


# --- different music ---


def _unrelated(
    name: str, movement: Movement, condition: Unrelated, seed: int, cache: Path | None
) -> Pair:
    plain = OtherPerformance("")
    reference_part, same_music = _performances(movement, plain, seed, cache)
    if condition.other_passage:
        bars = load_score(movement, cache)
        form = _disjoint_passage(bars.bar_start, movement, reference_part.form[0])
        other = replace(same_music, form=(form,))
    else:
        _, other = _performances(_other_work(movement, seed), plain, seed, cache)
    candidate = mixdown(render(other, cache), condition.candidate_room, CANDIDATE_ROOM_SEED)
    if condition.excerpt_s is not None:
        candidate = sound.cut_out(candidate, 5.0, condition.excerpt_s)
    reference = mixdown(render(reference_part, cache), DRY, REFERENCE_ROOM_SEED)
    return Pair(
        name=name,
        condition=condition.name,
        movement=movement.name,
        seed=seed,
        reference=sound.finish(reference, seed=2 * seed),
        candidate=sound.finish(candidate, seed=2 * seed + 1),
        reference_rate_hz=SAMPLE_RATE_HZ,
        candidate_rate_hz=SAMPLE_RATE_HZ,
        relation="unrelated",
        true_reference_s=np.zeros(0),
        true_candidate_s=np.zeros(0),
        sharp=np.zeros(0, dtype=np.bool_),
    )


def _disjoint_passage(
    bar_start: Times, movement: Movement, taken: tuple[int, int]
) -> tuple[int, int]:
    """The longest passage, up to `PASSAGE_S`, on the roomier side of the bars already taken."""
    quarters = PASSAGE_S * movement.quarter_bpm / 60.0
    before, behind = bar_start[taken[0]] - bar_start[0], bar_start[-1] - bar_start[taken[1]]
    if behind >= before:
        first = taken[1]
        last = int(np.searchsorted(bar_start, bar_start[first] + quarters, side="right")) - 1
    else:
        last = taken[0]
        first = int(np.searchsorted(bar_start, bar_start[last] - quarters))
    return first, max(last, first + 1)


def _other_work(movement: Movement, seed: int) -> Movement:
    """A movement of another work in the same set."""
    movements = next(group for group in SETS.values() if movement in group)
    others = [other for other in movements if other.work != movement.work]
    return others[(movements.index(movement) + seed) % len(others)]


# --- command line ---


def plan(
    movements: Sequence[Movement],
    conditions: Sequence[Condition],
    seeds: Sequence[int],
    per_condition: int = 0,
) -> list[tuple[Movement, Condition, int]]:
    """Which pairs to make.

    Parameters
    ----------
    movements, conditions, seeds
        What to combine.
    per_condition
        How many movements each condition gets, another choice for each one; 0 means all.
    """
    chosen: list[tuple[Movement, Condition, int]] = []
    for index, condition in enumerate(conditions):
        count = per_condition or len(movements)
        for step in range(min(count, len(movements))):
            movement = movements[(index + step) % len(movements)]
            chosen.extend((movement, condition, seed) for seed in seeds)
    return chosen


def add_plan_options(parser: argparse.ArgumentParser) -> None:
    """Add the options that `planned` reads."""
    parser.add_argument("--set", choices=sorted(SETS), default="tuning", dest="group")
    parser.add_argument("--movements", nargs="*", help="short names; default: the whole set")
    parser.add_argument("--conditions", nargs="*", help="names; default: all")
    parser.add_argument("--seeds", nargs="*", type=int, default=[0])
    parser.add_argument(
        "--per-condition", type=int, default=2, help="movements a condition (0: all; default 2)"
    )
    parser.add_argument("--cache", type=Path, help="folder for stems and scores")


def planned(options: argparse.Namespace) -> list[tuple[Movement, Condition, int]]:
    """The pairs that the command line asks for."""
    movements = [movement_named(name) for name in options.movements or []]
    conditions = [condition_named(name) for name in options.conditions or []]
    return plan(
        movements or SETS[options.group],
        conditions or CONDITIONS,
        options.seeds,
        options.per_condition,
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Write pairs into a folder."""
    parser = argparse.ArgumentParser(description="Write pairs of recordings with their truth.")
    parser.add_argument("--write", type=Path, required=True, metavar="FOLDER")
    parser.add_argument("--keep", action="store_true", help="leave pairs that are there already")
    add_plan_options(parser)
    options = parser.parse_args(arguments)
    for movement, condition, seed in planned(options):
        name = pair_name(movement, condition, seed)
        if options.keep and (options.write / f"{name}.truth.json").exists():
            continue
        pair = make_pair(movement, condition, seed, cache_folder(options.cache))
        write_pair(pair, options.write)
        print(pair.name, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
