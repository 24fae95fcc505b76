"""How noise and a room spoil a reading: a ladder, on synthetic taps with known modes.

``python -m benchmarks.listening_rooms [TAPS]`` prints two tables. Errors are those of the
frequencies of modes within 12 dB of the loudest, in cents.
"""

import sys
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchmarks.listening_sounds import in_a_room
from benchmarks.listening_taps import RATE, Truth, random_tap
from hoopwise.errors import RecordingError
from hoopwise.listen import find_taps, modes_of_tap, settled_note
from hoopwise.units import cents

Real = NDArray[np.float64]
Take = Callable[[np.random.Generator], tuple[Real, Truth]]

NOISES_DB: Final = (60.0, 40.0, 30.0, 20.0, 10.0, 0.0)
ROOMS_DB: Final = (50.0, 40.0, 30.0, 20.0, 10.0)
LOUD_DB: Final = 12.0


def rung(take: Take, taps: int, seed: int) -> str:
    """One row: cents of error, modes missed and invented, taps called spoilt, notes."""
    rng = np.random.default_rng(seed)
    errors: list[float] = []
    missed = invented = loud_modes = flawed = refused = 0
    for _ in range(taps):
        x, truth = take(rng)
        modes = [mode.frequency_hz for mode in modes_of_tap(x, RATE)]
        found = find_taps(x, RATE)
        flawed += any(tap.flaws for tap in found) or not found
        loud = truth.amplitude > truth.amplitude.max() * 10.0 ** (-LOUD_DB / 20.0)
        for f in truth.frequency_hz[loud]:
            off = min((abs(cents(g, f)) for g in modes), default=np.inf)
            loud_modes += 1
            missed += off > 20.0
            errors += [off] if off <= 20.0 else []
        invented += sum(float(np.min(np.abs(truth.frequency_hz - g))) > 4.0 for g in modes)
        try:
            settled_note(x, RATE, 60.0, 1000.0)
        except RecordingError:
            refused += 1
    median, high = np.percentile(errors, (50, 90)) if errors else (np.nan, np.nan)
    return (
        f"| {median:.2f} | {high:.2f} | {100.0 * missed / loud_modes:.0f} % "
        f"| {invented / taps:.1f} | {100.0 * flawed / taps:.0f} % "
        f"| {100.0 * refused / taps:.0f} % |"
    )


def noisy(snr_db: float) -> Take:
    """Takes with white noise."""
    return lambda rng: random_tap(rng, snr_db)


def roomy(direct_db: float) -> Take:
    """Takes with reverberation, the noise 60 dB down."""

    def take(rng: np.random.Generator) -> tuple[Real, Truth]:
        x, truth = random_tap(rng, 60.0)
        return in_a_room(x, RATE, direct_db, rng), truth

    return take


def ladder(title: str, rungs: dict[str, Take], taps: int) -> None:
    """Print one table."""
    print(f"| {title} | cents, median | 90th | missed | invented a tap | called spoilt ", end="")
    print("| note refused |\n|---|---|---|---|---|---|---|")
    for seed, (name, take) in enumerate(rungs.items()):
        print(f"| {name} {rung(take, taps, seed)}", flush=True)
    print()


def main(taps: int = 40) -> int:
    """Print both ladders."""
    ladder("noise below the tap", {f"{snr:.0f} dB": noisy(snr) for snr in NOISES_DB}, taps)
    ladder("direct over reverberant", {f"{db:.0f} dB": roomy(db) for db in ROOMS_DB}, taps)
    return 0


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:])))
