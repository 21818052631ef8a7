"""Families by printed names; common practice, no source."""

from __future__ import annotations

import pytest

from mixcompare.parts.families import FAMILIES, is_of

NAMES = {
    "strings violins": (
        "Violin", "Violin 1", "Violins II", "Violini I", "Violino", "Violons", "1. Violinen",
        "Geigen", "Vln. 2", "Vl. I",
    ),
    "strings": ("Viola", "Violas", "Viole", "Bratschen", "Altos", "Vla.", "Strings", "Archi"),
    "strings basses": (
        "Cello", "Cellos", "Violoncello", "Violoncelli", "Violoncelles", "Vc.", "Contrabass",
        "Contrabassi", "Contrabbasso", "Contrebasse", "Kontrabass", "Kontrabässe", "Double Bass",
        "Basses", "Bassi", "Cb.", "Violone",
    ),
    "woodwinds": (
        "Flute", "Flutes 1 & 2", "Flauto", "Flauti", "Flöten", "Flûte", "Flute 1 in C", "Piccolo",
        "Ottavino", "Alto Flute", "Oboe", "Oboi", "Hautbois", "English Horn", "Cor anglais",
        "Corno inglese", "Englischhorn", "Clarinet in B♭", "Clarinetti", "Klarinette", "Clarinette",
        "Bass Clarinet", "Contrabass Clarinet", "Bassoon", "Contrabassoon", "Fagotto", "Fagotti",
        "Kontrafagott", "Contrafagotto", "Basson", "Alto Saxophone", "Fl.", "Ob.", "Cl.",
    ),
    "brass": (
        "Horn", "Horns in F", "Corni", "Corno in F", "Hörner", "Waldhorn", "Cors", "French Horn",
        "Trumpet", "Trombe", "Tromba in C", "Trompeten", "Trompette", "Piccolo Trumpet", "Cornet",
        "Trombone", "Tromboni", "Bass Trombone", "Contrabass Trombone", "Posaunen", "Tuba",
        "Contrabass Tuba",
    ),
    "": ("Timpani", "Pauken", "Harp", "Piano", "Celesta", "Xylophone", "Triangle", "Harpsichord"),
}  # fmt: skip


@pytest.mark.parametrize("families", list(NAMES))
def test_names_are_of_their_families_and_of_no_other(families: str) -> None:
    for name in NAMES[families]:
        found = {family for family in FAMILIES if is_of(name, family)}
        assert found == set(families.split()), name
