"""The sample tract as it ships: `screener/_sample` in an installed package, `sample_data` in a working copy."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from screener.errors import OutputError
from screener.files.manifest import sha256

MARK = ".screener-sample.json"  # what we wrote, by name and checksum: a folder with it is ours
_LEFT_OUT = (".py", ".pyc")


def sample_folder() -> Path:
    """Where the sample's files are."""
    package = Path(__file__).resolve().parent
    for folder in (package / "_sample", package.parent / "sample_data"):
        if (folder / "tract.toml").is_file():
            return folder
    raise FileNotFoundError("the sample tract is not part of this installation")


def sample_files() -> Iterator[Path]:
    """The sample's files, relative to its folder."""
    source = sample_folder()
    for file in sorted(source.rglob("*")):
        relative = file.relative_to(source)
        hidden = any(part.startswith((".", "_")) for part in relative.parts)
        if file.is_file() and not hidden and file.suffix not in _LEFT_OUT:
            yield relative


def write_sample(folder: Path, overwrite: bool = False) -> int:
    """Copy the sample to a folder; the number of its files.

    Raises OutputError where the folder holds something else, or sample files that were changed (unless `overwrite`).
    """
    source = sample_folder()
    files = list(sample_files())
    try:
        _refuse_foreign(folder, files, overwrite)
        folder.mkdir(parents=True, exist_ok=True)
        written = {}
        for relative in files:
            target = folder / relative
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes((source / relative).read_bytes())
            written[relative.as_posix()] = sha256(target)
        (folder / MARK).write_text(json.dumps(written, indent=1) + "\n", encoding="utf-8", newline="\n")
    except OSError as error:
        raise OutputError(f"{folder}: {error.strerror or error}") from error
    return len(files)


def _refuse_foreign(folder: Path, files: list[Path], overwrite: bool) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise OutputError(f"{folder}: is a file; name a folder")
    if not any(folder.iterdir()):
        return
    try:
        ours: dict[str, str] = json.loads((folder / MARK).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise OutputError(f"{folder}: holds other files; name a new or an empty folder") from None
    if overwrite:
        return
    changed = [
        file.as_posix()
        for file in files
        if (folder / file).exists() and ours.get(file.as_posix()) != sha256(folder / file)
    ]
    if changed:
        some = ", ".join(changed[:5]) + (", ..." if len(changed) > 5 else "")
        raise OutputError(f"{folder}: {some} changed since the sample was written; give --overwrite to put them back")
