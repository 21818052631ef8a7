"""Faults in repeating figures between two performances."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/elements/repeating.py",
        ("tests/elements/test_repeating.py",),
        ("level_db = 10 * np.log10(slopes)", "level_db = 5 * np.log10(slopes)"),
        ("candidate, floor) / np.maximum(reference, floor)",
         "reference, floor) / np.maximum(candidate, floor)"),
        ("np.zeros(len(band))):", "around[band]):", "no look against the pair's own level"),
        ("_ANCHORS_APART_DB = 2.2", "_ANCHORS_APART_DB = 22.0"),
        ("_SHORTEST_S = 20.0", "_SHORTEST_S = 16.0"),
        ("_SHORTEST_S = 20.0", "_SHORTEST_S = 26.0"),
        ("_AGAIN = 0.4", "_AGAIN = 0.9"),
        ("_LEAST_DB = 2.0", "_LEAST_DB = 6.0"),
        ("_LEAST_DB = 2.0", "_LEAST_DB = 0.0"),
        ("_LEARNT_DB = 0.8", "_LEARNT_DB = 8.0"),
        ("foretold = (near + 0.5 * far) / 3", "foretold = envelopes.power"),
        ("np.arange(frames) + lag", "np.arange(frames) + 0 * lag"),
        ("_both(looks)[:2]", "2 * _both(looks)[:2]"),
        ("interval=(size - low, size + high)", "interval=(size - low, size - high)"),
        ("* self.repeats(envelopes)[:, nearest]", ""),
        ("        repeats=True,\n", ""),
    ),
    *each(
        "mixcompare/elements/changes.py",
        ("tests/elements/test_repeating.py",),
        ("return exact\n        return performances_split(spectra)", "return exact"),
        ("changes=(figure, *others)", "changes=(*others,)"),
    ),
    *each(
        "mixcompare/elements/describe.py",
        ("tests/elements/test_describe.py",),
        ("    if repeats:\n        return figure\n", ""),
        ("evenness > _EVEN and rate", "evenness > -1 and rate"),
    ),
    *each(
        "mixcompare/aspects/balance/words.py",
        ("tests/aspects/test_balance.py",),
        ("element.kind == FIGURE and element.notes_per_s is not None", "element.kind == 'figure'"),
    ),
    *each(
        "mixcompare/elements/agreement.py",
        ("tests/elements/test_agreement.py",),
        ("_SAME = 0.5", "_SAME = -1.0"),
        ("_LEAST_OF_SIZE = 0.4", "_LEAST_OF_SIZE = -9.0"),
        ("0.75\n_PLAYING", "0.6\n_PLAYING"),
        ("place >= 0.5, loud, ~loud]", "place >= 0.5]"),
        ("[place < 0.5, place >= 0.5, loud", "[loud"),
        ("change.difference_db * back.difference_db >= 0", "False"),
        ("low <= -back.interval[0]", "True"),
        ("if back is not None and _throughout", "if back is not None or _throughout"),
        ("(change.difference_db - back.difference_db) / 2", "change.difference_db"),
        ("+ abs(change.difference_db + back.difference_db) / 2", ""),
        ("sign * told > 0", "told > 0"),
    ),
]  # fmt: skip
