"""Every error that hoopwise raises on purpose, and whom it speaks to.

    HoopwiseError            anything the caller can put right
    ├── DrumError            a drum description is wrong: file, key, value, legal range
    ├── RecordingError       a recording cannot be read or holds nothing to read
    ├── RangeError           a physical value lies outside a model's validity
    └── RoundError           taps and rods of a round do not fit together
        └── SafetyError      advice refused because a head or rod could be hurt

Messages are written for a drum technician: what was wrong, where, what to do.
The command line prints them as they stand and leaves with code 2.
"""


class HoopwiseError(Exception):
    """Anything that the caller can put right; the message says how."""


class DrumError(HoopwiseError):
    """A drum description is wrong."""


class RecordingError(HoopwiseError):
    """A recording cannot be read, or holds nothing that can be read from it."""


class RangeError(HoopwiseError, ValueError):
    """A physical value lies outside the range in which a model holds."""


class RoundError(HoopwiseError):
    """The taps and rods of a round do not fit together."""


class SafetyError(RoundError):
    """Advice is refused because a head or a rod could be hurt."""
