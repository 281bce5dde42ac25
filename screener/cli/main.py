"""The command `screener`: its commands, and one place where what went wrong becomes an exit code."""

from __future__ import annotations

import importlib
import os
import sys
import traceback
from collections.abc import Sequence

import click

from screener import errors
from screener.cli import printing

COMMANDS = {
    "run": "read, screen, choose, write all results, print a short summary",
    "portfolio": "the same for many tracts as one job: in chunks, on all cores or a cluster",
    "check": "read everything, report every problem, write nothing",
    "hazards": "exposure, Kzt and the other hazards alone: no plans or hardware needed",
    "explain": "the derivation of every number of one lot",
    "phase-orders": "what every order of the phases does to exposure, packages and money",
    "siting": "which house on which lot costs least in hardware",
    "swap": "another plan on one lot, or a cancellation: money, stock, paper",
    "scenarios": "named changes of the project, run into one table",
    "compare": "what changed between two runs, lot by lot and in the bill",
    "reprice": "bill, orders and forecast again for another plan mix or price list",
    "shortage": "how likely a proposed order falls short",
    "takeoff": "a supplier's or framer's counts against ours; waste learnt from as-built counts",
    "draw": "what was understood of a plan, and its anchor and strap layout",
    "sheets": "a page for each lot, anchor layouts, the engineer's packet of one lot",
    "verify": "the tool's answers beside every published check value, on your machine",
    "demo": "write the sample tract, ready to run",
    "schema": "keys or columns of lots, plan, hardware or tract",
}

EPILOG = """\b
First look:
  screener demo sample                                 an invented tract to play with
  screener run sample/tract.toml --allow-exceptions    then open sample/results/report.html

\b
Your own tract:
  screener schema tract                                what to write; also lots, plan, hardware
  screener check tract.toml                            every problem at once, nothing written
  screener hazards tract.toml                          exposure and Kzt alone: a land plan needs no houses
  screener run tract.toml                              packages, bill, map
  screener explain tract.toml --lot B-07               why this lot gets what it gets
  screener compare results_before results              what a swap or a new price list changed
  screener verify                                      how far its answers are from each published value

\b
Exit codes: 0 all lots screened; 3 finished, some lots are exceptions;
2 the call or an input can't be used; 4 results can't be written, the
folder is in use, or memory is short; 1 a fault of ours; 130 interrupted.

For planning and pricing only: local code and a licensed design
professional decide what is built."""


class Commands(click.Group):
    """Commands that are imported only when they are called; `--help` needs none of them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"screener.cli.{cmd_name.replace('-', '_')}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            import difflib

            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            hint = f"did you mean '{near[0]}'?" if near else f"expected one of {', '.join(COMMANDS)}"
            ctx.fail(f"no command '{args[0]}'; {hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


def _show_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if not wanted or ctx.resilient_parsing:
        return
    from importlib.metadata import PackageNotFoundError, version

    try:
        number = version("tract-screener")
    except PackageNotFoundError:
        number = "unknown"
    click.echo(f"screener {number}")
    ctx.exit()


@click.group(cls=Commands, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--version", is_flag=True, expose_value=False, is_eager=True, callback=_show_version, help="Version.")
def cli() -> None:
    """Screen every lot of a subdivision for load-path hardware.

    Hazard rasters and plans in; a hardware package for every lot and a bill of materials out.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command and leave with its exit code."""
    printing.use_utf8()
    words = list(sys.argv[1:] if arguments is None else arguments)
    sys.exit(run(words))


def run(words: Sequence[str]) -> int:
    """Run the command; its exit code. Nothing escapes from here."""
    as_json = "--json" in words
    try:
        code = cli.main(args=list(words), prog_name="screener", standalone_mode=False)
        return int(code or errors.OK)
    except click.ClickException as error:
        error.show()
        return errors.INPUT
    except (click.Abort, KeyboardInterrupt):
        printing.tell("interrupted; earlier results are untouched")
        return errors.INTERRUPTED
    except errors.OutputError as error:
        _fail(errors.OUTPUT, str(error), as_json)
        return errors.OUTPUT
    except MemoryError as error:
        _fail(errors.OUTPUT, f"{_memory_words(error)}; earlier results are untouched", as_json)
        return errors.OUTPUT
    except BrokenPipeError:  # the reader of our output went away
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return errors.OK
    except Exception as error:
        return _unexpected(error, as_json)


def _unexpected(error: Exception, as_json: bool) -> int:
    from hazard.issues import InputError

    if isinstance(error, InputError):
        if as_json:
            printing.fail_json(errors.INPUT, "an input can't be used", error.issues)
        for line in printing.issue_lines(error.issues):
            printing.tell(line)
        printing.tell(f"{printing.counted(len(error.issues), 'problem')}; nothing was written")
        return errors.INPUT
    printing.tell("".join(traceback.format_exception(error)))
    message = f"a fault of ours: {type(error).__name__}: {error}; nothing was written, earlier results are untouched"
    _fail(errors.FAULT, message, as_json)
    return errors.FAULT


def _memory_words(error: MemoryError) -> str:
    wanted = f" ({error})" if str(error) else ""
    return f"memory is short on this machine{wanted}; give --workers 1, free some, or split the tract"


def _fail(code: int, message: str, as_json: bool) -> None:
    if as_json:
        printing.fail_json(code, message)
    printing.tell(message)


if __name__ == "__main__":
    main()
