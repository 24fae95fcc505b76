"""The desk: owns the session, carries out its steps, and tells every page what it is now.

All changes go through one lock. Sound is judged, rounds are read and files are written
in threads, so that the sockets stay awake.
"""

import asyncio
import contextlib
import logging
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from hoopwise.bench import steps
from hoopwise.bench.ear import Ear, Gap, Window
from hoopwise.bench.engine import Engine
from hoopwise.bench.judge import WORDS, Verdict, judge, unlike
from hoopwise.bench.practising import PracticeBooth
from hoopwise.bench.protocol import VERSION, State
from hoopwise.bench.reader import Reader
from hoopwise.bench.rounds import KeptTap
from hoopwise.bench.session import EarMark, Session
from hoopwise.bench.steps import RefusedError
from hoopwise.bench.store import Store
from hoopwise.bench.views import show_reading, show_session
from hoopwise.bench.wire import Block
from hoopwise.errors import HoopwiseError

Tell = Callable[[dict[str, Any]], Awaitable[None]]
_ACK_S = 0.5
_log = logging.getLogger("hoopwise.bench")


class Desk:
    """One bench with one session, shared by every page that is open."""

    def __init__(self, engine: Engine, store: Store) -> None:
        self._engine = engine
        self._store = store
        self._reader = Reader(engine, store)
        self._booth = PracticeBooth(engine)
        self.session: Session = store.load()
        self._pages: set[Tell] = set()
        self._ear: Ear | None = None
        self._acked = 0
        self._lock = asyncio.Lock()
        self._job: asyncio.Task[None] | None = None

    async def join(self, tell: Tell) -> None:
        """A page opens; it is told everything."""
        self._pages.add(tell)
        await tell(self._snapshot())

    def leave(self, tell: Tell) -> None:
        """A page is gone."""
        self._pages.discard(tell)

    async def close(self) -> None:
        """Stop the work in hand; what is stored stays."""
        if self._job is not None:
            self._job.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._job

    async def take(self, message: Any) -> None:
        """Carry out a page's message.

        Raises
        ------
        RefusedError
            The message is not a legal step.
        """
        async with self._lock:
            before = self.session
            after = steps.step(before, message)
            if message.kind in ("set_drum", "start_over"):
                await asyncio.to_thread(self._store.put_away)
                self._reader.forget()
            if message.kind == "open_ear":
                self._open_ear(after)
            elif message.kind == "deafen" and self._ear and self._ear.stream == message.stream:
                self._ear.deafen(message.begin, message.end)
            elif message.kind == "close_ear" and self._ear and self._ear.stream == message.stream:
                self._ear = None
            if message.kind == "practice_tap":
                await self._practice_tap(message.rod)
            else:
                await self._become(after)

    async def hear(self, block: Block) -> None:
        """Listen to a block of sound; outside a round it is dropped."""
        async with self._lock:
            mark = self.session.ear
            if mark is None or self.session.state is not State.LISTENING:
                return
            if block.stream != mark.stream:
                raise RefusedError(
                    "unknown_stream", "Sound came without a microphone being opened."
                )
            if self._ear is None:
                self._open_ear(self.session)
            assert self._ear is not None
            for event in self._ear.feed(block):
                if isinstance(event, Gap):
                    await self._say({"kind": "gap", "frames": event.length, "frame": event.frame})
                elif self.session.state is State.LISTENING:
                    await self._judge(event)
            await self._acknowledge()

    async def add_recording(self, samples: np.ndarray[Any, Any], rate: int, name: str) -> int:
        """Split an uploaded recording into taps and lay them out for sorting.

        Raises
        ------
        RefusedError
            No files are being sorted, or there is no tap in the recording.
        """
        async with self._lock:
            if self.session.state is not State.SORTING:
                raise RefusedError("illegal_step", "Start a round from recordings first.")
            taps = await asyncio.to_thread(self._split, samples, rate, name)
            if not taps:
                raise RefusedError("no_taps", f"{name}: no tap was found in this recording.")
            if len(self.session.round.taps if self.session.round else ()) + len(taps) > 200:
                raise RefusedError("too_many_taps", "A round holds at most 200 taps.")
            await self._become(steps.add_unsorted(self.session, taps))
            return len(taps)

    def take_path(self, take: str) -> Path:
        """File of a stored take; RecordingError when there is none of that name."""
        return self._store.take_path(take)

    def _split(self, samples: np.ndarray[Any, Any], rate: int, name: str) -> list[KeptTap]:
        found = self._engine.find(samples, rate)
        taps = []
        for onset, end, flaws in found:
            if flaws and "double hit" in flaws:
                continue
            start = max(0, int((onset - 0.3) * rate))
            stop = min(len(samples), int(min(end, onset + 1.5) * rate))
            if stop - start < 0.2 * rate:
                continue
            part = samples[start:stop]
            peak = float(np.max(np.abs(part), initial=1e-9))
            take = self._store.keep_take(part, rate)
            level = round(20.0 * float(np.log10(peak)), 1)
            taps.append(KeptTap(take, None, onset - start / rate, level, 0.0, (), name))
        return taps

    async def _practice_tap(self, place: float) -> None:
        current = self.session.round
        if current is None or current.source != "practice":
            raise RefusedError("no_practice", "This round listens to a real drum.")
        steps.check_place(self.session, place)
        window = await asyncio.to_thread(self._booth.tap, self.session, place)
        counted = replace(self.session, practice_taps=self.session.practice_taps + 1)
        if current.next_rod != place:
            counted = steps.step(counted, _go_to(place))
        self.session = counted
        await self._judge(window)

    def _open_ear(self, session: Session) -> None:
        mark = session.ear
        if mark is None:
            return
        if self._ear is None or self._ear.stream != mark.stream:
            self._ear = Ear(mark.stream, mark.rate, ignore_before=mark.judged_frame)
            self._acked = mark.judged_frame

    async def _judge(self, window: Window) -> None:
        verdict = await asyncio.to_thread(judge, window, self._flaws)
        current = self.session.round
        assert current is not None
        rod = current.next_rod
        if verdict.reason is None and rod is not None and self._is_unlike(verdict, rod):
            verdict = replace(verdict, reason="unlike")
        take = None
        if verdict.reason is None:
            take = await asyncio.to_thread(self._store.keep_take, window.samples, window.rate)
        busy = self._ear is not None and self._ear.is_busy
        await self._say({**_tap_event(window, verdict, rod, take), "busy": busy})
        after = self.session
        if take is not None:
            after = steps.keep_tap(after, _kept(take, rod, verdict))
        elif verdict.reason == "unlike" and rod is not None:
            after = steps.doubt_place(after, rod)
        if after.ear is not None and self._ear is not None:
            mark = EarMark(self._ear.stream, self._ear.rate, window.onset_frame + 1)
            after = replace(after, ear=mark)
        await self._become(after)

    def _flaws(self, samples: np.ndarray[Any, Any], rate: int) -> tuple[str, ...]:
        found = self._engine.find(samples, rate)
        return found[0][2] if found else ()

    def _is_unlike(self, verdict: Verdict, place: float) -> bool:
        current = self.session.round
        assert current is not None
        here = [t for t in current.taps if t.rod == place and t.colour_db]
        if not here or place in current.doubted:
            return False
        return unlike(here[-1].colour_db, verdict.colour_db)

    async def _become(self, after: Session) -> None:
        self.session = after
        await asyncio.to_thread(self._store.save, after)
        await self._say(self._snapshot())
        if after.state is State.READING and (self._job is None or self._job.done()):
            self._ear = None
            self._job = asyncio.create_task(self._read())

    async def _read(self) -> None:
        """Work out the round; what goes wrong is told, never swallowed."""
        try:
            reading, plan, refusal = await asyncio.to_thread(self._reader.read, self.session)
            current = self.session.round
            assert current is not None
            earlier = [r.reading for r in self.session.rounds[:-1] if r.reading]
            before = earlier[-1] if current.purpose == "seat" and earlier else None
            shown = await asyncio.to_thread(
                show_reading, reading, current.processing, before, refusal
            )
            async with self._lock:
                await self._become(steps.reading_done(self.session, shown, plan))
        except HoopwiseError as error:
            async with self._lock:
                await self._become(steps.reading_failed(self.session, str(error)))
        except Exception:
            _log.exception("a round could not be read")
            async with self._lock:
                await self._become(
                    steps.reading_failed(
                        self.session,
                        "Something went wrong inside while reading the round; the taps are kept. "
                        "Tap one more rod, or read again. The terminal tells what happened.",
                    )
                )

    async def _acknowledge(self) -> None:
        if self._ear is None:  # the round has just been completed
            return
        safe = self._ear.safe_frame
        if safe - self._acked >= _ACK_S * self._ear.rate:
            self._acked = safe
            await self._say({"kind": "ack", "stream": self._ear.stream, "frame": safe})

    def _snapshot(self) -> dict[str, Any]:
        return {"kind": "state", "session": show_session(self.session)}

    async def _say(self, event: dict[str, Any]) -> None:
        told = {"v": VERSION, **event}
        for tell in list(self._pages):
            try:
                await tell(told)
            except Exception:  # that page is gone; its own handler will notice
                self._pages.discard(tell)


def _go_to(place: float) -> Any:
    from hoopwise.bench.protocol import GoTo

    return GoTo(kind="go_to", rod=place)


def _kept(take: str, rod: float | None, verdict: Verdict) -> KeptTap:
    return KeptTap(
        take, rod, verdict.onset_s, verdict.strength_db, verdict.snr_db, verdict.colour_db
    )


def _tap_event(
    window: Window, verdict: Verdict, rod: float | None, take: str | None
) -> dict[str, Any]:
    return {
        "kind": "tap",
        "rod": rod,
        "good": verdict.reason is None,
        "reason": verdict.reason,
        "sentence": WORDS.get(verdict.reason or "", ""),
        "strength_db": verdict.strength_db,
        "snr_db": verdict.snr_db,
        "end_frame": window.end_frame,
        "rate": window.rate,
        "take": take,
    }
