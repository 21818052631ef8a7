"""The whole chain, once, in order; the one place that knows it."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from html import escape
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.alignment.result import UNRELATED, Alignment
from mixcompare.alignment.timemap import TimeMap
from mixcompare.analysis import Tell, analyse, analysed
from mixcompare.audio.checks import check_pair
from mixcompare.audio.recording import Recording
from mixcompare.errors import ParameterError
from mixcompare.features import Features
from mixcompare.findings import Finding, places
from mixcompare.knowledge.notes import Bars, PartNotes, PartStrokes
from mixcompare.knowledge.score import Score
from mixcompare.numerics import one_numeric_thread
from mixcompare.paths import checked_path
from mixcompare.results import Level, Measured, Results
from mixcompare.stems.files import Given, opened
from mixcompare.stems.judge import judged
from mixcompare.trimmed import with_stems

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from mixcompare.report.writer import Heard

Audio = str | Path | Recording | tuple[npt.ArrayLike, int]


class Comparison:
    """What a comparison found, with the recordings at hand for pictures and excerpts.

    Attributes
    ----------
    results : Results
        Everything as plain data.
    reference, candidate : Recording
    preview : Recording or None
        The candidate with its stems' trims, where any is due.
    read : sequence of path
        Files that were read beside the recordings; saving never touches them.
    """

    def __init__(
        self,
        results: Results,
        reference: Recording,
        candidate: Recording,
        preview: Recording | None = None,
        read: Sequence[str | Path] = (),
    ) -> None:
        self.results = results
        self.reference = reference
        self.candidate = candidate
        self.preview = preview
        self.read = tuple(read)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What sticks out, most salient first."""
        return self.results.findings

    @property
    def alignment(self) -> Alignment:
        """Where the candidate lies against the reference."""
        return self.results.alignment

    @property
    def measurements(self) -> Mapping[str, Measured]:
        """Both measurements and their difference, by aspect."""
        return self.results.measurements

    @property
    def parts(self) -> list[dict[str, Any]]:
        """The score's parts as in ``report.json``, a row each: level, place, note lengths ...

        Empty without a score; as it is, it makes a table of any library for tables.
        """
        from mixcompare.report.document import parts_of

        return parts_of(self.results)

    @property
    def stems(self) -> list[dict[str, Any]]:
        """The stems as in ``report.json``, a row each: share, trim, interval, arrival ...

        Empty without stems.
        """
        from mixcompare.report.document import stems_of

        return stems_of(self.results)

    @property
    def verdict(self) -> str:
        """The outcome in one sentence."""
        return self.results.verdict

    @property
    def warnings(self) -> tuple[str, ...]:
        """Plain sentences on what limits the comparison."""
        return self.results.warnings

    def plot(self, aspect: str) -> Figure:
        """Draw the figure of one aspect (or ``"alignment"``).

        Raises
        ------
        ParameterError
            If there is no such figure.
        """
        from mixcompare import plots

        return plots.draw(self.results, aspect)

    def to_dict(self) -> dict[str, Any]:
        """Return the content of ``report.json``."""
        from mixcompare.report.document import to_document

        return to_document(self.results)

    def save(
        self,
        out_dir: str | Path,
        audio: bool = True,
        progress: Tell | None = None,
        heard: Heard | None = None,
        markers: bool = False,
    ) -> Path:
        """Write report, figures and excerpts to a folder; all of it or nothing.

        Parameters
        ----------
        out_dir : path
            Folder to be made, or that of a former report.
        audio : bool
            Whether the report holds sound.
        progress : callable, optional
            Called with a few words before each step.
        heard : callable, optional
            Called with the sound of the page, for who needs it elsewhere too.
        markers : bool
            Whether the report holds a WAV copy of the candidate with the findings as markers.

        Raises
        ------
        OutputError
            If the folder cannot be written.
        """
        from mixcompare.listening.excerpts import AlignedSound
        from mixcompare.listening.markers import markers_of, write_marked
        from mixcompare.report import writer

        pair = None
        if audio and self.alignment.relation != UNRELATED:
            # In the tenths in which it is told: then what is heard is as loud as what is printed.
            gain_db = round(self.results.level.gain_db, 1) if self.results.level else 0.0
            tried = self.results.stems.preview if self.results.stems else None
            pair = AlignedSound(
                self.reference,
                self.candidate,
                self.alignment.time_map,
                gain_db,
                self.preview,
                tried.level_db if tried else 0.0,
            )
        folder = checked_path(out_dir, "the report's folder")
        mark = None
        if markers:
            marked = markers_of(self.findings)
            mark = partial(write_marked, recording=self.candidate, markers=marked)
        return writer.save(self.results, folder, pair, progress, self._files_read(), heard, mark)

    def handout(self, path: str | Path) -> Path:
        """Write one sheet of A4 (PDF): the verdict, and what sticks out with a figure each.

        Parameters
        ----------
        path : path
            File to be made, or a former handout.

        Raises
        ------
        OutputError
            If it cannot be written, is read by this comparison, or is no handout of ours.
        """
        from mixcompare.outputs import write_file
        from mixcompare.report.handout import MARK, handout_pdf

        target = checked_path(path, "the handout")
        write_file(target, handout_pdf(self.results.on_file_clocks()), MARK, self._files_read())
        return target

    def _files_read(self) -> list[str | Path]:
        """Everything that no result may take the place of."""
        files = [one.file for one in (self.reference, self.candidate) if one.file is not None]
        return [*files, *self.read]

    def __repr__(self) -> str:
        return f"<Comparison: {self.verdict}>"

    def _repr_html_(self) -> str:
        """Verdict and ranked list, for a notebook."""
        rows = "".join(
            f"<tr><td>{finding.rank}</td><td>{escape(finding.subject)}</td>"
            f"<td>{escape(finding.amount)}</td>"
            f"<td>{finding.around}</td>"
            f"<td>{escape(places(finding.spans_s, bars=finding.bars))}</td>"
            f"<td>{finding.cause.spoken}</td><td>{escape(finding.text)}</td></tr>"
            for finding in self.findings
        )
        head = "".join(
            f"<th>{name}</th>" for name in ("", "what", "size", "95 %", "where", "cause", "")
        )
        table = f"<table><tr>{head}</tr>{rows}</table>" if rows else ""
        return f"<p><strong>{escape(self.verdict)}</strong></p>{table}"


