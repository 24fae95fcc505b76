"""The command line: parse, call, print; it computes nothing itself."""

from hoopwise.cli.root import main as main
