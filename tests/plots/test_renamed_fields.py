"""A field that an analyzer renames must stop the drawing, not leave something out in silence."""

from dataclasses import is_dataclass, replace

import pytest

from mixcompare import plots
from mixcompare.aspects import ANALYZERS
from mixcompare.report import document

OURS = ("mixcompare.aspects.", "mixcompare.elements.")

FIGURES = (*(analyzer.aspect for analyzer in ANALYZERS), "alignment")


class Watched:
    """Stands for a dataclass of an analyzer, notes which fields are read, and can lack one."""

    def __init__(self, value, reads, missing):
        self._watched = (value, reads, missing)

    def __getattr__(self, name):
        value, reads, missing = self._watched
        key = (type(value).__name__, name)
        reads.add(key)
        if key == missing:
            raise AttributeError(f"{key} was renamed")
        return watched(getattr(value, name), reads, missing)


def watched(value, reads, missing):
    if is_dataclass(value) and type(value).__module__.startswith(OURS):
        return Watched(value, reads, missing)
    if isinstance(value, tuple) and any(map(is_dataclass, value)):
        return tuple(watched(item, reads, missing) for item in value)
    return value


def reading(results, aspect, reads, missing=None):
    """The same results, of one aspect, behind watchers."""
    found = results.measurements[aspect]
    sides = (found.reference, found.candidate, found.difference)
    names = ("reference", "candidate", "difference")
    changed = {name: watched(side, reads, missing) for name, side in zip(names, sides, strict=True)}
    return replace(results, measurements={aspect: replace(found, **changed)})


def without_notes(results):
    found = results.measurements["articulation"]
    bare = replace(found.difference, note_reference_ratio=(), note_candidate_ratio=(), examples=())
    return replace(results, measurements={"articulation": replace(found, difference=bare)})


def without_contours(results):
    found = results.measurements["loudness"]
    short = [replace(side, short_term_lufs=()) for side in (found.reference, found.candidate)]
    kept = replace(found, reference=short[0], candidate=short[1])
    return replace(results, measurements={"loudness": kept})


CASES = [(aspect, None) for aspect in FIGURES if aspect != "alignment"] + [
    ("articulation", without_notes),
    ("loudness", without_contours),
]


@pytest.mark.parametrize(("aspect", "change"), CASES)
def test_no_figure_does_without_a_field_that_it_reads(aspect, change, results):
    if change is not None:
        results = change(results)
    reads = set()
    plots.draw(reading(results, aspect, reads), aspect)
    assert len(reads) >= 2
    for key in sorted(reads):
        with pytest.raises(AttributeError, match="was renamed"):
            plots.draw(reading(results, aspect, set(), key), aspect)


def test_the_parts_of_a_report_need_their_fields(results):
    found = results.measurements["articulation"]
    (part,) = document.to_document(results)["parts"]
    assert part["name"] == "Horns"
    assert part["sounding_ratio_reference"] == 0.5
    assert part["sounding_ratio_candidate"] == 0.9
    for name in ("voices", "name", "written", "reference_ratio", "candidate_ratio"):
        owner = "ArticulationDifference" if name == "voices" else "VoiceArticulation"
        difference = watched(found.difference, set(), (owner, name))
        measurements = {"articulation": replace(found, difference=difference)}
        with pytest.raises(AttributeError, match="was renamed"):
            document.parts_of(replace(results, measurements=measurements))
