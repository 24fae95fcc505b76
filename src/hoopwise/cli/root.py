"""The root command: finds a command by name, imports it when it is used, speaks errors.

``hoopwise --help`` must stay quick, so nothing heavier than click is imported here.
"""

from importlib import import_module
from typing import IO, Any

import click

from hoopwise import __version__
from hoopwise.cli.commands import COMMANDS
from hoopwise.errors import HoopwiseError


class _Told(click.ClickException):
    """An error told as it stands on stderr, with code 2."""

    exit_code = 2

    def show(self, file: IO[Any] | None = None) -> None:
        click.echo(f"hoopwise: {self.message}", file=file, err=file is None)


class LazyGroup(click.Group):
    """A group whose commands are named in a table and imported when called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table, which is the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Command of that name, imported now; None when there is none."""
        if cmd_name not in COMMANDS:
            return None
        module, _, name = COMMANDS[cmd_name].home.partition(":")
        command = getattr(import_module(module), name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the table's own help, so that no command is imported."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry.help) for name, entry in COMMANDS.items()])

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; an error made for the user leaves with code 2."""
        try:
            return super().invoke(ctx)
        except HoopwiseError as error:
            raise _Told(str(error)) from error


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="hoopwise")
def main() -> None:
    """Hear a drum's taps and say which rods to turn.

    Everything runs on this machine: no account, no network.
    """
