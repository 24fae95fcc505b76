"""What the page is shown: readings, plans and sessions as plain JSON values."""

import math
from dataclasses import asdict
from typing import Any, Final

from hoopwise.bench.field import contours
from hoopwise.bench.mounting import show_mounting
from hoopwise.bench.rounds import Processing, Round
from hoopwise.bench.session import Session
from hoopwise.infer.types import Reading
from hoopwise.plan.order import star_order
from hoopwise.plan.types import TurnPlan
from hoopwise.units import cents, spoken_note

REFUSED: Final[dict[Processing, str]] = {
    "on": (
        "The browser was changing the sound (echo, noise or level processing was on), which "
        "makes ring times and levels wrong. Pitches are shown; ring times and tensions are not. "
        "Turn the processing off, or use another browser, and tap the round again."
    ),
    "unknown": (
        "Nobody can say whether the sound was processed on its way here, and processing makes "
        "ring times and levels wrong. Pitches are shown; ring times and tensions are not. "
        "Record with a plain recorder without effects, or use the microphone here."
    ),
}


def show_reading(
    reading: Reading,
    processing: Processing,
    before: dict[str, Any] | None,
    plan_refused: str | None = None,
) -> dict[str, Any]:
    """A reading for the page; tensions and ring times only when the sound was raw."""
    refused = REFUSED.get(processing)
    raw = refused is None
    known = raw and all(math.isfinite(rod.deviation_sd) for rod in reading.rods)
    rods = [_show_rod(rod, raw=raw) for rod in reading.rods]
    shown: dict[str, Any] = {
        "rods": rods,
        "tensions_refused": refused,
        "plan_refused": plan_refused,
        "mean_tension_n_m": reading.mean_tension_n_m if raw else None,
        "mean_tension_sd_n_m": reading.mean_tension_sd_n_m if raw else None,
        "note_hz": reading.note.frequency_hz,
        "note_sd_hz": reading.note.sd_hz,
        "note_name": spoken_note(reading.note.frequency_hz),
        "note_ring_s": reading.note.t60_s if raw else None,
        "glide_cents": reading.note.glide_cents,
        "rival_hz": reading.note.rival_hz,
        "modes": [_show_mode(asdict(mode), raw=raw) for mode in reading.modes],
        "beats_hz": list(reading.beats_hz),
        "trust": asdict(reading.trust) if raw else None,
        "advice": list(reading.advice),
        "ask": asdict(reading.ask) if raw and reading.ask else None,
        "second": asdict(reading.second_answer) if raw and reading.second_answer else None,
        "contact_ms": reading.contact_ms,
        "left_out": list(reading.left_out),
        "rms": reading.rms if known else None,
        "field": contours([rod.deviation for rod in reading.rods]) if known else [],
    }
    shown["moved"] = compare(before, shown) if before else None
    return _table(shown)


def _show_rod(rod: Any, *, raw: bool) -> dict[str, Any]:
    shown = asdict(rod)
    if not raw or not math.isfinite(rod.deviation_sd):
        shown["deviation"] = shown["deviation_sd"] = None
    return shown


def _show_mode(mode: dict[str, Any], *, raw: bool) -> dict[str, Any]:
    return mode if raw else {**mode, "t60_s": None}


def compare(before: dict[str, Any], after: dict[str, Any]) -> dict[str, Any] | None:
    """What moved between two readings, and whether it is more than their errors.

    A rod has moved when its change is beyond 2 standard deviations of the difference.
    """
    if before["rms"] is None or after["rms"] is None:
        return None
    rods = []
    for was, now in zip(before["rods"], after["rods"], strict=True):
        change = now["deviation"] - was["deviation"]
        sd = math.hypot(now["deviation_sd"], was["deviation_sd"])
        rods.append({"rod": now["rod"], "change": change, "sd": sd, "moved": abs(change) > 2 * sd})
    mean = after["mean_tension_n_m"] / before["mean_tension_n_m"] - 1.0
    mean_sd = math.hypot(
        after["mean_tension_sd_n_m"] / after["mean_tension_n_m"],
        before["mean_tension_sd_n_m"] / before["mean_tension_n_m"],
    )
    note = cents(after["note_hz"], before["note_hz"])
    note_sd = 1731.2 * math.hypot(
        after["note_sd_hz"] / after["note_hz"], before["note_sd_hz"] / before["note_hz"]
    )
    settled = not any(rod["moved"] for rod in rods) and abs(note) < max(5.0, 2.0 * note_sd)
    return {
        "rods": rods,
        "mean": mean,
        "mean_sd": mean_sd,
        "note_cents": note,
        "note_sd_cents": note_sd,
        "settled": settled,
    }


