"""What the page says of stems, from values written by hand."""

from __future__ import annotations

from dataclasses import replace

from mixcompare.report.stems import stems_sentence, stems_table
from mixcompare.stems.values import Place, Preview, Stem, Stems

BRASS = Stem("brass", 42.35, -3.04, (-3.5, -2.6), 1.254, (1.2, 1.3))
STRINGS = Stem("strings", 30.0, 0.04, (-0.2, 0.3), -0.001, (-0.1, 0.1))
SURELY_LITTLE = Stem("piano", 5.0, 0.4, (0.3, 0.5), 0.0, (0.0, 0.0))
HARP = Stem(
    "harp", 0.2, None, None, 0.0, (-1.0, 1.0), is_inverted=True, confused_with=("celesta",),
    reason="Can't be told from the other stems closely enough.",
)  # fmt: skip


def test_the_trims_that_are_due_are_named_largest_first_with_what_they_come_to() -> None:
    winds = Stem("winds", 12.0, 4.96, (4.0, 6.0), 0.0, (0.0, 0.0))
    preview = Preview(1.26, 0.4, "One thing sticks out: x.", "Nothing sticks out.", 3.0, 0.0)
    told = Stems((STRINGS, BRASS, SURELY_LITTLE, winds), 0.914, (), None, preview)
    assert stems_sentence(told) == (
        "The stems explain 91 % of the mix's energy. Trims: winds +5.0 dB and brass −3.0 dB. With"
        " these trims (preview/with_trims.flac): Nothing sticks out. The file was lowered by"
        " 1.3 dB to stay under -1 dBTP."
    )


def test_where_no_trim_is_due_it_says_what_could_not_have_been_seen() -> None:
    assert stems_sentence(Stems((STRINGS, HARP), 0.5)) == (
        "The stems explain 50 % of the mix's energy. No trim is due; of 2 stems 1 could be judged,"
        " and what lies within a stem's interval could not have been seen."
    )


def test_the_table_has_signs_and_reasons() -> None:
    place = Place((9.0, 14.0), (9.5, 14.5), -4.0, (-5.3, -2.7))
    riding = replace(STRINGS, places=(place,))
    assert "Trims: strings −4.0 dB from 0:09 to 0:14." in stems_sentence(Stems((riding,), 1.0))
    both = replace(BRASS, places=(place,))
    assert "brass −4.0 dB from 0:09 to 0:14 and −3.0 dB else." in stems_sentence(
        Stems((both,), 1.0)
    )
    assert stems_table(Stems((riding,), 1.0)).rows[0][-1] == (
        "From 0:09 to 0:14 −4.0 dB (−5.3 to −2.7)."
    )
    paired = replace(BRASS, compared_with="Brass")
    assert stems_table(Stems((paired,), 1.0)).rows[0][-1] == (
        "Compared with the reference's stem Brass."
    )
    assert stems_sentence(Stems((paired, STRINGS), 1.0)).startswith(
        "The stems explain 100 % of the mix's energy. Levels of 1 of 2 were compared with the"
        " reference's own stems. Trims: "
    )
    table = stems_table(Stems((BRASS, STRINGS, HARP), 1.0))
    assert len(table.heads) == len(table.rows[0])
    assert table.rows == (
        ("brass", "−3.0", "−3.5 to −2.6", "42.4", "+1.25", ""),
        ("strings", "0.0", "−0.2 to +0.3", "30.0", "0.00", ""),
        (
            "harp", "", "", "0.2", "0.00",
            "Can't be told from the other stems closely enough. Polarity turned round. Looks like"
            " celesta.",
        ),
    )  # fmt: skip


def test_a_spot_tells_its_way_to_the_array_in_time_and_in_air() -> None:
    """14.57 ms at 343 m/s (ISO 9613-1, 20 °C) are 5.00 m."""
    spot = replace(STRINGS, before_array_ms=14.57, before_array_interval=(14.55, 14.59))
    told = Stems((spot, BRASS), 1.0, (), "Main pair")
    assert stems_table(told).rows[1][-1] == (
        "Hears its section 14.57 ms (±0.02; 5.00 m of air at 20 °C) earlier than Main pair."
    )
    behind = replace(spot, before_array_ms=-2.0, before_array_interval=(-2.0, -2.0))
    assert (
        "2.00 ms (±0.01; 0.69 m of air at 20 °C) later than Main pair."
        in (stems_table(replace(told, stems=(behind,))).rows[0][-1])
    )
