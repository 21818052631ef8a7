"""What a recording has to be so that it can be compared."""

from __future__ import annotations

from mixcompare.audio.span import SHORTEST_S
from mixcompare.audio.stereo import FOLD_DOWN
from mixcompare.errors import AudioFileError

RATE_RANGE_HZ = (8_000, 192_000)  # telephone to high resolution; our choice
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


def check_shape(name: str, sample_rate_hz: float, channels: int) -> None:
    """Refuse rates and layouts that can't be compared."""
    low, high = RATE_RANGE_HZ
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
            f"{name}: only {length_s:.2f} s long; at least {SHORTEST_S:.0f} s of music is needed."
        )
