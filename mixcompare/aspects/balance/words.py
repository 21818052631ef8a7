"""Elements and registers that stand elsewhere, in words."""

from __future__ import annotations

from mixcompare.aspects.balance.about import LEVEL
from mixcompare.aspects.balance.values import AGAINST, BalanceDifference, Element
from mixcompare.elements.change import Change
from mixcompare.elements.describe import FIGURE, Description
from mixcompare.elements.local import LocalChange
from mixcompare.elements.seats import side_of
from mixcompare.findings import (
    Finding,
    between,
    parts_named,
    places,
    size_in_jnd,
    steps_of_dynamics,
)
from mixcompare.findings.cause import Differs, Seen, weighed
from mixcompare.findings.confidence import evidence
from mixcompare.pair.pair import Pair
from mixcompare.parts.heard import is_open
from mixcompare.parts.values import Levels, Players

_NOTEWORTHY_SHARE = 0.15  # change of the share in which it is heard; our judgement, not measured
_NOTEWORTHY_LOUDNESS = 0.1  # the same of its share of the loudness
_HEARD_LU = 0.5  # about what is heard of a whole by attentive listeners; our judgement
_STILL_DB = 0.3
"""Scatter of cells that no other tail makes: one 22 dB under the direct sound leaves 0.26 dB, and
moves no moment by more than 0.7 dB (made-up take)."""


def _size_text(difference_db: float, interval: tuple[float, float]) -> str:
    return f"{abs(difference_db):.1f} dB ({between(interval)})"


def players_named(players: Players) -> str:
    """Who plays an element, as one name; empty where that can't be told."""
    return parts_named(players.names, players.family)


def seated(subject: str, seat: float | None) -> str:
    """An element's name with where it sits, if that tells it from another one."""
    if seat is None:
        return subject
    side = {0: "in the middle", 1: "on the right", -1: "on the left"}[side_of(seat)]
    what, *further = subject.split(", ", 1)
    return ", ".join([f"{what} {side}", *further])


def element_finding(element: Element, difference: BalanceDifference, pair: Pair) -> Finding:
    """What is said of an element that stands elsewhere."""
    louder = element.difference_db > 0
    return Finding(
        aspect="balance",
        kind=f"{element.kind}_{'louder' if louder else 'weaker'}",
        subject=f"{element.name}{AGAINST}" if element.against else element.name,
        difference=element.difference_db,
        interval=element.interval,
        unit="dB",
        jnd=size_in_jnd(element.difference_db, _weighed(element), LEVEL.size),
        noticeable=LEVEL,
        evidence=evidence(
            element.difference_db, element.interval, pair.same_take, element.agreeing
        ),
        spans_s=element.spans_s,
        band_hz=element.band_hz,
        apart=_apart(difference) if pair.same_take else (),
        cause=weighed(Differs.LEVEL_OF_A_PART, Seen.IN_ONE_PART_ONLY, same_take=pair.same_take),
        text=_sentence(element) + _of_the_whole(element, difference.whole_lu),
        advice=_advice(element, pair.same_take),
    )


def doubtful_words(found: Description, change: Change) -> str:
    """What is said of a change that is too unsure to be listed."""
    further = "forward" if change.difference_db > 0 else "back"
    return (
        f"Perhaps the {found.subject} stands some {abs(change.difference_db):.0f} dB further"
        f" {further}; but the two halves of the passage, its loud and soft moments or the two"
        " directions of the comparison don't agree, or with all doubts it may be next to nothing,"
        " so it is not listed."
    )


def untold_words(levels: Levels) -> list[str]:
    """Why parts that are read louder or softer are not listed, and elements have no part's name."""
    found = []
    if levels.other_instruments:
        found.append(
            "Other instruments seem to play than in the reference. Each may be some 4 dB louder or"
            " softer for that alone, so that only parts that stand farther off are listed."
        )
    if any(not players.names for players in levels.players):
        found.append(
            "Not all that changed has the name of a part, for no part's own sound goes along with"
            " it. See whether the score holds all parts that play."
        )
    for players, level_db in levels.shorter:
        sounds = "sound" if len(players.names) > 1 else "sounds"
        found.append(
            f"The {players_named(players)} {sounds} softer in the"
            f" {'candidate' if level_db < 0 else 'reference'}; but of notes as short as these"
            " softer can't be told from shorter, so that no level is listed."
        )
    return found


