"""Hostile files: each is refused in words or read, within bounds of memory and time, and reaches nothing outside.

`hostile.py` has the attacks, `attacked.py` the bounds: 1 GiB beyond the loaded libraries, 20 s of processor time, no
socket. What C libraries might fetch is watched from the other end: an address that counts its callers, a file outside
whose time of last access must not change.
"""

from __future__ import annotations

import importlib.util
import json
import os
import socket
import subprocess
import sys
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from tests.fuzz.harness import MEMORY_MIB, ROOT
from tests.fuzz.hostile import ATTACKS, Attack

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="bounds by /proc and rlimits of Linux")
LONGEST_MESSAGE = 2000
OWN_CALL = b"our own call"
SECRET = "a secret of this machine"


@dataclass
class Outcome:
    """What every attack did, and what was reached outside."""

    answers: dict[str, dict[str, Any]] = field(default_factory=dict)
    callers: list[Any] = field(default_factory=list)
    secret_read: bool = False
    watched_address: bool = False  # a call of our own was counted
    watched_secret: bool = False  # a reading of our own was noted (not where times of access are off)


def known() -> list[str]:
    return [name for name, attack in ATTACKS.items() if importlib.util.find_spec(attack.needs)]


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    """All attacks, one after another in processes of their own; their files are gone afterwards."""
    folder, result = tmp_path_factory.mktemp("attacks"), Outcome()
    secret = folder / "secret.txt"
    secret.write_text(SECRET, encoding="utf-8")
    os.utime(secret, (1e9, 1.5e9))  # last read before it was written: the next reading is noted even by lazy systems
    with socket.create_server(("127.0.0.1", 0)) as listener:
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        threading.Thread(target=_count, args=(listener, result.callers), daemon=True).start()
        result.answers = _run(folder, address, secret)
        result.watched_address = _is_counted(listener, result.callers)
    result.secret_read = secret.stat().st_atime != 1e9
    secret.read_bytes()
    result.watched_secret = secret.stat().st_atime != 1e9
    return result


def _count(listener: socket.socket, callers: list[Any]) -> None:
    try:
        while True:
            caller, _ = listener.accept()
            callers.append(caller.recv(200))
            caller.close()
    except OSError:
        return


def _is_counted(listener: socket.socket, callers: list[Any]) -> bool:
    """Call the address ourselves: a watch that sees nothing would prove nothing."""
    with socket.create_connection(listener.getsockname()) as call:
        call.sendall(OWN_CALL)
        while call.recv(10):
            pass
    return OWN_CALL in callers


def _run(folder: Path, address: str, secret: Path) -> dict[str, dict[str, Any]]:
    answers = {}
    words = [sys.executable, "-m", "tests.fuzz.attacked", str(folder)]
    with subprocess.Popen(words, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin
        assert process.stdout
        for number, name in enumerate(known()):
            attack = ATTACKS[name]
            place = folder / str(number)
            place.mkdir()
            file = place / attack.file
            data = attack.make().replace(b"@URL@", address.encode()).replace(b"@FILE@", str(secret).encode())
            file.write_bytes(data)
            process.stdin.write(json.dumps({"name": name, "reader": attack.reader, "file": str(file)}) + "\n")
            process.stdin.flush()
            answers[name] = json.loads(process.stdout.readline())
            answers[name]["left"] = sorted(each.name for each in place.iterdir())
            file.unlink()
        process.stdin.close()
    return answers


def test_hostile_files_are_refused_in_words_or_read(outcome: Outcome) -> None:
    """All attacks in one test: they share a process that is loaded once. And nothing outside is reached by any."""
    faults = {name: fault for name in known() if (fault := _fault(outcome.answers[name], ATTACKS[name]))}
    assert faults == {}
    assert max(answer["mib"] for answer in outcome.answers.values()) < MEMORY_MIB + 400, "the bound itself held"
    assert outcome.watched_address
    assert outcome.callers == [OWN_CALL]
    assert not (outcome.watched_secret and outcome.secret_read)


def _fault(answer: dict[str, Any], attack: Attack) -> str:
    """What an answer lacks, "" for a good one."""
    if answer["finding"]:
        return str(answer["finding"])
    if attack.code == "" and answer["codes"]:
        return f"refused: {answer['messages']}"
    if attack.code not in ("", "*", *answer["codes"]):
        return f"not refused with {attack.code}: {answer['messages']}"
    if answer["longest"] > LONGEST_MESSAGE:
        return f"a message of {answer['longest']} characters"
    if any(SECRET in message for message in answer["messages"]):
        return "the secret is told"
    left = set(answer["left"]) - {attack.file, f"{attack.file}.toml"}
    return f"left behind: {left}" if left else ""
