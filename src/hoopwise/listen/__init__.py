"""Samples to taps to damped modes."""
