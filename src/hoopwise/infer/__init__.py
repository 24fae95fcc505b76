"""Modes to drum state: what the rods, heads and notes are, with error bars."""
