"""Values of a finished stage as bytes and back: JSON for the structure, NumPy's own format for arrays. Nothing is run.

Reading builds plain values, arrays of numbers and texts, and data classes out of a closed list that the caller gives.
Arrays of objects are refused (`allow_pickle=False`). Numbers come back bit for bit: JSON holds the shortest text that
reads as the same float, arrays hold their bytes. An object that stands in several places comes back as one object.
"""

from __future__ import annotations

import dataclasses
import io
import json
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

_KINDS = "biufU"  # booleans, integers, floats, texts
_PLAIN = (bool, int, float, str)


class NotPlainError(Exception):
    """A value that can't be kept, or bytes that are no kept value."""


def to_bytes(value: Any, classes: Sequence[type[Any]] = ()) -> bytes:
    """A value of plain values, arrays and these data classes. Raises NotPlainError for anything else."""
    packer = _Packer(classes)
    tree = packer.pack(value)
    text = np.frombuffer(json.dumps(tree, ensure_ascii=True).encode(), dtype=np.uint8)
    out = io.BytesIO()
    arrays: dict[str, Any] = {"tree": text, **{f"a{n}": array for n, array in enumerate(packer.arrays)}}
    np.savez(out, **arrays)
    return out.getvalue()


def from_bytes(content: bytes, classes: Sequence[type[Any]] = ()) -> Any:
    """The value again. Raises NotPlainError where the bytes are not what `to_bytes` makes."""
    try:
        with np.load(io.BytesIO(content), allow_pickle=False) as stored:
            tree = json.loads(stored["tree"].tobytes())
            arrays = [stored[f"a{n}"] for n in range(len(stored.files) - 1)]
        return _Unpacker(classes, arrays).unpack(tree)
    except (ValueError, TypeError, KeyError, IndexError, OSError, EOFError, zipfile.BadZipFile) as error:
        raise NotPlainError(f"not a kept value: {error}") from error


class _Packer:
    def __init__(self, classes: Sequence[type[Any]]) -> None:
        self.classes = tuple(classes)
        self.arrays: list[np.ndarray[Any, Any]] = []
        self._seen: dict[int, tuple[int, Any]] = {}  # id -> (number, the object, so that its id stays its own)

    def pack(self, value: Any) -> Any:
        if isinstance(value, np.generic):
            return {"scalar": self._array(np.asarray(value))}
        if value is None or isinstance(value, _PLAIN):
            return {"float": repr(float(value))} if isinstance(value, float) else value
        if id(value) in self._seen:
            return {"same": self._seen[id(value)][0]}
        self._seen[id(value)] = (len(self._seen), value)
        if isinstance(value, np.ndarray):
            return {"array": self._array(value)}
        if isinstance(value, list):
            return [self.pack(v) for v in value]
        if type(value) is tuple:
            return {"tuple": [self.pack(v) for v in value]}
        if isinstance(value, Mapping):
            return {"dict": [[self.pack(k), self.pack(v)] for k, v in value.items()]}
        if type(value) in self.classes:
            names = [f.name for f in dataclasses.fields(value)]
            return {"class": type(value).__name__, "fields": {n: self.pack(getattr(value, n)) for n in names}}
        raise NotPlainError(f"a {type(value).__name__} can't be kept")

    def _array(self, array: np.ndarray[Any, Any]) -> int:
        if array.dtype.kind not in _KINDS:
            raise NotPlainError(f"an array of {array.dtype} can't be kept")
        self.arrays.append(array)
        return len(self.arrays) - 1


class _Unpacker:
    def __init__(self, classes: Sequence[type[Any]], arrays: list[Any]) -> None:
        self.classes = {c.__name__: c for c in classes}
        self.arrays = arrays
        self._made: dict[int, Any] = {}
        self._count = 0

    def unpack(self, tree: Any) -> Any:
        if tree is None or isinstance(tree, _PLAIN):
            return tree
        if isinstance(tree, dict):
            if "float" in tree:
                return float(tree["float"])
            if "scalar" in tree:
                return self.arrays[tree["scalar"]][()]
            if "same" in tree:
                return self._made[tree["same"]]
        number, self._count = self._count, self._count + 1
        self._made[number] = made = self._build(tree)
        return made

    def _build(self, tree: Any) -> Any:
        if isinstance(tree, list):
            return [self.unpack(v) for v in tree]
        if "array" in tree:
            return self.arrays[tree["array"]]
        if "tuple" in tree:
            return tuple(self.unpack(v) for v in tree["tuple"])
        if "dict" in tree:
            return {self.unpack(k): self.unpack(v) for k, v in tree["dict"]}
        made = self.classes[tree["class"]]
        return made(**{str(name): self.unpack(v) for name, v in tree["fields"].items()})
