"""What each message does to the session: pure steps, refused when they are not legal."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Final

from hoopwise.bench import protocol as p
from hoopwise.bench.protocol import LEGAL, State
from hoopwise.bench.rounds import KeptTap, Processing, Round, Source, tap_order, taps_at_each
from hoopwise.bench.session import EarMark, Notice, Session, Step
from hoopwise.drum import load_drum
from hoopwise.errors import HoopwiseError
from hoopwise.infer.taps.places import on_hoop, where

_STATE_WORDS: Final = {
    State.BARE: "no drum is on the bench yet",
    State.READY: "nothing is being listened to",
    State.LISTENING: "a round is being listened to",
    State.SORTING: "taps from files are being sorted",
    State.READING: "the round is being worked out",
    State.READ: "the reading is on the table",
    State.TURNING: "the turn list is being worked through",
}
_FLAGS: Final = ("echoCancellation", "noiseSuppression", "autoGainControl", "voiceIsolation")


class RefusedError(HoopwiseError):
    """A message that is not a legal step; nothing has changed."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code


def step(session: Session, message: Any) -> Session:
    """The session after a message.

    Raises
    ------
    Refused
        The message is not legal in this state, or names what is not there.
    """
    kind: str = message.kind
    if session.state not in LEGAL[kind]:
        raise RefusedError(
            "illegal_step", f"{kind} is not possible while {_STATE_WORDS[session.state]}."
        )
    after = _STEPS[kind](session, message)
    return after if kind in ("hello", "close_ear", "deafen") else replace(after, notice=None)


def processing_of(settings: dict[str, Any]) -> Processing:
    """Whether the browser says that it leaves the sound alone.

    Raw only when the three flags that every browser has are there and off.
    """
    if any(settings.get(flag) not in (None, False) for flag in _FLAGS):
        return "on"
    return "raw" if all(settings.get(flag) is False for flag in _FLAGS[:3]) else "unknown"


def keep_tap(session: Session, tap: KeptTap) -> Session:
    """The session with one more tap; a complete round goes on to be read."""
    grown = _with_round(session, _latest(session).keep(tap))
    if session.state is State.LISTENING and _latest(grown).next_rod is None:
        return replace(grown, state=State.READING)
    return grown


def doubt_place(session: Session, place: float) -> Session:
    """The session without this place's taps of the running round."""
    return _with_round(session, _latest(session).doubt(place))


def add_unsorted(session: Session, taps: list[KeptTap]) -> Session:
    """Taps from a file, given to the places that are next in order."""
    current = _latest(session)
    for tap in taps:
        current = current.keep(replace(tap, rod=current.next_rod))
    return _with_round(session, current)


def reading_done(session: Session, reading: dict[str, Any], plan: dict[str, Any] | None) -> Session:
    """The reading is there."""
    read = replace(_latest(session), reading=reading, plan=plan)
    marks = session.marks
    sure = (reading.get("trust") or {}).get("level") == "high"
    if plan is not None and not plan["order"] and sure:
        marks = _marked(marks, "stage-" + read.purpose, done=True)
    return replace(_with_round(session, read), state=State.READ, marks=marks, ear=None)


def reading_failed(session: Session, sentence: str) -> Session:
    """The round could not be read: back to where taps can be added."""
    back = State.SORTING if _latest(session).source == "files" else State.LISTENING
    return replace(session, state=back, notice=Notice("not_read", sentence))


def _latest(session: Session) -> Round:
    if session.round is None:
        raise RefusedError("no_round", "There is no round yet; start one first.")
    return session.round


def _with_round(session: Session, changed: Round) -> Session:
    return replace(session, rounds=(*session.rounds[:-1], changed))


def _marked(marks: tuple[str, ...], item: str, *, done: bool) -> tuple[str, ...]:
    left = tuple(m for m in marks if m != item)
    return (*left, item) if done else left


def check_place(session: Session, place: float) -> None:
    """Refuse a place that the running round does not have."""
    _check_rod(session, place)
    if place not in _latest(session).places:
        raise RefusedError(
            "no_such_place",
            f"This round is tapped at the rods alone, not {where(place, session.rods)}.",
        )


def _check_rod(session: Session, place: float) -> None:
    if not on_hoop(place, session.rods):
        raise RefusedError(
            "no_such_rod", f"This drum has {session.rods} rods; there is no rod {place:g}."
        )


def _same(session: Session, message: Any) -> Session:
    return session


def _set_drum(session: Session, message: p.SetDrum) -> Session:
    try:
        drum = load_drum(message.drum)
        drum.head(message.side)
    except HoopwiseError as error:
        raise RefusedError("bad_drum", str(error)) from None
    table = dict(message.drum)
    seed = int(datetime.now(UTC).timestamp()) % 100000 if message.practice else 0
    return Session(
        state=State.READY,
        drum=table,
        side=message.side,
        other_head=message.other_head,
        practice=message.practice,
        seed=seed,
    )


def _set_stage(session: Session, message: p.SetStage) -> Session:
    return replace(session, stage=message.stage)


def _mark(session: Session, message: p.Mark) -> Session:
    if len(session.marks) > 60 and message.item not in session.marks:
        raise RefusedError("too_many_marks", "There are no more than 60 items to tick.")
    return replace(session, marks=_marked(session.marks, message.item, done=message.done))


