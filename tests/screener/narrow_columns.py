"""A shapefile whose columns are narrower than GDAL writes them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path


def narrowed(column: str, width: int) -> Callable[[Path], None]:
    """One column of a shapefile made narrower: what does not fit is cut, as programs that write the format do."""

    def change(path: Path) -> None:
        table = path.with_suffix(".dbf")
        content = table.read_bytes()
        head, length = (int.from_bytes(content[a:b], "little") for a, b in ((8, 10), (10, 12)))
        fields = [bytearray(content[at : at + 32]) for at in range(32, head - 1, 32)]
        widths = [1, *(field[16] for field in fields)]  # 1: the mark of a deleted record
        names = [field[:11].rstrip(b"\0").decode() for field in fields]
        which = names.index(column)
        first = sum(widths[: which + 1])
        fields[which][16] = width
        lost = slice(first + width, first + widths[which + 1])
        records = []
        for at in range(head, head + length * int.from_bytes(content[4:8], "little"), length):
            record = bytearray(content[at : at + length])
            del record[lost]
            records.append(record)
        start = bytearray(content[:32])
        start[10:12] = (length - (lost.stop - lost.start)).to_bytes(2, "little")
        table.write_bytes(b"".join([start, *fields, b"\x0d", *records, b"\x1a"]))

    return change
