"""The model of one head: what it is expected to be, and what an uneven one shows."""
