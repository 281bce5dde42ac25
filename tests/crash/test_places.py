"""Where results are written: across a network, beside a program that holds the old ones open; what is left there."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from crash_helpers import Made
from project_helpers import results

from screener import publish
from screener.errors import OutputError
from screener.file_systems import kind_of, network_file_system
from screener.files import geopackage
from tests.crash.small_project import faults_of, hidden_names

MOUNTS = """\
/dev/sda1 / ext4 rw 0 0
server:/export /home nfs4 rw 0 0
tmpfs /home/a\\040b tmpfs rw 0 0
//server/share /mnt/share cifs rw 0 0
overlay /mnt/share overlay rw 0 0
"""


@pytest.mark.parametrize(
    ("folder", "kind"),
    [("/", "ext4"), ("/home/x/y", "nfs4"), ("/home/a b/c", "tmpfs"), ("/homes", "ext4"), ("/mnt/share/z", "overlay")],
)
def test_the_file_system_of_a_folder(folder: str, kind: str) -> None:
    """The longest place that holds the folder; a later mount over the same place hides the earlier one."""
    assert kind_of(Path(folder), MOUNTS) == kind


def test_a_local_folder_is_local(tmp_path: Path) -> None:
    assert network_file_system(tmp_path) == ""


def test_o19_on_a_network_disk_results_are_written_on_a_local_one_and_copied(
    made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told, not refused; the same bytes; the database is never opened where the network is."""
    monkeypatch.setattr(publish, "network_file_system", lambda _: "nfs4")
    opened = []
    real = geopackage.sqlite3.connect  # type: ignore[attr-defined]

    def note(database: object, *more: object, **options: object) -> sqlite3.Connection:
        opened.append(str(database))
        return real(database, *more, **options)  # type: ignore[no-any-return]

    monkeypatch.setattr(geopackage.sqlite3, "connect", note)  # type: ignore[attr-defined]
    code, said = made.run()
    during = list(opened)
    assert code == 0
    assert "lies on a network file system (nfs4)" in said
    assert made.there() == "new"
    assert not faults_of(made.output)
    assert not hidden_names(made.output)
    assert during
    assert not [place for place in during if str(made.tract.parent) in place]


def test_o19_what_arrives_damaged_is_not_published(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(publish, "network_file_system", lambda _: "nfs4")

    def copy_badly(source: Path, target: Path) -> None:
        Path(target).write_bytes(Path(source).read_bytes()[:-1] + b"\0")

    monkeypatch.setattr(publish.shutil, "copyfile", copy_badly)
    code, said = made.run()
    assert code == 4
    assert "the earlier results are untouched" in said
    assert made.there() == "old"


def test_o18_results_that_a_gis_holds_open_are_replaced_all_the_same(made: Made) -> None:
    """The new set is another file: the reader goes on with the old one, even while it locks it; the path leads to the
    new one. (Where a system forbids that, the message names the cause: close the file.)"""
    with closing(sqlite3.connect(made.output / "tract.gpkg", isolation_level=None)) as reader:
        reader.execute("BEGIN EXCLUSIVE")
        before = reader.execute("SELECT total_cost FROM lots ORDER BY lot_id").fetchall()
        for _ in range(2):  # the second run removes the old run's folder
            assert made.run()[0] == 0
            assert made.there() == "new"
        assert reader.execute("SELECT total_cost FROM lots ORDER BY lot_id").fetchall() == before
    with closing(sqlite3.connect(made.output / "tract.gpkg")) as database:
        assert database.execute("SELECT total_cost FROM lots ORDER BY lot_id").fetchall() != before


def test_o18_the_words_of_a_system_that_forbids_it(monkeypatch: pytest.MonkeyPatch) -> None:
    error = OSError(13, "The process cannot access the file")
    error.winerror = 32
    monkeypatch.setattr(publish.sys, "platform", "win32")
    assert publish._reason(error) == "another program holds a file there open: close it"


def test_o20_no_side_file_is_published(made: Made, tmp_path: Path) -> None:
    """No journal beside a published database; one left beside a database that was just written stops the set."""
    assert made.run()[0] == 0
    assert not [f.name for f in made.output.iterdir() if f.name.endswith(("-journal", "-wal", "-shm"))]
    stand_in = results(3)
    path = tmp_path / "tract.gpkg"
    geopackage.write_geopackage(path, stand_in.lots, {})
    for suffix in ("-journal", "-wal", "-shm"):
        beside = tmp_path / f"tract.gpkg{suffix}"
        beside.write_bytes(b"")
        with pytest.raises(OutputError, match=f"tract.gpkg{suffix} was left beside it"):
            geopackage.check_geopackage(path, {"lots": 3})
        beside.unlink()


@pytest.mark.parametrize(
    ("damage", "named"),
    [
        ("DROP TRIGGER rtree_lots_geom_insert", "rtree_lots_geom_insert"),
        ("DELETE FROM rtree_lots_geom WHERE id = 1", "rtree_lots_geom"),
        ("UPDATE gpkg_ogr_contents SET feature_count = NULL", "gpkg_ogr_contents"),
        ("PRAGMA user_version = 0", "user_version"),
        ("DELETE FROM lots WHERE fid = 2", "lots"),
    ],
)
def test_what_a_failing_disk_left_out_of_a_layer_is_noticed(
    damage: str, named: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The library passes over failed writes of indexes, triggers and marks without a word; we do not."""
    real = geopackage._write_layer

    def write_and_damage(path: object, name: str, frame: object) -> None:
        real(path, name, frame)  # type: ignore[arg-type]
        if isinstance(path, Path):
            with closing(sqlite3.connect(path)) as database:
                database.create_function("ST_IsEmpty", 1, lambda _: 0)
                for edge in ("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
                    database.create_function(edge, 1, lambda _: 0.0)
                database.execute(damage)
                database.commit()

    monkeypatch.setattr(geopackage, "_write_layer", write_and_damage)
    with pytest.raises(OutputError, match=f"not all of layer lots reached the disk .*{named}"):
        geopackage.write_geopackage(tmp_path / "tract.gpkg", results(3).lots, {})


def test_a_lock_that_could_not_be_written_is_let_go(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:

        def full(*_: object) -> None:
            raise OSError(28, "No space left on device")

        patch.setattr(publish.os, "pwrite", full)
        assert made.run()[0] == 4
    assert made.run()[0] == 0
    assert made.there() == "new"
