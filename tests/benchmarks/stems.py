"""How near are the trims of stems? Half minutes of full scores, their sections as stems.

``python -m tests.benchmarks.stems SCORES [--set reporting] [--part 0/2] [--cache F] [--only WORD]``
takes the pairs of :mod:`tests.benchmarks.parts`: one take with a section or two changed by 4 to 6
dB, another tail, something done to the whole, the same players again, other instruments in
another room. The candidate's dry sections are its stems. Truth is the level of the reference's
section against the candidate's (K-weighted, dry), which between libraries includes how loud each
library makes each instrument. Printed: error of the trims, how many intervals hold the truth,
changed stems found, and false ones. ``--both`` gives the reference's sections as its stems too;
``--preview`` tries the trims and counts how often what stuck out most of the balance is smaller
afterwards, and how often nothing of it is left. ``--still`` takes five unchanged pairs of every
movement instead, each in another room, or with one or two things done to the whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.analysis import analysed, matched
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.numerics import one_numeric_thread
from mixcompare.pair.pair import aligned
from mixcompare.stems.judge import judged
from mixcompare.stems.values import Stems
from mixcompare.trimmed import with_stems
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.crossed import WHOLES
from tests.benchmarks.parts import HEARD_DB, Case, cases, k_level_db
from tests.benchmarks.rendering import mix
from tests.benchmarks.symphonic import RATE_HZ, Excerpt, excerpt, movements, over_scores
from tests.benchmarks.tails import OWN_ROOM, ROOMS, SOUNDFONTS

FloatArray = npt.NDArray[np.float64]

STILL: tuple[tuple[int | None, tuple[str, ...]], ...] = (
    (0, ()), (None, ("narrower",)), (1, ("shelf down",)), (None, ("shelf up", "codec")), (3, ()),
    (None, ("compression",)), (2, ("compression", "narrower")), (None, ("low shelf",)), (4, ()),
    (None, ("gain",)), (3, ("gain", "wider")), (None, ("codec",)), (1, ()), (None, ("bell",)),
    (2, ()), (None, ("wider",)), (None, ("shelf up",)),
)  # fmt: skip
"""Rooms, None for its own, and what is done to the whole of an unchanged pair."""
STILL_PAIRS = 5  # of a movement


@dataclass(frozen=True)
class Answer:
    """What was told of a candidate's stems, and what is true."""

    kind: str
    stems: Stems
    truth_db: dict[str, float]
    changed: frozenset[str]
    largest_jnd: float | None = None  # before, where it was asked for


@one_numeric_thread
def answer(
    case: Case,
    music: Excerpt,
    reference: Recording,
    scale: float,
    both: bool = False,
    preview: bool = False,
) -> Answer:
    """Judge one candidate, with the reference's stems, and with the trims tried."""
    samples = scale * mix(case.played.stems, case.played.parts, *case.room, case.changes_db,
                          sample_rate_hz=RATE_HZ)  # fmt: skip
    for whole in sorted(case.wholes, key=lambda whole: whole.order):
        assert whole.done is not None
        samples = whole.done(samples)
    candidate = Recording.from_array(samples, RATE_HZ)
    placed = {part.name: k_level_db(case.played.stems[part.name]) for part in case.played.parts}
    heard = [name for name, level in placed.items() if level > max(placed.values()) + HEARD_DB]
    stems = _files(case.played, scale, case.changes_db)
    theirs = _files(music, scale, {}) if both else {}
    features = Features.of(reference), Features.of(candidate)
    alignment, largest = align(*features), None
    if preview:
        results, pair = analysed(*features, alignment)
        assert pair is not None
        found = judged(pair, reference, candidate, stems, (), theirs)
        tried, _ = with_stems(results, features[0], candidate, stems, found, lambda words: None)
        told = tried.stems
        assert told is not None
        largest = max((one.jnd for one in results.findings if one.aspect == "balance"), default=0.0)
    else:
        pair, _ = matched(aligned(*features, alignment))
        told = judged(pair, reference, candidate, stems, (), theirs).told
    truth = {
        name: k_level_db(music.stems[name])
        - k_level_db(case.played.stems[name])
        - case.changes_db.get(name, 0.0)
        for name in stems
        if name in heard
    }
    known = [one.trim_db - truth[one.name] for one in told.stems
             if one.trim_db is not None and one.name in truth]  # fmt: skip
    shift = float(np.median(known)) if known else 0.0  # the mixes' levels differ as a whole
    return Answer(
        case.kind,
        told,
        {name: level + shift for name, level in truth.items()},
        frozenset(case.changes_db),
        largest,
    )


