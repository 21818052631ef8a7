"""Articulation: known sounding ratios, in rooms too, and what must not look like articulation."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects.articulation import aspect as module
from mixcompare.aspects.articulation import average as together
from mixcompare.aspects.articulation.courses import Ends
from mixcompare.aspects.articulation.noteoff import Envelope, FollowedNote, Hinge
from mixcompare.aspects.articulation.values import ArticulationDifference, VoiceArticulation
from mixcompare.aspects.articulation.words import finding, untold
from mixcompare.features import Features
from mixcompare.findings.manner import manner_of
from mixcompare.knowledge.notes import PartNotes
from mixcompare.pair import pair as pair_room
from mixcompare.pair.match import Match
from mixcompare.pair.notes import Note
from mixcompare.pair.wetness import Wetness
from mixcompare.standards.iec61260 import pitch_hz
from tests import recorded
from tests.pairs import Remembering
from tests.synthetic import RATE_HZ, in_room, play

analyzer = Remembering(module.analyzer)

FloatArray = npt.NDArray[np.float64]

NOTES = 26


def features_of(samples: npt.ArrayLike) -> Features:
    array = np.asarray(samples, np.float64)
    return recorded.features_of(0.4 * array / np.abs(array).max(), RATE_HZ)


def melody(seed: int, repeats: float) -> list[tuple[float, float, int]]:
    """Onset, time to the next onset, pitch; some pitches are struck again."""
    rng = np.random.default_rng(seed)
    onset_s, pitch = 0.5, 72
    notes = []
    for _ in range(NOTES):
        interval_s = float(rng.choice([0.4, 0.6]))
        notes.append((onset_s, interval_s, pitch))
        onset_s += interval_s
        if rng.random() >= repeats:
            pitch = int(np.clip(pitch + rng.choice([-4, -3, -2, -1, 1, 2, 3, 4]), 64, 84))
    return notes


def tone(pitch: int, held_s: float, attack_s: float) -> FloatArray:
    """Ten partials, a linear attack, a release of 50 ms."""
    time = np.arange(int((held_s + 0.3) * RATE_HZ)) / RATE_HZ
    frequency = 440 * 2 ** ((pitch - 69) / 12)
    wave = np.zeros(len(time))
    for partial in range(1, 11):
        if partial * frequency < 0.45 * RATE_HZ:
            wave += np.sin(2 * np.pi * partial * frequency * time + partial) / partial
    release = np.exp(-np.maximum(time - held_s, 0) / 0.017)
    return np.asarray(wave * np.minimum(time / attack_s, 1) * release)


def line(
    ratio: float, *, seed: int = 3, repeats: float = 0.0, attack_s: float = 0.03
) -> FloatArray:
    """A melody with every note held for a share of the time to the next one."""
    notes = melody(seed, repeats)
    out = np.zeros(int((notes[-1][0] + 2.0) * RATE_HZ))
    for onset_s, interval_s, pitch in notes:
        wave = tone(pitch, ratio * interval_s, attack_s)
        first = int(onset_s * RATE_HZ)
        out[first : first + len(wave)] += wave[: len(out) - first]
    return np.column_stack([out, out])


def compared(
    reference: Features, candidate: Features, same_take: bool = False
) -> tuple[ArticulationDifference, list[str]]:
    seconds = min(reference.duration_s, candidate.duration_s)
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take=same_take)
    difference = analyzer.compare(reference, candidate, match)
    return difference, [finding.kind for finding in analyzer.findings(difference)]


# The ratio is a definition (note-off over time to the next onset), the notes are made with it.
# 0.08 is its just-noticeable difference: 10 % of a tone's length (Friberg and Sundberg 1994,
# from memory).
@pytest.mark.parametrize(("ratio", "repeats"), [(0.85, 0.0), (0.6, 0.4), (0.4, 0.0)])
def test_ratio_of_a_dry_line(ratio: float, repeats: float) -> None:
    measured = analyzer.measure(features_of(in_room(line(ratio, repeats=repeats), 0.3, -30.0)))
    assert measured.notes > 15
    assert measured.sounding_ratio == pytest.approx(ratio, abs=0.08)
    assert measured.sounding_ratio_interval is not None
    low, high = measured.sounding_ratio_interval
    assert low < ratio < high


@pytest.mark.parametrize("ratio", [0.85, 0.4])
def test_ratio_in_a_hall(ratio: float) -> None:
    # 2 s: recommended for symphonic music (Barron 2009, from memory).
    measured = analyzer.measure(features_of(in_room(line(ratio), 2.0, -3.0)))
    assert measured.sounding_ratio == pytest.approx(ratio, abs=0.08)


def test_overlapping_notes_are_held_throughout() -> None:
    measured = analyzer.measure(features_of(in_room(line(1.03), 1.2, -6.0)))
    assert measured.sounding_ratio is not None
    assert measured.sounding_ratio > 0.95


@pytest.mark.parametrize("ramp_s", [0.04, 0.1])
def test_attack(ramp_s: float) -> None:
    # A linear ramp takes 80 % of its length from 10 to 90 %. Log attack time within 0.15
    # (Peeters et al. 2011 for the quantity).
    measured = analyzer.measure(features_of(in_room(line(0.6, attack_s=ramp_s), 0.3, -30.0)))
    assert measured.attack_ms is not None
    assert np.log10(measured.attack_ms / (800 * ramp_s)) == pytest.approx(0.0, abs=0.15)


def test_too_few_notes() -> None:
    time = np.arange(3 * RATE_HZ) / RATE_HZ
    measured = analyzer.measure(features_of(np.sin(2 * np.pi * 440 * time)))
    assert measured.sounding_ratio is None
    assert measured.reasons


def shortened(share: float, gain_db: float = 3.0) -> FloatArray:
    """The four-voice piece, its melody gated to a share of every note."""
    full = play(1, gains_db={"melody": gain_db})
    without = play(1, gains_db={"melody": -120.0})
    voice = full - without
    loud = np.sqrt(signal.lfilter([0.005], [1, -0.995], (voice**2).mean(axis=1)))
    onsets = signal.find_peaks(np.diff(loud, prepend=0), distance=int(0.25 * RATE_HZ))[0]
    gate = np.ones(len(voice))
    for first, behind in zip(onsets[:-1], onsets[1:], strict=True):
        gate[first + int(share * (behind - first)) : behind - int(0.01 * RATE_HZ)] = 0.0
    return np.asarray(without + voice * signal.lfilter([0.004], [1, -0.996], gate)[:, None])


@functools.cache
def four_voices() -> Features:
    return features_of(in_room(play(1, gains_db={"melody": 3.0}), 1.2, -8.0))


def test_detached_theme_among_other_voices() -> None:
    detached = features_of(in_room(shortened(0.5), 1.2, -8.0, seed=3))
    difference, kinds = compared(four_voices(), detached)
    assert kinds == ["notes_more_detached"]
    finding = analyzer.findings(difference)[0]
    assert finding.difference == pytest.approx(-0.45, abs=0.15)
    assert finding.cause.likeliest == "players"
    assert finding.band_hz is not None
    assert "% of their length" in finding.text
    back, kinds = compared(detached, four_voices())
    assert kinds == ["notes_more_connected"]
    assert back.sounding_ratio == pytest.approx(-(difference.sounding_ratio or 0.0), abs=0.02)


def test_a_wetter_room_is_not_legato() -> None:
    detached = in_room(line(0.5), 0.8, -12.0)
    wetter = in_room(line(0.5), 2.0, -2.0)
    assert compared(features_of(detached), features_of(wetter))[1] == []


@pytest.mark.parametrize("same_take", [True, False])
def test_nothing_changed(same_take: bool) -> None:
    difference, kinds = compared(four_voices(), four_voices(), same_take)
    assert kinds == []
    assert difference.sounding_ratio == 0.0


def test_not_articulation() -> None:
    plain = play(1, gains_db={"melody": 3.0})
    players = play(1, gains_db={"melody": 3.0}, scatter_s=0.012, scatter_db=1.0, performance=2)
    for samples in (
        in_room(play(1, gains_db={"melody": 3.0, "figure": 6.0}), 1.2, -8.0),
        in_room(plain, 1.2, -2.0),
        in_room(players, 1.2, -8.0, seed=2),
    ):
        assert compared(four_voices(), features_of(samples))[1] == []


def test_other_tuning_grid() -> None:
    # 60 cents higher: the same note lies on another band of the candidate's grid.
    low = features_of(in_room(play(1, gains_db={"melody": 3.0}, bars=4), 1.2, -8.0))
    high = features_of(in_room(play(1, gains_db={"melody": 3.0}, bars=4, a4_hz=455.5), 1.2, -8.0))
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, low.duration_s), tuning_cents=59.9)
    difference = analyzer.compare(low, high, match)
    assert difference.notes >= 8
    assert difference.sounding_ratio == pytest.approx(0.0, abs=0.08)
    assert analyzer.findings(difference) == []


# --- arithmetic on made-up notes -----------------------------------------------------------------

SHAPE = Envelope(np.arange(-0.3, 1.0, 0.01), np.zeros(130), 4, True)


def held(
    ratio: float,
    interval_s: float = 0.5,
    *,
    gap_db: float = 20.0,
    attack_s: float = 0.0575,
    accent_db: float = 1.0,
    slope: float = 100.0,
) -> FollowedNote:
    """A followed note; an attack of 57.5 ms leaves the ratio as it is."""
    hinge = Hinge(ratio * interval_s, slope, -30.0, gap_db, attack_s, accent_db, 0.5)
    return FollowedNote(interval_s, SHAPE, hinge)


@functools.cache
def any_features() -> tuple[Features, Features]:
    tone = np.sin(2 * np.pi * 440 * np.arange(RATE_HZ) / RATE_HZ)
    first, second = (recorded.features_of(0.4 * tone, RATE_HZ, name) for name in ("one", "other"))
    return first, second  # told apart below


Followed = list[FollowedNote | None]


def arithmetic(
    monkeypatch: pytest.MonkeyPatch,
    reference: Followed,
    candidate: Followed,
    *,
    written: bool = False,
    same_take: bool = False,
    fit: Wetness | None = None,
    bass: tuple[Followed, Followed] | None = None,
    doubled: int = 0,
    sureness: float | None = None,
    average: Callable[[Sequence[Note]], Ends | None] = lambda _: None,
) -> ArticulationDifference:
    """What the analyzer tells of notes that were followed so; one every half a second.

    ``average``: what all notes of a written part say together; ``sureness``: those of the line.
    """
    places = {True: {}, False: {}}  # type: dict[bool, dict[tuple[int, float], FollowedNote | None]]

    def line(ours: Followed, theirs: Followed, pitch: int) -> tuple[Note, ...]:
        notes = []
        for index, (a, b) in enumerate(zip(ours, theirs, strict=True)):
            at = 0.5 * index
            also = index < doubled
            notes.append(Note(pitch + index % 3, pitch + 1, at, at + 0.5, written, doubled=also))
            places[True][pitch + index % 3, at] = a
            places[False][pitch + index % 3, at] = b
        return tuple(notes)

    features = any_features()
    lead = line(reference, candidate, 70)
    low = line(*bass, 40) if bass else ()
    part = line(reference, candidate, 60) if written else ()
    monkeypatch.setattr(pair_room, "lead_and_bass_notes", lambda *_: (lead, low))
    monkeypatch.setattr(module, "part_notes", lambda _: part)
    monkeypatch.setattr(pair_room, "wetness_between", lambda *_: fit)
    monkeypatch.setattr(
        module,
        "follow_note",
        lambda note, source, _: places[source[0] is features[0]][note.pitch, note.onset_s],
    )
    monkeypatch.setattr(together, "average_ends", lambda notes, *_: average(notes))
    say = None if sureness is None else ends(sureness)
    monkeypatch.setattr(module, "average_ends", lambda notes, *_: say and say(notes))
    nothing = np.zeros((0, 3))
    parts = (PartNotes("oboe", nothing, nothing),) if written else ()
    time_map = TimeMap.linear(2.0, 1.25, 0.0, 30.0)
    return analyzer.compare(*features, Match(time_map, same_take=same_take, parts=parts))


def ends(sureness: float, doubled: bool = False) -> Callable[[Sequence[Note]], Ends]:
    """All notes, held for 95 % of their length in the reference and for half of it after."""
    return lambda notes: Ends(
        sureness,
        (0.95, 0.5),
        (-0.5, -0.4),
        0.85,
        tuple(replace(note, doubled=doubled) for note in notes),
    )


@pytest.mark.parametrize("doubled", [False, True])
def test_where_single_notes_cant_be_followed_all_of_them_speak_together(
    doubled: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    few: Followed = [held(0.9)] * 5 + [None] * 15
    silent = arithmetic(monkeypatch, few, few, written=True, average=ends(-2.6)).voices[2]
    assert silent.sounding_ratio is None
    assert "Fewer than eight" in silent.reasons[0]
    found = arithmetic(monkeypatch, few, few, written=True, average=ends(-4.0, doubled))
    oboe = found.voices[2]
    assert (oboe.reference_ratio, oboe.candidate_ratio) == (0.95, 0.5)
    assert (oboe.sounding_ratio, oboe.notes, oboe.reasons) == (pytest.approx(-0.45), 20, ())
    assert oboe.manner == "detached against legato or tenuto"
    assert oboe.doubled is doubled
    (told,) = analyzer.findings(found)
    assert (told.kind, told.evidence.agreeing) == ("notes_more_detached", 0.85)
    # No single note is drawn of it.
    assert found.shown == "leading line"
    # One take has one way of playing.
    take = arithmetic(monkeypatch, few, few, written=True, same_take=True, average=ends(-4.0))
    assert take.voices[2].sounding_ratio is None


@pytest.mark.parametrize(("sureness", "is_told"), [(-1.6, True), (-1.4, False), (1.6, False)])
def test_what_few_notes_say_is_borne_out_by_all_of_them_or_not_told(
    sureness: float, is_told: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    long: Followed = [held(0.9)] * 20
    short: Followed = [held(0.5)] * 20
    oboe = arithmetic(monkeypatch, long, short, written=True, average=ends(sureness)).voices[2]
    if is_told:
        assert oboe.sounding_ratio == pytest.approx(-0.4)
    else:
        assert (oboe.sounding_ratio, oboe.stretch) == (None, None)
        assert "on average they don't" in oboe.reasons[0]


def test_a_part_of_the_passage_is_borne_out_by_its_own_notes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[Sequence[Note]] = []

    def average(notes: Sequence[Note]) -> None:
        asked.append(notes)

    changed: Followed = [held(0.9)] * 14 + [held(0.5)] * 14
    arithmetic(monkeypatch, [held(0.9)] * 28, changed, written=True, average=average)
    assert [note.onset_s for note in asked[0]] == [0.5 * index for index in range(14, 28)]


@pytest.mark.parametrize(("doubled", "notes"), [(20, None), (13, None), (12, 8), (9, 20)])
def test_notes_that_other_parts_double_do_not_say_that_nothing_changed(
    doubled: int, notes: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They end with the last who plays them; so those that a part has to itself are asked."""
    same: Followed = [held(0.9)] * 20
    oboe = arithmetic(monkeypatch, same, same, written=True, doubled=doubled).voices[2]
    if notes is None:
        assert oboe.sounding_ratio is None
        assert "Other parts double" in oboe.reasons[0]
    else:
        assert (oboe.sounding_ratio, oboe.notes) == (pytest.approx(0.0), notes)


