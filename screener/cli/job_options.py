"""Options and ending shared by the commands that write a results folder: `run` and `hazards`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

from screener import errors
from screener.cli import printing
from screener.cli.resuming import forget_kept, refuse_other_versions, tell_start

if TYPE_CHECKING:
    from screener.publish import Destination

Command = TypeVar("Command", bound=Callable[..., Any])
REPORTING = ("as_json", "allow_exceptions")
"""Options that change what is said, not what is done."""
SAME_INPUTS = "nothing to do: these results are of the same inputs, settings and versions"

_OPTIONS = (
    click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON."),
    click.option("--quiet", "-q", is_flag=True, help="No summary and no progress."),
    click.option("--workers", type=click.IntRange(1), default=None, help="Cores to use; default all."),
    click.option("--strict", is_flag=True, help="Warnings become stops."),
    click.option(
        "--resume",
        is_flag=True,
        help="Go on where a run of the same inputs ended; nothing to do where it is complete.",
    ),
    click.option("--overwrite", is_flag=True, help="Replace a folder that screener did not make; it is kept aside."),
    click.option("--allow-exceptions", is_flag=True, help="Exit with 0 although some lots need a person."),
    click.option("--allow-remote", is_flag=True, help="Fetch rasters that the project names by an https address."),
)


def job_options(command: Command) -> Command:
    """The options, in the order in which help shows them."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def what_to_do(options: dict[str, Any]) -> dict[str, Any]:
    """The options that the job itself takes."""
    return {name: value for name, value in options.items() if name not in REPORTING}


def finish(summary: dict[str, Any], options: dict[str, Any], lines: Callable[[dict[str, Any]], Iterable[str]]) -> int:
    """Print the summary as asked for; the exit code."""
    if options["as_json"]:
        printing.say_json(summary)
    elif not options["quiet"]:
        for line in lines(summary):
            printing.say(line)
    code = int(summary["exit_code"])
    return errors.OK if code == errors.EXCEPTIONS and options["allow_exceptions"] else code


def may_resume(project: Any, resume: bool) -> bool:
    """Whether an earlier run of the same inputs may be taken: not where a raster comes from elsewhere."""
    if resume and project.remote_inputs():
        printing.tell("a remote raster may have changed; starting from the beginning")
        return False
    return resume


def done_already(destination: Destination, about: Mapping[str, Any], resume: bool) -> dict[str, Any] | None:
    """With `resume`, the summary of a complete run of the same inputs, if it is there.

    `about`: see `screener.files.manifest.about_run`. Raises InputError where other versions made what is there.
    """
    if not resume:
        return None
    refuse_other_versions(destination, about)
    earlier = finished_run(destination, about["run_id"])
    if earlier is None:
        tell_start(destination, about)
        return None
    forget_kept(destination)
    return {**earlier, "note": SAME_INPUTS}


def tell_place(destination: Destination) -> None:
    """Warn of an output folder on a network file system."""
    if destination.network:
        printing.tell(
            f"warn  {destination.output}: lies on a network file system ({destination.network}); results are written "
            "on a local disk, copied and read again; a run there can't see a run on another machine for certain"
        )


def finished_run(destination: Destination, name: str) -> dict[str, Any] | None:
    """The summary of the current run where it is complete and of the same inputs."""
    from screener.files.manifest import is_complete, read_manifest

    current = destination.current()
    manifest = read_manifest(current) if current is not None else None
    if current is None or manifest is None or manifest.get("run_id") != name or not is_complete(current):
        return None
    return {**manifest.get("summary", {}), "exit_code": manifest["exit_code"], "results": str(destination.output)}
