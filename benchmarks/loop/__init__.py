"""The closed loop: read a simulated head, turn its rods, read again; and by ear instead."""
