"""Measurements of hoopwise against named peers and on simulated truth."""
