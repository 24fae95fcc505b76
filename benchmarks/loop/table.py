"""The benchmark's results as Markdown tables."""

from collections.abc import Mapping, Sequence

import numpy as np

from benchmarks.loop.lines import LINES
from benchmarks.loop.mistakes import MistakePlayed
from benchmarks.loop.play import DrumPlayed, rms
from benchmarks.loop.score import score_by_ear, score_loop, score_reading


def _row(*cells: str) -> str:
    return "| " + " | ".join(cells) + " |"


def _head(*cells: str) -> list[str]:
    return [_row(*cells), "|" + "---|" * len(cells)]


def _percent(share: float, digits: int = 0) -> str:
    return f"{100.0 * share:.{digits}f}"


def reading_table(results: Mapping[str, Sequence[DrumPlayed]]) -> list[str]:
    """One row a line: the first reading of each drum; all figures in percent."""
    lines = _head(
        "reading (%)",
        "drums",
        "do nothing",
        "error, median",
        "worst",
        "beyond 4, unsaid",
        "low trust",
        "in 90 % interval",
        "all rounds",
        "wrong claims",
        "worse than nothing",
        "good taps left out",
    )
    for name, played in results.items():
        s = score_reading(played)
        lines.append(
            _row(
                LINES[name].words,
                str(s.drums) + (f" ({s.failures} rounds refused)" if s.failures else ""),
                _percent(s.nothing_median, 1),
                _percent(s.error_median, 2),
                _percent(s.error_worst, 1),
                _percent(s.poor_unsaid),
                _percent(s.low_trust),
                _percent(s.coverage),
                _percent(s.coverage_all_rounds),
                _percent(s.wrong_claims, 1),
                _percent(s.worse_than_nothing),
                f"{s.left_out:.2f}",
            )
        )
    return lines


def loop_table(results: Mapping[str, Sequence[DrumPlayed]]) -> list[str]:
    """One row a line and policy: rms by round (percent), turns, shares of even drums."""
    lines = _head(
        "loop (% rms, median)", "start", "1", "2", "3", "worst", "turns", "all in 3 %", "all in 5 %"
    )
    for name, played in results.items():
        s = score_loop(played)
        steps = [_percent(v, 2) for v in s.rms_by_round]
        lines.append(
            _row(
                LINES[name].words,
                *(steps + ["–"] * (4 - len(steps)))[:4],
                _percent(s.worst_after, 1),
                f"{s.turns:.2f}",
                _percent(s.within_3),
                _percent(s.within_5),
            )
        )
        for policy, values in score_by_ear(played).items():
            cells = [_percent(v, 2) for v in values[:4]]
            lines.append(_row(f"— by ear: {policy}", *cells, "", "", "", ""))
    return lines


def mistake_table(results: Mapping[str, Sequence[MistakePlayed]]) -> list[str]:
    """One row a mistake: found, named, and what the reading was worth."""
    lines = _head(
        "mistake in a round",
        "rounds",
        "found (%)",
        "named (%)",
        "others left out",
        "error, median (%)",
    )
    for name, played in results.items():
        errors = [rms(p.error) for p in played if np.all(np.isfinite(p.error))]
        lines.append(
            _row(
                name,
                str(len(played)),
                _percent(float(np.mean([p.found for p in played]))),
                _percent(float(np.mean([p.named for p in played]))),
                f"{np.mean([p.others_left_out for p in played]):.2f}",
                _percent(float(np.median(errors)), 2) if errors else "–",
            )
        )
    return lines
