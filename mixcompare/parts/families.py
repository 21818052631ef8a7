"""Families of an orchestra by the names of parts, in the languages in which scores are printed.

Common practice, no source: English, Italian, German and French names and their abbreviations.
"""

from __future__ import annotations

import re

_VIOLINS = r"violin(?!c)|violon(?!c|e)|geige|vln|vni|vl\b"
_VIOLAS = r"viola(?!.*(gamb|d'amor))|viole\b|bratsch|altos?\b(?!.*(sax|fl|cl|trom|voi))|vla|va\b"
_BASSES = (
    r"cell[oi]|violoncell|violone|contrab{1,2}ass(?!o?o?n|.*(clar|trom|tub|sax))|kontrab[aä]ss"
    r"|contrebass(?!on)|double bass(?!oon)|\bbass(es|i|o)?$|\bb[aä]sse$|vlc|vc\b|cb\b|kb\b|db\b"
)
_HORNS = (
    r"(?<!english )(?<!engl\. )horn|h[oö]rner|corn[oi]\b(?! ingl)|\bcors?\b(?! angl)|\bhn\b|\bhr\b"
)
_PATTERNS = {
    "strings": rf"{_VIOLINS}|{_VIOLAS}|{_BASSES}|string|streicher|\barchi\b|\bcordes\b",
    "woodwinds": (
        r"piccolo(?!.*tr)|ottavino|fl[uûaöo]{1,2}[th]|kleine fl|\bfl\b|obo[ei]|hoboe|hautbois"
        r"|\bob\b|english horn|engl\. horn|englischhorn|cor anglais|corno ingl|[ck]larin[eo]"
        r"|\b[ck]l\b|bassoon|basson|fagott|\bfg\b|\bbsn\b|\bbn\b|saxo"
    ),
    "brass": (
        rf"{_HORNS}|trumpet|tromb[aeio]|trompet|cornet|posaune|tuba|\btpt|\btrp|\btbn|\bpos\b"
        r"|euphonium|fl[uü]gelhorn"
    ),
    "violins": _VIOLINS,
    "basses": _BASSES,
}
_NOT_BRASS = r"englischhorn|basset"
FAMILIES = tuple(_PATTERNS)


def is_of(name: str, family: str) -> bool:
    """Whether a part's name is of a family of instruments.

    Parameters
    ----------
    name : str
        As printed.
    family : str
        One of :data:`FAMILIES`; violins and basses (cellos with double basses) are strings too.
    """
    lower = " ".join(name.lower().replace("_", " ").split())
    if family == "brass" and re.search(_NOT_BRASS, lower):
        return False
    return re.search(_PATTERNS[family], lower) is not None
