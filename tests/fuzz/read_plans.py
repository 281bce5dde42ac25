"""A plan library of one plan (TOML)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel

from hazard.issues import Issue
from screener.plan_files import load_plans
from screener.plans import Plan
from tests.fuzz import mutators, seeds
from tests.fuzz.harness import Reader, folder

PLANS = ("anvil", "kettle", "ladder", "lantern", "thimble")


@cache
def place() -> Path:
    return folder("plans")


def read(data: bytes) -> Iterable[Issue]:
    """The library, as a run reads it."""
    (place() / "plan.toml").write_bytes(data)
    plans = load_plans(place())
    assert plans, "no plan and no reason"
    return []


def _seeds() -> list[bytes]:
    return [seeds.PLAN, *(seeds.sample(f"plans/{name}.toml") for name in PLANS)]


def _keys(model: type[BaseModel], known: set[str]) -> Iterator[str]:
    for name, field in model.model_fields.items():
        key = str(field.alias or name)
        if key in known:
            continue
        known.add(key)
        yield key
        for inner in _models(field.annotation):
            yield from _keys(inner, known)


def _models(kind: Any) -> Iterator[type[BaseModel]]:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield kind
    for inner in get_args(kind):
        yield from _models(inner)


def _words() -> Iterator[str]:
    for key in _keys(Plan, set()):
        yield from (f"{key} = ", f"[[{key}]]\n", f"[{key}]\n")


WORDS = (*mutators.words("toml"), *(word.encode() for word in _words()))
READER = Reader("plans", read, ("plan.toml",), _seeds, WORDS, mutators.of_text(WORDS, _seeds))
