"""Faults in the pair, in what aspects say of themselves, and in what follows from that."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/pair/pair.py",
        ("tests/aspects/test_toy.py", "tests/aspects/test_base.py", "tests/test_chain.py"),
        ("Pair(self.candidate, self.reference,", "Pair(self.reference, self.candidate,"),
        ("self.spectra.raised(self.gain_db - gain_db)", "self.spectra"),
        (
            "for features in (self.reference, self.candidate)",
            "for features in (self.reference,) * 2",
        ),
    ),
    *each(
        "mixcompare/features/model.py",
        ("tests/aspects/test_base.py", "tests/features"),
        ("if key not in store:", "if True:"),
        ("reference.usable_bands & candidate.usable_bands", "reference.usable_bands"),
    ),
    *each(
        "mixcompare/aspects/__init__.py",
        ("tests/aspects/test_toy.py",),
        ("for one in waiting if not names", "for one in waiting if names"),
    ),
    *each(
        "mixcompare/findings/description.py",
        ("tests/plots",),
        ("if entry.name == name", "if entry.name != name"),
    ),
    *each(
        "mixcompare/aspects/articulation/about.py",
        ("tests/findings", "tests/report/test_cards.py"),
        ("factor=100.0", "factor=10.0"),
        ('of="of the notes\' length"', 'of=""'),
    ),
    *each(
        "mixcompare/aspects/tone/about.py",
        ("tests/aspects/test_toy.py",),
        ('after=("balance",)', "after=()"),
    ),
    *each(
        "mixcompare/aspects/balance/about.py",
        ("tests/report/test_cards.py", "tests/test_comparison.py"),
        ('article="the "', 'article=""'),
        ("over_time=True", "over_time=False"),
    ),
    *each(
        "mixcompare/aspects/dynamics/about.py",
        ("tests/findings/test_finding.py",),
        ("0.1,", "0.2,"),
    ),
    *each(
        "mixcompare/aspects/placement/about.py",
        ("tests/findings/test_folding.py",),
        ('kinds("moved_left", "moved_right")', 'kinds("moved_left")'),
    ),
    *each(
        "mixcompare/cli/measure.py",
        ("tests/test_cli.py",),
        ("plain_number(value, unit)", "plain_number(-value, unit)"),
        ('rows.append((label, "can\'t tell"))', "pass"),
    ),
    *each(
        "mixcompare/report/tables.py",
        ("tests/report/test_tables.py",),
        (
            "return bool(abs(candidate - reference - gap) <",
            "return bool(abs(candidate - reference) <",
        ),
    ),
    *each(
        "mixcompare/findings/folding.py",
        ("tests/findings/test_folding.py",),
        ("finding.aspect == self.aspect or finding.kind", "finding.kind"),
    ),
    *each(
        "mixcompare/numerics.py",
        ("tests/test_numerics.py",),
        ("limits=1", "limits=2"),
    ),
    *each(
        "mixcompare/plots/style.py",
        ("tests/test_numerics.py",),
        ("with _ONE_AT_A_TIME, rc_context(_SETTINGS):", "with rc_context(_SETTINGS):"),
    ),
    *each(
        "mixcompare/findings/cause.py",
        ("tests/findings/test_cause.py",),
        ("before * factor", "before"),
        ("_LEAST = 0.03", "_LEAST = 0.0"),
        ("*([Seen.ONE_TAKE] if same_take else [])", ""),
        ("IN_DECAYS_ONLY = (0.3, 6.0, 0.5)", "IN_DECAYS_ONLY = (6.0, 0.3, 0.5)"),
    ),
    *each(
        "mixcompare/findings/confidence.py",
        ("tests/findings/test_confidence.py",),
        ("near = value - interval[0] if value > 0", "near = interval[1] - value if value > 0"),
        ("max(near / 1.96, 1e-9)", "max(near / 1.645, 1e-9)"),
        ("* (self.agreeing - 1)", "* (1 - self.agreeing)"),
        ("* (self.explained - 1)", "* (1 - self.explained)"),
        (
            "_PER_DEVIATION, _MOST_DEVIATIONS = 0.5, 6.0",
            "_PER_DEVIATION, _MOST_DEVIATIONS = 0.5, 9.0",
        ),
        ("min(max(agreeing, 0.0), 1.0)", "agreeing"),
    ),
    *each(
        "mixcompare/pair/undo.py",
        ("tests/pair/test_undo.py",),
        ("_LEAST_RIDE_DB = 0.8", "_LEAST_RIDE_DB = 8.0"),
        ("level -= np.median(told[known])", "level -= np.max(told[known])"),
        ("10 ** (-ride.level_db / 10)", "10 ** (ride.level_db / 10)"),
        ("if moments_first[1].mean() > known.mean() + _CLEARLY_MORE:", "if False:"),
    ),
    *each(
        "mixcompare/pair/image.py",
        ("tests/pair/test_image.py",),
        ("factor = 10 ** (by_db / 10)", "factor = 10 ** (by_db / 20)"),
        ("_turned(*after, -by_db) if turned_last", "_turned(*after, by_db) if turned_last"),
        ("_IMAGE_WITHIN_DB = 0.6", "_IMAGE_WITHIN_DB = 0.0"),
        ("images[1] * 10 ** (-gain_db / 10)", "images[1] * 10 ** (gain_db / 10)"),
        ("cross = (twice_real + 1j * twice_imaginary) / 2", "cross = twice_real / 2"),
        (
            "_timed(left, right, cross, -change.later_us",
            "_timed(left, right, cross, change.later_us",
        ),
        ("between + 1j * np.sqrt(factor) * cross.imag", "between + 0j"),
        ("return about + middle, float(reach)", "return -about - middle, float(reach)"),
        ("return about + middle, float(reach)", "return about + middle, 0.1 * float(reach)"),
        ("_MOST_CYCLES = 0.25", "_MOST_CYCLES = 25.0"),
    ),
    *each(
        "mixcompare/elements/one_take.py",
        ("tests/elements/test_one_take.py",),
        ("_STILL_DB, _SLOPING = 0.6, 0.08", "_STILL_DB, _SLOPING = 0.6, 0.98"),
        ("out[region] = middle_db[region]", "out[region] = 0.0"),
    ),
    *each(
        "mixcompare/findings/folding.py",
        ("tests/findings/test_folding.py",),
        ("(1 / max(1 + swings.difference, 0.1) - 1)", "(max(1 + swings.difference, 0.1) - 1)"),
        ("abs(decay.difference) <= abs(most_percent)", "True"),
    ),
    *each(
        "mixcompare/features/passes.py",
        ("tests/features/test_features.py",),
        ("np.square(right) - np.square(left)", "np.square(left) - np.square(right)"),
        ("2 * (products[..., ::2]", "1 * (products[..., ::2]"),
    ),
    *each(
        "mixcompare/aspects/dynamics/passages.py",
        ("tests/aspects/test_passages.py",),
        ("value = sign * float(np.median(here))", "value = float(np.median(here))"),
        ("for sign in (1.0, -1.0)", "for sign in (1.0,)"),
        ("change_db - np.median(change_db[told])", "change_db"),
        ("_LEAST_DB, _TIMES_SCATTER = 2.0, 2.5", "_LEAST_DB, _TIMES_SCATTER = 0.5, 1.0"),
        ("_GAP_S, _LEAST_S = 1.0, 2.0", "_GAP_S, _LEAST_S = 1.0, 0.2"),
        ("found[:_MOST]", "found[:1]"),
    ),
    *each(
        "mixcompare/aspects/dynamics/moves.py",
        ("tests/aspects/test_dynamics.py",),
        ("_KNEE_EXPLAINS = 0.9", "_KNEE_EXPLAINS = 1.1"),
    ),
    *each(
        "mixcompare/aspects/dynamics/moves.py",
        ("tests/pair/test_undo.py",),
        ("rest.var() < (1 - straight) * level.var()", "False"),
        ("for sign in (1.0, -1.0)", "for sign in (1.0,)"),
        ("change = float(slope * np.ptp(times_s))", "change = float(slope)"),
    ),
    *each(
        "mixcompare/aspects/dynamics/moves.py",
        (
            "tests/published/test_real_recordings.py"
            "::test_what_was_done_to_the_level_of_a_longer_take",
        ),
        (
            "if np.median(sign * level[run[0] : run[1]]) >= least]",
            "if np.median(sign * level[run[0] : run[1]]) >= 0]",
        ),
        ("_FOLLOWS = 0.1", "_FOLLOWS = 9.0"),
        ("level - per_db * loud_db", "level + per_db * loud_db"),
    ),
    *each(
        "mixcompare/elements/detectable.py",
        ("tests/elements/test_detectable.py",),
        ("if pair.same_take:", "if True:"),
        ("split.scatter_db < EXACT_SCATTER_DB", "split.scatter_db < 99.0"),
        ("softer = order[np.cumsum", "softer = order[::-1][np.cumsum"),
        ("if low < len(_LEVELS_DB) else None", "if low < len(_LEVELS_DB) else 0.0"),
        ("10 ** (level_db / 10) - 1)", "10 ** (level_db / 20) - 1)"),
    ),
    *each(
        "mixcompare/aspects/balance/unseen.py",
        ("tests/elements/test_detectable.py",),
        ("min(ELEMENT_SHARES)", "1.0"),
        ("bands[-1][1] == low", "False"),
        ("_USUAL_DB = 1.5", "_USUAL_DB = 5.0"),
    ),
]
