"""Pictures of one lot's wind: the terrain profile along one wind direction, and the exposure by direction.

Plain SVG with its own colours and units on the page, and the numbers behind the profile as CSV. What is drawn is read
from the run's own arrays.
"""

from __future__ import annotations

import html
import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from screener.files.manifest import CAUTION

if TYPE_CHECKING:
    from hazard.topography import Profile
    from screener.site_hazards import SiteHazards

COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
INK, FAINT, RULE, PAPER = "#22302b", "#6a7771", "#d5dbd6", "#fbfaf6"
GROUND, MARK, LOT = "#cfd8c4", "#a3471f", "#1f5f7a"
LETTER_FILL = {"B": "#8fae84", "C": "#e3c27e", "D": "#7fa9c4", "?": "#d9d4d9"}
LETTER_WORDS = {"B": "B, rough: town, woods", "C": "C, open", "D": "D, water upwind", "?": "not known"}
RINGS_FT = (600.0, 1500.0, 2600.0)
ROSE_REACH_FT = 3000.0
PROFILE_W, PROFILE_H = 960, 470
LEAST_RELIEF_FT = 60.0
ROSE_W, ROSE_H = 760, 720


def pictures_of_lot(site: SiteHazards, place: int, way: int | None, tract: str) -> dict[str, str]:
    """Files of one lot, name -> content: profile (SVG and CSV) and exposure rose, as far as the run has them."""
    made: dict[str, str] = {}
    lot = str(site.points.lot_id[place])
    if site.terrain is not None:
        k = profile_direction(site, place) if way is None else way
        letter = str(site.terrain.letters[place, k])
        z = float(site.terrain.z_ft[place])
        profile = site.terrain.result.profile(place, k, z, letter)
        stem = f"profile-from-{22.5 * k:g}"
        made[f"{stem}.csv"] = profile_csv(profile)
        made[f"{stem}.svg"] = profile_svg(profile, lot, tract, z, letter, _kzt_words(site, place, k, z, letter))
    if site.exposure is not None:
        made["exposure.svg"] = rose_svg(site, place, lot, tract)
    return made


def profile_direction(site: SiteHazards, place: int) -> int:
    """The direction to look at first: that of the governing feature, else of the greatest pressure, else north."""
    assert site.terrain is not None
    k = int(site.terrain.assessment.governing_direction[place])
    return k if k >= 0 else max(int(site.envelope_direction[place]), 0)


def _kzt_words(site: SiteHazards, place: int, k: int, z_ft: float, letter: str) -> str:
    """Kzt of this direction in words, with the condition that decides."""
    assert site.terrain is not None
    seen = site.terrain.assessment
    screening, strict = float(seen.kzt_screening[place, k]), float(seen.kzt_strict[place, k])
    if math.isnan(screening):
        return "Kzt not known: ground or exposure is missing in this direction"
    words = f"Kzt {screening:.2f} at {z_ft:.1f} ft in exposure {letter}"
    if strict < screening:
        words += f" ({strict:.2f} with the isolation conditions of 26.8.1)"
    margin, of = float(seen.condition_margin[place, k]), str(seen.condition_of[place, k])
    if of and margin < 0:
        words += f"; misses the condition on {of} by {-100 * margin:.0f} %"
    elif of and screening > 1.0:
        words += f"; nearest condition {of}, met by {100 * margin:.0f} %"
    return words


# --- profile ------------------------------------------------------------------------------------------------------


def profile_marks(profile: Profile) -> list[tuple[str, float, float]]:
    """Named places on a profile: (name, distance, elevation), from upwind to downwind."""
    lot_ft = float(np.interp(0.0, profile.distance_ft, profile.elevation_ft))
    marks = [("lot", 0.0, lot_ft)]
    if profile.form:
        half = profile.base_elevation_ft + profile.height_ft / 2.0
        marks += [
            ("foot", profile.foot_distance_ft, profile.base_elevation_ft),
            ("half height", profile.half_height_distance_ft, half),
            ("crest", profile.crest_distance_ft, profile.crest_elevation_ft),
        ]
    return sorted(marks, key=lambda mark: mark[1])


def profile_csv(profile: Profile) -> str:
    """Distance and elevation in ft, one row a sample, and a row for each marked place; ready to plot."""
    rows = [(float(d), float(e), "") for d, e in zip(profile.distance_ft, profile.elevation_ft, strict=True)]
    rows += [(distance, elevation, name) for name, distance, elevation in profile_marks(profile)]
    rows.sort(key=lambda row: (row[0], row[2]))
    lines = [f"{d:.1f},{'' if math.isnan(e) else format(e, '.2f')},{mark}" for d, e, mark in rows]
    return "distance_ft,ground_ft,mark\n" + "\n".join(lines) + "\n"