def _begin_round(session: Session, message: p.BeginRound) -> Session:
    practice = session.practice and message.source == "microphone"
    order = tap_order(session.rods, message.order)
    begun = Round(
        number=len(session.rounds) + 1,
        purpose="seat" if session.stage == "seat" else "even",
        source="practice" if practice else message.source,
        order=order,
        wanted=(taps_at_each(message.order, message.taps_per_rod),) * len(order),
        processing="raw" if practice else "unknown",
        began=datetime.now(UTC).isoformat(timespec="seconds"),
    )
    state = State.SORTING if message.source == "files" else State.LISTENING
    return replace(session, state=state, rounds=(*session.rounds, begun), ear=None)


def _open_ear(session: Session, message: p.OpenEar) -> Session:
    current = _latest(session)
    if current.source != "microphone":
        raise RefusedError("no_microphone_round", "This round does not listen to a microphone.")
    if session.ear is not None and session.ear.stream == message.stream:
        return session  # the same stream after a reconnection
    processing = processing_of(message.settings)
    if current.taps and current.processing != "raw":
        processing = current.processing  # one processed tap spoils the round's levels
    heard = replace(current, processing=processing, settings=message.settings)
    return replace(_with_round(session, heard), ear=EarMark(message.stream, message.rate))


def _take_back(session: Session, message: p.TakeBack) -> Session:
    if session.state is State.TURNING:
        made = [i for i, s in enumerate(session.steps) if s.made is not None]
        if not made:
            raise RefusedError("nothing_to_undo", "No turn has been made yet.")
        undone = replace(session.steps[made[-1]], made=None)
        steps = (*session.steps[: made[-1]], undone, *session.steps[made[-1] + 1 :])
        return replace(session, steps=steps)
    current = _latest(session)
    if not current.taps:
        raise RefusedError("nothing_to_undo", "There is no tap to take back.")
    return _with_round(session, current.take_back())


def _go_to(session: Session, message: p.GoTo) -> Session:
    check_place(session, message.rod)
    return _with_round(session, replace(_latest(session), chosen=message.rod))


def _assign(session: Session, message: p.Assign) -> Session:
    if message.rod is not None:
        check_place(session, message.rod)
    current = _latest(session)
    if message.take not in {tap.take for tap in current.taps}:
        raise RefusedError("no_such_take", "That tap is not in this round.")
    return _with_round(session, current.assign(message.take, message.rod))


def _declare(session: Session, message: p.Declare) -> Session:
    return _with_round(session, replace(_latest(session), processing=message.processing))


def _finish_round(session: Session, message: p.FinishRound) -> Session:
    if not any(tap.rod for tap in _latest(session).taps):
        raise RefusedError("no_taps", "There is no tap to read yet.")
    return replace(session, state=State.READING)


def _drop_round(session: Session, message: p.DropRound) -> Session:
    left = session.rounds[:-1]
    table = State.READ if left and left[-1].reading and left[-1].turned is None else State.READY
    return replace(session, rounds=left, state=table, ear=None)


def _retap(session: Session, message: p.Retap) -> Session:
    for rod in message.rods:
        _check_rod(session, rod)
    current = _latest(session)
    wanted = tuple(
        count + 1 if place in message.rods else min(wanted, count)
        for place, wanted, count in zip(current.places, current.wanted, current.counts, strict=True)
    )
    source: Source = "practice" if session.practice else "microphone"
    again = replace(
        current, wanted=wanted, reading=None, plan=None, doubted=(), source=source, chosen=None
    )
    return replace(_with_round(session, again), state=State.LISTENING, ear=None)


def _begin_turning(session: Session, message: p.BeginTurning) -> Session:
    current = _latest(session)
    if message.trial:
        ask = (current.reading or {}).get("ask")
        if ask is None or ask["kind"] != "trial turn":
            raise RefusedError("no_trial", "The reading does not ask for a trial turn.")
        steps: tuple[Step, ...] = (Step(ask["rod"], ask["turns"]),)
    else:
        plan = current.plan
        if plan is None or not plan["order"]:
            raise RefusedError("nothing_to_turn", "There is nothing to turn.")
        steps = tuple(Step(rod, plan["rods"][rod - 1]) for rod in plan["order"])
    return replace(session, state=State.TURNING, steps=steps, trial=message.trial)


def _turn_done(session: Session, message: p.TurnDone) -> Session:
    at = next((i for i, s in enumerate(session.steps) if s.made is None), None)
    if at is None:
        raise RefusedError("all_turned", "Every turn of the list is made; listen again.")
    done = replace(session.steps[at], made=message.made)
    return replace(session, steps=(*session.steps[:at], done, *session.steps[at + 1 :]))


def _finish_turning(session: Session, message: p.FinishTurning) -> Session:
    turned = [0.0] * session.rods
    for made in session.steps:
        if made.made:
            turned[made.rod - 1] += made.turns
    finished = replace(_latest(session), turned=tuple(turned))
    return replace(_with_round(session, finished), state=State.READY, steps=(), trial=False)


def _start_over(session: Session, message: p.StartOver) -> Session:
    return Session(
        state=State.READY,
        drum=session.drum,
        side=session.side,
        other_head=session.other_head,
        practice=session.practice,
        seed=session.seed,
    )


_STEPS: Final[dict[str, Callable[[Session, Any], Session]]] = {
    "hello": _same,
    "set_drum": _set_drum,
    "set_stage": _set_stage,
    "mark": _mark,
    "begin_round": _begin_round,
    "open_ear": _open_ear,
    "close_ear": _same,
    "deafen": _same,
    "practice_tap": _same,
    "take_back": _take_back,
    "go_to": _go_to,
    "assign": _assign,
    "declare": _declare,
    "finish_round": _finish_round,
    "drop_round": _drop_round,
    "retap": _retap,
    "begin_turning": _begin_turning,
    "turn_done": _turn_done,
    "finish_turning": _finish_turning,
    "start_over": _start_over,
}