def test_a_change_of_doubled_notes_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    long: Followed = [held(0.9)] * 20
    short: Followed = [held(0.5)] * 20
    oboe = arithmetic(monkeypatch, long, short, written=True, doubled=20).voices[2]
    assert oboe.sounding_ratio == pytest.approx(-0.4)
    assert finding([oboe], False).subject == "the oboe (or a part that doubles it)"
    # Of other players a wetter room's part in it is taken off.
    assert [finding([oboe], same_take).apart for same_take in (False, True)] == [("room",), ()]
    both = finding([oboe, replace(oboe, name="flute")], False)
    assert both.subject == "the oboe and the flute"
    # One share where it is that of both; the manner is that of both together.
    assert "are held for 50 % of their length against 90 % in the reference" in both.text
    assert oboe.stretch is not None
    longer = replace(oboe.stretch, reference_ratio=0.96, candidate_ratio=0.56)
    shorter = replace(oboe.stretch, reference_ratio=0.86, candidate_ratio=0.46)
    two = finding(
        [replace(oboe, stretch=shorter), replace(oboe, name="flute", stretch=longer)], False
    )
    assert two.text.endswith(
        "The notes of the oboe are held for 46 % of their length against 86 % in the reference,"
        " 40 percentage points less; those of the flute for 56 % against 96 %:"
        " detached, where the reference is legato or tenuto."
    )
    alone = arithmetic(monkeypatch, long, short, written=True, doubled=9).voices[2]
    assert finding([alone], False).subject == "the oboe"