def profile_svg(profile: Profile, lot: str, tract: str, z_ft: float, letter: str, words: str) -> str:
    """The ground along the wind, from upwind (left) to downwind, with H, Lh and x as they were measured."""
    k = profile.direction
    title = f"Lot {lot}: ground along the wind from {profile.bearing_deg:g}° ({COMPASS[k]})"
    body = [_text(28, 34, title, 19, INK, weight=600), _text(28, 56, words, 13, INK)]
    known = np.isfinite(profile.elevation_ft)
    if known.sum() < 2:
        body.append(_text(PROFILE_W / 2, PROFILE_H / 2, "The ground is not known along this line.", 15, MARK, "middle"))
        return _page(PROFILE_W, PROFILE_H, title, body, tract)
    low_x, high_x = _stretch(profile, known)
    frame = _Frame(profile, low_x, high_x, z_ft)
    body += list(frame.axes())
    body += list(frame.ground())
    if profile.form:
        slope = profile.height_ft / profile.half_length_ft
        numbers = (
            f"{profile.form}: H {profile.height_ft:,.0f} ft, Lh {profile.half_length_ft:,.0f} ft, H/Lh {slope:.2f}, "
            f"x {profile.x_ft:+,.0f} ft (positive: lot downwind of the crest)"
        )
        body.append(_text(28, 75, numbers, 13, FAINT))
        body += list(frame.feature())
    else:
        body.append(_text(28, 75, "No ridge, escarpment or hill that comes near to counting.", 13, FAINT))
    body += list(frame.lot())
    return _page(PROFILE_W, PROFILE_H, title, body, tract)


def _stretch(profile: Profile, known: np.ndarray) -> tuple[float, float]:
    """The part of the line to show: feature and lot with air around them; all of it where there is no feature."""
    first, last = profile.distance_ft[known][[0, -1]]
    if not profile.form:
        return float(first), float(last)
    ends = [0.0, profile.crest_distance_ft, profile.foot_distance_ft, profile.half_height_distance_ft]
    air = max(600.0, 0.35 * (max(ends) - min(ends)))
    return max(float(first), min(ends) - air), min(float(last), max(ends) + air)


