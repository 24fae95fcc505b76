"""What ``hoopwise read --json`` prints, as described by read.schema.json."""

import json
from collections.abc import Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

from hoopwise import __version__
from hoopwise.listen.hits import Hit, NoteGroup, RecordingHits
from hoopwise.listen.types import Note
from hoopwise.units import decibels, note_name


def schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the output."""
    text = files("hoopwise.cli").joinpath("read.schema.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def as_json(
    readings: Sequence[RecordingHits],
    groups: Sequence[NoteGroup],
    troubles: Mapping[Path, str],
    note_range_hz: tuple[float, float],
) -> dict[str, Any]:
    """Everything that was read; Hz, s, dB and cents throughout."""
    return {
        "hoopwise": __version__,
        "note_range_hz": list(note_range_hz),
        "recordings": [_recording(reading) for reading in readings],
        "notes": [_group(group) for group in groups],
        "not_read": [{"file": str(path), "why": why} for path, why in troubles.items()],
    }


def _recording(reading: RecordingHits) -> dict[str, Any]:
    return {
        "file": str(reading.path),
        "rate_hz": reading.rate_hz,
        "channels": reading.channels,
        "channel": reading.channel,
        "duration_s": reading.duration_s,
        "hits": [_hit(hit) for hit in reading.hits],
    }


def _hit(hit: Hit) -> dict[str, Any]:
    return {
        "onset_s": hit.tap.onset_s,
        "end_s": hit.tap.end_s,
        "strength_db": hit.tap.strength_db,
        "snr_db": hit.tap.snr_db,
        "flaws": list(hit.tap.flaws),
        "note": None if hit.note is None else _note(hit.note),
        "no_note": hit.no_note,
        "modes": [_mode(hit, index) for index in range(len(hit.modes))],
        "warning": hit.roles.warning,
    }


def _named(frequency_hz: float) -> dict[str, Any]:
    name, cents = note_name(frequency_hz)
    return {"frequency_hz": frequency_hz, "name": name, "cents": cents}


def _note(note: Note) -> dict[str, Any]:
    return {
        **_named(note.frequency_hz),
        "frequency_sd_hz": note.sd_hz,
        "t60_s": note.t60_s,
        "glide_cents": note.glide_cents,
        "rival_hz": note.rival_hz,
    }


def _mode(hit: Hit, index: int) -> dict[str, Any]:
    mode = hit.modes[index]
    role = {hit.roles.low_note: "low note", hit.roles.edge_ring: "edge ring"}.get(index)
    strongest = max(other.amplitude for other in hit.modes)
    return {
        **_named(mode.frequency_hz),
        "frequency_sd_hz": mode.frequency_sd_hz,
        "t60_s": mode.t60_s,
        "t60_sd_s": mode.t60_sd_s,
        "slow_t60_s": mode.slow_t60_s,
        "amplitude": mode.amplitude,
        "amplitude_sd": mode.amplitude_sd,
        "level_db": decibels(mode.amplitude / strongest),
        "ear_db": hit.roles.ear_db[index],
        "phase_rad": mode.phase_rad,
        "pair": mode.pair,
        "role": role,
    }


def _group(group: NoteGroup) -> dict[str, Any]:
    return {
        **_named(group.frequency_hz),
        "hits": len(group.hits),
        "spread_cents": group.spread_cents,
        "shortest_t60_s": group.shortest_t60_s,
        "longest_t60_s": group.longest_t60_s,
    }
