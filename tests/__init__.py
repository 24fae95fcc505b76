"""Tests of hoopwise."""
