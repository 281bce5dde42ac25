"""The journal and the whole file: whatever moment a kill takes, readers see what was finished and nothing else."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.files.journal import DamagedJournalError, Journal, write_aside

RECORDS = [{"part": "first", "sha256": "ab"}, {"part": "zweiter é\n", "rows": 3}, {"part": "third", "list": [1, None]}]


def journal(folder: Path) -> Journal:
    made = Journal(folder / "journal.jsonl")
    for record in RECORDS:
        made.append(record)
    return made


def test_records_come_back_in_order(tmp_path: Path) -> None:
    assert Journal(tmp_path / "none.jsonl").read() == []
    assert journal(tmp_path).read() == RECORDS


def test_cut_at_any_byte_it_reads_the_whole_lines_and_goes_on(tmp_path: Path) -> None:
    made = journal(tmp_path)
    content = made.path.read_bytes()
    ends = [i + 1 for i, byte in enumerate(content) if byte == ord("\n")]
    for length in range(len(content) + 1):
        made.path.write_bytes(content[:length])
        whole = sum(end <= length for end in ends)
        assert made.read() == RECORDS[:whole], length
        made.append({"part": "next"})
        assert made.read() == [*RECORDS[:whole], {"part": "next"}], length


def test_a_last_line_with_a_lost_block_is_torn_too(tmp_path: Path) -> None:
    """A file may grow before its data reaches the disk: zeros, then the line end."""
    made = journal(tmp_path)
    content = made.path.read_bytes()
    made.path.write_bytes(content[:-20] + b"\0" * 19 + b"\n")
    assert made.read() == RECORDS[:2]
    made.append({"part": "next"})
    assert made.read() == [*RECORDS[:2], {"part": "next"}]


def test_a_damaged_earlier_line_is_no_torn_line(tmp_path: Path) -> None:
    made = journal(tmp_path)
    content = made.path.read_bytes()
    made.path.write_bytes(content.replace(b'"first"', b'"fyrst"'))
    with pytest.raises(DamagedJournalError, match="line 1 is damaged"):
        made.read()


@given(st.dictionaries(st.text(), st.none() | st.booleans() | st.integers() | st.text(), max_size=4))
def test_any_plain_record_survives(tmp_path_factory: pytest.TempPathFactory, record: dict[str, Any]) -> None:
    made = Journal(tmp_path_factory.mktemp("any") / "journal.jsonl")
    made.append(record)
    assert made.read() == [record]


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "part.bin"
    write_aside(path, lambda aside: aside.write_bytes(b"old") and None)

    def stop_half_way(aside: Path) -> None:
        aside.write_bytes(b"ne")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_aside(path, stop_half_way)
    assert path.read_bytes() == b"old"

    flushed = []

    def fail(descriptor: int) -> None:
        flushed.append(descriptor)
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(OSError, match="Input/output"):
        write_aside(path, lambda aside: aside.write_bytes(b"new") and None)
    assert len(flushed) == 1, "a flush that failed is not tried again"
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["part.bin"]


def test_what_a_killed_process_of_the_same_number_left_is_not_gone_on_with(tmp_path: Path) -> None:
    """A database is opened where it stands: a half-written one, with its journal, would be part of the new one."""
    path = tmp_path / "part.sqlite"
    seen = []

    def write(aside: Path) -> None:
        seen.append(sorted(p.name for p in tmp_path.iterdir()))
        aside.write_bytes(b"whole")

    aside = tmp_path / f".part.{os.getpid()}.part.sqlite"
    for left in (aside, aside.with_name(aside.name + "-journal"), aside.with_name(aside.name + "-wal")):
        left.write_bytes(b"half")
    write_aside(path, write)
    assert seen == [[]]
    assert [p.name for p in tmp_path.iterdir()] == ["part.sqlite"]
