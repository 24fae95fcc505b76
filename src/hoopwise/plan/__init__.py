"""State to action: order, turns, aims."""
