"""``hoopwise bench``: open the bench, a page on this machine."""

from pathlib import Path

import click


@click.command()
@click.option("--port", type=click.IntRange(1, 65535), help="Port to answer on.")
@click.option("--lan", is_flag=True, help="Let a phone in the same network use it, over HTTPS.")
@click.option("--no-browser", is_flag=True, help="Only say where it runs.")
@click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Where to keep sessions and takes.  [default: the user's data folder]",
)
def bench(port: int | None, lan: bool, no_browser: bool, folder: Path | None) -> None:
    """Open the bench: tap, see what is off, turn, until the head is even.

    The page runs on this machine alone. With --lan a phone can use it as well, after
    scanning a code that works once and for ten minutes.
    """
    from hoopwise.bench.serve import Options, Places, run, where_it_runs

    kept = folder or _data_folder()
    kept.mkdir(parents=True, exist_ok=True)
    running = where_it_runs(kept)
    if running is not None:
        click.echo(f"The bench already runs at {running}")
        _open(running, no_browser)
        return

    def ready(places: Places) -> None:
        click.echo(f"The bench runs at {places.local}")
        if places.phone:
            click.echo(f"For a phone: open the page and choose “Phone” ({places.phone})")
        click.echo("Stop it with Ctrl-C; it will go on where you stopped.")
        _open(places.local, no_browser)

    run(Options(folder=kept, port=port, lan=lan), ready)
    click.echo("The bench is closed.")


def _data_folder() -> Path:
    from platformdirs import user_data_path

    return user_data_path("hoopwise", appauthor=False) / "bench"


def _open(address: str, no_browser: bool) -> None:
    if not no_browser:
        import webbrowser

        webbrowser.open(address)