def load(
    source: Audio, span_s: tuple[float, float] | None = None, name: str = "array"
) -> Recording:
    """Open a file, or wrap ``(samples, sample_rate_hz)``.

    Parameters
    ----------
    source : path, Recording or (array, sample rate)
        What to read from.
    span_s : tuple of float, optional
        Part to use, in seconds.
    name : str
        Name to show for an array.

    Raises
    ------
    AudioFileError, ParameterError
    """
    if isinstance(source, Recording):
        return source
    if isinstance(source, tuple):
        if len(source) != 2:
            raise ParameterError(f"{name}: give samples and their sample rate, (array, rate).")
        samples, rate = source
        return Recording.from_array(samples, rate, name=name, span_s=span_s)
    return Recording.open(checked_path(source, "a recording"), span_s)


@one_numeric_thread
def compare(
    reference: Audio,
    candidate: Audio,
    *,
    reference_span_s: tuple[float, float] | None = None,
    candidate_span_s: tuple[float, float] | None = None,
    time_map: TimeMap | None = None,
    score: str | Path | None = None,
    stems: Given | None = None,
    reference_stems: Given | None = None,
    reference_features: Features | None = None,
    progress: Tell | None = None,
) -> Comparison:
    """Compare two recordings of the same passage.

    Parameters
    ----------
    reference, candidate : path, Recording or (array, sample rate)
        The two recordings; the candidate is held against the reference.
    reference_span_s, candidate_span_s : tuple of float, optional
        Parts to compare, in seconds.
    time_map : TimeMap, optional
        The user's own map; otherwise it is found.
    score : path, optional
        MusicXML, MIDI file or table of notes (see :mod:`mixcompare.knowledge.score`): its parts'
        levels and articulation are compared one by one, and findings name players and bars.
    stems : path or mapping, optional
        The candidate's stems, on the clock of its file: a folder, or files by name. What each
        carries, which trims bring it nearest to the reference's balance, and the candidate with
        them compared again.
    reference_stems : path or mapping, optional
        The reference's stems likewise: where both have one of a name, levels are compared directly.
    reference_features : Features, optional
        Of this very reference and span, where they are at hand: then it is not analysed again.
    progress : callable, optional
        Called with a few words before each step.

    Returns
    -------
    Comparison

    Raises
    ------
    AudioFileError
        If a recording cannot be read or holds nothing to compare.
    ParameterError
        If a span lies outside its recording, there are no stems where they should be, or those
        of the reference alone.
    ScoreError
        If the score cannot be read or is of other music.
    """
    if time_map is not None and not isinstance(time_map, TimeMap):
        raise ParameterError(f"time_map must be a TimeMap, not {time_map!r:.60}.")
    if progress is not None and not callable(progress):
        raise ParameterError(f"progress must be a function of a few words, not {progress!r:.60}.")
    tell = progress or (lambda words: None)
    tell("reading both recordings")
    written = Score.open(score) if score is not None else None
    files, theirs, left_out = _opened(stems, reference_stems)
    recordings = (
        load(reference, reference_span_s, name="reference"),
        load(candidate, candidate_span_s, name="candidate"),
    )
    check_pair(*((one.name, one.duration_s) for one in recordings))
    if written is not None:
        written.check_length(recordings[0].duration_s)
    features = _both_read(recordings, reference_features)
    tell("laying the candidate over the reference")
    alignment = align(features[0], features[1], time_map)
    parts: tuple[PartNotes, ...] = ()
    bars: Bars | None = None
    strokes: tuple[PartStrokes, ...] = ()
    if written is not None and alignment.relation != UNRELATED:
        tell("laying the score over the reference")
        laid = written.over(features[0])
        parts, bars, strokes = laid.parts, laid.bars, laid.strokes
        alignment = replace(alignment, warnings=alignment.warnings + laid.warnings)
    results, pair = analysed(features[0], features[1], alignment, tell, parts, bars, strokes)
    preview = None
    if files and pair is not None:
        tell("laying the stems under their mix")
        found = judged(pair, *recordings, files, left_out, theirs)
        del pair  # memory
        results, preview = with_stems(results, features[0], recordings[1], files, found, tell)
    settings = {
        "reference_span": _span_words(reference_span_s),
        "candidate_span": _span_words(candidate_span_s),
        "time_map": "found" if time_map is None else "given by the user",
        "score": "none" if score is None else Path(score).name,
        "stems": ", ".join(files) or "none",
        "reference_stems": ", ".join(theirs) or "none",
        "libraries": _versions(),
    }
    results = replace(results, settings=settings)
    both = (*files.values(), *theirs.values())
    stem_files = (stem.file for stem in both if stem.file is not None)
    read = [*stem_files, *([score] if score is not None else [])]
    return Comparison(results, *recordings, preview, read)


