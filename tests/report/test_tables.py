"""Tables of the page, cell by cell, against what was measured."""

from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest

from mixcompare import fields as field_words
from mixcompare import units
from mixcompare.report import tables
from mixcompare.results import Measured
from tests import samples
from tests.report.builders import OCTAVES_HZ, made_up_results

MINUS, SPACE, DASH = "\N{MINUS SIGN}", "\N{NO-BREAK SPACE}", "\N{EN DASH}"
ROLES = ("reference", "candidate")
# Parts of the whole are told in per cent, and their differences in points of it.
SHARES = {units.SHARE: 100, units.difference_unit(units.SHARE): 100}
RATIOS = {"ratio", "swing_db_per_db", "above_knee_db_per_db", "image_scale"}


@pytest.fixture(scope="module", params=["made up", "one take", "two performances"])
def measurements(request):
    if request.param == "made up":
        return made_up_results().measurements
    names = {"one take": "candidate_figure_louder", "two performances": "candidate_detached"}
    return samples.compared("reference", names[request.param]).measurements


def reported(holder):
    return {
        entry.name: getattr(holder, entry.name)
        for entry in fields(holder)
        if entry.metadata.get("report", True) and entry.metadata.get("table", True)
    }


def is_number(value):
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def read(cell, unit):
    """Number in a cell, which must carry its unit."""
    number, _, rest = cell.partition(SPACE)
    assert rest == (units.written(unit))
    return None if number == DASH else float(number.replace(MINUS, "-"))


def step(text):
    """Half a unit of the last digit shown."""
    return 0.5 * 10 ** -len(text.partition(SPACE)[0].partition(".")[2]) + 1e-9


def check(cell, value, unit, signed):
    if value is None or not np.isfinite(value):
        assert cell == DASH
        return
    value *= SHARES.get(unit, 1)
    assert read(cell, unit) == pytest.approx(value, abs=step(cell))
    shown = cell.lstrip(MINUS)
    assert cell.startswith("+") == (signed and read(cell, unit) > 0), (cell, shown)


def check_interval(cell, bounds, unit=""):
    if bounds is None or not np.isfinite(bounds).all():
        assert cell == ""
        return
    ends = [end.replace(MINUS, "-") for end in cell.split(" to ")]
    times = SHARES.get(unit, 1)
    for text, bound in zip(ends, bounds, strict=True):
        assert float(text) == pytest.approx(times * bound, abs=step(text))


def beside(measured, name):
    """Both values: of the notes that both have, where these are known; else of each alone."""
    pair = [getattr(measured.difference, f"{role}_ratio", None) for role in ROLES]
    if name == "sounding_ratio" and None not in pair:
        return pair
    return [getattr(side, name) for side in (measured.reference, measured.candidate)]


def label_and_unit(measured, name, prefix=""):
    for holder in (measured.difference, measured.reference, measured.candidate):
        for item in fields(holder):
            if item.name == name:
                return field_words.label_and_unit(item, prefix)
    raise AssertionError(f"no {name}")


def gap_of(measured, name):
    """Unit of a difference of two values: points for two percentages, not for a change in them."""
    unit = label_and_unit(measured, name)[1]
    relative = name in {"tempo_percent", "speed_percent", "decay_time_percent"}
    return unit if relative else units.difference_unit(unit)


def test_every_single_value_stands_under_its_own_head_with_its_unit(measurements):
    for aspect, measured in measurements.items():
        table = tables.single_values(measured)
        assert table.heads == ("Value", "Reference", "Candidate", "Difference", "95 % interval")
        sides = [reported(holder) for holder in (measured.reference, measured.candidate)]
        difference = reported(measured.difference)
        wanted = [
            name
            for name in sides[0]
            if any(is_number(side[name]) for side in sides) and not name.endswith("_interval")
        ]
        assert len(table.rows) == len(wanted), aspect
        for row, name in zip(table.rows, wanted, strict=True):
            label, unit = label_and_unit(measured, name)
            assert row[0] == label
            for cell, value in zip(row[1:3], beside(measured, name), strict=True):
                check(cell, value, unit if cell != DASH else "", signed=False)
            change = difference.get(name)
            if isinstance(change, int):  # a count is no difference
                assert row[3:] == (f"{change} in both", "")
                continue
            if not isinstance(change, float):  # nor are two values
                change = None
            gap = gap_of(measured, name)
            check(row[3], change, gap, signed=True)
            around = difference.get(f"{name}_interval") if change is not None else None
            check_interval(row[4], around, gap)


