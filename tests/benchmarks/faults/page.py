"""Small faults in figures, report, excerpts and command line, each of which a test must notice."""

from tests.benchmarks.mutations import Fault, each

FAULTS: list[Fault] = [
    *each(
        "mixcompare/plots/loudness.py",
        ("tests/plots/test_figures.py",),
        (
            '(contours.candidate_lufs, style.CANDIDATE_LINE, "candidate")',
            '(contours.candidate_lufs - contours.gain_db, style.CANDIDATE_LINE, "candidate")',
        ),
    ),
    *each(
        "mixcompare/plots/contours.py",
        ("tests/plots/test_figures.py",),
        (
            "return self.candidate_lufs - self.gain_db - self.reference_lufs",
            "return self.reference_lufs - self.candidate_lufs + self.gain_db",
        ),
        ("places = results.alignment.time_map.to_candidate(times)", "places = times"),
    ),
    *each(
        "mixcompare/plots/balance.py",
        ("tests/plots/test_figures.py",),
        ("levels.T,", "-levels.T,"),
        ("- step / size / 2,", ","),
        ("for start, end in finding.spans_s:", "for start, end in finding.candidate_spans_s:"),
        (
            "colour = style.CANDIDATE if value > 0 else style.REFERENCE",
            "colour = style.CANDIDATE if value < 0 else style.REFERENCE",
        ),
        ("[*difference.elements, *difference.passages]", "[*difference.elements]"),
    ),
    *each(
        "mixcompare/plots/balance.py",
        ("tests/plots/test_renamed_fields.py",),
        (
            "difference: BalanceDifference = found.difference",
            'difference: BalanceDifference = found.difference\n        getattr(difference, "registers", None)',
            "a field that is not there is read in silence",
        ),
    ),
    *each(
        "mixcompare/plots/tone.py",
        ("tests/plots/test_figures.py",),
        (
            '(candidate, style.CANDIDATE_LINE, "candidate")',
            '(candidate, style.CANDIDATE_LINE, "reference")',
        ),
    ),
    *each(
        "mixcompare/plots/tone.py",
        ("tests/plots/test_renamed_fields.py",),
        ("series(change.band_level_db)", 'series(getattr(change, "band_level_db", ()))'),
    ),
    *each(
        "mixcompare/plots/articulation.py",
        ("tests/plots/test_figures.py",),
        (
            "share = 100 * (np.arange(len(ratios)) + 1) / len(ratios)",
            "share = 100 * np.arange(len(ratios)) / len(ratios)",
        ),
        ("1000 * held_s, 1000 * next_s, low", "1000 * held_s, 990 * next_s, low"),
        ("low = 100 * least\n", "low = 110 * least\n"),
        ("{pitch // 12 - 1}", "{pitch // 12}"),
        (
            "return _sorted(reference), _sorted(candidate)",
            "return _sorted(candidate), _sorted(reference)",
        ),
    ),
    *each(
        "mixcompare/plots/stereo.py",
        ("tests/plots/test_figures.py",),
        ("levels = series(of_candidate)", "levels = series(of_reference)"),
        ("axes.set_xlim(-1, 1)", "axes.set_xlim(1, -1)", "left and right exchanged"),
    ),
    *each(
        "mixcompare/plots/room.py",
        ("tests/plots/test_figures.py",),
        (
            '(reference, "reference", style.REFERENCE_LINE, "o")',
            '(candidate, "reference", style.REFERENCE_LINE, "o")',
        ),
        (
            "colour = style.CANDIDATE if value > 0 else style.REFERENCE",
            "colour = style.CANDIDATE if whole > 0 else style.REFERENCE",
        ),
    ),
    *each(
        "mixcompare/plots/dynamics.py",
        ("tests/plots/test_figures.py",),
        (
            "right.plot((low, high), (swing * low, swing * high)",
            "right.plot((low, high), (low / swing, high / swing)",
        ),
        ("_FLOOR_LU = -25.0", "_FLOOR_LU = -5.0"),
    ),
    *each(
        "mixcompare/plots/tempo.py",
        ("tests/plots/test_figures.py",),
        ("longer = difference.ratio * (1 + curve / 100)", "longer = 1 + curve / 100"),
        ("(longer, longer + half, longer - half)", "(longer, longer - half, longer - half)"),
    ),
    *each(
        "mixcompare/plots/alignment.py",
        ("tests/plots/test_figures.py",),
        ("away = time_map.candidate_s - even", "away = even - time_map.candidate_s"),
        ('(1000.0, "ms") if fine else (1.0, "s")', '(1000.0, "s") if fine else (1.0, "ms")'),
    ),
    *each(
        "mixcompare/plots/dots.py",
        ("tests/plots/test_figures.py",),
        ('{"reference": -0.13, "candidate": 0.13}', '{"reference": 0.13, "candidate": -0.13}'),
    ),
    *each(
        "mixcompare/report/document.py",
        ("tests/report/test_document.py",),
        ('"reference": plain(measured.reference),', '"reference": plain(measured.candidate),'),
        ("results = results.on_file_clocks()", "results = results"),
        ("_spans(finding.candidate_spans_s, 2),", "_spans(finding.spans_s, 2),"),
        ('f"{finding.cause.room:.2f}",', 'f"{finding.cause.mix:.2f}",'),
        ('text[:1] in ("=", "+", "-", "@", "\\t")', 'text[:1] in ("=", "+", "-", "\\t")'),
    ),
    *each(
        "mixcompare/report/document.py",
        ("tests/plots/test_renamed_fields.py",),
        (
            '"sounding_ratio_reference": plain(voice.reference_ratio)',
            '"sounding_ratio_reference": plain(voice.candidate_ratio)',
        ),
    ),
    *each(
        "mixcompare/report/tables.py",
        ("tests/report/test_tables.py",),
        (
            "sides = (_number(reference.get(name)), _number(candidate.get(name)))",
            "sides = (_number(candidate.get(name)), _number(reference.get(name)))",
        ),
        (
            "if isinstance(gap, int) else",
            "if isinstance(gap, str) else",
            "a count of the pair passes for a difference",
        ),
        (
            "untold = [row for row in rows if not _tells(row)]",
            "untold = [row for row in rows if _tells(row)]",
        ),
        (
            'if item.metadata.get("report", True)',
            'if item.metadata.get("report", True) and item.name != "reasons"',
        ),
        ("value[:4]]", "value[:3]]"),
    ),
    *each(
        "mixcompare/fields.py",
        ("tests/report/test_tables.py",),
        ('in ("signed", "percent")', 'in ("signed",)'),
    ),
    *each(
        "mixcompare/report/tables.py",
        ("tests/report/test_tables.py",),
        ("signed = is_change(known[name])", "signed = False"),
    ),
    *each(
        "mixcompare/units.py",
        ("tests/report/test_wording.py", "tests/report/test_tables.py"),
        ('Unit("LUFS", "_lufs", 1, difference="LU")', 'Unit("LUFS", "_lufs", 1)'),
    ),
    *each(
        "mixcompare/units.py",
        ("tests/report/test_wording.py",),
        (
            'return text.replace("+", "").replace("-", "") if float(text) == 0 else text',
            "return text",
            "minus zero",
        ),
    ),
    *each(
        "mixcompare/findings/words.py",
        ("tests/report/test_wording.py",),
        ("hours, minutes = divmod(minutes, 60)", "hours, minutes = divmod(minutes, 100)"),
    ),
    *each(
        "mixcompare/aspects/room/words.py",
        ("tests/report/test_wording.py",),
        ("noticeable=DECAY", "noticeable=WETNESS"),
    ),
    *each(
        "mixcompare/findings/words.py",
        ("tests/report/test_wording.py",),
        ("shown = [*shown[:limit],", "shown = [*shown[: limit - 1],"),
    ),
    *each(
        "mixcompare/report/wording.py",
        ("tests/report/test_cards.py",),
        ("finding.amount.replace", "finding.subject.replace"),
    ),
    *each(
        "mixcompare/findings/words.py",
        ("tests/report/test_cards.py",),
        ("min(round(100 * confidence), 99)", "round(100 * confidence)"),
    ),
    *each(
        "mixcompare/report/head.py",
        ("tests/report/test_cards.py",),
        (
            'side = "later" if offset_s >= 0 else "earlier"',
            'side = "earlier" if offset_s >= 0 else "later"',
        ),
    ),
    *each(
        "mixcompare/report/head.py",
        ("tests/report/test_head.py",),
        ('louder = "louder" if gain_db > 0', 'louder = "louder" if gain_db < 0'),
        ("'faster' if percent > 0", "'faster' if percent < 0"),
        ("(1 / alignment.tempo_ratio - 1)", "(1 - alignment.tempo_ratio)"),
        ('"" if alignment.is_sure else ", probably"', '""'),
        (
            'alignment.polarity == -1:\n        told.append("Its',
            'alignment.polarity == 1:\n        told.append("Its',
        ),
    ),
    *each(
        "mixcompare/report/tables.py",
        ("tests/report/test_head.py",),
        ("for name in measured.about.key:", "for name in measured.about.key[1:]:"),
        (
            '_number(difference.get(f"{side}_{name}")) for side in ("reference", "candidate")',
            '_number(difference.get(f"{side}_{name}")) for side in ("candidate", "reference")',
        ),
    ),
    *each(
        "mixcompare/aspects/balance/course.py",
        ("tests/aspects/test_course.py",),
        ("10 ** (-tone_db / 10)", "10 ** (tone_db / 10)"),
        ("became - beside, 1.0) /", "became, 1.0) /"),
    ),
    *each(
        "mixcompare/plots/lanes.py",
        ("tests/plots/test_figures.py",),
        ("thinned(times_s, course_db)", "thinned(times_s, -course_db)"),
    ),
    *each(
        "mixcompare/plots/courses.py",
        ("tests/report/test_cards.py",),
        ("_WHOLE = 0.95", "_WHOLE = 0.9"),
    ),
    *each(
        "mixcompare/plots/sheet.py",
        ("tests/report/test_handout.py",),
        ("results.findings[:MOST]:", "results.findings[1:MOST]:"),
        ("more = len(results.findings) - MOST", "more = len(results.findings) - MOST + 1"),
        ("for sentence in finding.advice:", "for sentence in finding.advice[:1]:"),
    ),
    *each(
        "mixcompare/report/handout.py",
        ("tests/report/test_handout.py",),
        ("head.short(results.candidate)", "head.short(results.reference)"),
    ),
    *each(
        "mixcompare/listening/markers.py",
        ("tests/listening/test_markers.py",),
        ("for start, end in one.candidate_spans_s\n", "for start, end in one.spans_s\n"),
        ("one.candidate_spans_s if of_candidate else", "one.spans_s if of_candidate else"),
        ("Marker(start - begin, end - begin,", "Marker(start, end,"),
        ("max(end - start, 0), b", "max(end, 0), b"),
        ('file.write(b"\\0" * (size % 2) + chunks)', "file.write(chunks)"),
        ('struct.pack("<I", end - 8)', 'struct.pack("<I", end)'),
    ),
    *each(
        "mixcompare/report/writer.py",
        ("tests/test_comparison.py",),
        ("        mark(folder / MARKED)\n", "        mark(folder / PREVIEW)\n"),
    ),
    *each(
        "mixcompare/report/page.py",
        ("tests/report/test_cards.py",),
        ("low, high = -max(gains), -min(gains)", "low, high = -min(gains), -max(gains)"),
        (
            "{name: voice.span_s for name, voice in",
            '{name: passage["reference"].span_s for name, voice in',
        ),
        ('"spans": finding.spans_s, "band"', '"spans": finding.candidate_spans_s, "band"'),
    ),
    *each(
        "mixcompare/report/timeline.py",
        ("tests/report/test_cards.py",),
        (
            "of_candidate = contours.candidate_lufs - contours.gain_db",
            "of_candidate = contours.candidate_lufs",
        ),
    ),
    *each(
        "mixcompare/report/pictures.py",
        ("tests/report/test_wording.py",),
        (
            "return round(24 - 20 * clipped / _COURSE_LIMIT_DB, 1)",
            "return round(24 + 20 * clipped / _COURSE_LIMIT_DB, 1)",
        ),
    ),
    *each(
        "mixcompare/report/writer.py",
        ("tests/report/test_writer.py",),
        ("files = [*_files_in(folder), _DOCUMENT]", "files = _files_in(folder)"),
    ),
    *each(
        "mixcompare/listening/excerpts.py",
        ("tests/listening/test_excerpts.py",),
        ("softest = min(levels_db)", "softest = max(levels_db)"),
        ("return tuple(softest - level", "return tuple(level - softest"),
        ("_shaped(samples, rate, gain_db + lowering_db)", "_shaped(samples, rate, gain_db)"),
        ("(self.preview, self.preview_gain_db)", "(self.preview, self.gain_db)"),
        ("return (start + latest) / 2", "return start"),
        ("FADE_S = 0.015", "FADE_S = 0.0015"),
    ),
    *each(
        "mixcompare/listening/page_sound.py",
        ("tests/listening/test_excerpts.py",),
        ("CODEC_MARGIN_DB = 1.0", "CODEC_MARGIN_DB = 0.0"),
        ("np.maximum(to_lufs(", "np.minimum(to_lufs("),
        ("samples[first : first + size]", "samples[first : first + size // 2]"),
        ("start, end = pair.span_of(voice, span)", "start, end = span"),
    ),
    *each(
        "mixcompare/report/player.js",
        ("tests/report/test_browser.py",),
        ('(voice === "reference" ? place', '(voice !== "candidate" ? place'),
    ),
    *each(
        "mixcompare/report/hands.js",
        ("tests/report/test_browser.py",),
        ('4: () => listenTo("preview")', '4: () => listenTo("x")'),
    ),
    *each(
        "mixcompare/report/loudness.js",
        ("tests/report/test_browser_loudness.py",),
        ("softest = Math.min(...levels)", "softest = Math.max(...levels)", "turned up"),
        ("inside.filter((level) => level > gate)", "inside", "not gated"),
        ("map((place) => toClock(voice, place) -", "map((place) => place -", "on one clock"),
    ),
    *each(
        "mixcompare/report/trial.js",
        ("tests/report/test_browser_loudness.py",),
        ('      setLevel("loudness");\n', "", "a trial that loudness decides"),
        ("setLevel(before);", "", "a trial changes the level for good"),
    ),
    *each(
        "mixcompare/report/player.js",
        ("tests/report/test_browser_loudness.py",),
        ("state.loop ? [Math.max(state.loop[0], a)", "null ? [Math.max(state.loop[0], a)"),
        ("[voice] / 20) : 1;", "[voice] / 10) : 1;"),
        ("    if (state.trial) beginTrial();\n", "", "answers at two levels count as one"),
        ("exit.gain.setTargetAtTime(gainOf(voice, index)", "exit.gain.setTargetAtTime(1"),
    ),
    *each(
        "mixcompare/report/page.py",
        ("tests/report/test_cards.py",),
        ('"hop": bs1770.GATING_HOP_STEPS', '"hop": bs1770.MOMENTARY_STEPS'),
        ('"relative": bs1770.RELATIVE_GATE_LU', '"relative": bs1770.ABSOLUTE_GATE_LUFS'),
    ),
    *each(
        "mixcompare/cli/shared.py",
        ("tests/test_cli.py",),
        ("not one.jnd <= limit]", "not one.jnd < limit]"),
        ("for one in over:", "for one in ():"),
    ),
    *each(
        "mixcompare/cli/compare.py",
        ("tests/test_cli.py",),
        ("candidate_span_s=spans[1],", "candidate_span_s=spans[0],"),
        ("where = places(finding.spans_s,", "where = places(finding.candidate_spans_s,"),
        ("spans_s, bars=finding.bars)", "spans_s)"),
    ),
    *each(
        "mixcompare/cli/main.py",
        ("tests/test_cli.py",),
        ("            return BAD_INPUT\n", "            return 0\n"),
    ),
    *each(
        "mixcompare/cli/shared.py",
        ("tests/test_cli.py",),
        (
            "for text in (arguments.reference_span, arguments.candidate_span)",
            "for text in (arguments.candidate_span, arguments.reference_span)",
        ),
        ("DEFECT, INTERRUPTED = 0, 1, 2, 3, 70, 130", "DEFECT, INTERRUPTED = 0, 1, 2, 3, 1, 130"),
    ),
    *each(
        "mixcompare/cli/align.py",
        ("tests/test_cli.py",),
        ("width[np.abs(alignment.time_map.reference_s - at) < 2] = -1", "width[worst] = -1"),
    ),
    *each(
        "mixcompare/report/notes.js",
        ("tests/report/test_browser_notes.py",),
        ("checked ? 0.5 : 1;", "checked ? 0.7 : 1;"),
        ("sound.preservesPitch = true;", "sound.preservesPitch = false;"),
        ("from - BEFORE_S, to)", "from, to + 1)"),
        ("      list.value = String(note);\n", ""),
    ),
    *each(
        "mixcompare/report/player.js",
        ("tests/report/test_browser_notes.py",),
        ("    others.stop();\n", ""),
        ("sampleRate * (toClock(voice, place) - ", "sampleRate * (place - "),
    ),
    *each(
        "mixcompare/report/notes.py",
        ("tests/report/test_browser_notes.py",),
        ("min(then, now + _LONGEST_S)", "then"),
        ("start <= onset and", ""),
        ("return onset, min(until, end)", "return onset, until"),
        ("round(100 * ratios[index])", "round(10 * ratios[index])"),
        ("place.get(example.onset_s, -1)", "place.get(example.onset_s + 1, -1)"),
    ),
    *each(
        "mixcompare/report/tables.py",
        ("tests/report/test_tables.py",),
        ("sides = of_pair if None not in of_pair else sides", "sides = of_pair"),
        ('known[name].metadata.get("by_pair", "")', '""'),
    ),
    *each(
        "mixcompare/aspects/articulation/stretch.py",
        ("tests/aspects/test_articulation.py",),
        ("return (total - apart) / 200,", "return (total + apart) / 200,"),
        ("usual = weights * (away <=", "usual = weights * (away >="),
        ("odd = apart % 2", "odd = 0"),
    ),
    *each(
        "mixcompare/units.py",
        ("tests/report/test_wording.py",),
        ('r"(?<![\\w.,)\\]-])-', 'r"-'),
    ),
    *each(
        "mixcompare/findings/manner.py",
        ("tests/findings", "tests/aspects/test_articulation.py"),
        ("shown = round(share, 2)", "shown = share - 0.02"),
    ),
    *each(
        "mixcompare/statistics.py",
        ("tests/test_statistics.py",),
        ("left_out + heaviest <= quantile * total", "-1.0 <= quantile * total"),
        ("total, left_out)[0])", "total, 0.0)[0])"),
    ),
    *each(
        "mixcompare/results.py",
        ("tests/report/test_cards.py",),
        (
            "self.alignment.tuning_cents if found is None else found",
            "self.alignment.tuning_cents",
        ),
    ),
    *each(
        "mixcompare/results.py",
        ("tests/test_results.py",),
        ("if start <= time_s + _ONSET_WITHIN_S", "if start <= time_s"),
        ("(start + first, number)", "(start, number)"),
    ),
    *each(
        "mixcompare/report/drawn.py",
        ("tests/report/test_drawn.py",),
        ("sounding_ratio=voice.sounding_ratio,", "sounding_ratio=difference.sounding_ratio,"),
        ("candidate_ratio=voice.candidate_ratio,", "candidate_ratio=voice.reference_ratio,"),
    ),
    *each(
        "mixcompare/report/notes.py",
        ("tests/report/test_drawn.py",),
        ("results.bar_at(difference.note_s[index])", "results.bar_at(difference.note_s[0])"),
    ),
    *each(
        "mixcompare/report/page.py",
        ("tests/report/test_head.py",),
        ("text.replace(side.path, head.short(side))", "text"),
    ),
]
