"""Small faults that a real take, changed by general libraries, brings to light."""

from __future__ import annotations

from tests.benchmarks.mutations import Fault

_FILE = "tests/published/test_real_recordings.py"
_TOLD = f"{_FILE}::test_what_was_done_is_told_and_nothing_else"
_SAME = f"{_FILE}::test_a_take_that_is_the_same_to_the_ear_has_no_finding"
_LATER = f"{_FILE}::test_the_same_take_begun_later_has_no_finding"
_EVEN = f"{_FILE}::test_the_cells_of_one_take_agree_between_frames"
_FACTS = f"{_FILE}::test_alignment_tells_polarity_exchange_and_offset"
_SPEED = f"{_FILE}::test_speed_is_told_with_pitch_and_tempo"


def _told(module: str, find: str, put: str, *names: str) -> Fault:
    return Fault(f"mixcompare/{module}", find, put, tuple(f"{_TOLD}[{name}]" for name in names))


FAULTS = [
    _told(
        "analyzers/tone.py",
        "np.maximum(after, 1e-30) / np.maximum(before, 1e-30)",
        "np.maximum(before, 1e-30) / np.maximum(after, 1e-30)",
        "bell",
        "bell_cut",
    ),
    _told(
        "analyzers/tone.py",
        "value = float(np.mean(curve[bands]))",
        "value = float(np.max(np.abs(curve[bands])))",
        "bell_cut",
    ),
    _told("analyzers/tone.py", "    more = value > 0\n", "    more = value < 0\n", "dark"),
    _told(
        "wetness.py",
        "added = (10 ** (abs(wetness) / 10) - 1) / 2",
        "added = 10 ** (abs(wetness) / 10) - 1",
        "hall_soft",
    ),
    _told(
        "analyzers/room.py",
        'kind="wetter" if wetter else "drier"',
        'kind="drier" if wetter else "wetter"',
        "hall_soft",
    ),
    _told(
        "analyzers/placement.py",
        "math.tanh(level * math.log(10) / 40)",
        "math.tanh(level * math.log(10) / 20)",
        "turned_right",
    ),
    _told(
        "analyzers/placement.py",
        'side, other = ("right", "left") if value > 0 else ("left", "right")',
        'side, other = ("left", "right") if value > 0 else ("right", "left")',
        "turned_left",
    ),
    _told(
        "analyzers/width.py",
        "return np.asarray(10 * np.log10(_side_to_mid(self.total(), self.cross)))",
        "return np.asarray(20 * np.log10(_side_to_mid(self.total(), self.cross)))",
        "narrow",
    ),
    _told(
        "analyzers/width.py",
        'kind = "wider" if wider else "narrower"',
        'kind = "narrower" if wider else "wider"',
        "wide",
    ),
    _told("analyzers/tempo.py", "slower = value < 0", "slower = value > 0", "slower"),
    _told(
        "analyzers/tempo.py",
        "100 * (100 / max(100 + part, 1.0) - 1)",
        "-part",
        "slower",
    ),
    _told(
        "pulse.py",
        "speed_cents = -1200 * math.log2(ratio)",
        "speed_cents = 1200 * math.log2(ratio)",
        "fast",
    ),
    _told(
        "analyzers/tuning.py",
        "total = None if cents is None else 100 * match.transposition_semitones + cents",
        "total = None if cents is None else cents",
        "lower",
    ),
    _told(
        "elements/changes.py",
        "size = clear * typical + (1 - clear) * (high + highest) / 2",
        "size = clear * typical / 2 + (1 - clear) * (high + highest) / 2",
        "figure",
    ),
    _told(
        "analyzers/balance.py",
        "louder = element.difference_db > 0",
        "louder = element.difference_db < 0",
        "figure_softer",
    ),
    Fault("mixcompare/pair/gain.py", "gain = match.gain_db + about + mode",
          "gain = match.gain_db - about - mode", (f"{_SAME}[gain]",)),
    Fault("mixcompare/pair/gain.py", "pair.difference_db, pair.audible, 0.5)",
          "pair.difference_db, pair.audible, 0.5) + 3.0", (f"{_SAME}[resampled]",)),
    Fault("mixcompare/pair/spectra.py", "times_s = times_s - (frames - np.round(frames)) / 2 / rate_hz",
          "times_s = times_s + (frames - np.round(frames)) / 2 / rate_hz", (_EVEN,)),
    Fault("mixcompare/pair/spectra.py", "_EDGE_S = 0.2", "_EDGE_S = 0.0", (_LATER,)),
    Fault("mixcompare/alignment/exact.py", "polarity=1 if table[chosen, 3].sum() >= 0 else -1",
          "polarity=-1 if table[chosen, 3].sum() >= 0 else 1", (_FACTS,)),
    Fault("mixcompare/alignment/__init__.py", "return correlation < 0", "return correlation > 0",
          (_FACTS,)),
    Fault("mixcompare/alignment/__init__.py", "if max(start, first) > 1.0:",
          "if max(start, first) > 2.0:", (_FACTS,)),
    Fault("mixcompare/alignment/__init__.py",
          "100 * path.semitones + candidate.grid_tuning_cents - reference.grid_tuning_cents",
          "100 * path.semitones - candidate.grid_tuning_cents + reference.grid_tuning_cents",
          (_SPEED,)),
    _told(
        "findings.py",
        "kept = max(1 - (deviation / difference) ** 2, 0.0)",
        "kept = max(1 - (deviation / difference) ** 2, 0.0) / 4",
        "turned_right",
    ),
]  # fmt: skip