def test_every_value_of_the_pair_is_told(measurements):
    for measured in measurements.values():
        table = tables.pair_values(measured)
        sides = [reported(holder) for holder in (measured.reference, measured.candidate)]
        difference = reported(measured.difference)
        wanted = [
            name
            for name, value in difference.items()
            if is_number(value) and all(side.get(name) is None for side in sides)
        ]
        assert len(table.rows) == len(wanted)
        for row, name in zip(table.rows, wanted, strict=True):
            label, unit = label_and_unit(measured, name)
            assert row[0] == label
            around = difference.get(f"{name}_interval")
            ends = label.endswith(("difference", "change", "change (with the room)"))
            start = label.startswith("Difference")
            beside = name in sides[0]
            signed = (around is not None or ends or start or beside) and name not in RATIOS
            unit = gap_of(measured, name) if signed else unit
            check(row[1], difference[name], unit, signed)
            if len(table.heads) == 3:
                check_interval(row[2], around, unit)
            else:
                assert around is None


def test_ratios_have_no_sign_and_changes_have_one():
    measurements = made_up_results().measurements
    of_pair = {
        aspect: {row[0]: row[1:] for row in tables.pair_values(measured).rows}
        for aspect, measured in measurements.items()
    }
    # One fact, one number: the time taken, which says the same, is for programs.
    assert not any(word in row for row in of_pair["tempo"] for word in ("Duration", "Time taken"))
    assert of_pair["tempo"]["Tempo, candidate against reference"] == (
        f"{MINUS}3.8{SPACE}%", f"{MINUS}4.1 to {MINUS}3.6",
    )  # fmt: skip
    assert of_pair["tempo"]["Freedom of tempo, difference"] == (
        f"+2.5{SPACE}points", "+1.0 to +4.0",
    )  # fmt: skip
    assert of_pair["tempo"]["How far places typically stray from that"] == (f"6.1{SPACE}%", "")
    assert of_pair["dynamics"]["Swing against the reference's (1 = alike)"] == (
        f"0.80{SPACE}dB/dB", "0.74 to 0.86",
    )  # fmt: skip
    assert of_pair["placement"]["Breadth of the image, factor"] == ("0.97", "")
    assert of_pair["width"]["Side against mid in decays, difference"] == (f"+2.6{SPACE}dB",)
    assert of_pair["room"]["Wetness"] == (f"+2.6{SPACE}dB", "+1.9 to +3.2")
    assert of_pair["room"]["Share of the differences explained"] == (f"41{SPACE}%", "")
    assert of_pair["articulation"]["Share of the notes that changed this way"] == (f"92{SPACE}%",)
    # A count stands beside those of both recordings, and is called what it is.
    assert "Notes followed" not in of_pair["articulation"]
    alone = tables.single_values(measurements["articulation"]).rows
    assert [row[3] for row in alone if row[0] == "Notes followed"] == ["24 in both"]
    assert of_pair["tuning"]["Transposition and tuning together, difference"] == (
        f"+3.4{SPACE}cents", "",
    )  # fmt: skip


