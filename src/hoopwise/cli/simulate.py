"""``hoopwise simulate``: a described drum in, the sound of its taps and the truth out."""

import json
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hoopwise import __version__
from hoopwise.errors import RangeError, RecordingError

if TYPE_CHECKING:
    from hoopwise.render.microphone import Microphone
    from hoopwise.render.practice import PracticeDrum
    from hoopwise.render.round import Recording

_FORMATS = (".wav", ".flac")
_RATES = (16000, 192000)


class MicPlace(click.ParamType[tuple[float, float, float]]):
    """Three numbers: millimetres from the centre, degrees from rod 1, millimetres high."""

    name = "R,ANGLE,HEIGHT"

    def convert(
        self, value: str, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float, float]:
        """Read ``110,15,50``; fails with a sentence when it is no place."""
        try:
            r_mm, angle_deg, height_mm = (float(part) for part in value.split(","))
        except ValueError:
            self.fail(
                f"{value!r} is not a place; give millimetres from the centre, degrees from rod 1 "
                "and millimetres above the head, as in 110,15,50.",
                param,
                ctx,
            )
        return r_mm, angle_deg, height_mm


@click.command()
@click.argument("drum_file", metavar="DRUM")
@click.option(
    "-o", "--output", required=True, type=click.Path(dir_okay=False, path_type=Path),
    help="Sound file to write, .wav or .flac; the truth goes beside it as .truth.toml.",
)  # fmt: skip
@click.option(
    "--side", type=click.Choice(["batter", "snare_side", "resonant"]), default="batter",
    show_default=True, help="Head that is tapped.",
)  # fmt: skip
@click.option(
    "--other-head", type=click.Choice(["off", "muted", "ringing"]), default="off",
    show_default=True, help="What the other head does.",
)  # fmt: skip
@click.option("--taps-per-rod", type=click.IntRange(1, 20), default=2, show_default=True)
@click.option(
    "--contact-ms", type=click.FloatRange(0.2, 20), default=None,
    help="How long the tip stays on the head: 3 ms for a tap, 4 to 10 for a hit, by kind.",
)  # fmt: skip
@click.option(
    "--strength", type=click.FloatRange(0.05, 5), default=1.0, show_default=True,
    help="1 is an ordinary light tap, or a firm hit.",
)  # fmt: skip
@click.option(
    "--noise-db", type=click.FloatRange(-120, 0), default=-50.0, show_default=True,
    help="Noise against the peak of an ordinary tap, or of the hit.",
)  # fmt: skip
@click.option(
    "--uneven", type=click.FloatRange(0, 20), default=9.5, show_default=True,
    help="How much the rods' tensions scatter, percent rms.",
)  # fmt: skip
@click.option("--seed", type=click.IntRange(min=0), default=0, show_default=True)
@click.option(
    "--mic", type=MicPlace(), default=None,
    help="Microphone: mm from the centre, degrees from rod 1, mm above the head.",
)  # fmt: skip
@click.option("--hit", is_flag=True, help="One whole hit near the middle instead of a round.")
@click.option("--wires", is_flag=True, help="With --hit: the snare wires on.")
@click.option("--rate", type=click.IntRange(*_RATES), default=48000, show_default=True)
@click.option("--json", "as_data", is_flag=True, help="Print the truth as JSON.")
def simulate(drum_file: str, output: Path, as_data: bool, **wish: Any) -> None:
    """Write the sound of a simulated, unevenly tuned drum, and the truth beside it.

    DRUM is a drum file, or a template's name such as snare-14x5.5. The recording holds
    taps at every rod in their order; the file ending in .truth.toml names the rod of each
    tap, when it starts, and the true tensions.
    """
    if output.suffix.lower() not in _FORMATS:
        raise click.BadParameter(f"{output} should end in .wav or .flac.", param_hint="-o")
    practice, recording, scale = _simulated(drum_file, wish)
    truth = _truth(practice, recording, wish)
    _write_sound(output, recording, scale)
    beside = output.with_suffix(".truth.toml")
    _write_text(beside, _toml(truth))
    if as_data:
        click.echo(json.dumps(truth, indent=2))
        return
    what = f"{len(recording.rods)} taps" if recording.rods else "one hit"
    click.echo(f"{output}: {what}, {recording.samples.size / recording.rate:.1f} s")
    click.echo(f"{beside}: rods, onsets and true tensions")
    if recording.rods:
        for rod, deviation in enumerate(practice.deviations(), start=1):
            click.echo(f"  rod {rod:2d}  {100 * deviation:+6.1f} %")
    click.echo("Turn the volume down before you listen: drum sounds peak suddenly.")


