"""What a worker is told: paths and settings, never sound."""

from __future__ import annotations

from dataclasses import dataclass

from mixcompare import __version__
from mixcompare.takes.values import Take


@dataclass(frozen=True)
class Task:
    """One pair to be compared.

    Attributes
    ----------
    name : str
        Of the candidate, its own among all.
    reference, candidate : str
        Paths of the recordings.
    features : str
        Path of the reference's features.
    folder : str
        Of all takes.
    reference_span_s : tuple of float or None
    score : str or None
        Path.
    audio : bool
        Whether reports hold sound.
    memory_mb : float
        What it will take.
    version : str
        Of mixcompare, of who gives the task.
    """

    name: str
    reference: str
    candidate: str
    features: str
    folder: str
    reference_span_s: tuple[float, float] | None = None
    score: str | None = None
    audio: bool = True
    memory_mb: float = 0.0
    version: str = __version__

    @property
    def report(self) -> str:
        """Folder of the pair's own report, relative to that of all takes."""
        return f"pairs/{self.name}"

    def failed(self, problem: str) -> Take:
        """The take that could not be compared."""
        return Take(name=self.name, path=self.candidate, problem=problem)

    def out_of_memory(self) -> Take:
        """The take whose worker had too little."""
        return self.failed(
            f"{self.candidate}: the worker ran out of memory; this pair needs about"
            f" {self.memory_mb:.0f} MB, so give a worker more, or run fewer at once (--jobs)."
        )
