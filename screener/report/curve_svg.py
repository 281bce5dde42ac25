"""The cost curve as SVG: least cost against the number of packages allowed."""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Mapping
from typing import Any

from screener.report.text import cents_as_dollars, counted

WIDTH, HEIGHT = 640, 300
_LEFT, _RIGHT, _TOP, _BOTTOM = 84, 24, 24, 46


def curve_rows(packages: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The curve as table rows: packages, cost, least possible, proven, lots left over, saved by one more package."""
    rows, before = [], None
    for point in packages.get("curve") or []:
        cost = point.get("cost_cents")
        rows.append(
            {
                "most": point["most"],
                "cost": cents_as_dollars(cost),
                "bound": cents_as_dollars(point.get("lower_bound_cents")),
                "proven": "yes" if point.get("proven") else "no",
                "left": point.get("lots_unserved", 0),
                "saved": cents_as_dollars(before - cost) if before is not None and cost is not None else "–",
            }
        )
        before = cost
    return rows


def cost_curve(packages: Mapping[str, Any], chosen: int | None) -> str:
    """An SVG of the curve, blank where there is none. The count in use is ringed; unproven costs show their bound."""
    points = packages.get("curve") or []
    costs = [p["cost_cents"] for p in points if p.get("cost_cents") is not None]
    if len(costs) < 2:
        return ""
    own = packages.get("every_lot_its_own_cents")
    bounds = [p["lower_bound_cents"] for p in points if p.get("cost_cents") is not None and not p.get("proven")]
    low, high, step = _axis(min([*costs, *bounds, *([own] if own else [])]), max(costs))
    first, last = int(points[0]["most"]), int(points[-1]["most"])

    def x(most: float) -> float:
        return _LEFT + 26 + (WIDTH - _LEFT - _RIGHT - 52) * (most - first) / max(last - first, 1)

    def y(cents: float) -> float:
        return _TOP + (HEIGHT - _TOP - _BOTTOM) * (high - cents) / (high - low)

    out = [_gridline(y(v), cents_as_dollars(v)) for v in range(low, high + 1, step)]
    if own:
        out.append(f'<path class="own" d="M{_LEFT} {y(own):.1f}H{WIDTH - _RIGHT}"/>')
        out.append(f'<text class="tag" x="{_LEFT + 6}" y="{y(own) - 6:.1f}">')
        out.append("every lot on its own</text>")
    served = [p for p in points if p.get("cost_cents") is not None]
    line = "L".join(f"{x(p['most']):.1f} {y(p['cost_cents']):.1f}" for p in served)
    out.append(f'<path class="line" d="M{line}"/>')
    for p in points:
        out.append(_point(p, x(p["most"]), y, p["most"] == chosen))
    axis = "most packages allowed; costs of material and labour; the scale does not begin at zero"
    out.append(f'<text x="{(_LEFT + WIDTH - _RIGHT) / 2:.0f}" y="{HEIGHT - 6}" text-anchor="middle">{axis}</text>')
    return f'<svg class="curve" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="Cost curve">{"".join(out)}</svg>'


def _gridline(y: float, words: str) -> str:
    return (
        f'<path class="grid" d="M{_LEFT} {y:.1f}H{WIDTH - _RIGHT}"/>'
        f'<text x="{_LEFT - 8}" y="{y + 4:.1f}" text-anchor="end">{html.escape(words)}</text>'
    )


def _point(p: Mapping[str, Any], x: float, y: Callable[[float], float], chosen: bool) -> str:
    tick = f'<text x="{x:.1f}" y="{HEIGHT - _BOTTOM + 20}" text-anchor="middle">{int(p["most"])}</text>'
    if p.get("cost_cents") is None:
        left = int(p.get("lots_unserved", 0))
        words = f"{counted(left, 'lot')} left over"
        inside = min(max(x, _LEFT + 62), WIDTH - _RIGHT - 62)
        return f'{tick}<text class="tag" x="{inside:.1f}" y="{_TOP + 12}" text-anchor="middle">{words}</text>'
    at = y(p["cost_cents"])
    bar = ""
    if not p.get("proven"):
        bar = f'<path class="bound" d="M{x:.1f} {at:.1f}V{y(p["lower_bound_cents"]):.1f}m-6 0h12"/>'
    ring = f'<circle class="ring" cx="{x:.1f}" cy="{at:.1f}" r="11"/>' if chosen else ""
    kind = "proven" if p.get("proven") else "open"
    return f'{tick}{bar}{ring}<circle class="{kind}" cx="{x:.1f}" cy="{at:.1f}" r="5.5"/>'


def _axis(low: int, high: int) -> tuple[int, int, int]:
    """Round ends and step of the axis, in cents."""
    span = max(high - low, 100)
    power = 10 ** math.floor(math.log10(span / 4))
    step = int(next(m * power for m in (1, 2, 5, 10) if m * power >= span / 4))
    bottom = max(low - span // 10, 0) // step * step
    return bottom, -(-(high + span // 20) // step) * step, step
