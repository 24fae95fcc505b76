"""The tension that a note asked for needs, with the other head off, muted or ringing."""

import numpy as np
import pytest

from hoopwise.acoustics.heads import heads_of
from hoopwise.acoustics.low_note import head_notes, low_notes
from hoopwise.drum import Side
from hoopwise.errors import RoundError
from hoopwise.plan.note_asked import NoteAsked
from tests.rounds import SNARE, TOM, told

BATTER, SECOND = 1800.0, 1500.0


def tom_note_hz(batter: float, second: float) -> float:
    """Of both heads ringing, by the coupled model."""
    pair = np.array([[batter, second]])
    return float(low_notes(heads_of(TOM, True, True), pair).frequency_hz[0])


def test_a_head_alone_follows_the_square_of_its_note() -> None:
    note = NoteAsked(TOM, "batter", "off", told(note_hz=100.0, tension=2000.0))
    assert note.tension_n_m(110.0) == pytest.approx(2420.0)
    assert note.at_hz(2420.0) == pytest.approx(110.0)


@pytest.mark.parametrize(
    ("side", "mine", "theirs"), [("batter", BATTER, SECOND), ("snare_side", SECOND, BATTER)]
)
@pytest.mark.parametrize("times", [0.8, 1.25])
def test_beside_a_ringing_head_the_drum_s_note_is_reached(
    side: Side, mine: float, theirs: float, times: float
) -> None:
    side = TOM.second_side if side == "snare_side" else side

    def note_hz(tension: float) -> float:
        pair = (tension, theirs) if side == "batter" else (theirs, tension)
        return tom_note_hz(*pair)

    note = NoteAsked(TOM, side, "ringing", told(note_hz=note_hz(mine), tension=mine))
    asked = note_hz(times * mine)
    assert note.tension_n_m(asked) == pytest.approx(times * mine, rel=0.01)
    assert note.at_hz(times * mine) == pytest.approx(asked, rel=0.002)
    # One head alone moves the drum's note by about half of what its own moves by.
    assert abs(np.log(asked / note.now_hz)) < 0.7 * 0.5 * abs(np.log(times))


def test_a_note_heard_that_no_other_head_explains_still_moves_the_right_way() -> None:
    reading = told(note_hz=1.5 * tom_note_hz(BATTER, 8000.0), tension=BATTER)
    note = NoteAsked(TOM, "batter", "ringing", reading)
    assert note.at_hz(BATTER) == pytest.approx(note.now_hz)
    assert note.tension_n_m(1.01 * note.now_hz) > BATTER


def test_a_note_beyond_what_one_head_can_bring_is_said() -> None:
    reading = told(note_hz=tom_note_hz(BATTER, SECOND), tension=BATTER)
    note = NoteAsked(TOM, "batter", "ringing", reading)
    with pytest.raises(RoundError, match="tune the other head as well"):
        note.tension_n_m(3 * note.now_hz)


def test_over_a_muted_head_the_note_is_the_one_that_an_aim_gives() -> None:
    own = float(head_notes(SNARE, "batter", np.array([3000.0]))[0])
    for heard in (150.0, 300.0):
        note = NoteAsked(SNARE, "batter", "muted", told(note_hz=heard, tension=3000.0))
        assert note.now_hz == pytest.approx(own) and not note.is_heard
        assert note.tension_n_m(1.1 * own) == pytest.approx(3630.0)
