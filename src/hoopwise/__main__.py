"""``python -m hoopwise`` is the command line."""

from hoopwise.cli import main

main(prog_name="hoopwise")
