"""Pure physics: film in its rim, head modes, air, two heads, wires."""
