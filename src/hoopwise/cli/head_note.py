"""Options that take a note or a frequency."""

import math

import click

from hoopwise.units import note_frequency


class NoteOrHertz(click.ParamType[float]):
    """``G3``, ``F#2`` or ``196.5``; gives Hz."""

    name = "NOTE|HZ"

    def convert(
        self, value: str | float, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The frequency in Hz; fails with a sentence when it is neither."""
        if isinstance(value, float):
            return value
        try:
            hertz = float(value)
        except ValueError:
            try:
                hertz = note_frequency(value)
            except ValueError:
                self.fail(f"{value!r} is no note; write it as G3, F#2 or 196.5 (Hz).", param, ctx)
        if not (math.isfinite(hertz) and 10.0 <= hertz <= 2000.0):
            self.fail(f"{value!r} lies outside 10 to 2000 Hz.", param, ctx)
        return hertz
