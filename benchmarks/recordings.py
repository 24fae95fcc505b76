"""Real drum hits: two acoustic kits, each drum and place in several strengths.

``python -m benchmarks.recordings FROM TO`` writes the kits found below FROM as wav files
below TO. The kits come from Debian's package avldrums.lv2-soundfont (CC-BY-SA-3.0) and are
called kit A and kit B here; without it, ten CC0 drum sounds of sonic-pi-samples serve.
"""

import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import soundfile

from hoopwise.listen.soundfont import Sound, distinct, read_soundfont

HOME: Final = Path(__file__).resolve().parent.parent / "recordings"

# Sounds are numbered by the General MIDI percussion key that plays them.
PLACES: Final = {
    "36": "kick",
    "38": "snare",
    "40": "snare-edge",
    "41": "floor-tom",
    "43": "floor-tom-edge",
    "45": "tom",
    "47": "tom-edge",
}
CC0_SOUNDS: Final = "drum_tom_*.flac", "drum_snare_*.flac", "drum_bass_*.flac"


@dataclass(frozen=True)
class HitSet:
    """One drum struck at one place, softest first."""

    kit: str
    place: str
    hits: list[Path]

    @property
    def name(self) -> str:
        """``kit A tom-edge``."""
        return f"{self.kit.replace('-', ' ').replace(' a', ' A').replace(' b', ' B')} {self.place}"


def hit_sets(home: Path = HOME) -> list[HitSet]:
    """The sets that were unpacked; empty when there are none."""
    return [
        HitSet(kit, place, hits)
        for kit in ("kit-a", "kit-b")
        for place in PLACES.values()
        if (hits := sorted((home / kit).glob(f"{place}-[0-9].wav")))
    ]


def kit_sounds(path: Path) -> dict[str, list[Sound]]:
    """Sounds of one kit by drum and place, repeated takes dropped."""
    sounds: dict[str, list[Sound]] = {place: [] for place in PLACES.values()}
    for sound in read_soundfont(path):
        key = sound.name.split("-")[0]
        if key in PLACES:
            sounds[PLACES[key]].append(sound)
    return {place: distinct(layers) for place, layers in sounds.items()}


def unpack(source: Path, target: Path) -> int:
    """Write what is found below ``source`` as files below ``target``; how many."""
    count = 0
    for kit, path in zip(("kit-a", "kit-b"), sorted(source.rglob("*.sf2")), strict=False):
        (target / kit).mkdir(parents=True, exist_ok=True)
        for place, sounds in kit_sounds(path).items():
            for strength, sound in enumerate(sounds, start=1):
                file = target / kit / f"{place}-{strength}.wav"
                soundfile.write(file, sound.samples, sound.rate_hz, subtype="PCM_16")
                count += 1
    if count == 0:
        for pattern in CC0_SOUNDS:
            for path in sorted(source.rglob(pattern)):
                (target / "cc0").mkdir(parents=True, exist_ok=True)
                shutil.copy(path, target / "cc0" / path.name.replace("drum_", ""))
                count += 1
    return count


if __name__ == "__main__":
    sys.exit(0 if unpack(Path(sys.argv[1]), Path(sys.argv[2])) else 1)
