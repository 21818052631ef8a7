"""A passage that comes more than once in one of the two: found, chosen and told.

Made-up music with known places. The words and which place is taken are our own choice.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import mixcompare
from mixcompare.alignment.again import _is_again, told
from mixcompare.alignment.coarse import whole_places
from mixcompare.alignment.laid import Laid
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.result import Alignment, Place
from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.audio.span import parse_span
from mixcompare.features import AlignmentFeatures
from tests import synthetic
from tests.synthetic import RATE_HZ

FloatArray = np.ndarray

OTHER_S = 11.1  # of the music between
PASSAGE_S = 15.9


def recording(samples: FloatArray, begins_s: float = 0.0) -> Recording:
    length_s = len(samples) / RATE_HZ
    return Recording.from_array(samples, RATE_HZ, span_s=(begins_s, length_s))


def play(performance: int, **how: Any) -> FloatArray:
    """The passage, played by hand: else two of them would be one take."""
    return synthetic.play(3, performance=performance, scatter_s=0.006, **how)


def view(samples: FloatArray) -> Representation:
    return Representation(AlignmentFeatures.of(recording(samples)))


@pytest.fixture(scope="module")
def passage() -> FloatArray:
    return play(1)


@pytest.fixture(scope="module")
def between() -> FloatArray:
    """Other music, four bars of it."""
    return synthetic.play(41, bars=4, beat_s=0.6)


@pytest.fixture(scope="module")
def twice(between: FloatArray) -> FloatArray:
    """The passage, other music, and the passage once more, a little slower."""
    first = play(2)
    second = play(3, beat_s=0.63)
    return np.concatenate([between, first, between, second])


def spans(alignment: Alignment) -> list[tuple[float, float]]:
    return [place.own_s for place in alignment.places]


FIRST, SECOND = (11.1, 27.0), (38.1, 54.8)


def test_both_places_are_told_and_the_first_of_equals_is_compared(
    passage: FloatArray, twice: FloatArray
) -> None:
    alignment = mixcompare.align(recording(passage), recording(twice))
    assert alignment.relation == "same_passage"
    assert spans(alignment)[0] == pytest.approx(FIRST, abs=1.0)
    assert spans(alignment)[1] == pytest.approx(SECOND, abs=1.0)
    assert [place.compared for place in alignment.places] == [True, False]
    assert alignment.time_map.to_candidate(8.0) == pytest.approx(OTHER_S + 8.0, abs=0.05)
    assert alignment.tempo_ratio == pytest.approx(1.0, abs=0.01)
    (words,) = alignment.warnings
    assert words.startswith("The candidate has the passage twice: 0:11-0:2")
    assert "the first of those that are equally near to the reference" in words
    assert "To compare the other: --candidate-span 0:38-0:5" in words
    head, tail = alignment.events
    assert (head.kind, tail.kind) == ("head", "tail")
    assert head.text.endswith("of the candidate have no counterpart.")
    assert "were not compared: the passage comes again there (0:38-0:5" in tail.text


def test_the_option_that_is_named_leads_to_the_other_place(
    passage: FloatArray, twice: FloatArray
) -> None:
    """It ends with the recording, and the span must not lie outside."""
    (words,) = mixcompare.align(recording(passage), recording(twice)).warnings
    named = re.search(r"--candidate-span (\S+)\.$", words)
    assert named is not None
    span_s = parse_span(named[1])
    assert span_s[1] <= len(twice) / RATE_HZ
    other = mixcompare.align(
        recording(passage), Recording.from_array(twice, RATE_HZ, span_s=span_s)
    )
    assert other.relation == "same_passage"
    assert other.tempo_ratio == pytest.approx(1.05, abs=0.01)


def test_in_another_key_it_is_not_the_passage(passage: FloatArray, between: FloatArray) -> None:
    """A tone higher: another place in the form."""
    higher = play(3, a4_hz=440 * 2 ** (2 / 12))
    candidate = np.concatenate([play(2), between, higher])
    alignment = mixcompare.align(recording(passage), recording(candidate))
    assert alignment.places == ()
    assert alignment.transposition_semitones == 0
    assert alignment.time_map.candidate_span_s[0] < 1.0


def test_the_nearer_place_is_compared_whichever_comes_first(
    passage: FloatArray, between: FloatArray
) -> None:
    """The first time nearly everything is covered by another voice, in a long room."""
    far = synthetic.in_room(play(2, gains_db={"melody": -18, "bass": -18}), 3.0, 4.0)
    near = play(3, beat_s=0.63)
    candidate = np.concatenate([far, between, near])
    alignment = mixcompare.align(recording(passage), recording(candidate))
    first, second = alignment.places
    assert second.agreement > first.agreement + 0.02
    assert (first.compared, second.compared) == (False, True)
    assert alignment.tempo_ratio == pytest.approx(1.05, abs=0.01)
    assert "the nearer to the reference" in alignment.warnings[0]
    assert "not compared: the passage comes again there (0:00-" in alignment.events[0].text


def test_it_is_the_same_whichever_is_the_reference(passage: FloatArray, twice: FloatArray) -> None:
    there = mixcompare.align(recording(passage), recording(twice))
    back = mixcompare.align(recording(twice), recording(passage))
    assert [place.recording for place in back.places] == ["reference"] * 2
    assert [place.compared for place in back.places] == [True, False]
    for one, other in zip(spans(there), spans(back), strict=True):
        assert one == pytest.approx(other, abs=0.3)
    assert "The reference has the passage twice" in back.warnings[0]
    assert "--reference-span 0:38-0:5" in back.warnings[0]


def test_times_are_those_of_the_file_where_a_span_is_compared(
    passage: FloatArray, twice: FloatArray
) -> None:
    """What is printed as an option has to lead to the place."""
    alignment = mixcompare.align(recording(passage), recording(twice, begins_s=9.0))
    assert spans(alignment)[1][0] == pytest.approx(SECOND[0] - 9.0, abs=1.0)
    assert "--candidate-span 0:38-0:5" in alignment.warnings[0]
    assert "(0:38-0:5" in alignment.events[1].text


def test_what_both_play_twice_is_no_choice(twice: FloatArray, between: FloatArray) -> None:
    other = np.concatenate([play(5), between, play(6)])
    alignment = mixcompare.align(recording(twice), recording(other))
    assert alignment.relation == "same_passage"
    assert alignment.places == ()
    assert alignment.warnings == ()


def test_a_part_of_the_passage_is_not_the_passage(passage: FloatArray, between: FloatArray) -> None:
    """Half of it comes again."""
    half = play(3)[: int(8.0 * RATE_HZ)]
    candidate = np.concatenate([play(2), between, half])
    alignment = mixcompare.align(recording(passage), recording(candidate))
    assert alignment.relation == "same_passage"
    assert alignment.places == ()
    assert alignment.events[-1].text.endswith("have no counterpart.")


def test_a_motif_that_comes_again_is_no_passage(between: FloatArray) -> None:
    """Seven seconds come everywhere again."""
    short = play(1)[: int(7.0 * RATE_HZ)]
    again = play(2)[: int(7.0 * RATE_HZ)]
    candidate = np.concatenate([again, between, again])
    assert mixcompare.align(recording(short), recording(candidate)).places == ()


def test_places_of_a_whole_passage_don_t_overlap_and_come_best_first(
    passage: FloatArray, twice: FloatArray
) -> None:
    found = whole_places(view(passage), view(twice))
    starts = sorted(start for start, _ in found[:2])
    assert starts == pytest.approx([FIRST[0], SECOND[0]], abs=1.0)
    for at, (start, end) in enumerate(found):
        assert end > start
        for other in found[at + 1 :]:
            assert other[1] <= start + 1.0 or other[0] >= end - 1.0


def test_two_real_orchestras(real_audio: Path) -> None:
    """By ear: the opening of the dance, with its second strain, comes at 0:17 and at 1:53."""
    reference, candidate = (
        Recording.open(real_audio / name)
        for name in (
            "string_orchestra_brahms_hd5_pd.ogg", "symphony_orchestra_brahms_hd5_ccbysa.mp3",
        )
    )  # fmt: skip
    alignment = mixcompare.align(reference, candidate)
    first, second = alignment.places
    assert first.candidate_s == pytest.approx((17.0, 52.3), abs=1.0)
    assert second.candidate_s == pytest.approx((113.4, 147.8), abs=1.0)
    assert second.compared
    assert min(first.confidence, second.confidence) > 0.9
    assert "--candidate-span 0:17-0:5" in alignment.warnings[0]
    assert "no counterpart" not in alignment.events[0].text


@pytest.mark.parametrize(
    ("changes", "again"),
    [
        ({}, True),
        ({"probability": 0.49}, False),
        ({"semitones": 2}, False),
        ({"tempo_ratio": 1.39}, True),
        ({"tempo_ratio": 1.41}, False),
        ({"tempo_ratio": 0.71}, False),
        ({"time_map": TimeMap.linear(50.0, 1.0, 2.0, 9.6)}, True),
        ({"time_map": TimeMap.linear(50.0, 1.0, 2.0, 9.4)}, False),
    ],
)
def test_again_is_nearly_all_of_it_in_its_key_at_its_pace(
    changes: dict[str, Any], again: bool
) -> None:
    """Regression: three quarters, and 1.4 times the pace either way, are our own choice."""
    found = Laid(TimeMap.linear(0.0, 1.0, 0.0, 10.0), 0, (), 0.8, 0.9, 1.0)
    place = replace(found, time_map=TimeMap.linear(50.0, 1.0, 0.0, 10.0))
    assert _is_again(found, replace(place, **changes), in_candidate=True) is again


def test_three_places_are_told_with_their_options() -> None:
    places = tuple(
        Place("candidate", (0.0, 10.0), (at, at + 10.0), agreement, sure, compared)
        for at, agreement, sure, compared in (
            (5.0, 0.6, 0.8, False), (65.0, 0.7, 1.0, True), (3605.0, 0.5, 0.9, False),
        )
    )  # fmt: skip
    hour = view(synthetic.play(3, bars=2))
    hour.duration_s = 3700.0
    assert told(places, hour, hour) == (
        "The candidate has the passage three times: 0:05-0:15 (sure to 80 %), 1:05-1:15 (sure to"
        " 99 %) and 1:00:05-1:00:15 (sure to 90 %). 1:05-1:15 was compared, the nearest to the"
        " reference (harmonies agree to 0.70 against 0.60 and 0.50). To compare another:"
        " --candidate-span 0:05-0:15 or --candidate-span 1:00:05-1:00:15.",
    )
    assert told((), hour, hour) == ()


def test_a_part_of_a_recording_has_its_features_where_they_were() -> None:
    whole = view(synthetic.play(3, bars=6))
    part = whole.between(3.1, 9.0)
    assert part.begins_s == pytest.approx(3.0, abs=0.21)
    start = part.begins_s
    assert part.duration_s == pytest.approx(9.0 - start)
    np.testing.assert_array_equal(part.attacks[:50], whole.attacks[round(100 * start) :][:50])
    np.testing.assert_array_equal(part.stacked[:50], whole.stacked[round(50 * start) :][:50])
    np.testing.assert_array_equal(part.sides_db[:5], whole.sides_db[round(5 * start) :][:5])
    inside = whole.attack_times_s[(whole.attack_times_s >= start) & (whole.attack_times_s <= 9.0)]
    assert part.attack_times_s + start == pytest.approx(inside)
    assert whole.between(9.0, 99.0).duration_s == pytest.approx(whole.duration_s - 9.0)


# --- where both go on, or came, from other music ------------------------------------------------


def other(seed: int, bars: int) -> FloatArray:
    return synthetic.play(seed, bars=bars, beat_s=0.6)


def test_a_map_ends_where_the_common_music_does() -> None:
    """Both go on with other music, as long: a path would run through it."""
    first, second = (
        np.concatenate([play(number), other(seed, 5)]) for number, seed in ((1, 23), (2, 31))
    )
    alignment = mixcompare.align(recording(first), recording(second))
    assert alignment.time_map.span_s == pytest.approx((0.0, PASSAGE_S), abs=1.0)
    assert alignment.time_map.candidate_span_s == pytest.approx((0.0, PASSAGE_S), abs=1.0)
    (tail,) = alignment.events
    assert re.fullmatch(
        r"The last 1\d\.\d s of the reference have no counterpart\."
        r" The last 1\d\.\d s of the candidate have no counterpart\.",
        tail.text,
    )
    assert tail.reference_s[0] == pytest.approx(PASSAGE_S, abs=1.0)


def test_a_map_begins_where_the_common_music_does() -> None:
    before = [other(seed, 6) for seed in (23, 31)]
    first, second = (np.concatenate([head, play(number)]) for number, head in enumerate(before, 1))
    alignment = mixcompare.align(recording(first), recording(second))
    begins_s = len(before[0]) / RATE_HZ
    assert alignment.time_map.span_s[0] == pytest.approx(begins_s, abs=1.5)
    assert alignment.time_map.candidate_span_s[0] == pytest.approx(begins_s, abs=1.5)
    assert alignment.events[0].kind == "head"
    assert alignment.events[0].text.count("have no counterpart") == 2


def test_a_held_last_chord_is_common() -> None:
    """It moves no more, and agrees with itself: six seconds of it."""

    def held(samples: FloatArray) -> FloatArray:
        time_s = np.arange(6 * RATE_HZ)[:, None] / RATE_HZ
        tones = sum(np.sin(2 * np.pi * hz * time_s) for hz in (131, 196, 262, 330, 523))
        return np.concatenate([samples, 0.05 * tones * np.ones(2)])

    first, second = held(play(1)), held(play(2))
    alignment = mixcompare.align(recording(first), recording(second))
    assert alignment.time_map.span_s[1] == pytest.approx(len(first) / RATE_HZ, abs=1.0)
