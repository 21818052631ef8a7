"""Faults in the chain: comparison, findings, consequences, results, alignment."""

from __future__ import annotations

from tests.benchmarks.mutations import Fault

_FINDINGS = ("tests/findings/test_finding.py",)
_FOLDING = ("tests/findings/test_folding.py",)
_RESULTS = ("tests/test_results.py",)
_COMPARISON = ("tests/test_comparison.py", "tests/test_chain.py")
_ALIGNMENT = ("tests/alignment",)


def _each(
    module: str, tests: tuple[str, ...], faults: tuple[tuple[str, str], ...]
) -> tuple[Fault, ...]:
    return tuple(Fault(module=module, find=find, put=put, tests=tests) for find, put in faults)


FAULTS = [
    *_each(
        "mixcompare/findings/finding.py",
        _FINDINGS,
        (
            ("finding.jnd * max(share, 0.01) ** 0.25 * finding.confidence", "finding.confidence"),
            ("max(share, 0.01) ** 0.25", "max(share, 0.01) ** 0.5"),
            ("max(share, 0.01)", "max(share, 0.1)"),
            ("min(finding.duration_s / whole_s, 1.0)", "finding.duration_s / whole_s"),
            ("LEAST_CONFIDENCE = 0.6", "LEAST_CONFIDENCE = 0.5"),
            ("finding.confidence >= LEAST_CONFIDENCE", "finding.confidence > LEAST_CONFIDENCE"),
            ("finding.jnd >= 1.0", "finding.jnd > 1.0"),
            ("and not low <= 0 <= high and", "and not low < 0 < high and"),
            ("reverse=True", "reverse=False"),
            ("start=1", "start=0"),
            ("(2 * 1.96)", "(2 * 1.645)"),
            ("(deviation / difference) ** 2", "abs(deviation / difference)"),
            ("abs(difference) * kept / jnd", "difference * kept / jnd"),
            ("or low <= 0 <= high:", "or low < 0 < high:"),
            ("players / total, room / total, mix / total", "players, room, mix"),
            ("return max(weights, key", "return min(weights, key"),
            ('20.0, "%"', '10.0, "%"'),
            ("start <= joined[-1][1]", "start < joined[-1][1]"),
            ("max(joined[-1][1], end)", "end"),
            ("whole = round(seconds)", "whole = int(seconds)"),
            ("len(spans_s) - limit} more", "len(spans_s)} more"),
            ("{100 * finding.difference:+.0f}", "{100 * abs(finding.difference):+.0f}"),
        ),
    ),
    *_each(
        "mixcompare/findings/folding.py",
        _FOLDING,
        (
            ("_MARGIN = 1.2", "_MARGIN = 1.3"),
            ("_MARGIN = 1.2", "_MARGIN = 1.0"),
            ("gone.add(second)", "gone.discard(second)"),
            ("return high > low", "return high >= low"),
            ("effect.band_hz[1] > cause.band_hz[0]", "effect.band_hz[0] > cause.band_hz[0]"),
            (
                "cause.difference * effect.difference > 0",
                "cause.difference * effect.difference < 0",
            ),
            ("abs(cause.difference) + 0.5", "abs(cause.difference) + 1.0"),
            ("effect.band_hz[0] >= cause.band_hz[0]", "effect.band_hz[0] <= cause.band_hz[0]"),
            ("* 17.2", "* 16.0"),
            (") < 4", ") < 5"),
            ('_kinds("faster"), _kinds("tuned_higher")', '_kinds("faster"), _kinds("tuned_lower")'),
            ("lambda finding: finding.jnd, reverse=True", "lambda finding: finding.jnd"),
            (
                '"wider", "dynamics_smaller", "notes_more',
                '"narrower", "dynamics_smaller", "notes_more',
            ),
            ("if first in gone:", "if False:"),
            ("second in gone or effect", "effect"),
            ("(*out[first].consequences, words)", "(words,)"),
            ("{amount(effect)}", "{amount(cause)}"),
            (' or effect.unit != "dB"', ""),
        ),
    ),
    *_each(
        "mixcompare/results.py",
        _RESULTS,
        (
            ("time_map.moved(first, second)", "time_map.moved(second, first)"),
            ("_moved(event.reference_s, first)", "_moved(event.reference_s, second)"),
            ("_moved(event.candidate_s, second)", "_moved(event.candidate_s, first)"),
            ("_moved(span, first) for span in finding.spans_s", "span for span in finding.spans_s"),
            ("_moved(span, second)", "_moved(span, first)"),
            ("float(time_map.to_candidate(0.0))", "self.alignment.offset_s"),
            ("first == 0 and second == 0", "first == 0 or second == 0"),
            ("span_s[0] + by_s, span_s[1] + by_s", "span_s[0] - by_s, span_s[1] - by_s"),
        ),
    ),
    *_each(
        "mixcompare/comparison.py",
        _COMPARISON,
        (
            ("time_map.to_candidate(span) for span", "span for span"),
            (
                "analyzer.compare(reference, candidate, match)",
                "analyzer.compare(candidate, reference, match)",
            ),
            ("ranked(without_consequences(found), whole_s)", "ranked(found, whole_s)"),
            ("_source(reference), _source(candidate))", "_source(candidate), _source(reference))"),
            (
                "match = replace(match, gain_db=level.gain_db)",
                "match = replace(match, gain_db=-level.gain_db)",
            ),
            ("cause.room / rest, cause.mix / rest", "cause.mix / rest, cause.room / rest"),
            ("else (0.0, 1.0)", "else (1.0, 0.0)"),
            ("if match.same_take:", "if not match.same_take:"),
            ("_share_out(measured)\n    for", "for"),
            ("<td>{escape(finding.subject)}", "<td>{finding.subject}"),
            ("{escape(finding.text)}", "{finding.text}"),
            ("<strong>{escape(self.verdict)}", "<strong>{self.verdict}"),
            ('first.unit or first.aspect == "articulation"', "first.unit"),
            ("channels_swapped=bool(alignment.channels_swapped)", "channels_swapped=True"),
            (
                "analyzer.measure(reference), analyzer.measure(candidate)",
                "analyzer.measure(candidate), analyzer.measure(reference)",
            ),
            ('if time_map is None else "given', 'if time_map is not None else "given'),
        ),
    ),
    *_each(
        "mixcompare/alignment/__init__.py",
        _ALIGNMENT,
        (
            ("[*repeats, *(gap for", "[*(gap for"),
            (
                "events = [*repeats, *(gap for gap in gaps if "
                "not any(_touch(gap, one) for one in repeats))]",
                "events = list(repeats or gaps)",
            ),
            ("extra = gap_candidate - gap_reference", "extra = gap_reference - gap_candidate"),
            ("if extra > 0:", "if extra < 0:"),
            ("np.log2(1 / slope)", "np.log2(slope)"),
            (
                "tuning_cents=float(total_cents - 100 * transposition)",
                "tuning_cents=float(100 * transposition - total_cents)",
            ),
            ("return correlation < 0", "return correlation > 0"),
            ('"later" if later_s > 0', '"later" if later_s < 0'),
            ('kind = "repeat"\n    text', 'kind = "cut"\n    text'),
            ('who = "reference" if start > first', 'who = "reference" if start < first'),
            ('who = "reference" if left > rest', 'who = "reference" if left < rest'),
            ("if max(start, first) > 1.0:", "if max(start, first) > 2.0:"),
            ("if max(left, rest) > 1.0:", "if min(left, rest) > 1.0:"),
            ("np.maximum(0.020, 2.2 *", "np.maximum(0.010, 1.1 *"),
            ("_MEDIAN_OVER_90 = 0.4", "_MEDIAN_OVER_90 = 0.8"),
            (
                "drift_ppm=take.drift_ppm,\n        polarity",
                "drift_ppm=-take.drift_ppm,\n        polarity",
            ),
            ("(last - first) / (end - start)", "(end - start) / (last - first)"),
            ("abs(extra) > 1.5", "abs(extra) > 15"),
            ("np.full(2, np.inf)", "np.full(2, 20.0)"),
        ),
    ),
    *_each(
        "mixcompare/alignment/coarse.py",
        _ALIGNMENT,
        (
            ("LARGEST_TRANSPOSITION = 7", "LARGEST_TRANSPOSITION = 4"),
            ("_JUMP_COST = 8.0", "_JUMP_COST = 80.0"),
            ("_NO_PLACE = 0.75", "_NO_PLACE = 2.0"),
            ("_STEP_COST = 0.1", "_STEP_COST = 0.4"),
            ("_SHORTEST_RUN_S = 4.0", "_SHORTEST_RUN_S = 12.0"),
            ("lags, lags - size)", "lags, size - lags)"),
            ("np.diff(columns) < 0)", "np.diff(columns) < -99)"),
        ),
    ),
    *_each(
        "mixcompare/alignment/elastic.py",
        _ALIGNMENT,
        (
            ("track.reference_s + mean,", "track.reference_s - mean,"),
            ("_END_DOUBT = 0.05", "_END_DOUBT = 0.5"),
            ("smallest_slope: float = 0.2", "smallest_slope: float = 0.9"),
            ("path = slope * grid + ndimage", "path = grid + ndimage"),
        ),
    ),
    *_each(
        "mixcompare/alignment/relation.py",
        _ALIGNMENT,
        (
            ("(agreement - 0.50) / 0.06", "(0.50 - agreement) / 0.06"),
            ("(0.48 - misfit) / 0.06", "(0.38 - misfit) / 0.06"),
            ("(0.35 - roughness)", "(0.45 - roughness)"),
            ("0.75 - matched_share", "0.95 - matched_share"),
            ("time_map.to_candidate(times)\n", "times\n"),
            ("if len(times) < 20:", "if len(times) < 2:"),
        ),
    ),
    *_each(
        "mixcompare/alignment/exact.py",
        _ALIGNMENT,
        (
            ("polarity=1 if table", "polarity=-1 if table"),
            ("slope_found * 1e6", "slope_found * 1e5"),
            ("self.prominence > 1.3", "self.prominence > 1.0"),
            ("self.agreeing > 0.5", "self.agreeing >= 0.5"),
            ("_FEWEST_WINDOWS = 5", "_FEWEST_WINDOWS = 3"),
            ("fine[peak] + moved / _UPSAMPLING", "fine[peak]"),
            ("(peak - middle) / ANALYSIS_RATE_HZ", "(middle - peak) / ANALYSIS_RATE_HZ"),
            ("_LARGEST_DRIFT = 1e-3", "_LARGEST_DRIFT = 1e-2"),
            ("scatter = 1.4826 *", "scatter = 0.5 *"),
        ),
    ),
]