def unchanged(number: int, music: Excerpt) -> Iterator[Case]:
    """Pairs of one take in which no section moved."""
    by_name = {whole.name: whole for whole in WHOLES}
    for index in range(STILL_PAIRS):
        room, names = STILL[(STILL_PAIRS * number + index) % len(STILL)]
        where = OWN_ROOM if room is None else ROOMS[room]
        yield Case("unchanged", music, where, {}, tuple(by_name[name] for name in names))


def _files(music: Excerpt, scale: float, changes_db: Mapping[str, float]) -> dict[str, Recording]:
    """Sections that sound, as they go into the mix."""
    return {
        name: Recording.from_array(
            scale * 10 ** (changes_db.get(name, 0.0) / 20) * np.asarray(sound, np.float64),
            RATE_HZ,
            name=name,
        )
        for name, sound in music.stems.items()
        if np.abs(sound).max() * scale > 1e-3
    }


def previews(answers: Sequence[Answer]) -> str:
    """Of changed pairs whose balance has a finding: trimmed at all, less afterwards, none left."""
    lines = []
    for kind in dict.fromkeys(one.kind for one in answers):
        asked = [one for one in answers if one.kind == kind and one.changed and one.largest_jnd]
        tried = [one.stems.preview for one in asked if one.stems.preview is not None]
        smaller = sum(one.largest_after < one.largest_before for one in tried)
        gone = sum(one.largest_after == 0 for one in tried)
        still = [one for one in answers if one.kind == kind and not one.changed]
        worse = sum(
            one.stems.preview is not None
            and one.stems.preview.largest_after > one.stems.preview.largest_before
            for one in still
        )
        lines.append(
            f"{kind}: of {len(asked)} pairs with a finding {len(tried)} were trimmed, {smaller}"
            f" smaller, {gone} gone; of {len(still)} unchanged {worse} worse"
        )
    return "\n".join(lines)


def report(answers: Sequence[Answer]) -> str:
    """The figures as text, a line for each kind of candidate."""
    lines = []
    for kind in dict.fromkeys(one.kind for one in answers):
        errors, held, told, asked, found, changed, false, still = [], [], 0, 0, 0, 0, 0, 0
        for one in (entry for entry in answers if entry.kind == kind):
            for stem in one.stems.stems:
                if stem.name not in one.truth_db:
                    continue
                truth = one.truth_db[stem.name]
                asked += 1
                changed += stem.name in one.changed
                still += abs(truth) < 0.5
                if stem.trim_db is None or stem.interval is None:
                    continue
                told += 1
                errors.append(abs(stem.trim_db - truth))
                held.append(stem.interval[0] <= truth <= stem.interval[1])
                found += stem.name in one.changed and stem.is_due and stem.trim_db * truth > 0
                false += stem.is_due and abs(truth) < 0.5
        group = [one for one in answers if one.kind == kind]
        places = sum(len(stem.places) for one in group for stem in one.stems.stems)
        none_due = sum(not one.changed and not one.stems.due for one in group)
        lines.append(
            f"{kind}: error {np.median(errors):.2f}/{np.percentile(errors, 90):.2f} dB, at most"
            f" {max(errors):.1f}; intervals hold {np.mean(held):.2f}; told {told} of {asked};"
            f" changed stems found {found} of {changed}; false {false} of {still}, and {places}"
            f" places; nothing due in {none_due} of {sum(not one.changed for one in group)}"
            " unchanged pairs"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    parser = over_scores(__doc__, by_pair=True)
    parser.add_argument("--both", action="store_true", help="with the reference's stems as well")
    parser.add_argument("--preview", action="store_true", help="try the trims, compare again")
    parser.add_argument("--still", action="store_true", help="unchanged pairs instead")
    options = parser.parse_args(arguments)
    cache = cache_folder(options.cache)
    answers = []
    for number, name in movements(options):
        soundfont = SOUNDFONTS[number % len(SOUNDFONTS)]
        music = excerpt(name, options.scores, soundfont, cache)
        take = mix(music.stems, music.parts, *OWN_ROOM, sample_rate_hz=RATE_HZ)
        scale = 0.3 / float(np.abs(take).max())
        reference = Recording.from_array(scale * take, RATE_HZ)
        given = (
            unchanged(number, music)
            if options.still
            else cases(name, number, music, cache, soundfont)
        )
        for case in given:
            if options.only in f"{name} {case.kind}":
                one = answer(case, music, reference, scale, options.both, options.preview)
                answers.append(one)
                told = ", ".join(f"{due.name} {due.trim_db:+.1f}" for due in one.stems.due) or "-"
                if one.stems.preview is not None:
                    tried = one.stems.preview
                    told += f" ({tried.largest_before:.1f} to {tried.largest_after:.1f})"
                print(f"{name} {case.kind} {dict(case.changes_db)}: {told}", flush=True)
    print(report(answers))
    if options.preview:
        print(previews(answers))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
