"""The bench: a local page that listens and says what to do."""
