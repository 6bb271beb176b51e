"""The command line: each command in a module of its own, imported when it is called."""

from __future__ import annotations

import importlib
import os
import sys

import click

from optimizer import __version__
from optimizer.cli._ends import own_streams
from optimizer.errors import KitpaceError

__all__ = ["main"]

# Name of the command -> one line for the list; the module of the same name holds `command`.
COMMANDS: dict[str, str] = {
    "open": "Open a folder in a browser window: forms, tables, plans and reports.",
    "new": "Write a commented starter scenario into a folder.",
    "course": "Describe a course: length, grades, corners, errors in the track, warnings.",
    "plan": "Find the fastest plan and the best kit for a budget; write the report.",
    "batch": "Plan many riders, courses and forecasts in one go.",
    "kit": "Say what to buy, what not, in which order, and what to test first.",
    "season": "Plan the kit of a season: who buys what and when, who rides what where.",
    "compare": "Compare named sets of kit: splits, where seconds are won, and why.",
    "worth": "Rank the items of an evidence table: what each is worth, and how sure.",
    "convert": "Convert the result of an aero test to other units.",
    "cables": "Estimate what exposed cables, hoses, bottles and plates cost.",
    "rider": "Say what power a rider can hold, for how long, and how sure that is.",
    "fieldtest": "Find CdA and Crr from recorded rides; compare setups.",
    "testplan": "Say how many runs a field test needs to show a change.",
    "debrief": "Compare a ride with its plan: where the time went.",
}


class _Lazy(click.Group):
    """A group that imports a command only when it runs, so that help starts at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"optimizer.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.command(cls=_Lazy)
@click.version_option(__version__, prog_name="kitpace")
def group() -> None:
    """Plan a time trial: how to ride the course, and which kit is worth its money."""


def main() -> None:
    """Run the command line; every foreseen failure is one message and an exit code."""
    # Read when numpy is imported, which is later. With arrays as small as ours a second thread of
    # the linear algebra only waits, spinning, and is made anew at each fork.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    with own_streams():
        code = _code()
    if code:
        sys.exit(code)


def _code() -> int:
    """Run what was typed and give the exit code, even where its output is lost."""
    try:
        try:
            group.main(prog_name="kitpace", standalone_mode=False)
            sys.stdout.flush()
        except click.exceptions.Abort:
            click.echo("stopped", err=True)
            return 130
        except click.ClickException as error:
            error.show()
            return 2
        except KitpaceError as error:
            click.echo(f"kitpace: {error}", err=True)
            return error.exit_code
    except OSError:  # nobody hears what goes wrong either
        return 1
    return 0
