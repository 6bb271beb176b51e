"""`kitpace open`: the whole job in a browser window, on one's own machine."""

from __future__ import annotations

from pathlib import Path

import click

from optimizer.cli._terminal import say

__all__ = ["command"]


@click.command("open")
@click.argument("folder", metavar="[FOLDER]", type=click.Path(), default=".")
@click.option("--port", type=click.IntRange(1024, 65535), metavar="N",
              help="Port to listen on; a free one by default.")
@click.option("--no-browser", is_flag=True, help="Print the address only.")
def command(folder: str, port: int | None, no_browser: bool) -> None:
    """Open FOLDER in a browser window: races, riders, kit and evidence as forms and tables.

    A small server on this machine shows the folder, and nothing outside of it, to the browser
    that is opened and to nobody else. What is changed there is written to the files as a text
    editor would. Ctrl-C stops it, and so does the button on the page.

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