def _simulated(drum_file: str, wish: dict[str, Any]) -> "tuple[PracticeDrum, Recording, float]":
    """The drum, its recording, and the gain that keeps it from clipping."""
    import numpy as np

    from hoopwise.acoustics.wires import wire_bed
    from hoopwise.drum import load_drum
    from hoopwise.render.practice import practice_drum
    from hoopwise.render.round import one_hit, tap_round
    from hoopwise.render.strike import HIT_CONTACT_S

    drum = load_drum(drum_file)
    if wish["wires"] and not wish["hit"]:
        raise RangeError("--wires belongs to --hit; taps are read with the wires off.")
    if wish["wires"] and drum.wires is None:
        raise RangeError(f"{drum.name} has no wires; leave --wires out or describe [wires].")
    practice = practice_drum(
        drum,
        wish["side"],
        wish["seed"],
        wish["uneven"] / 100.0,
        other_head=wish["other_head"],
        microphone=_microphone(wish["mic"]),
        rate=wish["rate"],
    )
    rng = np.random.default_rng((wish["seed"], 7))
    if wish["contact_ms"] is None:
        wish["contact_ms"] = 1e3 * HIT_CONTACT_S[drum.kind] if wish["hit"] else 3.0
    contact = wish["contact_ms"] * 1e-3
    if wish["hit"]:
        bed = wire_bed(drum.wires) if wish["wires"] and drum.wires is not None else None
        recording = one_hit(
            practice, rng, contact_s=contact, strength=wish["strength"],
            noise_db=wish["noise_db"], wires=bed,
        )  # fmt: skip
    else:
        recording = tap_round(
            practice, rng, taps_per_rod=wish["taps_per_rod"], contact_s=contact,
            strength=wish["strength"], noise_db=wish["noise_db"],
        )  # fmt: skip
    peak = float(np.max(np.abs(recording.samples)))
    return practice, recording, min(1.0, 0.9 / peak) if peak > 0 else 1.0


def _microphone(place: tuple[float, float, float] | None) -> "Microphone | None":
    if place is None:
        return None
    import math

    from hoopwise.render.microphone import Microphone
    from hoopwise.render.voice import Place

    r_mm, angle_deg, height_mm = place
    return Microphone(Place(r_mm * 1e-3, math.radians(angle_deg)), height_mm * 1e-3)


def _truth(
    practice: "PracticeDrum", recording: "Recording", wish: dict[str, Any]
) -> dict[str, dict[str, Any]]:
    from hoopwise.render.round import true_state

    taps: dict[str, Any] = {
        "rate_hz": recording.rate,
        "rod": list(recording.rods),
        "onset_s": [round(onset, 6) for onset in recording.onsets_s],
    }
    keep = ("seed", "uneven", "contact_ms", "strength", "noise_db", "hit", "wires")
    made = {"hoopwise": __version__, **{key: wish[key] for key in keep}}
    return {"taps": taps, **true_state(practice), "made_with": made}


def schema() -> dict[str, Any]:
    """JSON Schema of what ``--json`` prints and the truth file holds."""
    text = files("hoopwise.cli").joinpath("simulate.schema.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def _toml(data: dict[str, dict[str, Any]]) -> str:
    """Tables of numbers, texts, flags and lists of numbers as TOML."""
    lines: list[str] = [
        "# The truth behind a simulated recording; lengths in mm, angles from rod 1."
    ]
    for table, values in data.items():
        lines += ["", f"[{table}]"]
        lines += [
            f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()
        ]
    return "\n".join(lines) + "\n"


def _write_sound(path: Path, recording: "Recording", scale: float) -> None:
    import soundfile

    try:
        soundfile.write(path, recording.samples * scale, recording.rate, subtype="PCM_16")
    except (OSError, RuntimeError) as error:
        raise RecordingError(f"{path}: cannot be written ({error}).") from None


def _write_text(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise RecordingError(f"{path}: cannot be written ({error}).") from None