def test_loudness_reads_as_the_standards_write_it():
    table = tables.single_values(made_up_results().measurements["loudness"])
    rows = {row[0]: row[1:] for row in table.rows}
    assert rows["Integrated"] == (
        f"{MINUS}22.4{SPACE}LUFS", f"{MINUS}20.1{SPACE}LUFS", f"+2.3{SPACE}LU", "",
    )  # fmt: skip
    assert rows["True peak"] == (
        f"{MINUS}3.2{SPACE}dBTP", f"{MINUS}0.9{SPACE}dBTP", f"+1.1{SPACE}dB", "",
    )  # fmt: skip
    assert rows["Loudness range (LRA)"][2:] == (f"{MINUS}1.4{SPACE}LU", f"{MINUS}2.6 to +0.4")


def test_every_band_is_told_under_its_own_head(measurements):
    for aspect in ("tone", "width", "placement"):
        measured = measurements[aspect]
        table = tables.bands(measured)
        columns = dict(zip(table.heads, zip(*table.rows, strict=True), strict=True))
        # IEC 61260-1:2014, Annex E: nominal names of the third octaves.
        names = columns["Band (Hz)"]
        assert [names[index] for index in (0, 2, 17, 28, 30)] == [
            "20", "31.5", "1000", "12500", "20000",
        ]  # fmt: skip
        told = 1
        for role in ("reference", "candidate", "difference"):
            for name, values in reported(getattr(measured, role)).items():
                if name.endswith(("_hz", "_interval")) or not isinstance(values, tuple):
                    continue
                if len(values) != 31:
                    continue
                label, unit = label_and_unit(measured, name, "band_")
                lone = name in ("reference_position", "consistency", "explained_db")
                head = (label if lone else f"{label}, {role}") + (f" ({unit})" if unit else "")
                signed = role == "difference" and name not in ("reference_position", "consistency")
                for cell, value in zip(columns[head], values, strict=True):
                    check(cell, value, "", signed)
                told += 1
        assert told == len(columns)


def test_octave_bands_of_the_room():
    table = tables.bands(made_up_results().measurements["room"])
    assert table.heads == (
        "Octave (Hz)", "Decay time (RT60), reference (s)", "Decay time (RT60), candidate (s)",
    )  # fmt: skip
    assert [row[0] for row in table.rows] == [f"{hertz:g}" for hertz in OCTAVES_HZ]
    assert table.rows[0] == ("125", DASH, "2.9")
    assert table.rows[-1] == ("2000", "1.4", "1.8")


def by_title(aspect):
    return {table.title: table for table in tables.lists(made_up_results().measurements[aspect])}


def test_elements_and_passages_are_rows():
    found = by_title("balance")
    elements = found["Elements"]
    heads = dict(zip(elements.heads, elements.rows[0], strict=True))
    assert heads == {
        "Name": "repeating high figure",
        "Kind": "repeating figure",
        "Difference (dB)": "+5.8",
        "95 % interval": "+4.9 to +6.7",
        "Confidence (%)": "96",
        "Band": f"2.0 to 5.0{SPACE}kHz",
        "Where": f"0:08.0{DASH}0:20.0, 0:30.7{DASH}0:39.4",
        "Notes (per s)": "4.0",
        "Motif notes": "8",
        "Against": "no",
        "Reference audible share (%)": "70",
        "Candidate audible share (%)": "98",
        "Reference loudness share (%)": "5",
        "Candidate loudness share (%)": "20",
    }
    assert elements.rows[1][:4] == (
        "leading line",
        "leading line",
        f"{MINUS}0.4",
        f"{MINUS}1.3 to +0.5",
    )
    passages = found["Passages"]
    assert dict(zip(passages.heads, passages.rows[0], strict=True)) == {
        "Name": "bass",
        "Band": f"60 to 250{SPACE}Hz",
        "Where": f"0:00.0{DASH}0:48.0",
        "Difference (dB)": f"{MINUS}1.9",
        "95 % interval": f"{MINUS}3.1 to {MINUS}0.7",
        "Confidence (%)": "80",
    }


