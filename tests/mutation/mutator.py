"""Small wrong versions of a module: one change each, made on its syntax tree.

Changed are: arithmetic and comparison operators, boundaries (< to <=), numbers (5 percent or one up and down), and/or,
not, conditions, which of two values a `where` or a conditional takes, min and max, clips taken away, sine and cosine,
signs, the order of two arguments, and what is returned. Left alone are: texts, annotations, decorators, docstrings,
the words of errors, and keywords that only guard (`strict`, `dtype`).
"""

from __future__ import annotations

import ast
import copy
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

_ARITHMETIC: dict[type, type] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
_COMPARISONS: dict[type, tuple[type, ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}
_SWAPPED_NAMES = {
    "minimum": "maximum",
    "maximum": "minimum",
    "min": "max",
    "max": "min",
    "sin": "cos",
    "cos": "sin",
    "nanmin": "nanmax",
    "argmin": "argmax",
    "floor": "ceil",
    "any": "all",
}
_CLIPS = ("minimum", "maximum", "clip", "abs", "min", "max")
_ORDER_DOES_NOT_MATTER = {
    "minimum",
    "maximum",
    "min",
    "max",
    "hypot",
    "isinstance",
    "broadcast_arrays",
    "where",
    "clip",
}
_GUARDS = {"strict", "dtype"}


@dataclass(frozen=True)
class Mutant:
    """One wrong version: where it is, what was changed, and the whole module's source."""

    function: str
    change: str
    line: int
    source: str

    @property
    def key(self) -> str:
        """Name that stays when lines move."""
        return f"{self.function}: {self.change}"


def mutants_of(source: str) -> list[Mutant]:
    """Every mutant of a module, in the order of its lines; like changes of one function are numbered."""
    tree = ast.parse(source)
    seen: Counter[str] = Counter()
    texts = {ast.unparse(tree)}
    found = []
    for function, path, node in _places(tree, "", ()):
        for change, replacement in _changes(node):
            changed = copy.deepcopy(tree)
            _put(changed, path, replacement)
            try:
                text = ast.unparse(ast.fix_missing_locations(changed))
            except (ValueError, TypeError):
                continue
            if text in texts:  # the same wrong version by another name
                continue
            texts.add(text)
            key = f"{function}: {change}"
            seen[key] += 1
            if seen[key] > 1:
                change = f"{change} (number {seen[key]})"
            found.append(Mutant(function, change, getattr(node, "lineno", 0), text))
    return found


Path = tuple[tuple[str, int | None], ...]


def _places(node: ast.AST, function: str, path: Path) -> Iterator[tuple[str, Path, ast.AST]]:
    """Every node that may be changed, with its function and the way to it."""
    if isinstance(node, ast.Raise | ast.JoinedStr | ast.Import | ast.ImportFrom):
        return
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        function = f"{function}.{node.name}".lstrip(".")
    if path:
        yield function, path, node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "type_params"):
            continue
        if isinstance(node, ast.keyword) and node.arg in _GUARDS:
            continue
        if isinstance(value, list):
            for i, item in enumerate(value):
                if isinstance(item, ast.AST) and not _is_docstring(node, name, i, item):
                    yield from _places(item, function, (*path, (name, i)))
        elif isinstance(value, ast.AST):
            yield from _places(value, function, (*path, (name, None)))


def _is_docstring(node: ast.AST, name: str, i: int, item: ast.AST) -> bool:
    return name == "body" and isinstance(item, ast.Expr) and isinstance(item.value, ast.Constant)


def _put(tree: ast.AST, path: Path, replacement: ast.AST) -> None:
    node = tree
    for name, i in path[:-1]:
        value = getattr(node, name)
        node = value if i is None else value[i]
    name, i = path[-1]
    if i is None:
        setattr(node, name, replacement)
    else:
        getattr(node, name)[i] = replacement


