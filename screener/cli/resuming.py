"""`--resume`: go on from what a killed run of the same inputs finished; never mix what different versions made."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from screener.cli import printing
from screener.errors import OutputError

if TYPE_CHECKING:
    from screener.files.kept_parts import KeptParts
    from screener.publish import Destination

REFUSED = "nothing was computed; install those versions, or leave out --resume to compute everything anew"


def refuse_other_versions(destination: Destination, about: Mapping[str, Any]) -> None:
    """Stop where results or kept parts of the same work were made by other versions. Raises InputError.

    `about`: see `screener.files.manifest.about_run`. Versions enter every number, so such parts are no use; a user who
    says --resume believes otherwise and must be told.
    """
    from hazard.issues import InputError, Issue
    from screener.files.kept_parts import about_kept, kept_folders
    from screener.files.manifest import about_results, read_manifest

    current = destination.current()
    manifest = read_manifest(current) if current is not None else None
    told = [about_results(manifest)] if manifest is not None else []
    told += [kept for folder in kept_folders(destination.runs) if (kept := about_kept(folder)) is not None]
    for other in told:
        if other.get("work") == about["work"] and other.get("versions") != about["versions"]:
            found = _differences(other.get("versions") or {}, about["versions"])
            where = f"--resume {destination.output.name}"
            raise InputError(Issue("versions_differ", "stop", where, found, "the versions in use now", REFUSED))


def _differences(then: Mapping[str, Any], now: Mapping[str, Any]) -> str:
    names = sorted(name for name in {*then, *now} if then.get(name) != now.get(name))
    return "made with " + ", ".join(f"{n} {then.get(n, 'none')} (now {now.get(n, 'none')})" for n in names)


@contextmanager
def kept_parts(destination: Destination, about: Mapping[str, Any], resume: bool) -> Iterator[KeptParts]:
    """The kept parts of this run. They stay after an interruption or an output that failed; else they go.

    Parts of other inputs go at once: one run's parts at most lie beside an output.
    """
    from screener.files.kept_parts import PREFIX, KeptParts

    kept = KeptParts(destination.runs / f"{PREFIX}{about['run_id']}", about)
    forget_kept(destination, but=kept.folder.name)
    kept.open(resume)
    try:
        yield kept
    except (KeyboardInterrupt, OutputError, MemoryError):
        raise
    except BaseException:
        kept.remove()
        raise
    kept.remove()


def forget_kept(destination: Destination, but: str = "") -> None:
    """Remove kept parts of every run but the one of this folder name."""
    import shutil

    from screener.files.kept_parts import kept_folders

    for folder in kept_folders(destination.runs):
        if folder.name != but:
            shutil.rmtree(folder, ignore_errors=True)


def tell_start(destination: Destination, about: Mapping[str, Any]) -> None:
    """Say where a resumed run begins."""
    from screener.files.kept_parts import PREFIX, about_kept

    if about_kept(destination.runs / f"{PREFIX}{about['run_id']}") == about:
        printing.tell("going on from what a run of the same inputs had finished when it ended")
    else:
        printing.tell("no run of the same inputs is there, complete or begun; starting from the beginning")
