"""A drum state to audio: taps, hits, previews."""