class _Frame:
    """A profile's plot: feet to page units, and the pieces drawn on it."""

    left, right, top, bottom = 84.0, PROFILE_W - 40.0, 118.0, PROFILE_H - 78.0

    def __init__(self, profile: Profile, low_x: float, high_x: float, z_ft: float) -> None:
        self.p, self.low_x, self.high_x, self.z_ft = profile, low_x, high_x, z_ft
        shown = np.isfinite(profile.elevation_ft) & (profile.distance_ft >= low_x) & (profile.distance_ft <= high_x)
        self.d, self.e = profile.distance_ft[shown], profile.elevation_ft[shown]
        heights = [*self.e, *(mark[2] for mark in profile_marks(profile)), self._lot_ft() + z_ft]
        low, high = float(np.nanmin(heights)), float(np.nanmax(heights))
        air = max(0.12 * (high - low), (LEAST_RELIEF_FT - (high - low)) / 2.0)
        self.low_y, self.high_y = low - air, high + air

    def _lot_ft(self) -> float:
        return float(np.interp(0.0, self.p.distance_ft, self.p.elevation_ft))

    def x(self, distance_ft: float) -> float:
        return self.left + (distance_ft - self.low_x) / (self.high_x - self.low_x) * (self.right - self.left)

    def y(self, elevation_ft: float) -> float:
        return self.bottom - (elevation_ft - self.low_y) / (self.high_y - self.low_y) * (self.bottom - self.top)

    def axes(self) -> Iterator[str]:
        for value in _ticks(self.low_y, self.high_y, 5):
            yield _line(self.left, self.y(value), self.right, self.y(value), RULE)
            yield _text(self.left - 8, self.y(value) + 4, f"{value:,.0f}", 12, FAINT, "end")
        for value in _ticks(self.low_x, self.high_x, 8):
            yield _line(self.x(value), self.bottom, self.x(value), self.bottom + 5, FAINT)
            yield _text(self.x(value), self.bottom + 20, f"{value:,.0f}", 12, FAINT, "middle")
        tall = (self.bottom - self.top) / (self.high_y - self.low_y)
        wide = (self.right - self.left) / (self.high_x - self.low_x)
        words = f"distance from the lot along the wind, ft; heights are drawn {tall / wide:.0f} times too large"
        yield _text((self.left + self.right) / 2, self.bottom + 38, words, 12, FAINT, "middle")
        yield _text(self.left - 8, self.top - 10, "ft", 12, FAINT, "end")
        yield _arrow(self.left + 6, self.top - 14, self.left + 62, self.top - 14, LOT)
        yield _text(self.left + 70, self.top - 10, "wind", 12, LOT)

    def ground(self) -> Iterator[str]:
        """The ground; a gap in the data is a gap in the line."""
        gaps = np.diff(self.d)
        for piece in np.split(np.arange(len(self.d)), np.flatnonzero(gaps > 1.5 * np.median(gaps)) + 1):
            points = " ".join(f"{self.x(self.d[i]):.1f},{self.y(self.e[i]):.1f}" for i in piece)
            ends = f"{self.x(self.d[piece[-1]]):.1f},{self.bottom:.1f} {self.x(self.d[piece[0]]):.1f},{self.bottom:.1f}"
            yield f'<polygon points="{points} {ends}" fill="{GROUND}"/>'
            yield f'<polyline points="{points}" fill="none" stroke="{INK}" stroke-width="1.6"/>'

    def feature(self) -> Iterator[str]:
        p = self.p
        base, half = p.base_elevation_ft, p.base_elevation_ft + p.height_ft / 2.0
        crest_x, half_x, foot_x = (
            self.x(d) for d in (p.crest_distance_ft, p.half_height_distance_ft, max(p.foot_distance_ft, self.low_x))
        )
        crest_y, half_y, base_y = self.y(p.crest_elevation_ft), self.y(half), self.y(base)
        yield _line(foot_x, base_y, crest_x, base_y, MARK, dash=True)
        yield _line(half_x, half_y, crest_x, half_y, MARK, dash=True)
        yield _arrow(crest_x, base_y, crest_x, crest_y, MARK, both=True)
        yield _text(crest_x + 7, (base_y + half_y) / 2 + 4, f"H {p.height_ft:,.0f} ft", 13, MARK)
        yield _arrow(half_x, half_y, crest_x, half_y, MARK, both=True)
        yield _text((half_x + crest_x) / 2, half_y + 17, f"Lh {p.half_length_ft:,.0f} ft", 13, MARK, "middle")
        away = 1.0 if p.x_ft < 0 else -1.0  # names stand on the side of the crest where the lot is not
        side = "start" if away > 0 else "end"
        for name, at_x, at_y, anchor, shift in (
            ("crest", crest_x + 9 * away, crest_y, side, -6.0),
            ("half height", half_x - 9, half_y, "end", 4.0),
            ("foot", foot_x, base_y, "middle", 20.0),
        ):
            yield _text(at_x, at_y + shift, name, 12, MARK, anchor)
        for at_x, at_y in ((crest_x, crest_y), (half_x, half_y), (foot_x, base_y)):
            yield f'<circle cx="{at_x:.1f}" cy="{at_y:.1f}" r="4" fill="{MARK}"/>'
        if abs(self.x(0.0) - crest_x) > 4:
            level = self.top + 2
            yield _line(crest_x, crest_y - 6, crest_x, level - 4, RULE)
            yield _arrow(crest_x, level, self.x(0.0), level, LOT)
            middle, anchor = (crest_x + self.x(0.0)) / 2, "middle"
            if abs(self.x(0.0) - crest_x) < 90:
                middle, anchor = (self.x(0.0) - 8, "end") if p.x_ft < 0 else (self.x(0.0) + 8, "start")
            yield _text(middle, level + (4 if anchor != "middle" else -6), f"x {p.x_ft:+,.0f} ft", 13, LOT, anchor)

    def lot(self) -> Iterator[str]:
        ground = self._lot_ft()
        if math.isnan(ground):
            return
        at, foot, head = self.x(0.0), self.y(ground), self.y(ground + self.z_ft)
        yield _line(at, foot, at, head, LOT, width=3.0)
        yield f'<circle cx="{at:.1f}" cy="{head:.1f}" r="4.5" fill="{LOT}"/>'
        words = f"lot, z {self.z_ft:.0f} ft"
        if self.p.form and abs(self.x(self.p.crest_distance_ft) - at) < 90:  # beside it, away from the crest's name
            left = self.p.x_ft < 0
            yield _text(at + (-9 if left else 9), head + 4, words, 12, LOT, "end" if left else "start")
        else:
            yield _text(at, head - 10, words, 12, LOT, "middle")


# --- rose ---------------------------------------------------------------------------------------------------------


