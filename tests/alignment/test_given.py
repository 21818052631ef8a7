"""A user's own time map is held against the recordings before anything is believed of it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from mixcompare.alignment import align
from mixcompare.alignment.mapfile import HEAD, map_text, read_map
from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.errors import AlignmentError, AudioFileError, ParameterError
from mixcompare.features import AlignmentFeatures
from tests import synthetic

LENGTH_S = 14.0


@pytest.fixture(scope="module")
def pair() -> tuple[AlignmentFeatures, AlignmentFeatures]:
    """A piece twice, the second a tenth slower: what lies at t lies at 0.3 + 1.1 (t - 0.3)."""
    played = (synthetic.play(3, bars=6, beat_s=beat_s) for beat_s in (0.6, 0.66))
    first, second = (Recording.from_array(each, synthetic.RATE_HZ) for each in played)
    return AlignmentFeatures.of(first), AlignmentFeatures.of(second)


def right(later_s: float = 0.0, slope: float = 1.1) -> TimeMap:
    taps_s = np.arange(0.3, LENGTH_S, 0.6)
    return TimeMap(taps_s, 0.3 + later_s + slope * (taps_s - 0.3))


def test_a_right_map_is_believed(pair: tuple[AlignmentFeatures, AlignmentFeatures]) -> None:
    found = align(*pair, right())
    assert found.warnings == ("The time map was given by the user.",)
    assert found.confidence > 0.99
    assert found.tempo_ratio == pytest.approx(1.1)
    np.testing.assert_allclose(found.time_map.candidate_s, right().candidate_s)


def test_a_finger_that_taps_roughly_is_believed(
    pair: tuple[AlignmentFeatures, AlignmentFeatures], rng: np.random.Generator
) -> None:
    taps = right()
    rough = rng.normal(0, 0.03, (2, len(taps.reference_s)))
    found = align(*pair, TimeMap(taps.reference_s + rough[0], taps.candidate_s + rough[1]))
    assert found.warnings == ("The time map was given by the user.",)


def test_where_a_map_lies_half_a_second_off_it_is_doubted_and_said_where_it_fits(
    pair: tuple[AlignmentFeatures, AlignmentFeatures],
) -> None:
    found = align(*pair, right(later_s=0.5))
    (_, doubt) = found.warnings
    assert doubt.startswith("The time map is doubtful")
    assert "0.5 s earlier" in doubt
    (_, doubt) = align(*pair, right(later_s=-0.5)).warnings
    assert "0.5 s later" in doubt


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (TimeMap.linear(100, 1, 100, 110), "lies mostly outside the recordings"),
        (TimeMap.linear(0, 1, 0, 14_000), "are its times seconds"),
        (TimeMap.linear(-20, 1, 0, 14), "lies mostly outside the recordings"),
        (TimeMap.linear(0, 1, 1e6, 2e6), "lies mostly outside the recordings"),
        (TimeMap.linear(0, 1, 5.0, 6.0), "lies mostly outside the recordings"),
        (TimeMap.linear(0, 5, 0, 14), "takes 70 s of the candidate for 14 s"),
        (TimeMap.linear(0, 0.2, 0, 14), "more than 4 times the tempo"),
        (TimeMap(np.array([0, 0.001, 14]), np.array([0, 10, 15.0])), "for 0.001 s of the"),
        (TimeMap(np.array([0, 7, 14]), np.array([0, 0.001, 15.0])), "from 0 s on"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_maps_that_cannot_be_are_refused(
    given: TimeMap, words: str, pair: tuple[AlignmentFeatures, AlignmentFeatures]
) -> None:
    with pytest.raises(AlignmentError, match=words):
        align(*pair, given)


def test_a_map_along_which_nothing_agrees_is_refused(
    pair: tuple[AlignmentFeatures, AlignmentFeatures],
) -> None:
    other = Recording.from_array(synthetic.play(41, bars=6), synthetic.RATE_HZ)
    with pytest.raises(AlignmentError, match="nothing in common"):
        align(pair[0], AlignmentFeatures.of(other), TimeMap.linear(0, 1, 0, LENGTH_S))


def test_what_reaches_beyond_the_recordings_is_left_out(
    pair: tuple[AlignmentFeatures, AlignmentFeatures],
) -> None:
    end_s = pair[0].duration_s
    found = align(*pair, TimeMap.linear(0.3 - 1.1 * 0.3, 1.1, -3.0, end_s + 4.0))
    start, end = found.time_map.span_s
    first, last = found.time_map.candidate_span_s
    assert min(start, first) == pytest.approx(0.0, abs=1e-6)
    assert end <= end_s + 1e-6
    assert last <= pair[1].duration_s + 1e-6
    left_out_s = end_s + 7.0 - (end - start)
    assert found.warnings[1].startswith(f"{left_out_s:.1f} s of it lie outside")


def test_a_gap_is_no_tempo(pair: tuple[AlignmentFeatures, AlignmentFeatures]) -> None:
    """Where a map says that there is no counterpart, as ours do at a cut, nothing is too steep."""
    taps = right()
    reference_s = np.concatenate([taps.reference_s[:10], taps.reference_s[15:] - 2.9])
    candidate_s = np.delete(taps.candidate_s, slice(10, 15))
    width = np.full(len(reference_s), 20.0)
    width[9:11] = np.inf
    played = synthetic.play(3, bars=6)
    rate = synthetic.RATE_HZ
    cut = [
        played[: round(taps.reference_s[9] * rate)],
        played[round(taps.reference_s[14] * rate) :],
    ]
    shorter = AlignmentFeatures.of(Recording.from_array(np.concatenate(cut), rate))
    found = align(shorter, pair[1], TimeMap(reference_s, candidate_s, width))
    assert found.relation == "same_passage"
    with pytest.raises(AlignmentError, match="more than 4 times"):
        align(shorter, pair[1], TimeMap(reference_s, candidate_s))


def test_a_transposed_candidate_is_told(
    pair: tuple[AlignmentFeatures, AlignmentFeatures],
) -> None:
    played = synthetic.play(3, bars=6)
    # Played back at 2^(3/12) times the speed it sounds three semitones higher.
    rate = round(synthetic.RATE_HZ * 2 ** (3 / 12))
    higher = AlignmentFeatures.of(Recording.from_array(played, rate))
    slope = synthetic.RATE_HZ / rate
    found = align(pair[0], higher, TimeMap.linear(0, slope, 0, pair[0].duration_s))
    assert found.transposition_semitones == 3
    assert found.tuning_cents == pytest.approx(0, abs=5)


@pytest.mark.parametrize("length_s", [1.0, 1.5, 3.9])
def test_what_is_too_short_to_tell_is_refused(length_s: float) -> None:
    """A passage is never called unrelated to itself: it is refused, or judged rightly."""
    music = synthetic.play(3, bars=2)[: round(length_s * synthetic.RATE_HZ)]
    short = Recording.from_array(music, synthetic.RATE_HZ, name="short")
    with pytest.raises(AudioFileError, match=r"short: .* too short .* at least 4 s are needed"):
        align(short, short)


@pytest.mark.parametrize("start_s", [0.0, 3.0, 6.0])
def test_the_shortest_passage_is_told_to_be_itself(start_s: float) -> None:
    first = round(start_s * synthetic.RATE_HZ)
    music = synthetic.play(3, bars=6)[first : first + 4 * synthetic.RATE_HZ]
    both = (Recording.from_array(gain * music, synthetic.RATE_HZ) for gain in (1.0, 0.5))
    assert align(*both).relation == "same_take"


def test_a_map_goes_into_a_file_and_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "map.csv"
    taps = TimeMap([0.0, 1.0, 2.0], [0.5, 1.5, 2.75], [10.0, np.inf, 20.0])  # type: ignore[arg-type]
    path.write_text("\ufeff" + map_text(taps), encoding="utf-8")  # as spreadsheets begin a file
    back = read_map(path)
    for name in ("reference_s", "candidate_s", "half_width_ms"):
        np.testing.assert_allclose(getattr(back, name), getattr(taps, name))
    path.write_text("reference_s,candidate_s\n0,0.5\n2,2.75\n", encoding="utf-8")
    assert read_map(str(path)).candidate_s.tolist() == [0.5, 2.75]


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("", "needs two lists"),
        ("0,0\n1,1\n0.5,2", "must rise"),
        ("0,0\n1,nan", "not numbers"),
        ("0,0\n1,1e999", "not numbers"),
        ("0,0\n1,1e300", "times that no recording has"),
        ("0,0\n1e-320,1", "must rise"),
        ("0,0,5\n1,1,-5", "one width, of zero or more"),
        ("0,0\n1", "needs two columns"),
        (f"0,{'9' * 200_000}", "needs two columns"),
        ("\n".join(f"{at},{at}" for at in range(100_002)), "more than 100000 rows"),
    ],
    ids=lambda value: value if len(value) < 40 else "long",
)
def test_files_that_are_no_map(rows: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "map.csv"
    path.write_text(f"{HEAD}\n{rows}\n", encoding="utf-8")
    with pytest.raises(AlignmentError, match=words) as told:
        read_map(path)
    assert str(told.value).startswith(f"{path}: ")
    assert len(str(told.value)) < 400


def test_places_that_hold_no_map(tmp_path: Path) -> None:
    with pytest.raises(AlignmentError, match="no such file"):
        read_map(tmp_path / "map.csv")
    with pytest.raises(AlignmentError, match="is a folder"):
        read_map(tmp_path)
    with pytest.raises(ParameterError, match="must be named by a path"):
        read_map(3)  # type: ignore[arg-type]


def test_what_is_no_recording_is_told(pair: tuple[AlignmentFeatures, AlignmentFeatures]) -> None:
    with pytest.raises(ParameterError, match=r"recordings as load\(\) opens them, not 'a\.wav'"):
        align(pair[0], "a.wav")  # type: ignore[arg-type]
    with pytest.raises(ParameterError, match=r"time_map must be a TimeMap, not \[1, 2\]"):
        align(*pair, [1, 2])  # type: ignore[arg-type]
