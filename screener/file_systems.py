"""Which kind of file system a folder lies on: databases are not written straight onto one that is across a network.

SQLite's own pages warn of databases on network file systems: locks and flushes there are not what they say. GDAL's page
on its SQLite driver repeats it.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

NETWORK = frozenset(
    {
        "9p",
        "afs",
        "beegfs",
        "ceph",
        "cifs",
        "davfs",
        "fuse.davfs2",
        "fuse.glusterfs",
        "fuse.rclone",
        "fuse.s3fs",
        "fuse.sshfs",
        "glusterfs",
        "lustre",
        "ncpfs",
        "nfs",
        "nfs4",
        "smb2",
        "smb3",
        "smbfs",
        "virtiofs",
    }
)
"""Names that Linux gives them in its list of mounts. From memory."""

MOUNTS = Path("/proc/self/mounts")


def network_file_system(folder: Path) -> str:
    """The name of the network file system that a folder lies on, "" where it lies on a local disk or nobody knows."""
    if sys.platform == "win32":
        return "a network share" if str(folder.resolve()).startswith("\\\\") else ""
    try:
        kind = kind_of(folder, MOUNTS.read_text(encoding="utf-8", errors="surrogateescape"))
    except OSError:
        return ""
    return kind if kind in NETWORK else ""


def kind_of(folder: Path, mounts: str) -> str:
    """The file system of a folder by a list of mounts (`device place kind ...`); of equal places the last counts."""
    real = os.path.realpath(folder)
    best, found = -1, ""
    for line in mounts.splitlines():
        parts = line.split(" ")
        if len(parts) < 3:
            continue
        place = _unescaped(parts[1])
        inside = real == place or real.startswith(place.rstrip("/") + "/")
        if inside and len(place) >= best:
            best, found = len(place), parts[2]
    return found


def _unescaped(text: str) -> str:
    """Spaces, tabs, line ends and backslashes stand in the list as \\040, \\011, \\012 and \\134."""
    for code, character in (("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")):
        text = text.replace(code, character)
    return text
