"""Round trip: what is rendered is heard again, frequencies to 0.3 cent, ring times to 2 %."""

import numpy as np
import pytest

from hoopwise.drum import load_drum
from hoopwise.listen import find_taps, modes_of_tap, settled_note
from hoopwise.listen.types import Note
from hoopwise.render.build import drum_voice
from hoopwise.render.practice import practice_drum
from hoopwise.render.round import tap_round
from hoopwise.render.strike import Take, render_hit, render_tap
from hoopwise.render.voice import Place, Voice
from hoopwise.units import cents

RATE = 48000
QUIET = Take(length_s=2.0, lead_s=0.3, noise_db=-70.0)


@pytest.mark.parametrize("name", ["tom-10x7", "tom-12x8", "tom-16x16", "snare-14x5.5"])
@pytest.mark.parametrize("impulse", [0.02, 0.06])
def test_the_settled_note_of_a_hit_is_the_models(name: str, impulse: float) -> None:
    """The hits glide by 1 to 19 cents; the note told is the one they settle on."""
    note, voice = _heard(name, impulse, 0.2)
    assert cents(note.frequency_hz, voice.frequency_hz[0]) == pytest.approx(0.0, abs=0.3)
    assert note.t60_s == pytest.approx(voice.t60_s[0], rel=0.02)


@pytest.mark.parametrize("impulse", [0.02, 0.06])
@pytest.mark.parametrize("out", [0.0, 0.1])
def test_the_settled_note_of_a_kick_is_the_models(impulse: float, out: float) -> None:
    """A beater strikes a kick near its middle (common practice, no source)."""
    note, voice = _heard("kick-22x16", impulse, out)
    assert cents(note.frequency_hz, voice.frequency_hz[0]) == pytest.approx(0.0, abs=0.3)
    assert note.t60_s == pytest.approx(voice.t60_s[0], rel=0.02)


@pytest.mark.parametrize(
    ("name", "out"), [("kick-22x16", 0.2), ("tom-12x8", 0.5), ("tom-16x16", 0.5)]
)
def test_the_settled_note_of_a_hard_hit_off_the_middle_is_the_models(name: str, out: float) -> None:
    """Other modes swing as far as (0,1) there, lift it with the film's stretch, die sooner."""
    note, voice = _heard(name, 0.06, out)
    assert cents(note.frequency_hz, voice.frequency_hz[0]) == pytest.approx(0.0, abs=0.3)
    assert note.t60_s == pytest.approx(voice.t60_s[0], rel=0.02)


def _heard(name: str, impulse: float, out: float) -> tuple[Note, Voice]:
    """The note of a hit a fraction of the radius from the middle, and the voice."""
    voice = drum_voice(load_drum(name))
    place = Place(out * voice.drum.radius_m, 0.2)
    rng = np.random.default_rng(1)
    note = settled_note(render_hit(voice, place, impulse_n_s=impulse, take=QUIET, rng=rng), RATE)
    assert int(np.argmin(np.abs(voice.frequency_hz - note.frequency_hz))) == 0
    return note, voice


@pytest.mark.parametrize("name", ["tom-10x7", "tom-12x8", "snare-14x5.5"])
def test_the_strong_modes_of_a_light_tap_are_the_models(name: str) -> None:
    voice = drum_voice(load_drum(name))
    sound = render_tap(voice, 1, impulse_n_s=1e-3, take=QUIET, rng=np.random.default_rng(2))
    modes = modes_of_tap(sound, RATE)
    top = max(mode.amplitude for mode in modes)
    strong = [mode for mode in modes if mode.amplitude > 0.2 * top and mode.t60_s > 0.2]
    assert len(strong) >= 3
    for mode in strong:
        true = int(np.argmin(np.abs(voice.frequency_hz - mode.frequency_hz)))
        assert cents(mode.frequency_hz, voice.frequency_hz[true]) == pytest.approx(0.0, abs=0.3)
        assert mode.t60_s == pytest.approx(voice.t60_s[true], rel=0.02)


def test_every_tap_of_a_round_is_found_at_its_onset() -> None:
    practice = practice_drum(load_drum("snare-14x5.5"), seed=2)
    told = tap_round(practice, np.random.default_rng(3), taps_per_rod=1)
    taps = find_taps(told.samples, told.rate)
    assert len(taps) == len(told.rods) == 10
    late = np.array([tap.onset_s for tap in taps]) - np.array(told.onsets_s)
    assert np.abs(late).max() < 1e-3
