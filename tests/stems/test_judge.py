"""Trims and what does not add up, on mixes whose stems are known."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile

from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.stems import judge as judging
from mixcompare.stems.judge import Judged, _Found, _together, judged
from mixcompare.stems.places import Change, Course
from mixcompare.stems.values import Stem
from tests import operations
from tests.stems import made
from tests.stems.made import files, mixed, pair_of, recorded


def judge(
    parts: dict[str, np.ndarray], candidate: np.ndarray | None = None, room: float | None = None
) -> Judged:
    """Stems against the plain take; the candidate is their sum, if it is not given."""
    reference, sounds = mixed(made.stems()), mixed(parts) if candidate is None else candidate
    if room is not None:
        sounds = made.synthetic.in_room(sounds, room, -8.0)
    one, other = recorded(reference), recorded(sounds)
    return judged(pair_of(one, other), one, other, files(parts))


def by_name(found: Judged) -> dict[str, Stem]:
    return {stem.name: stem for stem in found.told.stems}


@pytest.mark.parametrize(("voice", "by_db"), [("figure", 5.0), ("melody", -4.0), ("bass", 3.0)])
def test_in_one_take_the_trim_undoes_what_was_done(voice: str, by_db: float) -> None:
    found = judge(made.stems(**{voice: by_db}))
    assert found.told.notes == ()
    assert found.told.explained_share > 0.95
    for name, stem in by_name(found).items():
        expected = -by_db if name == voice else 0.0
        assert stem.trim_db == pytest.approx(expected, abs=0.3)
        assert stem.interval is not None
        assert stem.interval[0] <= expected <= stem.interval[1]
        assert stem.is_due == (name == voice)
        assert stem.delay_ms == pytest.approx(0.0, abs=0.05)


def test_under_another_hall_the_trim_is_found_as_well() -> None:
    found = by_name(judge(made.stems(figure=5.0), room=1.5))
    for name, stem in found.items():
        assert stem.trim_db == pytest.approx(-5.0 if name == "figure" else 0.0, abs=1.0)
        assert stem.is_due == (name == "figure")


def test_between_performances_the_trim_is_near_and_says_how_near() -> None:
    found = by_name(judge(made.stems(again=True, figure=5.0)))
    for name, stem in found.items():
        expected = -5.0 if name == "figure" else 0.0
        assert stem.trim_db == pytest.approx(expected, abs=1.0)
        assert stem.interval is not None
        assert stem.interval[0] <= expected <= stem.interval[1]
        assert stem.is_due == (name == "figure")


@pytest.mark.parametrize("again", [False, True])
def test_unchanged_stems_need_no_trim(again: bool) -> None:
    found = judge(made.stems(again=again))
    assert not any(stem.is_due for stem in found.told.stems)
    assert all(stem.trim_db is not None for stem in found.told.stems)


def test_a_reference_that_holds_some_of_the_take_says_nothing_of_the_rest() -> None:
    """Outside of it the melody is twice as loud and the bass is silent."""
    parts = made.stems(figure=5.0)
    length = len(parts["melody"])
    rest = np.ones((length, 1))
    rest[length // 4 : 3 * length // 4] = 0.0
    parts = {
        **parts, "melody": parts["melody"] * (1 + rest), "bass": parts["bass"] * (1 - rest),
    }  # fmt: skip
    reference = mixed(made.stems())[length // 4 : 3 * length // 4]
    one, other = recorded(reference), recorded(mixed(parts))
    found = by_name(judged(pair_of(one, other), one, other, files(parts)))
    for name, stem in found.items():
        assert stem.trim_db == pytest.approx(-5.0 if name == "figure" else 0.0, abs=0.9)
        assert not stem.places
    assert found["figure"].is_due


@pytest.mark.parametrize("trim_db", [0.0, 4.0])
def test_what_rides_the_whole_mix_is_no_stem_s_trim(trim_db: float) -> None:
    """The whole fades by 8 dB; the melody plays in the first half alone, the figure in the second.

    Were the fade theirs, they would be 4 dB apart from each other.
    """
    plain = made.stems()
    half = len(plain["melody"]) // 2
    plain["melody"][half:] = 0.0
    plain["figure"][:half] = 0.0
    fade = 10 ** (np.linspace(0, -8, 2 * half) / 20)[:, None]
    parts = {**plain, "figure": plain["figure"] * 10 ** (-trim_db / 20)}
    one, other = recorded(mixed(plain)), recorded(mixed(parts)[: 2 * half] * fade)
    told = judged(pair_of(one, other), one, other, files(parts)).told
    for name, stem in {stem.name: stem for stem in told.stems}.items():
        expected = trim_db if name == "figure" else 0.0
        assert stem.trim_db == pytest.approx(expected, abs=0.7)
        assert stem.is_due == (expected != 0)


def test_shares_are_those_of_the_energy() -> None:
    parts = made.stems()
    found = by_name(judge(parts))
    # Below 6 kHz, where all but nothing of these plain tones lies.
    energy = {name: float(np.square(sound).sum()) for name, sound in parts.items()}
    for name, stem in found.items():
        assert stem.share_percent == pytest.approx(
            100 * energy[name] / sum(energy.values()), abs=6.0
        )


def test_a_stem_that_is_late_or_turned_round_in_the_mix_is_told() -> None:
    parts = made.stems()
    shifted = {**parts, "bass": -parts["bass"], "melody": np.roll(parts["melody"], 441, axis=0)}
    found = judge(parts, mixed(shifted))
    stems = by_name(found)
    assert stems["bass"].is_inverted
    assert not stems["melody"].is_inverted
    assert stems["melody"].delay_ms == pytest.approx(1e3 * 441 / made.RATE_HZ, abs=0.1)
    assert stems["melody"].delay_interval is not None
    assert stems["pad"].delay_ms == pytest.approx(0.0, abs=0.1)
    notes = " ".join(found.told.notes)
    assert "The stem bass is in the mix with its polarity turned round." in notes
    late_ms = 1e3 * 441 / made.RATE_HZ
    assert f"The stem melody sounds {late_ms:.1f} ms later in the mix" in notes
    assert f"({0.343 * late_ms:.1f} m of air at 20 °C)" in notes  # 343 m/s, handbook value


def test_what_does_not_add_up_is_told_first() -> None:
    parts = made.stems()
    louder = {**parts, "pad": 2 * parts["pad"]}
    notes = " ".join(judge(parts, mixed(louder)).told.notes)
    louder_db = float(notes.split("The stem pad is ")[1].split(" dB louder in the mix than")[0])
    assert louder_db == pytest.approx(6.0, abs=0.8)

    rng = np.random.default_rng(1)
    noise = 0.05 * rng.standard_normal(parts["pad"].shape)
    foreign = judge({**parts, "applause": noise}, mixed(parts))
    assert "The stem applause does not sound in the mix where it lies" in foreign.told.notes[0]
    (applause,) = [stem for stem in foreign.told.stems if stem.name == "applause"]
    assert applause.trim_db is None
    assert applause.reason == "Does not sound in the mix at the place where it lies."


def test_what_is_there_twice_is_left_out_and_the_rest_is_judged() -> None:
    """The copy, and the mix itself among its stems."""
    parts = made.stems(figure=5.0)
    more = {"melody print": parts["melody"], **parts, "whole": mixed(parts)}
    told = judge(more, mixed(parts)).told
    assert told.notes == (
        "The stem whole is the mix itself; it was left out.",
        "The stems melody and melody print are the same sound; melody print was left out.",
    )
    assert [stem.name for stem in told.stems] == list(parts)
    assert [stem.name for stem in told.due] == ["figure"]


def test_stems_that_are_silent_cut_short_or_of_other_music_are_named(tmp_path: Path) -> None:
    parts = made.stems()
    soundfile.write(tmp_path / "tacet.wav", 0 * parts["bass"], made.RATE_HZ)
    half = parts["pad"][: len(parts["pad"]) // 2]
    stems = files({**parts, "pad": half}) | {"tacet": Recording.open(tmp_path / "tacet.wav")}
    whole = recorded(mixed(parts))
    told = judged(pair_of(whole, whole), whole, whole, stems).told
    assert "Stems end before the mix does: pad at 0:08. Check that nothing of it was cut off." in (
        told.notes
    )
    assert "The stem tacet is silent." in told.notes
    rng = np.random.default_rng(1)
    others = {name: 0.05 * rng.standard_normal(parts["pad"].shape) for name in ("rain", "wind")}
    two = judge({**parts, **others}, mixed(parts)).told.notes
    assert two[0].startswith("The stems rain and wind do not sound in the mix where they lie:")
    (all_of_them,) = judge(others, mixed(parts)).told.notes
    assert all_of_them == (
        "The stems explain little of the mix: most of what sounds is in none of them. Check that"
        " they are of this mix and start where it does."
    )


def test_a_mix_that_was_compressed_as_a_whole_is_told() -> None:
    parts = made.stems()
    told = "The mix is compressed as a whole"
    squeezed = operations.squeezed(mixed(parts), 3, -90)
    assert any(told in note for note in judge(parts, squeezed).told.notes)
    above = -3.0 + 10 * np.log10(np.square(mixed(parts)).mean())
    (note,) = judge(parts, operations.squeezed(mixed(parts), 4, above)).told.notes
    least, most = re.search(r"falls by (\d+) to (\d+) dB", note).groups()
    assert float(least) < 10 * (1 - 1 / 4) < float(most) + 1
    ends = [0, 5, 5.5, 20]
    ridden = operations.ridden(mixed(parts), ends, [0, 0, -5, -5])
    assert not any(told in note for note in judge(parts, ridden).told.notes)


def test_where_no_stem_holds_what_plays_the_place_is_named() -> None:
    parts = made.stems()
    rng = np.random.default_rng(2)
    extra = np.zeros_like(parts["pad"])
    extra[6 * made.RATE_HZ : 10 * made.RATE_HZ] = 3 * np.std(mixed(parts))
    extra *= rng.standard_normal(extra.shape)
    notes = judge(parts, mixed(parts) + extra).told.notes
    assert "From 0:06 to 0:10 something plays in the mix that no stem holds." in notes


def test_two_ways_that_agree_give_their_mean_and_others_stay_apart() -> None:
    """By hand: weights of 1 to 4, a stem 5 dB apart where 0.4 dB are doubt, 3 dB common to all."""
    nobody = (None,) * 4
    direct = _Found(
        np.array([0.0, -6.5, 0.0, 4.0]), np.array([0.2, 0.4, 0.2, 0.3]), [[]] * 4, tuple("abcd")
    )
    take = _Found(np.array([3.0, -3.0, 3.0, 2.0]), np.array([0.2, 0.2, 0.2, 0.3]), [[]] * 4, nobody)
    found = _together(direct, take)
    np.testing.assert_allclose(found.trim_db, [0.0, -6.1, 0.0, 4.0], atol=1e-9)
    np.testing.assert_allclose(found.deviation_db, [0.2, 0.2, 0.2, 0.3])
    assert found.partner == tuple("abcd")


def test_trims_of_both_ways_are_laid_at_one_level(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: the two that both know lie 1.5 dB apart on average; the third goes along."""
    direct = SimpleNamespace(
        trim_db=np.array([2.0, -1.0, np.nan]), deviation_db=np.array([0.3, 0.3, np.nan]),
        partner=("a", "b", "c"), notes=(),
    )  # fmt: skip
    take = _Found(np.array([1.0, -3.0, 4.0]), np.full(3, 0.2), [[1], [0], []], (None,) * 3)
    monkeypatch.setattr(judging, "levels_between", lambda *_: direct)
    pair: Any = SimpleNamespace(
        ride=SimpleNamespace(moves=False), match=SimpleNamespace(time_map=None)
    )
    making: Any = SimpleNamespace(sounds=np.ones(3))
    mix: Any = (None, {"a": None})
    cells: Any = None
    found = judging._found(pair, mix, mix, cells, making, take)
    np.testing.assert_allclose(found.trim_db, [2.0, -1.0, 5.5])
    np.testing.assert_allclose(found.deviation_db, [0.3, 0.3, 0.2])
    assert (found.partner, found.confused) == (("a", "b", None), [[], [], []])


