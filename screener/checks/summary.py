"""Checks by source: how many, the worst difference, whether they hold."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from screener.checks.rows import OBTAINED, Check, Source, Status


@dataclass(frozen=True)
class SourceSummary:
    """The checks of one place in one document, obtained one way."""

    source: Source
    checks: int
    known: int
    outside: int
    worst: str
    """The worst difference among those that hold, with what was allowed."""
    known_range: str
    """The range of the known differences, in percent or in their unit."""

    @property
    def verdict(self) -> str:
        """One word for a table."""
        if self.outside:
            return f"{self.outside} OUTSIDE"
        return f"{self.known} known difference{'s' if self.known > 1 else ''}" if self.known else "within precision"


def by_source(checks: Iterable[Check]) -> list[SourceSummary]:
    """A summary for each source, by document, edition and place, in the order met first."""
    groups: dict[Source, list[Check]] = {}
    for check in checks:
        groups.setdefault(check.source, []).append(check)
    ordered = sorted(groups.items(), key=lambda item: (item[0].document, item[0].edition, item[0].place))
    return [_summary(source, members) for source, members in ordered]


def _summary(source: Source, members: list[Check]) -> SourceSummary:
    known = [c for c in members if c.status is Status.KNOWN]
    return SourceSummary(
        source,
        len(members),
        len(known),
        sum(c.status is Status.OUTSIDE for c in members),
        _worst([c for c in members if c.status is Status.WITHIN]),
        _range(known),
    )


def short(value: float) -> str:
    """A number to two digits, so that different machines print the same; nothing below a millionth."""
    return "0" if abs(value) < 5e-7 else f"{Decimal(f'{value:.2g}'):f}"


def _worst(members: list[Check]) -> str:
    """The difference that comes nearest to what is allowed."""
    allowed = [c for c in members if c.within > 1e-6 and not isinstance(c.published, str)]
    if not allowed:
        return "none" if members else ""
    worst = max(allowed, key=lambda c: round(abs(c.difference) / c.within, 3))
    unit = f" {worst.unit}" if worst.unit else ""
    return f"{short(abs(worst.difference))} of {short(worst.within)}{unit}"


def _range(known: list[Check]) -> str:
    percents = [c.percent for c in known if math.isfinite(c.percent)]
    if not percents:
        return "answers differ" if known else ""
    low, high = f"{min(percents):+.1f}", f"{max(percents):+.1f}"
    return f"{low} %" if low == high else f"{low} to {high} %"


def totals(checks: Iterable[Check]) -> dict[str, int]:
    """How many checks, how many obtained each way, how many hold each way."""
    rows = list(checks)
    counts = {"checks": len(rows)}
    counts |= {how: sum(c.source.obtained == how for c in rows) for how in OBTAINED}
    return counts | {status.value: sum(c.status is status for c in rows) for status in Status}


def reasons(checks: Iterable[Check]) -> list[tuple[Source, str, int, str]]:
    """The known differences by source and reason: how many, and their range."""
    groups: dict[tuple[Source, str], list[Check]] = {}
    for check in checks:
        if check.status is Status.KNOWN and check.known:
            groups.setdefault((check.source, check.known.reason), []).append(check)
    ordered = sorted(groups.items(), key=lambda item: (item[0][0].document, item[0][0].edition, item[0][0].place))
    return [(source, reason, len(members), _range(members)) for (source, reason), members in ordered]


def as_record(check: Check, subject: str) -> Mapping[str, object]:
    """One check for machines; a value that is not there is None."""
    source = check.source
    return {
        "subject": subject,
        "document": source.document,
        "edition": source.edition,
        "place": source.place,
        "obtained": source.obtained,
        "what": check.what,
        "unit": check.unit,
        "published": _finite(check.published),
        "ours": _finite(check.ours),
        "within": check.within,
        "difference": _finite(check.difference),
        "status": check.status.value,
        "reason": check.known.reason if check.known and check.status is Status.KNOWN else "",
    }


def _finite(value: float | str) -> float | str | None:
    return value if isinstance(value, str) or math.isfinite(value) else None
