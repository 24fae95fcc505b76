"""Hits of a recording: roles of their modes, groups of notes, and recordings of any length."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from hoopwise.cli.read_print import Signs, summary_lines
from hoopwise.errors import RecordingError
from hoopwise.listen.ear import b_weighting_db, mode_at, roles
from hoopwise.listen.hits import Hit, note_groups, read_hits
from hoopwise.listen.spectrum import spectrum_of_hit
from hoopwise.listen.types import Mode, Note, Tap
from tests.recorded import CENTRE, RATE, hit


def mode(frequency_hz: float, t60_s: float, amplitude: float) -> Mode:
    return Mode(frequency_hz, 0.01, t60_s, 0.01, amplitude, 0.001, 0.0)


def note(frequency_hz: float, t60_s: float = 1.0) -> Note:
    return Note(frequency_hz, 0.02, t60_s, 20.0)


@pytest.mark.parametrize(
    ("frequency_hz", "db"),
    # Table of B-weighting in IEC 60651:1979, FROM MEMORY.
    [(31.5, -17.1), (50.0, -11.6), (100.0, -5.6), (200.0, -2.0), (500.0, -0.3), (8000.0, -2.9)],
)
def test_b_weighting_follows_its_table(frequency_hz: float, db: float) -> None:
    assert b_weighting_db(frequency_hz) == pytest.approx(db, abs=0.06)


def test_the_edge_ring_is_the_loudest_pitch_above_the_note() -> None:
    modes = [
        mode(100.0, 1.0, 0.3),  # the note
        mode(104.0, 1.0, 0.2),  # its own pair
        mode(180.0, 0.5, 0.1),
        mode(230.0, 0.5, 0.2),  # louder
        mode(300.0, 0.05, 0.9),  # dies with the strike
        mode(900.0, 0.5, 0.9),  # beyond two octaves
    ]
    found = roles(modes, note(100.1))
    assert (found.low_note, found.edge_ring) == (0, 3)
    assert found.warning is None
    assert max(found.ear_db) == 0.0


def test_it_warns_when_the_edge_ring_is_louder_or_lasts_longer() -> None:
    louder = roles([mode(100.0, 1.0, 0.05), mode(180.0, 0.5, 0.3)], note(100.0))
    assert louder.warning is not None and "180 Hz" in louder.warning and "louder" in louder.warning
    longer = roles([mode(100.0, 0.5, 0.3), mode(180.0, 2.0, 0.08)], note(100.0))
    assert longer.warning is not None and "4.0 times as long" in longer.warning
    quiet = roles([mode(100.0, 1.0, 0.3), mode(180.0, 2.0, 0.02)], note(100.0))
    assert quiet.edge_ring == 1 and quiet.warning is None


def test_what_a_glide_leaves_over_is_not_the_note() -> None:
    modes = [mode(100.0, 2.0, 0.2), mode(103.5, 0.1, 0.4), mode(100.2, 1.0, 0.001)]
    assert mode_at(modes, 100.3) == 0
    assert mode_at(modes, 200.0) is None


def test_nothing_has_a_role_without_modes_or_note() -> None:
    assert roles([], None).low_note is None
    without = roles([mode(100.0, 1.0, 0.3)], None)
    assert (without.low_note, without.edge_ring, without.warning) == (None, None, None)


def as_hit(frequency_hz: float | None) -> Hit:
    told = None if frequency_hz is None else note(frequency_hz)
    spectrum = spectrum_of_hit(np.zeros(100), RATE, 0.0)
    return Hit(Tap(0.0, 1.0, -6.0, 60.0), told, None, (), roles((), None), spectrum)


def test_hits_are_gathered_by_note() -> None:
    hits = [as_hit(f) for f in (200.0, 100.0, None, 100.5, 104.0, 201.0)]
    low, high = note_groups(hits)
    assert [h.note.frequency_hz for h in low.hits if h.note] == [100.0, 100.5, 104.0]
    assert low.frequency_hz == 100.5
    assert low.spread_cents == pytest.approx(1200.0 * np.log2(1.04))
    assert len(high.hits) == 2


def test_a_chain_of_near_notes_is_not_one_drum() -> None:
    hits = [as_hit(100.0 * 2.0 ** (step / 1200.0)) for step in (0.0, 70.0, 140.0, 210.0)]
    assert [len(group.hits) for group in note_groups(hits)] == [2, 2]


def test_hits_that_disagree_are_not_passed_off_as_one_note() -> None:
    told = [
        "\n".join(summary_lines(note_groups([as_hit(100.0), as_hit(f)]), Signs("utf-8")))
        for f in (100.5, 103.0)
    ]
    assert ["disagree" in lines for lines in told] == [False, True]


def test_the_picture_of_a_hit_peaks_at_its_modes() -> None:
    seen = spectrum_of_hit(hit(CENTRE), RATE, 0.5)
    assert seen.level_db.max() == 0.0
    peak = seen.frequency_hz[np.argmax(seen.level_db)]
    assert peak == pytest.approx(110.0, rel=0.01)
    above = seen.frequency_hz > 170.0
    second = seen.frequency_hz[above][np.argmax(seen.level_db[above])]
    assert second == pytest.approx(196.0, rel=0.02)


def test_a_long_recording_gives_each_hit_once(tmp_path: Path) -> None:
    rate = 16_000
    sound = 1e-4 * np.random.default_rng(5).normal(size=150 * rate)
    # About the seams at 61 and 121 s, and well inside.
    times = [3.0, 59.8, 61.3, 64.0, 119.5, 120.9, 123.0, 147.0]
    struck = hit(CENTRE, 1.2, rate, quiet_s=0.0, noise=0.0)
    for start in times:
        at = round(start * rate)
        sound[at : at + struck.size] += struck
    soundfile.write(tmp_path / "long.wav", sound, rate, subtype="FLOAT")
    found = read_hits(tmp_path / "long.wav").hits
    assert [h.tap.onset_s for h in found] == pytest.approx(times, abs=0.005)
    for one in found:
        assert one.note is not None
        assert one.note.frequency_hz == pytest.approx(110.0, rel=0.001)


def test_a_long_recording_without_hits_is_refused(tmp_path: Path) -> None:
    sound = 0.01 * np.random.default_rng(6).normal(size=150 * 16_000)
    soundfile.write(tmp_path / "noise.flac", sound, 16_000)
    with pytest.raises(RecordingError, match=r"noise\.flac holds"):
        read_hits(tmp_path / "noise.flac")
