"""What a recording has to be so that it can be compared."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.audio.span import SHORTEST_PAIR_S, SHORTEST_S
from mixcompare.audio.stereo import FOLD_DOWN
from mixcompare.errors import AudioFileError, ParameterError

RATE_RANGE_HZ = (8_000, 192_000)  # telephone to high resolution; our choice
_WILD_PEAK = 10 ** (40 / 20)
"""No mix goes 40 dB over full scale: such samples are damaged, or on another scale."""
_INTEGER_SCALES = {2.0**15: 16, 2.0**23: 24, 2.0**31: 32}
SILENCE_PEAK = 10 ** (-90 / 20)
"""A file that never rises above -90 dBFS holds nothing to compare."""


def check_content(name: str, finite: bool, peak: float) -> None:
    """Refuse audio that is not finite or silent; called by the analysis pass as it reads.

    Raises
    ------
    AudioFileError
    """
    if not finite:
        raise AudioFileError(
            f"{name}: holds values that are not numbers (NaN or infinite); export it again."
        )
    if peak < SILENCE_PEAK:
        raise AudioFileError(
            f"{name}: is silent (never above -90 dBFS); check that the right file was exported."
        )


def check_scale(name: str, block: npt.NDArray[np.floating]) -> None:
    """Refuse samples far above full scale, before anything overflows.

    Raises
    ------
    AudioFileError
    """
    if block.size == 0:
        return
    peak = float(np.abs(block).max())
    if not peak > _WILD_PEAK or not np.isfinite(peak):
        return
    usual = float(np.median(np.abs(block)))  # a single wild sample does not move it
    bits = next((bits for scale, bits in _INTEGER_SCALES.items() if peak <= scale), None)
    if usual > 1.0 and bits:
        raise AudioFileError(
            f"{name}: its samples reach {peak:.3g} where full scale is 1: they look like {bits}-bit"
            f" numbers written as floating point; divide by {2 ** (bits - 1)} and export again."
        )
    raise AudioFileError(
        f"{name}: holds samples up to {peak:.3g} where full scale is 1; it is damaged, or on"
        " another scale: export it again."
    )


def check_shape(name: str, sample_rate_hz: float, channels: int) -> None:
    """Refuse rates and layouts that can't be compared."""
    low, high = RATE_RANGE_HZ
    if isinstance(sample_rate_hz, bool) or not isinstance(sample_rate_hz, int | float | np.number):
        raise ParameterError(
            f"{name}: the sample rate must be a number, not {sample_rate_hz!r:.60}."
        )
    if not low <= sample_rate_hz <= high:
        raise AudioFileError(
            f"{name}: sample rate {sample_rate_hz:g} Hz is outside {low} to {high} Hz; resample it."
        )
    if channels < 1 or (channels > 2 and channels not in FOLD_DOWN):
        raise AudioFileError(
            f"{name}: {channels} channels are not a layout that can be folded down; export stereo."
        )


def check_length(name: str, length_s: float) -> None:
    """Refuse what is too short to hold music."""
    if length_s < SHORTEST_S:
        raise AudioFileError(
            f"{name}: only {length_s:.2f} s long; at least {SHORTEST_S:g} s of music is needed."
        )


def check_pair(*pair: tuple[str, float]) -> None:
    """Refuse recordings, by name and length, that are too short to be told from others.

    Raises
    ------
    AudioFileError
    """
    for name, length_s in pair:
        if length_s < SHORTEST_PAIR_S:
            raise AudioFileError(
                f"{name}: {length_s:.2f} s are too short to tell whether it is the same music; at"
                f" least {SHORTEST_PAIR_S:g} s are needed, and 8 s for sound figures."
            )
