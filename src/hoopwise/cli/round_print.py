"""A round in words and a small picture: the hoop unrolled, trust, and what to turn."""

from collections.abc import Sequence

from hoopwise.infer.types import Reading
from hoopwise.plan.order import across
from hoopwise.plan.turns import EVEN_ENOUGH
from hoopwise.plan.types import TurnPlan
from hoopwise.units import spoken_note

_HALF = 20
_SPAN = 0.20
"""The strip reaches this far each way; what lies beyond is drawn at its edge."""
_WIDE_90 = 1.645


def reading_lines(reading: Reading, truth: Sequence[float] | None = None) -> list[str]:
    """The whole reading: strip, note, trust and advice."""
    if reading.trust.level == "none":
        told = [*reading.trust.sentences, *reading.advice]
        return [f"Low note {_note(reading)}.", *told]
    lines = strip_lines(reading, truth)
    lines.append("")
    lines.append(
        f"Low note {_note(reading)}; mean tension {reading.mean_tension_n_m:.0f} "
        f"+/- {_WIDE_90 * reading.mean_tension_sd_n_m:.0f} N/m (90 %)."
    )
    if reading.beats_hz:
        rates = ", ".join(f"{b:.1f}" for b in reading.beats_hz)
        lines.append(f"Beats you can hear: {rates} a second.")
    word = {"high": "Trust is high.", "low": "Trust is low."}[reading.trust.level]
    lines.append(" ".join([word, *reading.trust.sentences]))
    lines.extend(reading.advice)
    return lines


def _note(reading: Reading) -> str:
    note = reading.note
    return f"{spoken_note(note.frequency_hz)} ({note.frequency_hz:.1f} Hz)"


def strip_lines(reading: Reading, truth: Sequence[float] | None = None) -> list[str]:
    """One line a rod: deviation, its 90 % bar against the even-enough band, what is heard."""
    head = "rod   against the mean   slack" + " " * (2 * _HALF - 9) + "tight"
    lines = [head + "   heard low" + ("   true" if truth is not None else "")]
    for rod in reading.rods:
        bar = _WIDE_90 * rod.deviation_sd
        value = f"{100 * rod.deviation:+5.1f} +/- {100 * bar:4.1f} %"
        heard = "    -    "
        if rod.heard_low_hz is not None and rod.heard_low_cents is not None:
            heard = f"{rod.heard_low_cents:+4.0f} cents"
        true = "" if truth is None else f"  {100 * truth[rod.rod - 1]:+5.1f}"
        lines.append(f"{rod.rod:3d}   {value:>17}  {_strip(rod.deviation, bar)}  {heard}{true}")
    return lines


def _strip(deviation: float, bar: float) -> str:
    cells = [" "] * (2 * _HALF + 1)
    for i in range(len(cells)):
        at = (i - _HALF) / _HALF * _SPAN
        if abs(at) <= EVEN_ENOUGH + 1e-9:
            cells[i] = "."
        if abs(at - deviation) <= bar:
            cells[i] = "-"
    place = round(_HALF + max(-1.0, min(1.0, deviation / _SPAN)) * _HALF)
    cells[place] = "<" if deviation < -EVEN_ENOUGH else ">" if deviation > EVEN_ENOUGH else "o"
    return "|" + "".join(cells) + "|"


def plan_lines(plan: TurnPlan, reading: Reading) -> list[str]:
    """The turns in working order, and what they should bring."""
    if plan.done and reading.trust.level == "high":
        return ["Nothing to turn: every rod is even enough, as far as this round can tell."]
    if plan.done:
        return [
            "Nothing certain is left to turn, but this round cannot tell whether the head is even. "
            "Tap again, with a lighter, harder tip and nearer to the microphone."
        ]
    rods = len(plan.rods)
    lines = ["Turn, in this order:"]
    last = 0
    for rod in plan.order:
        turns = plan.rods[rod - 1]
        way = "tighten" if turns > 0 else "loosen "
        near = f"   across from {last}" if last and across(last, rods) == rod else ""
        lines.append(
            f"  rod {rod:2d}  {way} {fraction(turns):>6} turn ({360 * abs(turns):3.0f}°){near}"
        )
        last = rod
    worst = max(abs(d) for d in plan.expected)
    lines.append(
        f"That should leave every rod within {100 * worst:.1f} % of the mean, as far as known."
    )
    lines.extend(plan.sentences)
    return lines


def fraction(turns: float) -> str:
    """A turn as a key fraction, in 64ths brought down: 3/32, 1/4."""
    count, whole = round(abs(turns) * 64), 64
    while count and count % 2 == 0 and whole > 1:
        count, whole = count // 2, whole // 2
    return f"{count}/{whole}" if whole > 1 else str(count)
