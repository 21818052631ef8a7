"""The smallest differences that count, each with its source."""

from __future__ import annotations

from dataclasses import dataclass

from mixcompare import units


@dataclass(frozen=True)
class JustNoticeable:
    """The smallest difference of one kind that counts, and how such a difference is read.

    Laboratory figures hold for attentive listeners on simple sounds; where running music needs
    more, the larger figure is used.

    Attributes
    ----------
    name : str
    size : float
        In ``unit``.
    unit : str
        Of the findings that are measured by it; empty for a share or a ratio.
    source : str
    factor : float
        A difference is read times this: 100 where a share is told in per cent.
    read_as : str
        Unit of what is read, where it is not ``unit``.
    read_decimals : int
        With how many decimals it is read then.
    of : str
        What a share is a share of, for a sentence.
    """

    name: str
    size: float
    unit: str
    source: str
    factor: float = 1.0
    read_as: str = ""
    read_decimals: int = 0
    of: str = ""

    @property
    def decimals(self) -> int:
        """With how many decimals it is read."""
        return self.read_decimals if self.read_as else units.decimals_of(self.unit)

    @property
    def symbol(self) -> str:
        """Unit of what is read."""
        return self.read_as or self.unit

    @property
    def in_full(self) -> str:
        """The same where there is room for words: ``percentage points``."""
        return f"percentage {self.symbol}" if self.symbol == units.POINTS else self.symbol

    def number(self, difference: float) -> str:
        """A difference on the scale on which it is read, with the digits it is worth."""
        return units.plain_number(self.factor * difference, decimals=self.decimals)

    def amount(self, difference: float) -> str:
        """A difference as a person reads it: ``+5.8 dB``, ``-34 points``."""
        return f"{self._signed(difference)} {self.symbol}".rstrip()

    def _signed(self, difference: float) -> str:
        return f"{self.factor * difference:+.{self.decimals}f}"

    def interval(self, bounds: tuple[float, float]) -> tuple[float, float]:
        """Bounds of a difference on the scale on which it is read."""
        return self.factor * bounds[0], self.factor * bounds[1]

    def spoken(self, difference: float) -> str:
        """The same in full, with what it is a share of."""
        return f"{self._signed(difference)} {self.in_full} {self.of}".rstrip()
