"""Levels stem by stem, where the reference's own stems are at hand."""

from __future__ import annotations

import numpy as np
import pytest
from pyloudnorm import Meter

import mixcompare
from mixcompare.alignment.timemap import TimeMap
from mixcompare.errors import ParameterError
from mixcompare.stems.explained import making_of
from mixcompare.stems.judge import judged
from mixcompare.stems.paired import levels_between, partners
from mixcompare.stems.values import Stem, Stems
from tests.stems import made
from tests.stems.made import files, mixed, pair_of, recorded

VOICES = made.VOICES


def judge(
    parts: dict[str, np.ndarray],
    reference_parts: dict[str, np.ndarray],
    reference: np.ndarray | None = None,
    candidate: np.ndarray | None = None,
) -> Stems:
    """Both with stems; the mixes are their sums, if they are not given."""
    one = recorded(mixed(reference_parts) if reference is None else reference)
    other = recorded(mixed(parts) if candidate is None else candidate)
    pair = pair_of(one, other)
    return judged(pair, one, other, files(parts), (), files(reference_parts)).told


def by_name(told: Stems) -> dict[str, Stem]:
    return {stem.name: stem for stem in told.stems}


def test_names_pair_whatever_their_capitals_and_signs() -> None:
    found = partners(["Violin_1", "harp", "choir"], ["HARP", "violin 1", "violin 2"])
    assert found == {"Violin_1": "violin 1", "harp": "HARP"}


def test_in_one_take_levels_are_those_in_the_mixes_however_stems_were_exported() -> None:
    """The reference's bass was exported 6 dB too soft, and is as loud as ever in its mix."""
    plain = made.stems()
    told = judge(made.stems(figure=5.0), {**plain, "bass": plain["bass"] / 2}, mixed(plain))
    for name, stem in by_name(told).items():
        expected = -5.0 if name == "figure" else 0.0
        assert stem.compared_with == name
        assert stem.trim_db == pytest.approx(expected, abs=0.3)
        assert stem.interval is not None
        assert stem.interval[0] <= expected <= stem.interval[1]
        assert stem.is_due == (name == "figure")


def test_between_performances_the_trim_is_the_difference_of_loudness() -> None:
    again, plain = made.stems(again=True, figure=5.0), made.stems()
    told = by_name(judge(again, plain))
    # pyloudnorm's meter of BS.1770 is another reading than ours; its gates drop rests alone.
    meter = Meter(made.RATE_HZ)
    truth = {
        name: meter.integrated_loudness(plain[name]) - meter.integrated_loudness(again[name])
        for name in VOICES
    }
    # Trims count from what most of the sound needs: here the melody, the loudest.
    for name, stem in told.items():
        expected = truth[name] - truth["melody"]
        assert stem.trim_db == pytest.approx(expected, abs=0.5)
        assert stem.interval is not None
        assert stem.interval[0] <= expected <= stem.interval[1]
        assert stem.is_due == (name == "figure")


def test_who_has_no_partner_is_told_and_judged_from_the_mixes() -> None:
    theirs = made.stems()
    pad = theirs.pop("pad")
    reference = mixed(theirs) + pad
    choir = {"Choir": 0.3 * theirs["melody"] + 0.05 * np.roll(pad, 4000, axis=0)}
    told = judge(made.stems(pad=4.0), {**theirs, **choir}, reference + choir["Choir"])
    stems = by_name(told)
    assert stems["pad"].compared_with is None
    assert stems["pad"].trim_db == pytest.approx(-4.0, abs=1.0)
    assert [stems[name].compared_with for name in ("figure", "melody", "bass")] == [
        "figure", "melody", "bass",
    ]  # fmt: skip
    assert "No stem of the reference is called like pad: told from the mixes." in told.notes
    assert "No stem of the candidate is called like the reference's Choir." in told.notes


def test_a_stem_of_the_reference_that_is_not_in_it_is_left_out() -> None:
    theirs = made.stems()
    noise = 0.05 * np.random.default_rng(1).standard_normal(theirs["pad"].shape)
    told = judge(made.stems(), {**theirs, "pad": noise}, mixed(theirs))
    assert by_name(told)["pad"].compared_with is None
    assert by_name(told)["melody"].compared_with == "melody"
    assert any("The reference's stem pad does not sound in the reference" in n for n in told.notes)


def test_levels_are_compared_where_both_have_the_music() -> None:
    """The candidate goes on, much louder, after the reference has ended."""
    parts = made.stems()
    longer = {
        name: np.concatenate([sound, (4 if name == "figure" else 1) * sound])
        for name, sound in parts.items()
    }
    one, other = recorded(mixed(parts)), recorded(mixed(longer))
    stems = files(longer)
    making = making_of(other, list(stems.values()), [0.0] * 5, other.duration_s)
    end_s = one.duration_s - 0.01
    time_map = TimeMap.linear(0.0, 1.0, 0.0, end_s)
    found = levels_between(time_map, (one, files(parts)), (other, stems), making)
    # Were the whole candidate read, the figure would stand 10 log10((1 + 16) / 2) = 9.3 dB out.
    np.testing.assert_allclose(found.trim_db - np.median(found.trim_db), 0.0, atol=1.5)


def test_what_has_no_counterpart_says_nothing_of_levels() -> None:
    """The candidate left a stretch out in which the reference's figure stands 12 dB out."""
    parts = made.stems()
    length = len(parts["figure"])
    left_out = slice(length // 3, length // 2)
    marked = parts["figure"].copy()
    inside = made.RATE_HZ // 2
    marked[left_out.start + inside : left_out.stop - inside] *= 4.0
    reference = {**parts, "figure": marked}
    cut = {name: np.delete(part, left_out, axis=0) for name, part in parts.items()}
    one, other = recorded(mixed(reference)), recorded(mixed(cut))
    start_s, end_s = left_out.start / made.RATE_HZ, left_out.stop / made.RATE_HZ
    apart_s, last_s = 0.01, one.duration_s - 0.05
    time_map = TimeMap(
        np.array([0.0, start_s, end_s, last_s]),
        np.array([0.0, start_s, start_s + apart_s, last_s - end_s + start_s]),
        np.array([5.0, np.inf, np.inf, 5.0]),
    )
    stems = files(cut)
    making = making_of(other, list(stems.values()), [0.0] * 5, other.duration_s)
    found = levels_between(time_map, (one, files(reference)), (other, stems), making)
    # Read with the rest, the stretch would put the figure nearly 4 dB out.
    np.testing.assert_allclose(found.trim_db - np.median(found.trim_db), 0.0, atol=1.0)


def test_how_much_it_varies_with_the_music_is_doubt() -> None:
    """The figure is 5 dB louder in one half and as loud in the other: what holds is in between."""
    parts = made.stems()
    half = len(parts["figure"]) // 2
    riding = parts["figure"].copy()
    riding[half:] *= 10 ** (5 / 20)
    stems = by_name(judge({**parts, "figure": riding}, parts))
    low, high = stems["figure"].interval or (0.0, 0.0)
    assert low < -3 < high
    assert high - low > 1.0
    still = stems["melody"].interval or (0.0, 0.0)
    assert still[1] - still[0] < 1.0


def test_the_reference_s_stems_alone_are_refused() -> None:
    one = recorded(mixed(made.stems()))
    with pytest.raises(ParameterError, match="need the candidate's beside them"):
        mixcompare.compare(one, one, reference_stems=files(made.stems()))
