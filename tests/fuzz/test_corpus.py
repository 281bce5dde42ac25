"""What once was a finding of the fuzzer stays mended; and the fuzzer's own seeds are good inputs. No fuzzer needed."""

from __future__ import annotations

from pathlib import Path

import pytest

from hazard.issues import InputError, Issue
from tests.fuzz.harness import Reader, corpus, judge, thorough
from tests.fuzz.mutators import text
from tests.fuzz.readers import NAMES, reader

LONG_CELL = b"1" * 140_000  # longer than the CSV module's limit
LONG = {
    "tables": [
        b"\x01code,roughness\n" + LONG_CELL + b",C\n",
        b"\x02tier,schedule,item,arrangement\nT1," + LONG_CELL + b"\n",
        b"\x03item,quantity\n" + LONG_CELL + b",1\n",
    ]
}


@pytest.fixture(autouse=True)
def _whole() -> None:
    thorough()


@pytest.mark.parametrize("name", NAMES)
def test_seeds_are_read_without_a_stop(name: str) -> None:
    """A harness that refuses every input would find nothing."""
    target = reader(name)
    for seed in target.seeds():
        assert [issue.message() for issue in target.read(seed)] == []


KEPT = [file for name in NAMES for file in corpus(name)]


@pytest.mark.parametrize("file", KEPT, ids=lambda file: f"{file.parent.name}-{file.name}")
def test_what_was_found_stays_mended(file: Path) -> None:
    finding = judge(reader(file.parent.name), file.read_bytes())
    assert finding is None, finding.text


@pytest.mark.parametrize("name", LONG)
def test_cells_beyond_the_limit_of_the_csv_module(name: str) -> None:
    for data in LONG[name]:
        assert judge(reader(name), data) is None


@pytest.mark.parametrize("name", NAMES)
def test_the_same_seed_gives_the_same_mutation(name: str) -> None:
    """So that a run can be repeated; and mutations differ from what they start from."""
    target = reader(name)
    start = target.seeds()[0]
    made = [[target.mutate(start, 4096, number, lambda data, largest: data) for number in range(30)] for _ in range(2)]
    assert made[0] == made[1]
    assert sum(each != start for each in made[0]) > 10
    assert all(len(each) <= 4096 for each in made[0])


def test_the_harness_tells_a_finding_from_a_refusal() -> None:
    """Each kind of misbehaviour that can be seen without a clock."""

    def read(data: bytes) -> list[Issue]:
        if data == b"refused":
            raise InputError(Issue("x", "stop", "a.csv row 1", "wrong", "right"))
        if data == b"nameless":
            raise InputError(Issue("x", "stop", "somewhere", "wrong", "right"))
        if data == b"silent":
            raise InputError([])
        if data == b"broken":
            raise KeyError("x")
        return []

    target = Reader("x", read, ("a.csv",), list, (), lambda data, largest, seed, own: data)
    keys = {data: judge(target, data) for data in (b"good", b"refused", b"nameless", b"silent", b"broken")}
    assert keys[b"good"] is None
    assert keys[b"refused"] is None
    assert {data for data, finding in keys.items() if finding} == {b"nameless", b"silent", b"broken"}
    assert keys[b"broken"] is not None
    assert keys[b"broken"].key.startswith("KeyError")


def test_mutations_put_in_words_and_numbers_of_the_format() -> None:
    made = [text(b"a = 1\nb = 2\n", 400, number, [b"ZZZ"], [b"c = 3\n"], lambda data, _: data) for number in range(200)]
    assert any(b"ZZZ" in each for each in made)
    assert any(b"9223372036854775808" in each for each in made)
    assert any(b"c = 3" in each for each in made)