def show_plan(plan: TurnPlan) -> dict[str, Any]:
    """A turn plan for the page."""
    return _table(asdict(plan))


def plan_of(shown: dict[str, Any]) -> TurnPlan:
    """The turn plan that was shown."""
    lists: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in shown.items()}
    return TurnPlan(**lists)


def _table(value: dict[str, Any]) -> dict[str, Any]:
    return {k: plain(v) for k, v in value.items()}


def plain(value: Any) -> Any:
    """The same with lists for tuples and None for numbers that are not finite."""
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, bool) or value is None or isinstance(value, (str, int)):
        return value
    number = float(value)
    return float(f"{number:.6g}") if math.isfinite(number) else None


def show_session(session: Session) -> dict[str, Any]:
    """The whole session as the page sees it."""
    current = session.round
    return {
        "state": session.state.value,
        "stage": session.stage,
        "marks": list(session.marks),
        "drum": show_drum(session) if session.drum else None,
        "mounting": _mounting(session),
        "practice": session.practice,
        "round": show_round(current) if current else None,
        "previous": _last_reading(session),
        "history": [_history(r) for r in session.rounds if r.reading is not None],
        "steps": [asdict(s) for s in session.steps],
        "trial": session.trial,
        "ear": asdict(session.ear) if session.ear else None,
        "notice": asdict(session.notice) if session.notice else None,
    }


def _mounting(session: Session) -> dict[str, Any] | None:
    """The planned passes, while a head is mounted."""
    if not session.drum or session.stage != "mount":
        return None
    shown = show_mounting(session.known_drum, session.side, session.other_head)
    return _table(shown) if shown else None


def show_drum(session: Session) -> dict[str, Any]:
    """The drum in the page's words."""
    drum = session.known_drum
    film = drum.head(session.side).film
    return {
        "name": drum.name,
        "kind": drum.kind,
        "rods": drum.rods,
        "diameter_m": drum.diameter_m,
        "depth_m": drum.depth_m,
        "film_m": film.thickness_m,
        "plies": film.plies,
        "thin": film.thickness_m < 100e-6,
        "side": session.side,
        "other_head": session.other_head,
        "two_heads": drum.second is not None,
        "first_pass": list(star_order(drum.rods)),
        "mark": "strainer" if drum.kind == "snare" else "badge",
    }


def show_round(current: Round) -> dict[str, Any]:
    """The latest round."""
    shown = asdict(current)
    shown["next_rod"] = current.next_rod
    shown["places"] = current.places
    shown["counts"] = current.counts
    for tap in shown["taps"]:
        tap.pop("colour_db")
    return _table(shown)


def _last_reading(session: Session) -> dict[str, Any] | None:
    """The reading before the round that is running, to be shown faintly."""
    earlier = [r for r in session.rounds[:-1] if r.reading is not None]
    if not earlier or earlier[-1].reading is None:
        return None
    last = earlier[-1].reading
    expected = earlier[-1].plan["expected"] if earlier[-1].plan and earlier[-1].turned else None
    return {"rods": last["rods"], "note_hz": last["note_hz"], "expected": expected}


def _history(done: Round) -> dict[str, Any]:
    assert done.reading is not None
    return {
        "number": done.number,
        "purpose": done.purpose,
        "rms": done.reading["rms"],
        "note_hz": done.reading["note_hz"],
        "turned": done.turned is not None,
    }
