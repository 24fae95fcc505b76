"""All taps of a round fitted together: the poles that they share."""
