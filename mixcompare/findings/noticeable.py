"""The smallest differences that count, each with its source."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class JustNoticeable:
    """Smallest difference that counts, with where it comes from."""

    size: float
    unit: str
    source: str


JUST_NOTICEABLE: dict[str, JustNoticeable] = {
    "balance": JustNoticeable(
        1.0, "dB", "ISO 3382-1:2009 Table A.1 (1 dB of level); 1-2 dB in a mix, common practice"
    ),
    "tone": JustNoticeable(
        1.5, "dB", "1-2 dB for broad changes (Buecklein 1981, from memory); 1.5 dB is our proposal"
    ),
    "tone_tilt": JustNoticeable(
        0.2, "dB/octave", "our proposal: about 1.4 dB from end to end over seven octaves"
    ),
    "loudness_range": JustNoticeable(2.0, "LU", "EBU Tech 3342 tolerance +-1 LU, doubled"),
    "dynamics": JustNoticeable(
        0.1, "dB/dB", "our proposal: 1 dB (ISO 3382-1 Table A.1) over a swing of 10 dB"
    ),
    "tempo": JustNoticeable(2.0, "%", "Drake and Botte 1993: 1.5-3 % for regular sequences"),
    "tuning": JustNoticeable(
        5.0, "cents", "Marmel 2008 uses 9 cents as near threshold; 5 for overall tuning, proposal"
    ),
    "articulation": JustNoticeable(
        0.08, "", "about 10 % of a tone's duration (Friberg and Sundberg 1994, from memory)"
    ),
    "width": JustNoticeable(
        1.5, "dB", "side to mid; equals 0.1 in correlation near 0.5 (Cox, Davies and Lam 1993)"
    ),
    "placement": JustNoticeable(
        0.1, "", "3 degrees of +-30 degrees between loudspeakers (common practice, no source)"
    ),
    "decay": JustNoticeable(
        20.0, "%", "about 20-25 % in music-like signals (Blevins et al. 2013, from memory)"
    ),
    "wetness": JustNoticeable(
        1.5, "dB", "clarity: 1 dB (ISO 3382-1 Table A.1), 1.5 dB in running music (proposal)"
    ),
}
"""Just-noticeable differences, each with its source. Laboratory figures hold for attentive
listeners on simple sounds; where running music needs more, the larger figure is used."""
