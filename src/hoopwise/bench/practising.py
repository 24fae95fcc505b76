"""The practice booth: taps the simulated drum and turns it as the person did."""

import numpy as np

from hoopwise.bench.ear import PRE_S, WINDOW_S, Window
from hoopwise.bench.engine import Engine, Practice
from hoopwise.bench.session import Session


class PracticeBooth:
    """Keeps the simulated drum that belongs to a session."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._drum: Practice | None = None
        self._key: object = None

    def tap(self, session: Session, place: float) -> Window:
        """One tap at a place, as the ear would have cut it out."""
        drum = self._drum_of(session)
        sound = drum.tap(place, session.practice_taps)
        onset = int(PRE_S * drum.rate)
        end = min(len(sound), onset + int(WINDOW_S * drum.rate))
        return Window(onset, 0, end, sound[:end].astype(np.float32), drum.rate)

    def _drum_of(self, session: Session) -> Practice:
        """The drum with every turn made so far; built again only when those changed."""
        turns = tuple(r.turned for r in session.rounds if r.turned is not None)
        key = (session.seed, session.side, session.other_head, repr(session.drum), turns)
        if self._drum is None or key != self._key:
            drum = self._engine.practice(
                session.known_drum, session.side, session.other_head, session.seed
            )
            for number, turned in enumerate(turns):
                drum.turned(turned, number)
            self._drum, self._key = drum, key
        return self._drum
