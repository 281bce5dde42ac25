"""Folders that lie on another machine: a database is not built there, and the user is told.

SQLite asks for locks that network file systems often do not keep (the documentation of GDAL's SQLite driver and of
SQLite itself warn of it; from memory). So a GeoPackage is built on a local disk and copied; the rest of a run (a
staging folder, a rename) is what such file systems do hold, but for a flush that may only reach the server's memory.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

NETWORK = frozenset(
    {
        *(
            "nfs",
            "nfs4",
            "cifs",
            "smb3",
            "smbfs",
            "9p",
            "afs",
            "ceph",
            "glusterfs",
            "lustre",
            "gpfs",
            "beegfs",
            "davfs",
        ),
        *(
            "fuse.sshfs",
            "fuse.glusterfs",
            "fuse.davfs2",
            "fuse.s3fs",
            "fuse.rclone",
            "fuse.gcsfuse",
            "virtiofs",
            "ncpfs",
        ),
    }
)
MOUNTS = Path("/proc/self/mountinfo")


def network_kind(folder: Path) -> str:
    """The kind of network file system that a folder (or the nearest one that exists) lies on, "" for a local disk.

    Known on Linux, and for share names on Windows; elsewhere always "".
    """
    if sys.platform == "win32":
        return "a network share" if str(folder).startswith("\\\\") else ""
    try:
        mounts = MOUNTS.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ""
    place = os.path.realpath(folder)
    best, kind = "", ""
    for line in mounts.splitlines():
        before, _, after = line.partition(" - ")
        words, named = before.split(), after.split()
        if len(words) < 5 or not named:
            continue
        point = words[4].encode().decode("unicode_escape") if "\\" in words[4] else words[4]
        inside = place == point or place.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= len(best):
            best, kind = point, named[0]
    return kind if kind in NETWORK else ""


def network_warning(folder: Path) -> str:
    """What to tell of an output folder that lies on another machine; "" for a local one."""
    kind = network_kind(folder)
    if not kind:
        return ""
    return (
        f"{folder}: lies on a network file system ({kind}); expected a local disk; the results are written there all "
        "the same, but two runs at once may not see each other and a power loss may lose them: copy them yourself"
    )


@contextmanager
def built_locally(target: Path) -> Iterator[Path]:
    """The path to build a database at: the target itself, or one on a local disk that is copied to it at the end."""
    if not network_kind(target.parent):
        yield target
        return
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / target.name
        yield place
        shutil.copyfile(place, target)
