"""A peer to compare with: librosa's plain time warping of chroma, over the whole matrix."""

from __future__ import annotations

from dataclasses import dataclass

import librosa
import numpy as np
import numpy.typing as npt

PEER_RATE_HZ = 22050
HOP = 2048
WINDOW = 4096
EXCERPT_RATIO = 1.6
"""With lengths further apart than this, the shorter one is sought in the longer one."""

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class PeerMap:
    """The peer's path, one candidate time for each reference frame."""

    reference_s: FloatArray
    candidate_s: FloatArray

    def to_candidate(self, reference_s: FloatArray) -> FloatArray:
        """Candidate times of reference times."""
        return np.interp(reference_s, self.reference_s, self.candidate_s)

    def uncertainty_ms(self, reference_s: FloatArray) -> FloatArray:
        """Zero on the path, infinite beside it: the peer states no uncertainty."""
        inside = (reference_s >= self.reference_s[0]) & (reference_s <= self.reference_s[-1])
        return np.where(inside, 0.0, np.inf)


def peer_map(
    reference: npt.NDArray[np.float32],
    reference_rate_hz: int,
    candidate: npt.NDArray[np.float32],
    candidate_rate_hz: int,
) -> PeerMap:
    """Warp two recordings, shape (n, 2), onto each other by chroma and cosine distance."""
    chroma = [
        _chroma(samples, rate_hz)
        for samples, rate_hz in ((reference, reference_rate_hz), (candidate, candidate_rate_hz))
    ]
    lengths = [frames.shape[1] for frames in chroma]
    seek = max(lengths) > EXCERPT_RATIO * min(lengths)
    if seek and lengths[0] > lengths[1]:
        _, path = librosa.sequence.dtw(chroma[1], chroma[0], metric="cosine", subseq=True)
        path = path[:, ::-1]
    else:
        _, path = librosa.sequence.dtw(chroma[0], chroma[1], metric="cosine", subseq=seek)
    path = path[::-1]
    frames = np.unique(path[:, 0])
    count = np.bincount(path[:, 0] - frames[0])
    total = np.bincount(path[:, 0] - frames[0], weights=path[:, 1])
    frame_s = HOP / PEER_RATE_HZ
    return PeerMap(frames * frame_s, total / count * frame_s)


def _chroma(samples: npt.NDArray[np.float32], rate_hz: int) -> npt.NDArray[np.float32]:
    mono = librosa.resample(samples.mean(axis=1), orig_sr=rate_hz, target_sr=PEER_RATE_HZ)
    chroma = librosa.feature.chroma_stft(y=mono, sr=PEER_RATE_HZ, n_fft=WINDOW, hop_length=HOP)
    return np.asarray(chroma + 1e-6, dtype=np.float32)  # silent frames have no direction
