"""The command line's front door: a table of commands, and the one place that ends in words.

Commands are imported only when they are called, so that help and ``check`` start at once.
"""

from __future__ import annotations

import errno
import gc
import importlib
import os
import sys
import traceback
from collections.abc import Sequence

import click

from offgrid_sim import __version__
from offgrid_sim.errors import OffgridError
from offgrid_sim.plan.toml_file import nearest

PROGRAM = "offgrid-sim"
INTERRUPTED, PIPE_CLOSED, WRONG_INPUT, OWN_FAULT = 130, 141, 2, 70
"""Exit codes beside those of errors.py: 128 + signal number, and EX_SOFTWARE of sysexits.h."""

COMMANDS: dict[str, tuple[str, str]] = {
    "run": ("offgrid_sim.cli.run:command", "Simulate a trip hour by hour and write its report."),
    "chamber": (
        "offgrid_sim.cli.chamber:command",
        "Test one fridge alone in a climate chamber.",
    ),
    "stress": (
        "offgrid_sim.cli.stress:command",
        "Put a trip through hard cases: what gives way first, and after how long?",
    ),
    "compare": (
        "offgrid_sim.cli.compare:command",
        "Hold two or more plans side by side through the same weather years.",
    ),
    "size": (
        "offgrid_sim.cli.size:command",
        "Find how many watts of panel and how much battery by risk over many winters.",
    ),
    "weather": (
        "offgrid_sim.cli.weather:command",
        "Climate of a place; past years, fetched once and kept.",
    ),
    "check": (
        "offgrid_sim.cli.check:command",
        "Check a file; show every value with its origin.",
    ),
    "new": ("offgrid_sim.cli.new:command", "Write a starter van, route, habits and trip."),
}
"""Name to where the command lies and its one line of help."""

_DISK_SENTENCES = {
    errno.ENOSPC: "the disk is full; free some space and run it again",
    errno.EDQUOT: "your share of the disk is used up; free some space and run it again",
    errno.EROFS: "the disk is read-only; choose another folder",
    errno.EACCES: "permission denied; choose another folder or change its rights",
    errno.EPERM: "permission denied; choose another folder or change its rights",
    errno.ENOENT: "no such file or folder; check the path",
    errno.EISDIR: "this is a folder; name a file in it",
    errno.ENOTDIR: "a part of this path is a file; check the path",
    errno.EEXIST: "a file of that name is in the way; choose another name",
}


class LazyCommands(click.Group):
    """A group whose commands are imported on first use and listed without being imported."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names, in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command; None when there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module, _, attribute = COMMANDS[cmd_name][0].partition(":")
        found = getattr(importlib.import_module(module), attribute)
        assert isinstance(found, click.Command)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table alone."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, help_line) for name, (_, help_line) in COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; a misspelt one gets the nearest name."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            close = nearest(args[0], list(COMMANDS))
            step = f"use {close}" if close else f"use one of {', '.join(COMMANDS)}"
            raise click.UsageError(f"there is no command {args[0]!r}; {step}.", ctx)
        return super().resolve_command(ctx, args)


@click.group(cls=LazyCommands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name=PROGRAM)
def cli() -> None:
    """Will the van hold out? Simulates the energy and water of a camper van on a trip.

    \b
    A first look:
      offgrid-sim new mytrip
      offgrid-sim check mytrip/trip.toml
      offgrid-sim run mytrip/trip.toml
    """


SELDOM = (50_000, 10, 10)
"""Objects made between searches for dead cycles, and searches between longer ones. Python's usual
700 is for small heaps: with the imports of a run in memory its searches take a tenth of the time
and find next to nothing."""


def main() -> None:
    """Entry point of the installed command."""
    gc.set_threshold(*SELDOM)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    sys.exit(run_cli(sys.argv[1:]))


def run_cli(args: Sequence[str]) -> int:
    """Run one command line; every failure becomes one sentence on standard error and a code.

    0 done; 1 only when a command says so itself; 2 wrong input or a disk that refuses; 3 no
    weather; 70 a fault of this program; 130 interrupted; 141 the reader of the output went away.
    """
    try:
        code = _invoke(list(args))
        sys.stdout.flush()
        return code
    except click.exceptions.Exit as done:
        return done.exit_code
    except click.ClickException as error:
        return _say_usage(error)
    except (KeyboardInterrupt, click.Abort):
        return _say("stopped before it was done; run the same command again.", INTERRUPTED)
    except OffgridError as error:
        return _say(str(error), error.exit_code, plain=True)
    except BrokenPipeError:
        return _leave_quietly()
    except OSError as error:
        return _say(_disk_sentence(error), WRONG_INPUT)
    except MemoryError:
        return _say("not enough memory; ask for fewer weather years.", WRONG_INPUT)
    except Exception:
        traceback.print_exc()
        return _say("a fault of the program itself; report the lines above.", OWN_FAULT)


def _invoke(args: list[str]) -> int:
    with cli.make_context(PROGRAM, args) as ctx:
        result = cli.invoke(ctx)
    return result if isinstance(result, int) else 0


def _say(sentence: str, code: int, plain: bool = False) -> int:
    print(sentence if plain else f"{PROGRAM}: {sentence}", file=sys.stderr)
    return code


def _say_usage(error: click.ClickException) -> int:
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        error.show()
        return WRONG_INPUT
    context = getattr(error, "ctx", None)
    path = context.command_path if context is not None else PROGRAM
    message = error.format_message().rstrip(".")
    return _say(f"{message[:1].lower()}{message[1:]}; see {path} --help.", WRONG_INPUT)


def _disk_sentence(error: OSError) -> str:
    reason = (error.strerror or str(error)).lower()
    sentence = _DISK_SENTENCES.get(error.errno or 0, f"{reason}; check the path and the disk")
    return f"{error.filename}: {sentence}." if error.filename else f"{sentence}."


def _leave_quietly() -> int:
    """Nobody reads any more: keep the interpreter from complaining while it closes."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    return PIPE_CLOSED


if __name__ == "__main__":
    main()
