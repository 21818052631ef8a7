"""What one block-wise pass over a recording yields; everything later reads this."""

from mixcompare.features.grid import (
    ANALYSIS_RATE_HZ,
    BAND_RATE_HZ,
    HIGHEST_ONSET,
    HIGHEST_SEMITONE,
    LOWER_BANDS,
    LOWEST_ONSET,
    LOWEST_SEMITONE,
    ONSET_RATE_HZ,
    SEMITONE_RATE_HZ,
    WAVEFORM_SCALE,
    Progress,
    band_centres_hz,
)
from mixcompare.features.model import AlignmentFeatures, Features, common_bands
from mixcompare.features.usable import usable_band_hz

__all__ = [
    "ANALYSIS_RATE_HZ",
    "BAND_RATE_HZ",
    "HIGHEST_ONSET",
    "HIGHEST_SEMITONE",
    "LOWER_BANDS",
    "LOWEST_ONSET",
    "LOWEST_SEMITONE",
    "ONSET_RATE_HZ",
    "SEMITONE_RATE_HZ",
    "WAVEFORM_SCALE",
    "AlignmentFeatures",
    "Features",
    "Progress",
    "band_centres_hz",
    "common_bands",
    "usable_band_hz",
]
