"""What the page says first, and how its parts fold."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from mixcompare.alignment.result import SAME_TAKE
from mixcompare.report import head, tables
from mixcompare.report.page import render
from tests.report.builders import made_up_results

MINUS, SPACE = "\N{MINUS SIGN}", "\N{NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "Compared over 0:48.0: one passage, played twice; the candidate is 3.8 % slower."),
        ({"tempo_ratio": 0.9}, "the candidate is 11.1 % faster."),
        ({"tempo_ratio": 1.0004}, "one passage, played twice. "),
        (
            {"relation": SAME_TAKE, "tempo_ratio": 1.0},
            "one take, heard through two mixes or rooms.",
        ),
        ({"confidence": 0.89}, "Compared over 0:48.0, probably: one passage"),
        ({"confidence": 0.9}, "Compared over 0:48.0: one passage"),
        ({"polarity": -1}, "Its polarity is inverted."),
        ({"channels_swapped": True}, "Its left and right channels are exchanged."),
        ({"transposition_semitones": -2}, "It is transposed by -2 semitones."),
    ],
)
def test_what_was_compared_is_said_in_a_sentence(changes, words):
    results = made_up_results()
    steady = {"tempo_ratio": 1.04, "confidence": 0.99, **changes}
    changed = replace(results, alignment=replace(results.alignment, **steady))
    assert words in head.compared(changed)


@pytest.mark.parametrize(
    ("gain_db", "words"),
    [
        (2.1, "The candidate as a whole is 2.1 dB louder; that is a matter of gain"),
        (-0.66, "The candidate as a whole is 0.7 dB softer"),
        (0.04, "What did not change is about equally loud in both."),
    ],
)
def test_what_level_was_taken_off_is_said(gain_db, words):
    results = made_up_results()
    level = replace(results.level, gain_db=gain_db, interval=(gain_db - 0.3, gain_db + 0.3))
    changed = replace(results, level=level)
    assert words in head.compared(changed)


def test_a_level_that_may_be_none_is_not_told_and_a_wide_one_with_its_doubt():
    results = made_up_results()
    wide = replace(results, level=replace(results.level, gain_db=-2.7, interval=(-8.2, 1.5)))
    assert "about equally loud" in head.compared(wide)
    wide = replace(results, level=replace(results.level, gain_db=-2.7, interval=(-4.2, -1.5)))
    assert f"2.7 dB ({MINUS}4.2 to {MINUS}1.5) softer" in head.compared(wide)


def folds(page):
    """Opening and summary of every aspect's fold, by its name."""
    return {
        name: (opening, re.sub(r"\s+", " ", re.sub("<.*?>", "", summary)).strip())
        for name, opening, summary in re.findall(
            r'<details id="aspect-(\w+)"([^>]*)>\s*<summary>(.*?)</summary>', page, re.DOTALL
        )
    }


def test_an_aspect_is_one_line_unless_something_of_it_sticks_out():
    results = made_up_results()
    found = folds(render(results, {}))
    assert list(found) == list(results.measurements)
    for aspect, (opening, summary) in found.items():
        ranks = [str(one.rank) for one in results.findings if one.aspect == aspect]
        assert ("open" in opening) == bool(ranks)
        assert summary.startswith(results.measurements[aspect].about.title)
        if ranks:
            assert summary.endswith(f"finding{'s' * (len(ranks) > 1)} {', '.join(ranks)}")
        elif tables.key_value(results.measurements[aspect]):
            assert summary.endswith("nothing sticks out")
        else:
            assert summary.endswith("can&#39;t be told")


def test_an_aspect_is_known_by_one_number_of_both():
    measurements = made_up_results().measurements
    assert tables.key_value(measurements["loudness"]) == (
        f"Integrated: {MINUS}22.4{SPACE}LUFS against {MINUS}20.1{SPACE}LUFS"
    )
    # The pair's notes, not each recording's own.
    assert tables.key_value(measurements["articulation"]) == (
        f"Share sounding: 83{SPACE}% against 62{SPACE}%"
    )
    # Where it is of the pair alone, with its interval: what holds zero is no change.
    assert tables.key_value(measurements["room"]) == f"Wetness: +2.6{SPACE}dB (+1.9 to +3.2)"
    room = measurements["room"]
    for around, shown in (((2.58, 2.62), ""), (None, ""), ((-0.4, 5.6), f" ({MINUS}0.4 to +5.6)")):
        narrow = replace(room.difference, wetness_db_interval=around)
        told = tables.key_value(replace(room, difference=narrow))
        assert told == f"Wetness: +2.6{SPACE}dB{shown}"


def test_every_aspect_s_number_is_one_of_its_values():
    for aspect, measured in made_up_results().measurements.items():
        assert measured.about.key, aspect
        names = {
            name
            for holder in (measured.reference, measured.candidate, measured.difference)
            for name in vars(holder)
        }
        for key in measured.about.key:
            assert key in names or f"reference_{key}" in names, (aspect, key)


def test_warnings_call_files_by_their_names():
    results = made_up_results()
    sides = (results.reference, results.candidate)
    named = replace(
        results,
        reference=replace(sides[0], path="/a folder/one.wav"),
        candidate=replace(sides[1], path="/a folder/two.wav"),
        warnings=(
            "/a folder/two.wav is mono.",
            "/a folder/two.wav is mono.",
            "/a folder/one.wav ends.",
        ),
    )
    (block,) = re.findall(r'aria-label="Warnings">(.*?)</section>', render(named, {}), re.DOTALL)
    told = re.findall(r"<p>(.*?)</p>", block)
    assert told[:2] == ["two.wav is mono.", "one.wav ends."]
    assert "folder" not in block