def test_registers_stand_beside_each_other():
    registers = by_title("balance")[
        "Registers (differences at the same gain for what did not change)"
    ]
    assert registers.heads[:4] == (
        "Range", "Level, reference (dB)", "Level, candidate (dB)", "Level, difference (dB)",
    )  # fmt: skip
    assert registers.rows[2] == (
        f"708{SPACE}Hz to 2.8{SPACE}kHz", f"{MINUS}12.0", f"{MINUS}8.0", "+4.0",
        "60", "90", "+30", "20", "30", "+10",
    )  # fmt: skip
    voices = by_title("balance")["Voices"]
    assert voices.rows[0] == (
        "leading line", "100", "90", f"{MINUS}10", "40", "30", f"{MINUS}10",
    )  # fmt: skip


def test_voices_tell_values_and_signed_changes_apart():
    (table,) = by_title("articulation").values()
    assert table.title == "Voices (can't tell: bass line)"
    rows = [dict(zip(table.heads, row, strict=True)) for row in table.rows]
    assert [row["Name"] for row in rows] == ["leading line", "Horns"]
    leading, horns = rows
    assert leading["Share sounding, reference (%)"] == "83"
    assert leading["Share sounding, candidate (%)"] == "62"
    assert leading["Share sounding, difference (points)"] == f"{MINUS}21"
    assert leading["95 % interval"] == f"{MINUS}27 to {MINUS}15"
    assert horns["Share sounding, difference (points)"] == "+40"
    assert leading["Attack, difference (ms)"] == f"{MINUS}4"
    accent = "Accent: peak at the onset over what is held, change (dB)"
    assert leading[accent] == "+1.4"
    assert leading["Notes followed"] == "24"
    assert (leading["Written"], horns["Written"]) == ("no", "yes")


def test_filters_are_rows():
    (shaping,) = by_title("tone").values()
    assert shaping.title == "Filters that lead from the reference's tone to the candidate's"
    assert shaping.heads == ("Kind", "Frequency (Hz)", "Gain (dB)", "Q")
    assert shaping.rows == (
        ("high shelf", "3200", "+2.2", "0.70"),
        ("bell", "410", f"{MINUS}0.8", "1.20"),
    )


def test_long_lists_of_places_are_cut():
    results = made_up_results()
    balance = results.measurements["balance"]
    spans = tuple((float(start), start + 0.5) for start in range(6))
    element = replace(balance.difference.elements[0], spans_s=spans)
    difference = replace(balance.difference, elements=(element,))
    table = tables.lists(replace(balance, difference=difference))[0]
    (where,) = [
        cell for head, cell in zip(table.heads, table.rows[0], strict=True) if head == "Where"
    ]
    assert where.replace(DASH, "-") == (
        "0:00.0-0:00.5, 0:01.0-0:01.5, 0:02.0-0:02.5, 0:03.0-0:03.5 ..."
    )


def test_every_reason_is_told_once(measurements):
    for measured in measurements.values():
        wanted = {}
        for holder in (measured.reference, measured.candidate, measured.difference):
            if "reasons" in reported(holder):
                wanted |= dict.fromkeys(holder.reasons)
        assert tables.reasons(measured) == tuple(wanted)
        assert isinstance(measured, Measured)
        assert is_dataclass(measured.difference)
        assert isinstance(measured.difference.reasons, tuple)
    assert any(tables.reasons(measured) for measured in measurements.values())


def test_shares_are_those_of_the_pair_and_add_up():
    """One recording alone hears other notes: both columns are the notes that both have."""
    results = made_up_results()
    measured = results.measurements["articulation"]
    pair = replace(measured.difference, reference_ratio=0.9, candidate_ratio=0.69)
    rows = {row[0]: row for row in tables.single_values(replace(measured, difference=pair)).rows}
    assert rows["Share sounding"][1:4] == (
        f"90{SPACE}%", f"69{SPACE}%", f"{MINUS}21{SPACE}points",
    )  # fmt: skip
    alone = replace(measured.difference, reference_ratio=None, candidate_ratio=None)
    rows = {row[0]: row for row in tables.single_values(replace(measured, difference=alone)).rows}
    assert rows["Share sounding"][1:3] == (f"83{SPACE}%", f"62{SPACE}%")
