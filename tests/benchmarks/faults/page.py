"""Small faults in figures, report, excerpts and command line, each of which a test must notice."""

from tests.benchmarks.mutations import Fault

PLOTS, REPORT = "mixcompare/plots/", "mixcompare/report/"
FIGURES = ("tests/plots/test_figures.py",)
CLI = ("tests/test_cli.py",)
LISTENING = ("tests/listening/test_excerpts.py",)

FAULTS = [
    # figures
    Fault(
        module=PLOTS + "loudness.py",
        find='(contours.candidate_lufs, style.CANDIDATE_LINE, "candidate")',
        put='(contours.candidate_lufs - contours.gain_db, style.CANDIDATE_LINE, "candidate")',
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "contours.py",
        find="return self.candidate_lufs - self.gain_db - self.reference_lufs",
        put="return self.reference_lufs - self.candidate_lufs + self.gain_db",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "contours.py",
        find="places = results.alignment.time_map.to_candidate(times)",
        put="places = times",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "balance.py",
        find="levels.T,",
        put="-levels.T,",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "balance.py",
        find="- step / size / 2,",
        put=",",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "balance.py",
        find="for start, end in finding.spans_s:",
        put="for start, end in finding.candidate_spans_s:",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "balance.py",
        find="colour = style.CANDIDATE if value > 0 else style.REFERENCE",
        put="colour = style.CANDIDATE if value < 0 else style.REFERENCE",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "balance.py",
        find="[*difference.elements, *difference.passages]",
        put="[*difference.elements]",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "balance.py",
        find="difference: BalanceDifference = found.difference",
        put="difference: BalanceDifference = found.difference\n"
        '        getattr(difference, "registers", None)',
        tests=("tests/plots/test_renamed_fields.py",),
        note="a field that is not there is read in silence",
    ),
    Fault(
        module=PLOTS + "tone.py",
        find='(candidate, style.CANDIDATE_LINE, "candidate")',
        put='(candidate, style.CANDIDATE_LINE, "reference")',
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "tone.py",
        find="series(change.band_level_db)",
        put='series(getattr(change, "band_level_db", ()))',
        tests=("tests/plots/test_renamed_fields.py",),
    ),
    Fault(
        module=PLOTS + "articulation.py",
        find="share = 100 * (np.arange(len(ratios)) + 1) / len(ratios)",
        put="share = 100 * np.arange(len(ratios)) / len(ratios)",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "articulation.py",
        find="at = start_ms + 1000 * next_s",
        put="at = start_ms + 1000 * held_s",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "articulation.py",
        find="return _sorted(reference), _sorted(candidate)",
        put="return _sorted(candidate), _sorted(reference)",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "stereo.py",
        find="levels = series(theirs)",
        put="levels = series(ours)",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "stereo.py",
        find="axes.set_xlim(-1, 1)",
        put="axes.set_xlim(1, -1)",
        tests=FIGURES,
        note="left and right exchanged",
    ),
    Fault(
        module=PLOTS + "room.py",
        find='(reference, "reference", style.REFERENCE_LINE, "o")',
        put='(candidate, "reference", style.REFERENCE_LINE, "o")',
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "room.py",
        find="colour = style.CANDIDATE if value > 0 else style.REFERENCE",
        put="colour = style.CANDIDATE if whole > 0 else style.REFERENCE",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "dynamics.py",
        find="right.plot((low, high), (swing * low, swing * high)",
        put="right.plot((low, high), (low / swing, high / swing)",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "dynamics.py",
        find="_FLOOR_LU = -25.0",
        put="_FLOOR_LU = -5.0",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "tempo.py",
        find="percent = 100 * (ratio * (1 + curve / 100) - 1)",
        put="percent = curve",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "tempo.py",
        find="around = (percent - ratio * half, percent + ratio * half)",
        put="around = (percent - half, percent + half)",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "alignment.py",
        find="away = time_map.candidate_s - even",
        put="away = even - time_map.candidate_s",
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "alignment.py",
        find='(1000.0, "ms") if fine else (1.0, "s")',
        put='(1000.0, "s") if fine else (1.0, "ms")',
        tests=FIGURES,
    ),
    Fault(
        module=PLOTS + "dots.py",
        find='{"reference": -0.13, "candidate": 0.13}',
        put='{"reference": 0.13, "candidate": -0.13}',
        tests=FIGURES,
    ),
    # report.json and the table of findings
    Fault(
        module=REPORT + "document.py",
        find='"reference": plain(measured.reference),',
        put='"reference": plain(measured.candidate),',
        tests=("tests/report/test_document.py",),
    ),
    Fault(
        module=REPORT + "document.py",
        find="results = results.on_file_clocks()",
        put="results = results",
        tests=("tests/report/test_document.py",),
    ),
    Fault(
        module=REPORT + "document.py",
        find="_spans(finding.candidate_spans_s, 2),",
        put="_spans(finding.spans_s, 2),",
        tests=("tests/report/test_document.py",),
    ),
    Fault(
        module=REPORT + "document.py",
        find='f"{finding.cause.room:.2f}",',
        put='f"{finding.cause.mix:.2f}",',
        tests=("tests/report/test_document.py",),
    ),
    Fault(
        module=REPORT + "document.py",
        find='text[:1] in ("=", "+", "-", "@", "\\t")',
        put='text[:1] in ("=", "+", "-", "\\t")',
        tests=("tests/report/test_document.py",),
    ),
    Fault(
        module=REPORT + "document.py",
        find='"sounding_ratio_reference": plain(voice.reference_ratio),',
        put='"sounding_ratio_reference": plain(voice.candidate_ratio),',
        tests=("tests/plots/test_renamed_fields.py",),
    ),
    # tables and words
    Fault(
        module=REPORT + "tables.py",
        find="sides = (_number(reference.get(name)), _number(candidate.get(name)))",
        put="sides = (_number(candidate.get(name)), _number(reference.get(name)))",
        tests=("tests/report/test_tables.py",),
    ),
    Fault(
        module=REPORT + "tables.py",
        find="if isinstance(gap, int):",
        put="if isinstance(gap, str):",
        tests=("tests/report/test_tables.py",),
        note="a count of the pair passes for a difference",
    ),
    Fault(
        module=REPORT + "tables.py",
        find='_RATIOS = ("_db_per_db", "image_scale")',
        put='_RATIOS = ("image_scale",)',
        tests=("tests/report/test_tables.py",),
    ),
    Fault(
        module=REPORT + "tables.py",
        find="untold = [row for row in rows if not _tells(row)]",
        put="untold = [row for row in rows if _tells(row)]",
        tests=("tests/report/test_tables.py",),
    ),
    Fault(
        module=REPORT + "tables.py",
        find='if item.metadata.get("report", True)',
        put='if item.metadata.get("report", True) and item.name != "reasons"',
        tests=("tests/report/test_tables.py",),
    ),
    Fault(
        module=REPORT + "tables.py",
        find="value[:4]]",
        put="value[:3]]",
        tests=("tests/report/test_tables.py",),
    ),
    Fault(
        module=REPORT + "wording.py",
        find='_DIFFERENCE_UNITS = {"LUFS": "LU", "dBTP": "dB"}',
        put='_DIFFERENCE_UNITS = {"LUFS": "LU"}',
        tests=("tests/report/test_wording.py", "tests/report/test_tables.py"),
    ),
    Fault(
        module=REPORT + "wording.py",
        find='text = text.replace("+", "").replace("-", "")',
        put='text = text.replace("+", "")',
        tests=("tests/report/test_wording.py",),
        note="minus zero",
    ),
    Fault(
        module=REPORT + "wording.py",
        find="hours, minutes = divmod(minutes, 60)",
        put="hours, minutes = divmod(minutes, 100)",
        tests=("tests/report/test_wording.py",),
    ),
    Fault(
        module=REPORT + "wording.py",
        find='"room": ("decay", "wetness"),',
        put='"room": ("decay",),',
        tests=("tests/report/test_wording.py",),
    ),
    Fault(
        module="mixcompare/findings/finding.py",
        find='shown.append(f"{len(spans_s) - limit} more")',
        put='shown.append(f"{len(spans_s)} more")',
        tests=("tests/report/test_wording.py",),
    ),
    # page
    Fault(
        module=REPORT + "page.py",
        find='"size": units.quantity(finding.difference, finding.unit, signed=True),',
        put='"size": units.quantity(-finding.difference, finding.unit, signed=True),',
        tests=("tests/report/test_cards.py",),
    ),
    Fault(
        module=REPORT + "page.py",
        find="_WHOLE = 0.95",
        put="_WHOLE = 0.9",
        tests=("tests/report/test_cards.py",),
    ),
    Fault(
        module=REPORT + "page.py",
        find="low, high = -max(gains), -min(gains)",
        put="low, high = -min(gains), -max(gains)",
        tests=("tests/report/test_cards.py",),
    ),
    Fault(
        module=REPORT + "page.py",
        find='side = "later" if offset_s >= 0 else "earlier"',
        put='side = "earlier" if offset_s >= 0 else "later"',
        tests=("tests/report/test_cards.py",),
    ),
    Fault(
        module=REPORT + "page.py",
        find='{"reference": passage.reference_span_s, "candidate": passage.candidate_span_s}',
        put='{"reference": passage.reference_span_s, "candidate": passage.reference_span_s}',
        tests=("tests/report/test_cards.py",),
    ),
    Fault(
        module=REPORT + "page.py",
        find='"spans": finding.spans_s, "band"',
        put='"spans": finding.candidate_spans_s, "band"',
        tests=("tests/report/test_cards.py",),
    ),
    Fault(
        module=REPORT + "timeline.py",
        find="theirs = contours.candidate_lufs - contours.gain_db",
        put="theirs = contours.candidate_lufs",
        tests=("tests/report/test_cards.py",),
    ),
    Fault(
        module=REPORT + "pictures.py",
        find="return round(24 - 20 * clipped / _COURSE_LIMIT_DB, 1)",
        put="return round(24 + 20 * clipped / _COURSE_LIMIT_DB, 1)",
        tests=("tests/report/test_wording.py",),
    ),
    # writer
    Fault(
        module=REPORT + "writer.py",
        find="            os.rename(former, target)\n",
        put="            pass\n",
        tests=("tests/report/test_writer.py",),
    ),
    Fault(
        module=REPORT + "writer.py",
        find="        os.rmdir(aside)\n        raise\n",
        put="        raise\n",
        tests=("tests/report/test_writer.py",),
        note="an empty folder is left behind",
    ),
    Fault(
        module=REPORT + "writer.py",
        find="for source, place in reversed(moves[:begun]):",
        put="for source, place in reversed(moves[: begun - 2]):",
        tests=("tests/report/test_writer.py",),
    ),
    Fault(
        module=REPORT + "writer.py",
        find="key=lambda name: (name == _DOCUMENT, name)",
        put="key=lambda name: (name != _DOCUMENT, name)",
        tests=("tests/report/test_writer.py",),
    ),
    Fault(
        module=REPORT + "writer.py",
        find="files = [*_files_in(folder), _DOCUMENT]",
        put="files = _files_in(folder)",
        tests=("tests/report/test_writer.py",),
    ),
    # excerpts
    Fault(
        module="mixcompare/listening/excerpts.py",
        find="return min(gain_db, 0.0), min(-gain_db, 0.0)",
        put="return min(-gain_db, 0.0), min(gain_db, 0.0)",
        tests=LISTENING,
    ),
    Fault(
        module="mixcompare/listening/excerpts.py",
        find="CODEC_MARGIN_DB = 1.0",
        put="CODEC_MARGIN_DB = 0.0",
        tests=LISTENING,
    ),
    Fault(
        module="mixcompare/listening/excerpts.py",
        find="candidate_gain_db += lowering_db",
        put="candidate_gain_db += 0.0",
        tests=LISTENING,
    ),
    Fault(
        module="mixcompare/listening/excerpts.py",
        find="span = _on_candidate(pair.time_map, span_s)\n    reference,",
        put="span = span_s\n    reference,",
        tests=LISTENING,
    ),
    Fault(
        module="mixcompare/listening/excerpts.py",
        find="seconds += span[1] - span[0] + end - start",
        put="seconds += 2 * (span[1] - span[0])",
        tests=LISTENING,
    ),
    Fault(
        module="mixcompare/listening/excerpts.py",
        find="return (start + latest) / 2",
        put="return start",
        tests=LISTENING,
    ),
    Fault(
        module="mixcompare/listening/excerpts.py",
        find="FADE_S = 0.015",
        put="FADE_S = 0.0015",
        tests=LISTENING,
    ),
    # command line
    Fault(
        module="mixcompare/cli.py",
        find="finding.jnd > arguments.limit",
        put="finding.jnd >= arguments.limit",
        tests=CLI,
    ),
    Fault(
        module="mixcompare/cli.py",
        find="return INTERRUPTED",
        put="return BAD_INPUT",
        tests=CLI,
    ),
    Fault(
        module="mixcompare/cli.py",
        find='size = f"{100 * finding.difference:+.0f} %"',
        put='size = f"{finding.difference:+.0f} %"',
        tests=CLI,
    ),
    Fault(
        module="mixcompare/cli.py",
        find="candidate_span_s=spans[1],",
        put="candidate_span_s=spans[0],",
        tests=CLI,
    ),
    Fault(
        module="mixcompare/cli.py",
        find='candidate = np.array([float(row["candidate_s"]) for row in rows])',
        put='candidate = np.array([float(row["reference_s"]) for row in rows])',
        tests=CLI,
    ),
    Fault(
        module="mixcompare/cli.py",
        find="width[np.abs(alignment.time_map.reference_s - at) < 2] = -1",
        put="width[worst] = -1",
        tests=CLI,
    ),
    Fault(
        module="mixcompare/cli.py",
        find="where = places(finding.spans_s)",
        put="where = places(finding.candidate_spans_s)",
        tests=CLI,
    ),
]