@pytest.mark.parametrize(
    ("ended", "one_tail", "asked"), [((), False, 20), ((), True, 0), ((1,), False, 0)]
)
def test_in_one_take_cells_say_whether_any_doubled_note_ends_elsewhere(
    ended: tuple[int, ...], one_tail: bool, asked: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    split = SimpleNamespace(ended=ended, one_tail=one_tail)
    monkeypatch.setattr(module, "split_pair", lambda pair: split)
    same: Followed = [held(0.9)] * 20
    found = arithmetic(monkeypatch, same, same, written=True, same_take=True, doubled=20)
    assert (found.voices[2].sounding_ratio is not None) == (asked == 20)


@pytest.mark.parametrize("sign", [1, -1])
def test_every_value_is_candidate_minus_reference(
    sign: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    long: Followed = [held(0.9, gap_db=8, accent_db=1, attack_s=0.0575, slope=50)] * 20
    short: Followed = [held(0.5, gap_db=20, accent_db=4, attack_s=0.0575, slope=100)] * 20
    both = (long, short) if sign < 0 else (short, long)
    difference = arithmetic(monkeypatch, *both)
    assert difference.sounding_ratio == pytest.approx(0.4 * sign)
    ratios = (0.9, 0.5) if sign < 0 else (0.5, 0.9)
    assert (difference.reference_ratio, difference.candidate_ratio) == pytest.approx(ratios)
    assert difference.gap_depth_db == pytest.approx(-12 * sign)
    assert difference.accent_db == pytest.approx(-3 * sign)
    # 10 dB take 200 ms at 50 dB/s and 100 ms at 100 dB/s.
    assert difference.release_ms == pytest.approx(100 * sign)
    assert difference.agreement == 1.0
    assert (difference.notes, difference.notes_left_out) == (20, 0)
    assert difference.sounding_ratio_interval == pytest.approx(
        (0.4 * sign - 0.12, 0.4 * sign + 0.12)
    )
    assert difference.stretch is not None
    assert difference.stretch.spans_s == ((0.0, 10.0),)
    # The candidate begins 2 s later and takes 5/4 of the time.
    assert difference.note_s == tuple(0.5 * index for index in range(20))
    assert difference.note_pitch[:4] == (70, 71, 72, 70)
    assert difference.note_reference_ratio == pytest.approx((ratios[0],) * 20)
    assert difference.note_candidate_ratio == pytest.approx((ratios[1],) * 20)
    low, high = pitch_hz([69.5, 72.5])
    assert difference.band_hz == pytest.approx((low, high))
    shape = difference.examples[0]
    assert shape.reference_held_s == pytest.approx(0.5 * ratios[0])
    assert shape.candidate_held_s == pytest.approx(0.5 * ratios[1])
    (finding,) = analyzer.findings(difference)
    assert finding.kind == ("notes_more_detached" if sign < 0 else "notes_more_connected")
    assert finding.difference == pytest.approx(0.4 * sign)
    assert finding.interval == difference.sounding_ratio_interval
    shares = ("50 %", "90 %") if sign < 0 else ("90 %", "50 %")
    words = ("detached", "legato or tenuto") if sign < 0 else ("legato or tenuto", "detached")
    assert finding.text == (
        f"The notes of the leading line are held for {shares[0]} of their length against"
        f" {shares[1]} in the reference, 40 percentage points {'less' if sign < 0 else 'more'}:"
        f" {words[0]}, where the reference is {words[1]}."
    )
    assert finding.spans_s == ((0.0, 10.0),)
    assert finding.band_hz == pytest.approx((low, high))
    assert finding.cause.players == pytest.approx(0.9, abs=0.03)
    ask = "hold every note up to the next" if sign < 0 else "lift before every note"
    assert ask in finding.advice[0]
    (voice, bass) = difference.voices
    assert (voice.name, voice.written) == ("leading line", False)
    assert voice.manner == f"{words[0]} against {words[1]}"
    assert (voice.reference_ratio, voice.candidate_ratio) == pytest.approx(ratios)
    assert voice.sounding_ratio == difference.sounding_ratio
    assert voice.gap_depth_db == difference.gap_depth_db
    assert voice.accent_db == difference.accent_db
    assert voice.release_ms == difference.release_ms
    assert (bass.name, bass.notes, bass.sounding_ratio) == ("bass line", 0, None)


@pytest.mark.parametrize("sign", [1, -1])
def test_change_of_the_attack(sign: int, monkeypatch: pytest.MonkeyPatch) -> None:
    soft: Followed = [held(0.8, attack_s=0.1)] * 12
    hard: Followed = [held(0.8, attack_s=0.06)] * 12
    difference = arithmetic(monkeypatch, *((hard, soft) if sign > 0 else (soft, hard)))
    assert difference.attack_ms == pytest.approx(40 * sign)
    assert difference.voices[0].attack_ms == pytest.approx(40 * sign)
    few: Followed = [held(0.8, attack_s=0.1)] * 7 + [held(0.8, attack_s=float("nan"))] * 5
    assert arithmetic(monkeypatch, few, hard).attack_ms is None


def test_notes_followed_in_one_recording_only_are_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ours: Followed = [held(0.8)] * 12 + [None, None, None, held(0.8)]
    theirs: Followed = [held(0.6)] * 12 + [None, held(0.1), held(0.1), None]
    difference = arithmetic(monkeypatch, ours, theirs)
    assert (difference.notes, difference.notes_left_out) == (12, 3)
    assert difference.sounding_ratio == pytest.approx(-0.2)
    assert (difference.voices[0].notes, difference.voices[0].notes_left_out) == (12, 3)


def test_eight_notes_are_enough_and_seven_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    few = arithmetic(monkeypatch, [held(0.8)] * 7, [held(0.6)] * 7)
    assert few.sounding_ratio is None
    assert few.sounding_ratio_interval is None
    assert (few.notes, few.notes_left_out) == (7, 0)
    assert "Fewer than eight notes" in few.reasons[0]
    enough = arithmetic(monkeypatch, [held(0.8)] * 8, [held(0.6)] * 8)
    assert enough.sounding_ratio == pytest.approx(-0.2)


def test_agreement_is_the_share_that_moved_with_the_median(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    theirs: Followed = [held(0.5), held(0.5), held(0.85), held(0.5)] * 5
    difference = arithmetic(monkeypatch, [held(0.8)] * 20, theirs)
    assert difference.agreement == pytest.approx(0.75)
    assert difference.stretch is not None
    assert difference.stretch.notes == 20
    (finding,) = analyzer.findings(difference)
    assert 0.6 <= finding.confidence < 0.97


@pytest.mark.parametrize("sign", [1, -1])
def test_notes_of_all_lengths_are_compared_one_by_one(
    monkeypatch: pytest.MonkeyPatch, sign: int
) -> None:
    # Quartiles 0.7 apart in both; the same notes are held 0.15 shorter throughout.
    wild: Followed = [held(0.2), held(0.9)] * 12
    same = arithmetic(monkeypatch, wild, wild)
    assert same.sounding_ratio == pytest.approx(0.0)
    assert analyzer.findings(same) == []
    shorter: Followed = [held(0.05), held(0.75)] * 12
    sides = (wild, shorter) if sign < 0 else (shorter, wild)
    difference = arithmetic(monkeypatch, *sides)
    assert difference.sounding_ratio == pytest.approx(0.15 * sign)
    assert difference.sounding_ratio_interval is not None
    assert np.ptp(difference.sounding_ratio_interval) < 0.3


@pytest.mark.parametrize("apart", ["halves", "phrases"])
def test_notes_of_all_lengths_tell_nothing_where_halves_disagree(
    monkeypatch: pytest.MonkeyPatch, apart: str
) -> None:
    wild: Followed = [held(0.2), held(0.9)] * 12
    longer: Followed = [held(0.6), held(1.3)] * 12
    first = np.arange(24) < 12 if apart == "halves" else (np.arange(24) // 6) % 2 == 0
    theirs = [
        one if early else other for early, one, other in zip(first, wild, longer, strict=True)
    ]
    difference = arithmetic(monkeypatch, wild, theirs)
    assert difference.sounding_ratio is None
    assert "scatter widely" in difference.reasons[0]


def test_notes_of_two_manners_are_no_scatter(monkeypatch: pytest.MonkeyPatch) -> None:
    even: Followed = [held(0.5), held(0.85)] * 10
    assert arithmetic(monkeypatch, even, even).sounding_ratio == 0.0


def test_a_part_of_the_passage(monkeypatch: pytest.MonkeyPatch) -> None:
    ours: Followed = [held(0.9)] * 40
    theirs: Followed = [held(0.9)] * 22 + [held(0.4)] * 14 + [held(0.9)] * 4
    difference = arithmetic(monkeypatch, ours, theirs)
    assert difference.sounding_ratio == pytest.approx(0.0)
    stretch = difference.stretch
    assert stretch is not None
    assert stretch.notes == 14
    assert stretch.sounding_ratio == pytest.approx(-0.5)
    assert (stretch.reference_ratio, stretch.candidate_ratio) == pytest.approx((0.9, 0.4))
    assert stretch.spans_s == ((11.0, 18.0),)
    (finding,) = analyzer.findings(difference)
    assert finding.spans_s == ((11.0, 18.0),)
    # Eleven notes are no part.
    theirs = [held(0.9)] * 25 + [held(0.4)] * 11 + [held(0.9)] * 4
    assert arithmetic(monkeypatch, ours, theirs, same_take=True).stretch is None
    theirs = [held(0.9)] * 24 + [held(0.4)] * 12 + [held(0.9)] * 4
    assert arithmetic(monkeypatch, ours, theirs, same_take=True).stretch is not None


def moved(shorter: int, longer: int, others: int = 20) -> tuple[Followed, Followed]:
    """Notes that went from 0.9 to 0.4 of their length or back, among others that stay."""
    ours: Followed = [held(0.9)] * shorter + [held(0.4)] * longer + [held(0.9)] * others
    theirs: Followed = [held(0.4)] * shorter + [held(0.9)] * longer + [held(0.9)] * others
    order = np.random.default_rng(3).permutation(len(ours))
    return [ours[place] for place in order], [theirs[place] for place in order]


# Chance by the binomial distribution, both ways: eight of eight 0.8 %, seven of seven 1.6 %; ten of
# eleven 1.2 %, eleven of twelve 0.6 %.
@pytest.mark.parametrize(
    ("shorter", "longer", "found"),
    [(8, 0, True), (7, 0, False), (11, 1, True), (10, 1, False), (6, 5, False)],
)
def test_notes_of_others_in_a_line_stay(
    shorter: int, longer: int, found: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    count = shorter + longer
    mixed = moved(shorter, longer)
    stretch = arithmetic(monkeypatch, *mixed).stretch
    assert (stretch is not None) == found
    if stretch is not None:
        assert stretch.notes == shorter
        assert stretch.sounding_ratio == pytest.approx(-0.5)
        assert stretch.agreement == pytest.approx(shorter / count)
        turned = arithmetic(monkeypatch, mixed[1], mixed[0]).stretch
        assert turned is not None
        assert turned.sounding_ratio == pytest.approx(0.5)
    # A score tells whose notes they are, and one take has one way of playing.
    assert arithmetic(monkeypatch, *mixed, same_take=True).stretch is None


# Five of five go one way by chance once in 16. A sureness of 1.3 is 2.17 times what it usually is
# by chance (0.6), so seldom as once in 33 (normal distribution), and 1.0 once in 10. Both together
# (Fisher): 0.0019 * (1 - ln 0.0019) = 0.014, and 0.006 * (1 - ln 0.006) = 0.037.
def test_few_clear_notes_are_the_lines_own_where_all_of_it_sinks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for sign in (-1, 1):
        sides = moved(5, 0)[::-sign]
        found = arithmetic(monkeypatch, *sides, sureness=1.3 * sign).stretch
        assert found is not None
        assert found.notes == 5
        assert found.sounding_ratio == pytest.approx(0.5 * sign)
        # What sinks the other way, hardly, or nowhere, proves nothing; then it can't be told.
        for other in (-1.3 * sign, 1.0 * sign, 0.0):
            untold_so = arithmetic(monkeypatch, *sides, sureness=other)
            assert untold_so.stretch is None
            assert untold_so.sounding_ratio is None
            assert "too few to tell whether they are the line's own" in untold_so.reasons[0]


def test_what_all_notes_do_on_average_bears_out_what_single_ones_tell(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def told(candidate: Followed, sureness: float) -> float | None:
        reference: Followed = [held(0.9)] * len(candidate)
        found = arithmetic(monkeypatch, reference, candidate, sureness=sureness).stretch
        return None if found is None else found.sounding_ratio

    whole: Followed = [held(0.5)] * 20
    part: Followed = [held(0.9)] * 20 + [held(0.5)] * 16
    for notes in (whole, part):
        assert told(notes, -0.8) == pytest.approx(-0.4)
        # Twenty, or sixteen, of as many are no chance: it takes what says the contrary.
        assert told(notes, 0.0) is None
        assert told(notes, 3.0) is None
    assert arithmetic(monkeypatch, whole[:], [held(0.9)] * 20).stretch is not None  # none asked


# Of what is misread beside another room three of four go its way: five of five once in 2.1 (both
# ways), one in 512 to the other side, four of four one in 128.
def test_another_room_moves_notes_its_own_way(monkeypatch: pytest.MonkeyPatch) -> None:
    def told(count: int, sign: int, sureness: float, room_db: float) -> bool:
        fit = Wetness(room_db, (0, 0), 1.2, 0.3, room_db, (room_db,) * 4, (0.3,) * 4, 0.2)
        sides = moved(count, 0)[::-sign]
        return arithmetic(monkeypatch, *sides, sureness=sureness, fit=fit).stretch is not None

    for sign in (-1, 1):
        assert told(5, sign, 2.0 * sign, 0.0)
        # Beside a room that does the same, an average must lie further: 2.0 once in 22.
        assert not told(5, sign, 2.0 * sign, 8.0 * sign)
        assert told(5, sign, 3.6 * sign, 8.0 * sign)
        # What goes against the room is not the room's: 0.00195 * 0.62 gives 0.009, 0.0078 * 0.62
        # 0.03; but all notes together must not say otherwise.
        assert told(5, sign, 0.3 * sign, -8.0 * sign)
        assert not told(4, sign, 0.3 * sign, -8.0 * sign)
        assert not told(9, sign, -0.01 * sign, -8.0 * sign)
        # A little of a room moves little: (5/8) ** 5, both ways, is 0.19.
        assert told(5, sign, 2.6 * sign, 2.0 * sign)
        assert not told(5, sign, 2.6 * sign, 4.0 * sign)


def test_three_notes_that_moved_are_others_and_four_may_be_the_lines_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    three = arithmetic(monkeypatch, *moved(3, 0), sureness=-3.0)
    assert (three.sounding_ratio, three.stretch) == (pytest.approx(0.0), None)
    assert arithmetic(monkeypatch, *moved(4, 0), sureness=-3.0).stretch is not None
    assert arithmetic(monkeypatch, *moved(4, 4), sureness=0.0).sounding_ratio is None
    # Notes that all went a little further are one manner of playing, not two.
    scattered: Followed = [held(ratio) for ratio in (0.75, 0.72, 0.66, 0.63) * 6]
    together = arithmetic(monkeypatch, [held(0.9)] * 24, scattered, sureness=0.0)
    assert together.sounding_ratio == pytest.approx(-0.21)
    # One take has one articulation, and a score tells whose the notes are.
    assert arithmetic(monkeypatch, *moved(5, 0), same_take=True).sounding_ratio == 0.0
    part = arithmetic(monkeypatch, *moved(5, 0), written=True).voices[2]
    assert part.sounding_ratio == pytest.approx(0.0)


def test_low_notes_are_not_asked_how_far_they_sink(monkeypatch: pytest.MonkeyPatch) -> None:
    same: Followed = [held(0.9)] * 25
    lead, bass = arithmetic(monkeypatch, same, same, bass=moved(5, 0), sureness=-3.0).voices
    assert lead.sounding_ratio == pytest.approx(0.0)
    assert (bass.stretch, bass.sounding_ratio) == (None, None)


def test_one_take_changes_its_notes_by_editing_only(monkeypatch: pytest.MonkeyPatch) -> None:
    for ratio, kinds in ((0.7, []), (0.5, ["notes_more_detached"])):
        difference = arithmetic(monkeypatch, [held(0.9)] * 20, [held(ratio)] * 20, same_take=True)
        found = analyzer.findings(difference)
        assert [finding.kind for finding in found] == kinds
        assert difference.sounding_ratio_interval == pytest.approx(
            (ratio - 0.9 - 0.08, ratio - 0.9 + 0.08)
        )
    assert found[0].cause.likeliest == "mix"
    assert "shortens the notes" in found[0].advice[0]


def test_the_bass_line_has_its_own_voice(monkeypatch: pytest.MonkeyPatch) -> None:
    same: Followed = [held(0.9)] * 12
    shorter: Followed = [held(0.5)] * 12
    difference = arithmetic(monkeypatch, same, same, bass=(same, shorter))
    lead, bass = difference.voices
    assert lead.sounding_ratio == 0.0
    assert lead.manner == "legato or tenuto"
    assert bass.sounding_ratio == pytest.approx(-0.4)
    assert difference.sounding_ratio == 0.0
    assert difference.shown == "bass line"
    assert difference.note_pitch[:2] == (40, 41)
    (finding,) = analyzer.findings(difference)
    assert finding.subject == "the bass line"


def test_a_written_part_speaks_for_the_line(monkeypatch: pytest.MonkeyPatch) -> None:
    difference = arithmetic(monkeypatch, [held(0.9)] * 12, [held(0.5)] * 12, written=True)
    assert difference.shown == "oboe"
    part = difference.voices[2]
    assert part.written
    assert part.sounding_ratio_interval == pytest.approx((-0.45, -0.35))
    (finding,) = analyzer.findings(difference)
    assert finding.subject == "the oboe"
    assert finding.advice[0] == "Ask the oboe to hold every note up to the next."
    wet = arithmetic(
        monkeypatch, [held(0.9)] * 12, [held(0.5, slope=29)] * 12, written=True
    ).voices[2]
    assert wet.sounding_ratio_interval == pytest.approx((-0.5, -0.3))


@pytest.mark.parametrize("wetness_db", [4.0, -4.0])
def test_another_room_may_have_lengthened_the_notes(
    wetness_db: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    # 0.025 of the length for each decibel, to the side on which the room makes notes look so.
    fit = Wetness(wetness_db, (0, 0), 1.2, 0.3, wetness_db, (wetness_db,) * 4, (0.3,) * 4, 0.2)
    longer = arithmetic(monkeypatch, [held(0.6)] * 12, [held(0.9)] * 12, fit=fit)
    room = (0.1, 0.0) if wetness_db > 0 else (0.0, 0.1)
    assert longer.sounding_ratio_interval == pytest.approx((0.18 - room[0], 0.42 + room[1]))
    untold = replace(fit, gain=0.01)
    plain = arithmetic(monkeypatch, [held(0.6)] * 12, [held(0.9)] * 12, fit=untold)
    assert plain.sounding_ratio_interval == pytest.approx((0.18, 0.42))


@pytest.mark.parametrize(
    ("ratio", "word"),
    [
        (1.02, "legato or tenuto"),
        (0.9, "legato or tenuto"),
        (0.89, "portato"),
        (0.75, "portato"),
        (0.74, "detached"),
        (0.5, "detached"),
        (0.49, "staccato"),
        (0.4, "staccato"),  # Bresin and Battel 2000: played staccato, about 40 %
        (0.3, "staccato"),
        (0.29, "staccatissimo"),
    ],
)
def test_words_for_the_manner(ratio: float, word: str) -> None:
    assert manner_of(ratio) == word


def test_the_95_percent_interval_holds_the_truth(monkeypatch: pytest.MonkeyPatch) -> None:
    # 120 pairs of 16 to 40 notes whose ratios scatter by 0.08; what both recordings' rooms and
    # instruments shift in common is drawn so that 95 % of it lies within 0.12.
    told = []
    for seed in range(120):
        rng = np.random.default_rng([seed, 4])
        count, truth = int(rng.integers(16, 41)), float(rng.uniform(-0.4, 0.3))
        ours = 0.6 + rng.normal(0, 0.08, count)
        theirs = 0.6 + truth + rng.normal(0, 0.12 / 1.96) + rng.normal(0, 0.08, count)
        difference = arithmetic(
            monkeypatch, [held(ratio) for ratio in ours], [held(ratio) for ratio in theirs]
        )
        assert difference.sounding_ratio_interval is not None
        low, high = difference.sounding_ratio_interval
        told.append(low <= truth <= high)
    assert 0.92 <= np.mean(told) <= 0.99


def test_one_recording_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    notes = [held(ratio, gap_db=depth) for ratio, depth in ((0.5, 10), (0.6, 20), (0.7, 30))] * 5
    line = [Note(70, 71, 0.5 * at, 0.5 * at + 0.5) for at in range(15)]
    monkeypatch.setattr(module, "lead_notes", lambda *_: line)
    found = iter(notes)
    monkeypatch.setattr(module, "follow_note", lambda *_: next(found))
    measured = analyzer.measure(any_features()[0])
    assert measured.sounding_ratio == pytest.approx(0.6)
    assert measured.gap_depth_db == 20
    assert measured.attack_ms == pytest.approx(57.5)
    assert measured.notes == 15
    assert measured.reasons == ()
    assert measured.sounding_ratio_interval is not None
    low, high = measured.sounding_ratio_interval
    assert 0.5 - 0.08 < low <= 0.52
    assert 0.68 <= high < 0.7 + 0.08
    quick = iter([held(0.6, attack_s=0.024)] * 15)
    monkeypatch.setattr(module, "follow_note", lambda *_: next(quick))
    measured = analyzer.measure(any_features()[0])
    assert measured.attack_ms is None
    assert "faster than 25 ms" in measured.reasons[0]


def voice(name: str, reason: str = "", written: bool = True) -> VoiceArticulation:
    reasons = (reason,) if reason else ()
    nothing = (None,) * 4
    return VoiceArticulation(name, *nothing, "", *nothing, 3, 0, written, reasons)


def told_of(*voices: VoiceArticulation, same_take: bool = False) -> tuple[str, ...]:
    return untold(SimpleNamespace(voices=voices), same_take)  # type: ignore[arg-type]


def test_every_part_whose_notes_could_not_be_followed_says_why() -> None:
    few, covered = "Fewer than eight notes.", "They are covered."
    said = told_of(
        voice("leading line", few, written=False), voice("flute"), voice("oboe", few),
        voice("cellos", covered), voice("timpani", few), same_take=True,
    )  # fmt: skip
    assert said == (
        "How long the notes of oboe, cellos and timpani are held can't be told.",
        "How long the notes of oboe and timpani are held can't be told: fewer than eight notes.",
        "How long the notes of cellos are held can't be told: they are covered.",
    )


def test_many_parts_are_counted_where_a_sentence_would_not_bear_them() -> None:
    (said,) = told_of(*(voice(f"horn {number}", "Few.") for number in range(1, 10)))
    assert said.startswith(
        "How long the notes of horn 1, horn 2, horn 3, horn 4, horn 5 and 4 more"
    )


@pytest.mark.parametrize(("same_take", "missed"), [(False, True), (True, False)])
def test_without_a_score_the_leading_line_of_another_performance_says_why(
    same_take: bool, missed: bool
) -> None:
    lines = (
        voice("leading line", "Few.", written=False),
        voice("bass line", "Few.", written=False),
    )
    said = told_of(*lines, same_take=same_take)
    assert said == ("How long the notes of the leading line are held can't be told: few.",) * missed


@pytest.mark.parametrize(
    ("limits", "wide"),
    [((-0.12, 0.12), False), ((-0.25, 0.1), True), ((-0.1, 0.25), True), ((-0.24, 0.24), False)],
)
def test_a_voice_whose_notes_scatter_widely_says_that_it_tells_nothing(
    limits: tuple[float, float], wide: bool
) -> None:
    """0.25 is half the way from legato, above 0.9, to the middle of detached and staccato."""
    lead = replace(
        voice("leading line", written=False), sounding_ratio=0.0, sounding_ratio_interval=limits
    )
    said = told_of(lead)
    assert len(said) == wide
    if wide:
        assert said[0].startswith("How long the notes of the leading line are held can't be told")
        assert "half the way from legato to detached can't be excluded" in said[0]
    assert told_of(lead, same_take=True) == ()


def test_both_shares_lie_apart_by_the_difference(monkeypatch: pytest.MonkeyPatch) -> None:
    """Medians of either recording would be 0.6 and 0.6, and every second note's change 0.2."""
    first = [held(ratio) for ratio in (0.5, 0.6, 0.7, 0.4, 0.9) * 5]
    second = [held(ratio) for ratio in (0.7, 0.8, 0.9, 0.1, 0.6) * 5]
    difference = arithmetic(monkeypatch, first, second)
    assert difference.sounding_ratio == pytest.approx(0.2)
    # Of the notes that changed by 0.2, the reference's hold for 0.6 of their time on average.
    assert difference.reference_ratio == pytest.approx(0.6)
    assert difference.candidate_ratio == pytest.approx(0.8)
    # Both are whole per cent also where their difference is an odd number of them.
    odd = arithmetic(
        monkeypatch, first, [held(ratio) for ratio in (0.71, 0.81, 0.91, 0.1, 0.6) * 5]
    )
    assert odd.sounding_ratio == pytest.approx(0.21)
    for ratio in (odd.reference_ratio, odd.candidate_ratio):
        assert ratio is not None
        assert 100 * ratio == pytest.approx(round(100 * ratio))