def rose_svg(site: SiteHazards, place: int, lot: str, tract: str) -> str:
    """How far rough ground prevails towards each wind direction, the letter of each, and water that makes it D."""
    table = site.layers["exposure_sectors"][0]()
    rows = [{name: values[place * 16 + k] for name, values in table.items() if name != "geometry"} for k in range(16)]
    columns = site.columns
    worst, state = str(columns["exposure"][place]) or "unknown", str(columns["ground_state"][place])
    title = f"Lot {lot}: exposure by wind direction"
    body = [
        _text(28, 34, title, 19, INK, weight=600),
        _text(28, 56, f"Worst direction {worst}; ground: {state}; {_margin_words(columns, place)}", 13, INK),
        _text(28, 75, f"In every state of the ground: {columns['exposure_by_state'][place]}", 13, FAINT),
    ]
    rose = _Rose(285.0, 364.0, 205.0)
    body += list(rose.rings())
    for k, row in enumerate(rows):
        body += list(rose.wedge(k, row))
    body += list(rose.compass(rows))
    body += list(_rose_key(rows))
    return _page(ROSE_W, ROSE_H, title, body, tract)


def _margin_words(columns: dict[str, Any], place: int) -> str:
    margin, bearing = columns["exposure_margin_ft"][place], columns["exposure_governing_bearing_deg"][place]
    if not math.isfinite(margin):
        return "no distance would change it" if columns["exposure"][place] else "ground upwind is missing"
    return f"{margin:,.0f} ft from another letter, decided by the ground towards {bearing:g}°"


class _Rose:
    def __init__(self, x: float, y: float, radius: float) -> None:
        self.x, self.y, self.radius = x, y, radius

    def at(self, bearing_deg: float, distance_ft: float) -> tuple[float, float]:
        r, turn = self.radius * min(distance_ft, ROSE_REACH_FT) / ROSE_REACH_FT, math.radians(bearing_deg)
        return self.x + r * math.sin(turn), self.y - r * math.cos(turn)

    def sector(
        self, first_deg: float, last_deg: float, near_ft: float, far_ft: float, fill: str, extra: str = ""
    ) -> str:
        (x0, y0), (x1, y1) = self.at(first_deg, far_ft), self.at(last_deg, far_ft)
        (x2, y2), (x3, y3) = self.at(last_deg, near_ft), self.at(first_deg, near_ft)
        far, near = (self.radius * min(d, ROSE_REACH_FT) / ROSE_REACH_FT for d in (far_ft, near_ft))
        return (
            f'<path d="M{x3:.1f} {y3:.1f}L{x0:.1f} {y0:.1f}A{far:.1f} {far:.1f} 0 0 1 {x1:.1f} {y1:.1f}'
            f'L{x2:.1f} {y2:.1f}A{near:.1f} {near:.1f} 0 0 0 {x3:.1f} {y3:.1f}Z" fill="{fill}"{extra}/>'
        )

    def rings(self) -> Iterator[str]:
        for distance in (*RINGS_FT, ROSE_REACH_FT):
            r = self.radius * distance / ROSE_REACH_FT
            yield f'<circle cx="{self.x}" cy="{self.y}" r="{r:.1f}" fill="none" stroke="{RULE}"/>'

    def wedge(self, k: int, row: dict[str, Any]) -> Iterator[str]:
        first, last = 22.5 * k - 10.6, 22.5 * k + 10.6
        letter = str(row["exposure"])
        run = float(row["rough_run_ft"])
        run = 0.0 if math.isnan(run) else run
        yield self.sector(first, last, 0.0, ROSE_REACH_FT, LETTER_FILL[letter], ' fill-opacity="0.3"')
        if run > 0:
            yield self.sector(first, last, 0.0, run, LETTER_FILL["B"], f' stroke="{INK}" stroke-width="0.7"')
        start = float(row["smooth_start_ft"])
        if start < ROSE_REACH_FT:
            end = start + float(row["smooth_length_ft"])
            yield self.sector(first, last, start, end, LETTER_FILL["D"], f' stroke="{LOT}" stroke-width="1.2"')

    def compass(self, rows: list[dict[str, Any]]) -> Iterator[str]:
        for k, row in enumerate(rows):
            turn = math.radians(22.5 * k)
            x, y = (self.x + (self.radius + 18) * math.sin(turn), self.y - (self.radius + 18) * math.cos(turn))
            yield _text(x, y + 5, str(row["exposure"]), 16, INK, "middle", weight=600)
            out = self.radius + 37 + 10 * abs(math.sin(turn))
            x, y = self.x + out * math.sin(turn), self.y - out * math.cos(turn)
            yield _text(x, y + 4, COMPASS[k], 11, FAINT, "middle")
        for distance in RINGS_FT:
            x, y = self.at(11.25, distance)
            yield _text(x, y - 2, f"{distance:,.0f} ft", 11, INK, "middle")
        yield f'<circle cx="{self.x}" cy="{self.y}" r="3.5" fill="{LOT}"/>'


