"""The option ``--note-range``: where a note may lie, in notes or in Hz."""

from typing import Final

import click

from hoopwise.units import note_frequency

LOWEST_HZ: Final = 20.0
HIGHEST_HZ: Final = 1000.0


class NoteRange(click.ParamType[tuple[float, float]]):
    """``LOW-HIGH`` such as ``60-300`` or ``C2-E4``; gives (low, high) in Hz."""

    name = "LOW-HIGH"

    def convert(
        self,
        value: str | tuple[float, float],
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> tuple[float, float]:
        """Both ends in Hz; fails with a sentence when they make no range."""
        if isinstance(value, tuple):
            return value
        low, dash, high = value.strip().partition("-")
        try:
            low_hz, high_hz = _frequency(low), _frequency(high)
        except ValueError:
            self.fail(f"{value!r} is no range; write it as 60-300 (Hz) or C2-E4.", param, ctx)
        if not dash or not LOWEST_HZ <= low_hz < high_hz <= HIGHEST_HZ:
            self.fail(
                f"{value!r} is no range within {LOWEST_HZ:.0f} to {HIGHEST_HZ:.0f} Hz, the "
                "lower end first.",
                param,
                ctx,
            )
        return low_hz, high_hz


def _frequency(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return note_frequency(text)
