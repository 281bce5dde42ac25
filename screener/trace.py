"""What an effect is made of, kept beside its numbers while statics runs.

A traced effect is an array that remembers the sums and scalings it came from, down to items that the statics names
where it computes them (``named``). Numbers are those of the array itself, so a derivation read from the trace can't
differ from the effect. Plain arrays stay plain: the batch runs without a trace, one house of one lot with it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Values = Mapping[str, float | str]

UNNAMED = "part that the statics does not name"


@dataclass(eq=False)
class Mix:
    """A weighted sum of nodes; a weight is one number, or one for each row of the effect."""

    parents: tuple[tuple[Node, float | Floats], ...] = ()


@dataclass(eq=False)
class Item:
    """An effect with a name: how it is computed, its rows, and what it is made of (``of`` None: it starts here).

    ``states``: for each row, the values that entered it, in words.
    """

    what: str
    value: Floats
    of: Mix | Item | Place | None = None
    formula: str = ""
    values: Values = field(default_factory=dict)
    unit: str = ""
    source: str = ""
    states: Sequence[str] = ()
    _parts: dict[int, list[Term]] = field(default_factory=dict, repr=False)
    _leaves: dict[int, list[Term]] = field(default_factory=dict, repr=False)

    def parts(self, row: int) -> list[Term]:
        """What it is made of in one load state, worked out once; empty where it starts."""
        if self.of is None:
            return []
        if row not in self._parts:
            self._parts[row] = terms_of(self.of, row)
        return self._parts[row]

    def leaves(self, row: int) -> list[Term]:
        """The items at which it starts in one load state, with their weights through all that lies between."""
        if row not in self._leaves:
            below = self.parts(row)
            out: dict[int, list[Any]] = {} if below else {id(self): [self, "", 1.0]}
            for part in below:
                for leaf in part.item.leaves(row):
                    held = out.setdefault(id(leaf.item), [leaf.item, leaf.where or part.where, 0.0])
                    held[2] += part.weight * leaf.weight
            self._leaves[row] = [Term(*held) for held in out.values()]
        return self._leaves[row]

    def at(self, row: int, basis: Floats) -> float:
        """Number of one load state (row) for one lot's hazard numbers, in the item's unit."""
        return float(self.value[row] @ basis) if row < len(self.value) else 0.0

    def state(self, row: int) -> str:
        return self.states[row] if row < len(self.states) else ""


@dataclass(eq=False)
class Place:
    """An item where it lies on a line of load."""

    of: Item
    where: str


Node = Mix | Item | Place


class Traced(np.ndarray[Any, np.dtype[np.float64]]):
    """An effect that keeps its node through sums and scalings; any other operation gives a plain array."""

    node: Node | None = None

    def __array_finalize__(self, obj: object) -> None:
        self.node = None

    def __setitem__(self, key: Any, value: Any) -> None:
        super().__setitem__(key, value)
        self.node = None

    def copy(self, order: Any = "C") -> Traced:
        out = super().copy(order)
        out.node = self.node
        return out

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Any, **kwargs: Any) -> Any:
        node = _combined(ufunc, inputs) if method == "__call__" else None
        into = kwargs.get("out")
        if into is not None:
            kwargs["out"] = tuple(_plain(o) for o in into)
        result = getattr(ufunc, method)(*(_plain(x) for x in inputs), **kwargs)
        if into is not None and isinstance(into[0], Traced):
            into[0].node = node
            return into[0]
        return result if node is None else _with(result, node)


def trace(effect: Floats) -> Traced:
    """The same numbers, remembered from here on."""
    out = np.array(effect, dtype=np.float64).view(Traced)
    out.node = None if np.any(out) else Mix()
    return out


def named(
    effect: Floats,
    what: str,
    formula: str = "",
    values: Values | None = None,
    unit: str = "",
    source: str = "",
    states: Sequence[str] = (),
) -> Floats:
    """The same effect under a name, with what it was made of behind it; a plain array is returned as it is."""
    if not isinstance(effect, Traced):
        return effect
    node = effect.node
    value = np.array(effect, dtype=np.float64)
    return _with(value, Item(what, value.copy(), node, formula, dict(values or {}), unit, source, states))


def placed(effect: Floats, where: str) -> Floats:
    """The same effect with its place on a line; a plain array is returned as it is."""
    if not isinstance(effect, Traced):
        return effect
    return _with(np.array(effect, dtype=np.float64), _at(node_of(effect), effect, where))


def _at(node: Node, effect: Floats, where: str) -> Node:
    """A node with its place: a sum of items places each of them, a longer sum becomes an item."""
    if isinstance(node, Item):
        return Place(node, where)
    if isinstance(node, Place):
        return Place(node.of, where)
    if any(isinstance(parent, Mix) for parent, _ in node.parents):
        return Place(Item("load", np.array(effect, dtype=np.float64), node), where)
    return Mix(tuple((_at(parent, effect, where), weight) for parent, weight in node.parents))


def node_of(effect: Floats) -> Node:
    """The node of an effect; an effect without one starts an item without a name."""
    node = effect.node if isinstance(effect, Traced) else None
    if node is None:
        node = Item(UNNAMED, np.array(effect, dtype=np.float64))
        if isinstance(effect, Traced):
            effect.node = node
    return node


def states_of(effect: Floats) -> list[str]:
    """What entered each row of a named effect, in words; empty for a plain array."""
    node = effect.node if isinstance(effect, Traced) else None
    node = node.of if isinstance(node, Place) else node
    return list(node.states) if isinstance(node, Item) else []


@dataclass(frozen=True)
class Term:
    """One part of an effect in one load state: ``weight`` times the item."""

    item: Item
    where: str
    weight: float


def terms_of(node: Node, row: int) -> list[Term]:
    """The items that a node is made of in one load state, in the order in which they joined, with their weights."""
    weights: dict[int, float] = {id(node): 1.0}
    ends: dict[tuple[int, str], list[Any]] = {}
    for one in _downward(node):
        weight = weights.get(id(one), 0.0)
        if isinstance(one, Mix):
            for parent, share in one.parents:
                # weights of wind states alone reach no further than these: beyond, nothing of the parent is there
                factor = share if isinstance(share, float) else float(share[row]) if row < len(share) else 0.0
                weights[id(parent)] = weights.get(id(parent), 0.0) + weight * factor
        else:
            item, where = (one.of, one.where) if isinstance(one, Place) else (one, "")
            held = ends.setdefault((id(item), where), [item, where, 0.0])
            held[2] += weight
    return [Term(*held) for held in ends.values() if held[2] != 0.0]


def _downward(root: Node) -> list[Node]:
    """Every node under a root, each after all that use it; named ones end the walk (but not the root's own sum)."""
    order: list[Node] = []
    seen: set[int] = set()
    stack: list[tuple[Node, bool]] = [(root, False)]
    while stack:
        node, done = stack.pop()
        if done:
            order.append(node)
            continue
        if id(node) in seen:
            continue
        seen.add(id(node))
        stack.append((node, True))
        if isinstance(node, Mix):
            stack += [(parent, False) for parent, _ in node.parents if id(parent) not in seen]
    return order[::-1]


def _combined(ufunc: np.ufunc, inputs: tuple[Any, ...]) -> Node | None:
    if ufunc in (np.add, np.subtract):
        second = 1.0 if ufunc is np.add else -1.0
        pairs = [(inputs[0], 1.0), (inputs[1], second)]
        nodes = [(node_of(x), w) for x, w in pairs if isinstance(x, Traced) or np.any(x)]
        return Mix(tuple((n, w) for n, w in nodes if not (isinstance(n, Mix) and not n.parents)))
    if ufunc is np.negative:
        return Mix(((node_of(inputs[0]), -1.0),))
    if ufunc in (np.multiply, np.true_divide):
        a, b = inputs
        if isinstance(a, Traced) and isinstance(b, Traced):
            return None
        effect, factor = (a, b) if isinstance(a, Traced) else (b, a)
        if ufunc is np.true_divide and effect is b:
            return None
        weight = _weight(factor, effect)
        if weight is None:
            return None
        return Mix(((node_of(effect), 1.0 / weight if ufunc is np.true_divide else weight),))
    return None


def _weight(factor: Any, effect: Traced) -> float | Floats | None:
    """A factor as one number, or as one for each row; None where it differs from column to column."""
    array = np.asarray(factor, dtype=np.float64)
    if array.ndim == 0:
        return float(array)
    if array.shape == (effect.shape[0], 1):
        return array[:, 0].copy()
    return None


def _plain(x: Any) -> Any:
    return x.view(np.ndarray) if isinstance(x, Traced) else x


def _with(array: Any, node: Node) -> Traced:
    out: Traced = np.asarray(array, dtype=np.float64).view(Traced)
    out.node = node
    return out
