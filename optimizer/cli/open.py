"""`kitpace open`: the whole job in a browser window on this machine."""

from __future__ import annotations

from pathlib import Path

import click

from optimizer.cli._numbers import TellingAll, WholeNumber
from optimizer.cli._terminal import say

__all__ = ["command"]


@click.command("open", cls=TellingAll)
@click.argument("folder", metavar="[FOLDER]", type=click.Path(), default=".")
@click.option("--port", type=WholeNumber(1024, 65535), metavar="N",
              help="Port to listen on; a free one by default.")
@click.option("--no-browser", is_flag=True, help="Print the address and open no browser.")
def command(folder: str, port: int | None, no_browser: bool) -> None:
    """Open FOLDER in a browser window: races, riders, kit and evidence as forms and tables.

    A small server on this machine shows this folder, and nothing outside it, to the browser that it
    opens and to nobody else. What you change there is written to the files, as with a text editor.
    Ctrl-C stops it, and so does the button on the page.

    \b
    Example:
      kitpace open my-race
      kitpace open courses --no-browser --port 8642
    """  # noqa: D301 - click reads the \b
    from optimizer.window.serve import serve

    def tell(address: str) -> None:
        click.echo(address)  # in one piece, to be clicked or copied
        say("Open this address in the browser of this machine. Ctrl-C stops kitpace.")

    serve(Path(folder), port or 0, browser=not no_browser, say=tell)
    say("Stopped.")