def test_a_ride_that_is_told_is_no_doubt_of_the_trim(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: of the stem that is ridden the rest of the time counts, its scatter and 0.1 dB."""
    plain = SimpleNamespace(trim_db=np.array([1.0, 2.0]), deviation_db=np.array([3.0, 0.4]))
    ridden = Course((Change((4, 8), 6.0, 0.2),), -1.5, 0.3)
    monkeypatch.setattr(judging, "trims_of", lambda *_: plain)
    monkeypatch.setattr(judging, "courses", lambda *_: [ridden, Course((), 0.0, 0.5)])
    pair: Any = SimpleNamespace(ride=SimpleNamespace(moves=False))
    making: Any = SimpleNamespace(alike=np.zeros((2, 2)))
    found = judging._take_trims(pair, (making, making), (np.zeros(1), np.zeros(1)), 0.0)
    np.testing.assert_allclose(found.trim_db, [-0.5, 2.0])
    np.testing.assert_allclose(found.deviation_db, [np.hypot(judging._LEAST_DB, 0.3), 0.4])


def test_the_reference_is_given_the_ride_at_its_place_in_the_candidate() -> None:
    """The candidate begins two seconds earlier, and is turned up by 6 dB from 5 s on."""
    times_s = np.arange(0.0, 10.0, 0.1)
    pair: Any = SimpleNamespace(
        match=SimpleNamespace(time_map=TimeMap.linear(2.0, 1.0, 0.0, 10.0)),
        same_take=True,
        spectra=SimpleNamespace(times_s=times_s),
        ride=SimpleNamespace(level_db=np.where(times_s < 5.0, 0.0, 6.0)),
    )
    reference, candidate = (
        Recording.from_array(np.ones((seconds * 8000, 2)), 8000) for seconds in (10, 12)
    )
    mixes, offset_s = judging._mixes(pair, reference, candidate)
    assert offset_s == 2.0
    assert mixes[1].start_s == -2.0
    at_s = np.arange(len(mixes[1].gain)) / judging.RATE_HZ
    for place_s, gain in ((1.0, 0.0), (4.0, 1.0), (6.5, 1.0), (7.5, 10 ** (6 / 20))):
        assert np.interp(place_s, at_s, mixes[1].gain) == pytest.approx(gain)