def _rose_key(rows: list[dict[str, Any]]) -> Iterator[str]:
    """Numbers of each direction beside the rose, and what the colours mean below it."""
    left, top = 596.0, 108.0
    for at, words, anchor in ((left, "wind", "start"), (left + 84, "share", "end"), (left + 142, "reach, ft", "end")):
        yield _text(at, top - 8, words, 12, FAINT, anchor)
    for k, row in enumerate(rows):
        y = top + 14 + 26.5 * k
        share, run = float(row["rough_share"]), float(row["rough_run_ft"])
        yield _text(left, y, f"{COMPASS[k]} {row['exposure']}", 13, INK)
        yield _text(left + 84, y, "–" if math.isnan(share) else f"{share:.2f}", 13, INK, "end")
        yield _text(left + 142, y, "–" if math.isnan(run) else f"{run:,.0f}", 13, INK, "end")
    for n, (letter, words) in enumerate(LETTER_WORDS.items()):
        x = 28 + 170 * n
        yield f'<rect x="{x}" y="{ROSE_H - 62}" width="13" height="13" fill="{LETTER_FILL[letter]}" stroke="{INK}"/>'
        yield _text(x + 20, ROSE_H - 51, words, 12, INK)
    note = (
        "Tint: letter. Filled green: how far rough ground prevails. Blue: water. Share: rough ground as far as B needs."
    )
    yield _text(28, ROSE_H - 74, note, 12, FAINT)


# --- pieces -------------------------------------------------------------------------------------------------------


def _page(width: int, height: int, title: str, body: list[str], tract: str) -> str:
    """The drawing on its sheet, with the tract's name and the caution below."""
    foot = [
        _line(28, height - 36, width - 28, height - 36, RULE),
        _text(28, height - 22, tract, 11, FAINT),
        _text(28, height - 9, CAUTION, 10.5, FAINT),
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="img" font-family="system-ui, sans-serif"><title>{_plain(title)}</title>'
        f'<rect width="{width}" height="{height}" fill="{PAPER}"/>' + "".join([*body, *foot]) + "</svg>\n"
    )


def _plain(text: str) -> str:
    """Text that may stand in SVG: escaped, and without characters that XML refuses."""
    return html.escape("".join(c if c.isprintable() else "\ufffd" for c in text))


def _text(x: float, y: float, words: str, size: float, fill: str, anchor: str = "start", weight: int = 400) -> str:
    bold = f' font-weight="{weight}"' if weight != 400 else ""
    place = f' text-anchor="{anchor}"' if anchor != "start" else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" fill="{fill}"{place}{bold}>{_plain(words)}</text>'


def _line(x0: float, y0: float, x1: float, y1: float, stroke: str, dash: bool = False, width: float = 1.0) -> str:
    dashes = ' stroke-dasharray="4 4"' if dash else ""
    return f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" stroke="{stroke}" stroke-width="{width:g}"{dashes}/>'


def _arrow(x0: float, y0: float, x1: float, y1: float, stroke: str, both: bool = False) -> str:
    """A line with a head at its end, or at both."""
    length = math.hypot(x1 - x0, y1 - y0)
    if length < 1.0:
        return ""
    along = ((x1 - x0) / length, (y1 - y0) / length)
    parts = [_line(x0, y0, x1, y1, stroke, width=1.4)]
    for x, y, way in ((x1, y1, -1.0), (x0, y0, 1.0))[: 2 if both else 1]:
        size = min(8.0, length / 2.5)
        back = (x + way * size * along[0], y + way * size * along[1])
        side = (-along[1] * size * 0.4, along[0] * size * 0.4)
        parts.append(
            f'<polygon points="{x:.1f},{y:.1f} {back[0] + side[0]:.1f},{back[1] + side[1]:.1f} '
            f'{back[0] - side[0]:.1f},{back[1] - side[1]:.1f}" fill="{stroke}"/>'
        )
    return "".join(parts)


def _ticks(low: float, high: float, about: int) -> list[float]:
    """Round numbers between two ends."""
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * power >= raw)
    first = math.ceil(low / step)
    return [n * step for n in range(first, math.floor(high / step) + 1)]
