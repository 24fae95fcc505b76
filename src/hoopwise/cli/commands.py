"""The table of commands: one line for each, read without importing any of them.

A new command is one line here and one module; the line holds its name, where its click
command lives, and the sentence that ``hoopwise --help`` prints for it.
"""

from typing import Final, NamedTuple


class Entry(NamedTuple):
    """Where a command lives, and what it is for."""

    home: str
    """``module:name`` of its click command."""
    help: str


COMMANDS: Final[dict[str, Entry]] = {
    "read": Entry("hoopwise.cli.read:read", "Tell the notes, modes and ring times of recordings."),
    "aim": Entry("hoopwise.cli.aim:aim", "Find head pitches for a wanted note and ring."),
    "mount": Entry("hoopwise.cli.mount:mount", "Plan the first passes from finger-tight."),
    "simulate": Entry("hoopwise.cli.simulate:simulate", "Write the sound of a described drum."),
    "demo": Entry("hoopwise.cli.demo:demo", "Follow a simulated drum from slack to even."),
    "bench": Entry("hoopwise.cli.bench:bench", "Open the bench, a page on this machine."),
}