def _changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """What can go wrong at one node: a few words, and the node that takes its place."""
    if isinstance(node, ast.BinOp) and type(node.op) in _ARITHMETIC:
        wrong = ast.BinOp(node.left, _ARITHMETIC[type(node.op)](), node.right)
        yield _said(node, wrong), wrong
    elif isinstance(node, ast.Compare) and len(node.ops) == 1:
        for op in _COMPARISONS[type(node.ops[0])]:
            wrong = ast.Compare(node.left, [op()], node.comparators)
            yield _said(node, wrong), wrong
    elif isinstance(node, ast.Compare):
        for i, old in enumerate(node.ops):
            for op in _COMPARISONS[type(old)]:
                wrong = ast.Compare(node.left, [*node.ops[:i], op(), *node.ops[i + 1 :]], node.comparators)
                yield _said(node, wrong), wrong
    elif isinstance(node, ast.BoolOp):
        wrong = ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        yield _said(node, wrong), wrong
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub | ast.Invert):
        yield _said(node, node.operand), node.operand
    elif isinstance(node, ast.Constant):
        for value in _numbers(node.value):
            yield _said(node, ast.Constant(value)), ast.Constant(value)
    elif isinstance(node, ast.IfExp):
        wrong = ast.IfExp(node.test, node.orelse, node.body)
        yield _said(node, wrong), wrong
    elif isinstance(node, ast.If):
        wrong = ast.If(ast.UnaryOp(ast.Not(), node.test), node.body, node.orelse)
        yield f"if {ast.unparse(node.test)} -> if not", wrong
    elif isinstance(node, ast.Call):
        yield from _calls(node)
    elif isinstance(node, ast.Return) and isinstance(node.value, ast.Tuple) and len(node.value.elts) > 1:
        wrong = ast.Return(ast.Tuple(node.value.elts[::-1], ast.Load()))
        yield _said(node, wrong), wrong
    elif isinstance(node, ast.FunctionDef):
        yield from _returns(node)


def _numbers(value: object) -> tuple[object, ...]:
    if isinstance(value, bool):
        return (not value,)
    if isinstance(value, int):
        return (value + 1, value - 1)
    if isinstance(value, float):
        return (value * 1.05, value * 0.95) if value else (1.0,)
    return ()


def _calls(node: ast.Call) -> Iterator[tuple[str, ast.AST]]:
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    if name in _SWAPPED_NAMES:
        func = copy.copy(node.func)
        if isinstance(func, ast.Attribute):
            func = ast.Attribute(func.value, _SWAPPED_NAMES[name], ast.Load())
        else:
            func = ast.Name(_SWAPPED_NAMES[name], ast.Load())
        wrong = ast.Call(func, node.args, node.keywords)
        yield _said(node, wrong), wrong
    if name in _CLIPS and node.args and not isinstance(node.args[0], ast.Starred | ast.GeneratorExp):
        for arg in node.args if name != "clip" else node.args[:1]:
            if not isinstance(arg, ast.Starred):
                yield _said(node, arg), arg
    if name == "where" and len(node.args) == 3:
        wrong = ast.Call(node.func, [node.args[0], node.args[2], node.args[1]], node.keywords)
        yield _said(node, wrong), wrong
    plain = [a for a in node.args if not isinstance(a, ast.Starred)]
    if name not in _ORDER_DOES_NOT_MATTER and len(plain) >= 2 and plain == node.args:
        for i in range(len(plain) - 1):
            args = [*plain[:i], plain[i + 1], plain[i], *plain[i + 2 :]]
            wrong = ast.Call(node.func, args, node.keywords)
            yield _said(node, wrong), wrong


def _returns(node: ast.FunctionDef) -> Iterator[tuple[str, ast.AST]]:
    """The function gives back its first argument instead of its result."""
    names = [a.arg for a in node.args.args if a.arg not in ("self", "cls")]
    if not names or not any(isinstance(part, ast.Return) and part.value for part in ast.walk(node)):
        return
    wrong = copy.copy(node)
    wrong.body = [ast.Return(ast.Name(names[0], ast.Load()))]
    yield f"returns {names[0]}", wrong


def _said(old: ast.AST, new: ast.AST) -> str:
    return f"{_short(old)} -> {_short(new)}"


def _short(node: ast.AST) -> str:
    text = " ".join(ast.unparse(ast.fix_missing_locations(copy.deepcopy(node))).split())
    return text if len(text) <= 90 else f"{text[:60]}...{text[-27:]}"
