"""Reads rounds through the engine, and brings it up to date after a restart.

The engine's work object remembers earlier rounds. It cannot be stored, so after a
restart the rounds before the current one are read again from their takes.
"""

import math
from typing import Any, Final

from hoopwise.bench.engine import Engine, Take, Work, plan_with
from hoopwise.bench.rounds import Round
from hoopwise.bench.session import Session
from hoopwise.bench.store import Store
from hoopwise.bench.views import plan_of, show_plan
from hoopwise.errors import RoundError
from hoopwise.infer.types import Reading

MOST_TURNS: Final = 1.0
"""A plan with a larger turn than this is not shown: evening takes fractions of one."""

_Seen = tuple[int, tuple[str, ...], tuple[float, ...] | None]
"""A round's number, its takes, and the turns made after it."""


class Reader:
    """The engine's work on the head that is on the bench."""

    def __init__(self, engine: Engine, store: Store) -> None:
        self._engine = engine
        self._store = store
        self._work: Work | None = None
        self._seen: list[_Seen] = []

    def forget(self) -> None:
        """Another drum or head: begin anew."""
        self._work, self._seen = None, []

    def read(self, session: Session) -> tuple[Reading, dict[str, Any] | None, str | None]:
        """Reading and turn plan of the latest round, or why there is no plan.

        For processed sound there is neither plan nor reason; the reading says it.

        Raises
        ------
        HoopwiseError
            The round cannot be read.
        """
        *before, current = session.rounds
        earlier = [r for r in before if _counts(r)]
        work = self._up_to_date(session, earlier)
        self._work = None  # not to be trusted again should this fail half-way
        reading = work.read(self.takes(current))
        if current.processing != "raw":
            return reading, None, None
        plan, refusal = _advice(work, reading)
        self._work = work
        self._seen.append((current.number, _takes_of(current), None))
        return reading, plan, refusal

    def _up_to_date(self, session: Session, earlier: list[Round]) -> Work:
        """The work with these rounds read and their turns made."""
        wanted: list[_Seen] = [(r.number, _takes_of(r), r.turned) for r in earlier]
        work = self._work
        fresh = [(number, takes, None) for number, takes, _ in wanted[-1:]]
        if work is not None and self._seen == wanted[:-1] + fresh:
            if earlier:
                _make_turns(work, earlier[-1])
        elif work is None or self._seen != wanted:
            work = self._engine.work(session.known_drum, session.side, session.other_head)
            for done in earlier:
                work.read(self.takes(done))
                _make_turns(work, done)
        self._seen = wanted
        return work

    def takes(self, done: Round) -> list[Take]:
        """The round's taps with their places.

        Raises
        ------
        RoundError
            No tap belongs to a rod.
        """
        takes = [(t.rod, *self._store.load_take(t.take)) for t in done.taps if t.rod is not None]
        if not takes:
            raise RoundError("No tap of this round belongs to a rod yet.")
        return takes


def _advice(work: Work, reading: Reading) -> tuple[dict[str, Any] | None, str | None]:
    """The turn plan to show, or the reason why there is none."""
    if reading.trust.level == "none":
        return None, "The taps give no answer, so no turns can be advised. Tap the round again."
    try:
        plan = work.advise()
    except RoundError as error:
        return None, str(error)
    if not all(math.isfinite(t) and abs(t) <= MOST_TURNS for t in plan.rods):
        return (
            None,
            "The plan asks for turns that no hand should make at once. Tap the round again.",
        )
    return show_plan(plan), None


def _counts(done: Round) -> bool:
    return done.reading is not None and not done.reading["tensions_refused"]


def _takes_of(done: Round) -> tuple[str, ...]:
    return tuple(f"{tap.rod}:{tap.take}" for tap in done.taps)


def _make_turns(work: Work, done: Round) -> None:
    if done.turned is not None and done.plan is not None:
        work.turned(plan_with(plan_of(done.plan), done.turned))
