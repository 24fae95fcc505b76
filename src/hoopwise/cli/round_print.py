"""A round in words and a small picture: the hoop unrolled, trust, and what to turn."""

import sys
from collections.abc import Sequence

from hoopwise.cli.cautions import cautions
from hoopwise.cli.read_print import Signs
from hoopwise.cli.read_round import RoundTold
from hoopwise.infer.types import Reading
from hoopwise.plan.advice import Advice
from hoopwise.plan.note_asked import NoteAsked
from hoopwise.plan.order import across
from hoopwise.plan.turns import EVEN_ENOUGH
from hoopwise.plan.types import TurnPlan
from hoopwise.units import cents, spoken_note

_HALF = 20
_SPAN = 0.20
"""The strip reaches this far each way; what lies beyond is drawn at its edge."""
WIDE_90 = 1.645
NOTE_NEAR_CENTS = 30.0


def reading_lines(reading: Reading, truth: Sequence[float] | None = None) -> list[str]:
    """The whole reading: strip, note, trust and advice."""
    if reading.trust.level == "none":
        told = [*reading.trust.sentences, *reading.advice]
        return [f"Low note {_note(reading)}.", *told]
    lines = strip_lines(reading, truth)
    lines.append("")
    lines.append(
        f"Low note {_note(reading)}; mean tension {reading.mean_tension_n_m:.0f} "
        f"+/- {WIDE_90 * reading.mean_tension_sd_n_m:.0f} N/m (90 %)."
    )
    if reading.beats_hz:
        rates = ", ".join(f"{b:.1f}" for b in reading.beats_hz)
        lines.append(f"Beats you can hear: {rates} a second.")
    word = {"high": "Trust is high.", "low": "Trust is low."}[reading.trust.level]
    lines.append(" ".join([word, *reading.trust.sentences]))
    lines.extend(reading.advice)
    return lines


def _note(reading: Reading) -> str:
    return _named(reading.note.frequency_hz)


def strip_lines(reading: Reading, truth: Sequence[float] | None = None) -> list[str]:
    """One line a rod: deviation, its 90 % bar against the even-enough band, what is heard."""
    head = "rod   against the mean   slack" + " " * (2 * _HALF - 9) + "tight"
    lines = [head + "   heard low" + ("   true" if truth is not None else "")]
    for rod in reading.rods:
        bar = WIDE_90 * rod.deviation_sd
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


def advice_lines(
    advice: Advice, wanted_note_hz: float | None = None, note: NoteAsked | None = None
) -> list[str]:
    """The next step: a turn list, a trial turn, or why there is neither.

    ``note`` says what a wanted note is compared with, unless it is the one heard.
    """
    plan, reading = advice.plan, advice.reading
    if plan is None:
        return [advice.why_none] if advice.why_none else []
    if advice.trial:
        return trial_lines(plan)
    lines = plan_lines(plan, reading)
    if wanted_note_hz is not None:
        lines.append(_towards(plan, reading, wanted_note_hz, note))
    return lines


def trial_lines(plan: TurnPlan) -> list[str]:
    """One rod to turn before the list, to tell two answers apart."""
    return [
        "Turn one rod to tell the two answers apart, then tap the round again:",
        _turn_line(plan.order[0], plan.rods[plan.order[0] - 1]),
        "The turn list follows with that round.",
        *plan.sentences,
    ]


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
        near = f"   across from {last}" if last and across(last, rods) == rod else ""
        lines.append(_turn_line(rod, plan.rods[rod - 1]) + near)
        last = rod
    worst = max(abs(d) for d in plan.expected)
    lines.append(
        f"That should leave every rod within {100 * worst:.1f} % of the mean, as far as known."
    )
    lines.extend(plan.sentences)
    return lines


def _turn_line(rod: int, turns: float) -> str:
    way = "tighten" if turns > 0 else "loosen "
    return f"  rod {rod:2d}  {way} {fraction(turns):>6} turn ({360 * abs(turns):3.0f}°)"


def _towards(plan: TurnPlan, reading: Reading, wanted_hz: float, note: NoteAsked | None) -> str:
    """Where the note comes with these turns, and whether the wish needs more rounds."""
    what, now_hz, then_hz = "The low note", reading.note.frequency_hz, plan.expected_note_hz
    if note is not None and not note.is_heard:
        what = "The head's own note, the other head held still,"
        now_hz, then_hz = note.now_hz, note.at_hz(plan.expected_mean_tension_n_m)
    came = f"{what} should come from {_named(now_hz)} to {_named(then_hz)}"
    wish = f"wanted is {_named(wanted_hz)}"
    if abs(cents(then_hz, wanted_hz)) <= NOTE_NEAR_CENTS:
        return f"{came}; {wish}."
    return f"{came}; {wish}: one round cannot bring all of it, go on with the next."


def _named(frequency_hz: float) -> str:
    return f"{spoken_note(frequency_hz)} ({frequency_hz:.1f} Hz)"


def round_lines(told: RoundTold) -> list[str]:
    """A whole round: what it follows, the reading, the next step, cautions."""
    lines = []
    if told.number > 1:
        lines.append(f"Round {told.number} of this head.")
    if told.gain is not None:
        lines.append(
            f"A turn brings {100 * told.gain.value:.0f} +/- {100 * WIDE_90 * told.gain.sd:.0f} % "
            "of what the model says (90 %), as the turns so far have shown."
        )
    note = NoteAsked(told.drum, told.side, told.other_head, told.reading)
    lines += [*reading_lines(told.reading), *advice_lines(told.advice, told.wanted_note_hz, note)]
    return [*lines, "", "Take care. " + " ".join(cautions(told.drum.head(told.side).film))]


def said(lines: Sequence[str]) -> str:
    """The lines as one text that the terminal can show."""
    signs = Signs(getattr(sys.stdout, "encoding", None))
    text = signs.text("\n".join(lines))
    return text if signs.unicode else text.replace("°", " deg")


def fraction(turns: float) -> str:
    """A turn as a key fraction, in 64ths brought down: 3/32, 1/4."""
    count, whole = round(abs(turns) * 64), 64
    while count and count % 2 == 0 and whole > 1:
        count, whole = count // 2, whole // 2
    return f"{count}/{whole}" if whole > 1 else str(count)
