"""The calculation sheet as plain text."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from screener.calculation.sheet import Connection, Demand, Form, OptionRow, Section, Sheet
from screener.derivation import number


def sheet_lines(sheet: Sheet, overview: bool) -> Iterator[str]:
    """The text, line by line; ``overview``: with the list of all connections."""
    yield sheet.caution
    yield sheet.basis
    yield ""
    yield f"Lot {sheet.lot_id} of {sheet.tract}, design by {sheet.design}"
    if sheet.house:
        yield sheet.house
    for section in sheet.sections:
        yield from _section(section)
    if sheet.scope:
        yield from _titled("Scope")
        yield from (f"  {severity:5s} {code}: {detail}. Next: {step}" for severity, code, detail, step in sheet.scope)
    if sheet.no_demands:
        yield from ("", sheet.no_demands)
        return
    if overview:
        yield from _titled(f"Connections ({sheet.package}), by ratio")
        yield from (f"  {r.ratio:6.2f}  {r.name}: {r.demand}; {r.item}" for r in sheet.overview)
    told: set[str] = set()
    for connection in sheet.connections:
        yield from _connection(connection, sheet.resistance)
        new = [one for one in connection.uses if one not in told]
        told.update(new)
        if new:
            yield "  loads behind these numbers:"
            yield from (f"    {line}" for one in new for line in sheet.loads[one].lines())
        if len(new) < len(connection.uses):
            yield "    (steps named here and not printed stand under a connection above)"


def _titled(title: str) -> Iterator[str]:
    yield from ("", title, "-" * len(title))


def _section(section: Section) -> Iterator[str]:
    yield from _titled(section.title)
    for step in section.steps:
        yield from (f"  {line}" for line in step.lines())
    if section.rows:
        yield from (f"  {line}" for line in _table([section.columns, *section.rows]))


def _table(rows: Iterable[Iterable[str]]) -> Iterator[str]:
    cells = [[str(c) for c in row] for row in rows]
    widths = [max(len(row[k]) for row in cells) for k in range(len(cells[0]))]
    yield from ("  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in cells)


def _connection(c: Connection, resistance: str) -> Iterator[str]:
    yield from _titled(c.name)
    yield f"  {c.place}; {c.size}; package line '{c.line}'"
    for step in c.about:
        yield from (f"  {line}" for line in step.lines())
    for d in c.demands:
        if d.demand <= 0:
            total = f"; the largest gives {d.governing_form.total:.1f} {d.unit}: {d.case}" if d.forms else ""
            yield f"  {d.component}: no demand in any case{total}"
            continue
        yield f"  {d.component}: governing case {d.case}"
        yield from _demand(d)
        if d.equal_cases:
            yield f"      {d.equal_cases} more cases give the same"
        yield from (f"      next: {r.value:.1f} in {r.case}" for r in d.runners_up)
    for d in c.together:
        yield f"  {d.component} in the case that gives the ratio: {d.case}"
        yield from _demand(d, governs=False)
    yield from _resistance(c, resistance)


def _demand(d: Demand, governs: bool = True) -> Iterator[str]:
    if d.combination is not None:
        yield f"      combination {d.combination.name}, {d.combination.edition} {d.combination.clause}"
    if len(d.forms) > 1:
        yield "      the lesser of two sums:"
    for form in d.forms:
        yield from _form(d, form, governs)
    if d.dead:
        yield "      dead load counted, before its factor:"
        yield from (f"        {part.line()}" for part in d.dead)


def _form(d: Demand, form: Form, governs: bool) -> Iterator[str]:
    if len(d.forms) > 1:
        yield f"      {form.what}:"
    yield from (f"        {part.line()}" for part in form.parts)
    parts = [
        number(p.factor) if p.what == "constant" else f"{p.factor:.6g} x {p.what} {p.value:.6g}"
        for p in form.coefficients
    ]
    demand = f"; demand {d.demand:.2f}" if governs else ""
    yield f"      batch: {' + '.join(parts) or '0'} = {form.total:.2f}{demand} {d.unit}"


def _resistance(c: Connection, resistance: str) -> Iterator[str]:
    if c.options:
        yield f"  options, cheapest first (ratio = largest over cases of the sum of demand / {resistance}):"
        yield from (_option(o, resistance) for o in c.options)
    for step in c.capacity:
        yield from (f"      {line}" for line in step.lines())
    if c.ratio_step is not None:
        yield from (f"      {line}" for line in c.ratio_step.lines())
        yield f"      margin 1 - ratio = {c.margin:.3f}"
    yield from (f"      note: {note}" for note in c.notes)
    yield from (f"      limit that decided: {limit}" for limit in c.limits)


def _option(o: OptionRow, resistance: str) -> str:
    mark = "->" if o.chosen else "  "
    if o.verdict.startswith(("not usable", "only beside")):
        return f"   {mark} {o.name}: {o.verdict}"
    if math.isinf(o.ratio) and o.verdict == "not enough here":
        return f"   {mark} none: not enough here"
    limits = "; ".join(
        f"{hazard} " + ", ".join(f"{c} {v:.0f}" for c, v in held.items() if math.isfinite(v))
        for hazard, held in o.allowable.items()
        if any(math.isfinite(v) for v in held.values())
    )
    governs = f", {o.case}" if o.case else ""
    held = f"; {resistance} {limits}" if limits else ""
    return f"   {mark} {o.name}: ratio {o.ratio:.3f}{governs}; ${o.cost_usd:,.2f}, {o.verdict}{held}"