def _both_read(
    recordings: tuple[Recording, Recording], known: Features | None = None
) -> tuple[Features, Features]:
    """Both at once; an interrupt stops either at its next block; the reference's may be known."""
    reference, candidate = recordings
    if known is not None:
        if (known.name, known.span_s) != (reference.name, reference.span_s):
            raise ParameterError(f"{reference.name}: the features given are of another recording.")
        return known, Features.of(candidate)
    stopped = threading.Event()

    def go_on(share: float) -> None:
        if stopped.is_set():
            raise InterruptedError

    with ThreadPoolExecutor(2) as pool:
        reading = [pool.submit(Features.of, recording, go_on) for recording in recordings]
        try:
            first, second = (each.result() for each in reading)
        except BaseException:
            stopped.set()
            raise
    return first, second


def _opened(
    stems: Given | None, reference_stems: Given | None
) -> tuple[dict[str, Recording], dict[str, Recording], tuple[str, ...]]:
    """Stems of the candidate and of the reference, and what was left out."""
    if stems is None:
        if reference_stems is not None:
            raise ParameterError("the reference's stems need the candidate's beside them.")
        return {}, {}, ()
    files, left_out = opened(stems)
    if reference_stems is None:
        return files, {}, left_out
    theirs, also = opened(reference_stems, "the reference's stems")
    return files, theirs, left_out + also


def _span_words(span_s: tuple[float, float] | None) -> str:
    return "whole recording" if span_s is None else f"{span_s[0]:g} to {span_s[1]:g} s"


def _versions() -> str:
    """Versions of what computes the figures, so that a comparison can be repeated."""
    names = ("numpy", "scipy", "soundfile", "soxr")
    return ", ".join(f"{name} {metadata.version(name)}" for name in names)


__all__ = ["Comparison", "Level", "analyse", "compare", "load"]
