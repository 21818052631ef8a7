"""A passage that comes more than once: where else it lies, and which of the places is compared.

A recording of a whole movement has a passage again where a repeat is taken or the beginning comes
back. What the first look leaves of either recording is searched for the passage, and each place is
held against the other recording in the same way.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from mixcompare.alignment import coarse
from mixcompare.alignment.events import listed
from mixcompare.alignment.laid import Laid, lay
from mixcompare.alignment.relation import harmony_agreement
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.result import Place, moved, times
from mixcompare.audio.span import span_text

_SHORTEST_S = 8.0  # a passage; a motif comes again everywhere. Our judgement, not measured
_WHOLE = 0.75  # share of the passage that has to come again; our choice
_MOST_PACE = 1.4  # of the other place's; our choice
_ALIKE = 0.02
"""Agreement within which two places are equally near. The same instruments in the same room agree
with a third playing to within 0.002, another room or other balances make 0.03 to 0.2 of it (made-up
music, and the benchmark's tuning set)."""
_MOST = 6  # cost: so many places are looked at
_AROUND_S = 2.0  # room on either side of a place, and how far two may overlap; our choice

Span = tuple[float, float]


def chosen(
    reference: Representation, candidate: Representation, found: Laid
) -> tuple[Laid, tuple[Place, ...]]:
    """The place to compare, and all places where one of the two has the passage.

    The nearest is taken, by how far the harmonies agree; of equally near ones the earliest.
    """
    for recording in ("candidate", "reference"):
        there = [found, *_elsewhere(reference, candidate, found, recording == "candidate")]
        if len(there) == 1:
            continue
        heard = [_agreement(reference, candidate, one) for one in there]
        places = [
            Place(
                recording,
                _within(one.time_map.span_s, reference),
                _within(one.time_map.candidate_span_s, candidate),
                agreement,
                one.probability,
                compared=False,
            )
            for one, agreement in zip(there, heard, strict=True)
        ]
        near = [at for at in range(len(there)) if heard[at] >= max(heard) - _ALIKE]
        taken = min(near, key=lambda at: places[at].own_s)
        places[taken] = replace(places[taken], compared=True)
        return there[taken], tuple(sorted(places, key=lambda place: place.own_s))
    return found, ()


def _within(span_s: Span, recording: Representation) -> Span:
    """A map may go on a little beyond either end."""
    return max(span_s[0], 0.0), min(span_s[1], recording.duration_s)


def _agreement(reference: Representation, candidate: Representation, one: Laid) -> float:
    return harmony_agreement(reference, candidate.transposed(one.semitones), one.time_map)


def _elsewhere(
    reference: Representation, candidate: Representation, found: Laid, in_candidate: bool
) -> Iterator[Laid]:
    """The passage in what is left of one recording, beside the place that was found."""
    passage_s, own_s = _sides(found, in_candidate)
    sounding = candidate.transposed(found.semitones)
    once, more = (reference, sounding) if in_candidate else (sounding, reference)
    left_s = max(own_s[0], more.duration_s - own_s[1])
    if min(np.ptp(passage_s), np.ptp(own_s), left_s * _MOST_PACE / _WHOLE) < _SHORTEST_S:
        return
    taken = [own_s]
    for place in coarse.whole_places(once.between(*passage_s), more)[: _MOST + 1]:
        within_s = max(place[0] - _AROUND_S, 0.0), min(place[1] + _AROUND_S, more.duration_s)
        if any(min(place[1], one[1]) - max(place[0], one[0]) > _AROUND_S for one in taken):
            continue
        spans = (passage_s, within_s) if in_candidate else (within_s, passage_s)
        again = _lay_between(reference, candidate, *spans)
        if again is None or not _is_again(found, again, in_candidate):
            return
        taken.append(_sides(again, in_candidate)[1])
        yield again


def _lay_between(
    reference: Representation, candidate: Representation, reference_s: Span, candidate_s: Span
) -> Laid | None:
    first, second = reference.between(*reference_s), candidate.between(*candidate_s)
    laid = lay(first, second)
    if laid is None:
        return None
    return laid.moved(first.begins_s - reference.begins_s, second.begins_s - candidate.begins_s)


def _is_again(found: Laid, again: Laid, in_candidate: bool) -> bool:
    """Whether it is nearly all of the passage, in its key and at about its pace."""
    whole_s, part_s = (_sides(one, in_candidate)[0] for one in (found, again))
    pace = again.tempo_ratio / found.tempo_ratio
    return (
        again.probability >= 0.5
        and again.semitones == found.semitones
        and part_s[1] - part_s[0] >= _WHOLE * (whole_s[1] - whole_s[0])
        and 1 / _MOST_PACE <= pace <= _MOST_PACE
    )


def _sides(one: Laid, in_candidate: bool) -> tuple[Span, Span]:
    """Its span in the recording that has the passage once, and in the other."""
    sides = one.time_map.span_s, one.time_map.candidate_span_s
    return sides if in_candidate else sides[::-1]


def told(
    places: tuple[Place, ...], reference: Representation, candidate: Representation
) -> tuple[str, ...]:
    """Where the passage comes, which was compared and why, and how to compare another one."""
    if not places:
        return ()
    who = places[0].recording
    whole = reference if who == "reference" else candidate
    # An option that ends a part of a second behind the end would be refused.
    ends_s = float(np.floor(whole.begins_s + whole.duration_s))
    own = [moved(place.own_s, whole.begins_s) for place in places]
    spans = [span_text((start, min(end, ends_s))) for start, end in own]
    sure = [
        f"{span} (sure to {round(100 * min(place.confidence, 0.99))} %)"
        for span, place in zip(spans, places, strict=True)
    ]
    (taken,) = [at for at, place in enumerate(places) if place.compared]
    others = [at for at in range(len(places)) if at != taken]
    against = listed([f"{places[at].agreement:.2f}" for at in others])
    near = max(place.agreement for place in places) - _ALIKE
    if sum(place.agreement >= near for place in places) > 1:
        why = "the first of those that are equally near"
    else:
        why = "the nearer" if len(places) == 2 else "the nearest"
    options = listed([f"--{who}-span {spans[at]}" for at in others], "or")
    text = (
        f"The {who} has the passage {times(len(places))}:"
        f" {listed(sure)}. {spans[taken]} was compared, {why} to the {_other(who)} (harmonies"
        f" agree to {places[taken].agreement:.2f} against {against})."
        f" To compare {'the other' if len(others) == 1 else 'another'}: {options}."
    )
    return (text,)


def _other(recording: str) -> str:
    return "candidate" if recording == "reference" else "reference"