def ended_words(found: Description, change: Change) -> str:
    """What is said of notes whose ends moved, in one take, and which are as loud as they were."""
    if change.difference_db < 0:
        ends, why = "end sooner", "a gate, an expander, an edit or other playing"
    else:
        ends, why = "ring on longer", "more of a hall of their own, an edit or other playing"
    what, _, further = found.subject.partition(", ")
    subject = f"{what} ({further})" if further else what
    return (
        f"Notes of the {subject} {ends} than in the reference ({why}); while they are held"
        " they are as loud, so that no level is listed."
    )


def _apart(difference: BalanceDifference) -> tuple[str, ...]:
    """What was taken off before elements were sought, and so explains none of them."""
    apart = ("width", "placement", "tone")
    if difference.one_tail:
        return (*apart, "room", "articulation")
    # Another tail would scatter the cells by more than that.
    still = difference.scatter_db is not None and difference.scatter_db < _STILL_DB
    return (*apart, "room") if still else apart


def _sentence(element: Element) -> str:
    """Where it stands, which of two may have moved, and how well it can be heard."""
    louder = element.difference_db > 0
    direction = "further forward" if louder else "further back"
    size = _size_text(element.difference_db, element.interval)
    name = f"{element.name}," if element.kind == "register" else _in_words(element)
    stands = "stand" if len(element.players) > 1 else "stands"
    if is_open(element.interval):
        least, where = min(map(abs, element.interval)), "reference" if louder else "candidate"
        return (
            f"The {name} {stands.replace('stand', 'play')} in the score and can hardly be heard in"
            f" the {where}: at least {least:.0f} dB {direction} than in the other recording."
        )
    text = f"The {name} {stands} {direction} than in the reference, by {size}."
    if element.against:
        other = "further back" if louder else "further forward"
        text += (
            f" Or else what plays besides it stands {other}: which of the two moved can't be"
            " told, for they weigh about the same."
        )
    text += _beside_the_theme(element)
    it, s = ("They", "") if len(element.players) > 1 else ("It", "s")
    heard = element.reference_audible_share, element.candidate_audible_share
    if abs(heard[1] - heard[0]) >= _NOTEWORTHY_SHARE:
        text += (
            f" {it} can be heard through the rest {_percent(heard[1])} of the time"
            f" {it.lower()} play{s},"
            f" against {_percent(heard[0])} in the reference."
        )
    else:
        shares = element.reference_loudness_share, element.candidate_loudness_share
        if abs(shares[1] - shares[0]) >= _NOTEWORTHY_LOUDNESS:
            text += (
                f" {it} take{s} {_percent(shares[1])} of the loudness while"
                f" {it.lower()} play{s}, against {_percent(shares[0])} in the"
                " reference."
            )
    return text


def _of_the_whole(element: Element, whole_lu: float | None) -> str:
    """What a single element does to the loudness of all, where that is heard."""
    if whole_lu is None or abs(whole_lu) < _HEARD_LU or whole_lu * element.difference_db < 0:
        return ""
    it, s = ("They", "") if len(element.players) > 1 else ("It", "s")
    more = "louder" if whole_lu > 0 else "softer"
    return f" {it} make{s} the whole {abs(whole_lu):.1f} LU {more}."


def _in_words(element: Element) -> str:
    """Its name, and how fast it goes where it is a figure."""
    rate = element.note_value
    if element.kind == FIGURE and element.notes_per_s is not None:
        rate = f"about {element.notes_per_s:.1f} notes a second"
    if rate is None:
        return element.name
    if element.motif_notes is not None:
        rate += f", the same pattern every {element.motif_notes} notes"
    return f"{element.who} ({rate})"


def _beside_the_theme(element: Element) -> str:
    """Who leads there, and what stands written: why a level may matter more, or less."""
    theme = element.theme
    if theme is None:
        return ""
    it, s = ("They", "") if len(element.players) > 1 else ("It", "s")
    marked = f", written {theme.players_written}" if theme.players_written else ""
    if theme.is_own:
        return f" {it} lead{s} there{marked}."
    lead = f"{theme.name}, written {theme.written}," if theme.written else theme.name
    low, high = theme.level_db_interval or (0.0, 0.0)
    if theme.level_db is None or low <= 0 <= high:
        return f" {lead} leads there."
    direction = "further forward" if theme.level_db > 0 else "further back"
    size = _size_text(theme.level_db, (low, high))
    who = f"{it.lower()}{marked}{',' * bool(marked)} stand{s}"
    return (
        f" Against {lead.removesuffix(',')}, which leads there, {who} {size} {direction} than in"
        " the reference."
    )


def _weighed(element: Element) -> tuple[float, float]:
    """The interval by which a size is weighed: how far down what isn't there is says nothing."""
    if not is_open(element.interval):
        return element.interval
    near = min(element.interval, key=abs)
    low, high = sorted((near, 2 * element.difference_db - near))
    return low, high


def _percent(share: float) -> str:
    return "less than 1 %" if share < 0.005 else f"{100 * share:.0f} %"


def _advice(element: Element, same_take: bool) -> tuple[str, ...]:
    size = round(abs(element.difference_db))
    what = element.who
    down = element.difference_db > 0
    if is_open(element.interval):
        one, other = ("reference", "candidate") if down else ("candidate", "reference")
        return (
            f"See whether the {what} should play in both: left out of the {one}, muted there, or"
            f" added in the {other}.",
        )
    desk = f"Bring the spots that carry the {what} {'down' if down else 'up'} by about {size} dB."
    if element.against:
        other = "up" if down else "down"
        desk += f" Or bring the rest {other}: let the ear say which of them is out of place."
    steps = _steps(size, down)
    if same_take:
        # Players' own step is the other way to the same end, never a second one.
        return desk, f"Or, if it was played so: {steps}; not both."
    podium = f"Ask the {what} to play {steps}."
    return podium, desk


def _steps(size_db: float, down: bool) -> str:
    """So many dynamics softer or louder, with the marks that are meant by one."""
    marks = " (as from f to mf)" if down else " (as from mf to f)"
    steps = f"{steps_of_dynamics(size_db)} {'softer' if down else 'louder'}"
    return f"{steps}{marks if 'one dynamic' in steps else ''}"


def local_finding(passage: LocalChange, difference: BalanceDifference, pair: Pair) -> Finding:
    """What is said of a register that stands out in places."""
    louder = passage.difference_db > 0
    size = _size_text(passage.difference_db, passage.interval)
    where = places((passage.span_s,))
    text = (
        f"From {where.replace('-', ' to ')} the {passage.name} stands"
        f" {'further forward' if louder else 'further back'} than in the reference, by {size}."
    )
    what = f"{round(abs(passage.difference_db))} dB {'down' if louder else 'up'}"
    desk = f"Ride the faders of what plays in the {passage.name} there about {what}."
    podium = f"Ask for {'less' if louder else 'more'} in the {passage.name} there."
    return Finding(
        aspect="balance",
        kind=f"register_{'louder' if louder else 'weaker'}",
        subject=passage.name,
        difference=passage.difference_db,
        interval=passage.interval,
        unit="dB",
        jnd=size_in_jnd(passage.difference_db, passage.interval, LEVEL.size),
        noticeable=LEVEL,
        evidence=evidence(
            passage.difference_db,
            passage.interval,
            pair.same_take,
            explained=passage.explained,
        ),
        spans_s=(passage.span_s,),
        band_hz=passage.band_hz,
        apart=("width", "placement") if pair.same_take else (),
        cause=weighed(Differs.LEVEL_OF_A_PART, Seen.IN_ONE_PART_ONLY, same_take=pair.same_take),
        text=text,
        advice=(desk,) if pair.same_take else (podium, desk),
    )
