"""The report in a real browser, opened from a file with no network: does what a reader does, and listens for faults."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import report_results as made

from screener.files.manifest import CAUTION
from screener.report.colouring import VIEW_KEYS
from screener.report.html import write_report_of_manifest

pytestmark = pytest.mark.browser

LOAD_LIMIT_S = 5.0
PAN_MEDIAN_LIMIT_MS = 200.0
"""Far above what a desk machine takes (frame times are printed): a shared build machine must not fail by chance."""
SERIOUS = ("serious", "critical")
WIDE, NARROW = {"width": 1400, "height": 900}, {"width": 420, "height": 850}


@dataclass
class Opened:
    """A page and what went wrong or left on it."""

    page: Any
    faults: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


def rich_results(count: int, text: str = "") -> Any:
    """Made-up results with the columns that fill the picked lot's pictures, and the demands behind it."""
    results = made.results(count, text=text)
    lots = results.lots
    hill = lots["kzt"].to_numpy() > 1
    lots["kzt_by_direction"] = [
        " ".join([f"{k:.2f}" if n in (4, 12) else "1.00" for n in range(16)]) for k in lots["kzt"]
    ]
    lots["exposure_margin_ft"] = [float(40 * (n % 30)) for n in range(count)]
    lots["terrain_margin"] = [0.12 if h else float("nan") for h in hill]
    lots["front_bearing_deg"] = 180.0
    lots["governing_wind_envelope_deg"] = 270.0
    points = [(f"truss tie, end zone {text}", 0.93), ("sill anchor", 0.71), ("hold-down", 0.44)]
    results.demands = pd.DataFrame(
        [
            (lot, point, "uplift_lb", "lb", 500.0 * ratio, 500.0, ratio, "0.6D + 0.6W", f"truss tie {text}", 2.0)
            for lot in lots["lot_id"]
            for point, ratio in points
        ],
        columns=list(results.demands.columns),
    )
    return results


def open_page(browser: Any, file: Path, **options: Any) -> Iterator[Opened]:
    context = browser.new_context(**{"viewport": WIDE, **options})
    opened = Opened(context.new_page())
    page = opened.page
    page.on("request", lambda request: opened.requests.append(request.url))
    page.on("pageerror", lambda error: opened.faults.append(str(error)))
    page.on("dialog", lambda dialog: (opened.faults.append(f"dialog {dialog.message}"), dialog.dismiss()))
    page.on(
        "console",
        lambda message: opened.faults.append(message.text) if message.type in ("error", "warning") else None,
    )
    page.goto(file.as_uri(), wait_until="load")
    yield opened
    context.close()


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    write_report_of_manifest(path, rich_results(120), made.manifest())
    return path


@pytest.fixture
def report(browser: Any, file: Path) -> Iterator[Opened]:
    """The page; whatever a test does, nothing may be fetched and nothing may go wrong."""
    for opened in open_page(browser, file):
        yield opened
        assert opened.requests == [file.as_uri()]
        assert opened.faults == []


def test_opens_with_caution_in_view_and_nothing_fetched(report: Opened) -> None:
    caution = report.page.locator("#caution")
    assert caution.inner_text() == CAUTION
    report.page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    assert (
        report.page.locator("aside").evaluate("e => e.getBoundingClientRect().top") == 0
    )  # it stays at the top however far one scrolls


def test_pick_a_lot_on_the_map(report: Opened) -> None:
    page = report.page
    page.locator("#lots path").nth(7).click()
    assert page.locator("#picked h3").inner_text() == "Lot A-0008: package 2, screened"
    assert page.locator("#table tr.here button.id").inner_text() == "A-0008"
    assert page.locator("#ring").get_attribute("d") == page.locator("#lots path").nth(7).get_attribute("d")
    assert page.locator("#said").inner_text() == "Lot A-0008 picked: package 2, screened"
    said = page.locator("#picked table").inner_text()
    assert "truss tie, end zone" in said
    assert "0.93" in said
    assert [e.get_attribute("aria-label").split(":")[0] for e in page.locator("#picked svg.wheel").all()] == [
        "Exposure by wind direction",
        "Kzt by wind direction",
    ]
    assert (
        page.locator("#picked svg.wheel")
        .first.get_attribute("aria-label")
        .startswith("Exposure by wind direction: N B, NNE B, NE C")
    )


def test_a_lot_without_package_says_why_and_what_next(report: Opened) -> None:
    report.page.locator("#lots path").nth(12).click()
    said = report.page.locator("#picked").inner_text()
    assert said.startswith("Lot B-0013: no package holds")
    assert "NO_HARDWARE" in said
    assert "Next: ask an engineer" in said


def test_every_view_paints_every_lot_and_has_its_legend(report: Opened) -> None:
    page = report.page
    seen = set()
    for key in VIEW_KEYS:
        page.locator(f"input[value='{key}']").check(force=True)
        fills = page.evaluate("[...document.querySelectorAll('#lots path')].map(p => p.getAttribute('fill'))")
        legend = page.locator("#legend li").all_inner_texts()
        assert all(fills)
        assert len(fills) == 120
        assert sum(int(re.search(r"\((\d+)\)$", words)[1]) for words in legend) == 120  # type: ignore[index]
        assert len(set(fills)) == len(legend)
        shown = page.evaluate("[...document.querySelectorAll('#legend rect')].map(p => p.getAttribute('fill'))")
        assert set(shown) == set(fills)
        seen.add(page.locator("#explains").inner_text())
    assert len(seen) == len(VIEW_KEYS)


def test_filters_act_on_table_and_map(report: Opened) -> None:
    page = report.page
    page.get_by_role("combobox", name="Package", exact=True).select_option("package 3")
    found = page.locator("#found").inner_text()
    kept = int(found.split()[0])
    assert 0 < kept < 120
    assert page.locator("#lots path:not(.out)").count() == kept
    assert set(page.locator("#table tbody td:nth-child(5)").all_inner_texts()) == {"package 3"}
    page.get_by_label("Find").fill("b-00")
    assert page.locator("#lots path:not(.out)").count() < kept
    page.get_by_role("button", name="Clear").click()
    _until_count(page, "#lots path.out", 0)
    page.get_by_role("combobox", name="Status", exact=True).select_option(label="engineer to confirm")
    assert page.locator("#found").inner_text().startswith("10 of 120 lots")  # every eleventh of the made-up lots


def test_exceptions_come_first_and_lead_to_their_lots(report: Opened) -> None:
    page = report.page
    assert page.evaluate(
        "document.getElementById('exceptions').compareDocumentPosition(document.getElementById('map')) & 4"
    )
    group = page.locator("details.group").first
    assert "B-0013" in group.inner_text()
    group.locator("summary").click()
    group.locator(".lots button").first.click()
    assert page.locator("#picked h3").inner_text().startswith("Lot B-0013")
    group.get_by_role("button", name="Show only these lots").click()
    _until_count(page, "#lots path:not(.out)", 9)


def test_sorting_puts_blanks_last(report: Opened) -> None:
    page = report.page
    page.get_by_role("button", name="Total, $").click()
    costs = page.locator("#table tbody td:nth-child(13)").all_inner_texts()
    numbers = [float(c.replace(",", "")) for c in costs]
    assert numbers == sorted(numbers)
    assert page.locator("#table th[aria-sort]").get_attribute("aria-sort") == "ascending"


def test_keys_alone_reach_a_lot_and_its_row(report: Opened) -> None:
    """Tab comes to the map; arrows go from lot to lot; Enter goes to the row; Escape lets go."""
    page = report.page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(60):
        if page.evaluate("document.activeElement.id") == "stage":
            break
        page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "stage"
    page.keyboard.press("ArrowRight")
    first = page.locator("#picked h3").inner_text()
    page.keyboard.press("ArrowRight")
    second = page.locator("#picked h3").inner_text()
    assert first != second
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.className") == "id"
    assert page.evaluate("document.activeElement.textContent") in second
    page.locator("#stage").focus()
    page.keyboard.press("+")
    assert page.locator("#chart").evaluate("e => e.viewBox.baseVal.width < 1e9 && e.classList.contains('near')")
    page.keyboard.press("0")
    assert not page.locator("#chart").evaluate("e => e.classList.contains('near')")
    page.keyboard.press("Escape")
    assert "Pick a lot" in page.locator("#picked").inner_text()


def test_dragging_pans_and_a_click_still_picks(report: Opened) -> None:
    page = report.page
    page.locator("#stage").scroll_into_view_if_needed()
    for _ in range(3):
        page.locator("[data-zoom=in]").click()
    before = page.locator("#chart").get_attribute("viewBox")
    box = page.locator("#stage").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 40, y - 20, steps=4)
    page.mouse.move(x - 90, y - 30, steps=4)
    page.mouse.up()
    after = page.locator("#chart").get_attribute("viewBox")
    assert before != after
    assert page.locator("#chart").evaluate("e => e.style.transform") == ""
    assert "Pick a lot" in page.locator("#picked").inner_text()  # a drag picks nothing
    scale = page.locator("#scale")
    assert scale.is_visible()
    feet = float(scale.inner_text().removesuffix(" ft").replace(",", ""))
    wide = scale.evaluate("e => e.getBoundingClientRect().width")
    assert wide == pytest.approx(feet * 2 * page.locator("#chart").evaluate("e => e.getScreenCTM().a"), rel=0.02)


def test_bill_of_one_month_adds_up(report: Opened) -> None:
    page = report.page
    page.get_by_label("Month of the start").select_option("2026-06")
    heads = page.locator("#billtable tr.drop").all_inner_texts()
    assert [h.split("\t")[0].lower() for h in heads] == ["foundation", "roof"]
    rows = page.locator("#billtable tbody tr:not(.drop)").all_inner_texts()
    # two phases start in June: twice 567 pieces, 6 boxes, $777 of each item
    assert [r.split("\t")[-4:] for r in rows] == [["1,134", "6", "$777", "24.5"]] * 2
    page.get_by_label("Month of the start").select_option("")
    assert page.locator("#billtable tbody tr:not(.drop)").first.inner_text().split("\t")[-3] == "9"


def test_address_names_a_lot_and_a_view(browser: Any, file: Path) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{file.as_uri()}#lot=A-0003&view=terrain%20margin")
    assert page.locator("#picked h3").inner_text().startswith("Lot A-0003")
    assert page.locator("input[name=view]:checked").get_attribute("value") == "terrain margin"
    context.close()


def test_hostile_names_stay_text(browser: Any, tmp_path: Path) -> None:
    hostile = "</script><img src=x onerror=alert(1)><svg onload=alert(2)>"
    results = rich_results(30, text=hostile)
    results.lots.loc[3, "lot_id"] = f'"><script>alert(3)</script>{hostile}'
    results.lots.loc[3, "plan"] = hostile
    path = tmp_path / "report.html"
    write_report_of_manifest(path, results, made.manifest(f"{hostile} Rise (invented)"))
    for opened in open_page(browser, path):
        page = opened.page
        page.locator("#lots path").nth(3).click()
        page.locator("details").evaluate_all("all => all.forEach(d => { d.open = true; })")
        page.get_by_label("Month of the start").select_option("2026-06")
        page.wait_for_timeout(200)
        assert "<img src=x onerror=alert(1)>" in page.locator("#picked").inner_text()
        assert page.locator("img").count() == 0
        assert page.locator("script").count() == 2
        assert opened.faults == []
        assert opened.requests == [path.as_uri()]


def test_prints_to_pages_with_all_lots(report: Opened) -> None:
    page = report.page
    pdf = page.pdf(format="Letter")
    pages = len(re.findall(rb"/Type\s*/Page[^s]", pdf))
    print(f"printed report: {pages} pages, {len(pdf) / 1000:.0f} kB")
    assert pages > 2
    page.emulate_media(media="print")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert page.locator("#table tbody tr").count() == 120  # not only the page on the screen
    assert page.locator("details:not([open])").count() == 0
    assert page.locator("#caution").is_visible()
    assert not page.locator("nav").is_visible()
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.locator("#table tbody tr").count() == 25


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [WIDE, NARROW], ids=["wide", "narrow"])
def test_no_serious_accessibility_finding(browser: Any, file: Path, scheme: str, viewport: dict[str, int]) -> None:
    """The rules of axe-core (WCAG 2 A and AA, best practices), with every section open and a lot picked."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed")
    # The page's own policy lets no other script in; the check itself needs one.
    for opened in open_page(browser, file, color_scheme=scheme, viewport=viewport, bypass_csp=True):
        page = opened.page
        page.locator("#lots path").nth(12).click(force=True)
        page.locator("details").evaluate_all("all => all.forEach(d => { d.open = true; })")
        found = axe.Axe().run(page).response["violations"]
        for v in found:
            print(f"{scheme} {viewport['width']}: {v['impact']} {v['id']}: {v['help']} ({len(v['nodes'])})")
        worst = [(v["id"], v["nodes"][0]["html"][:200]) for v in found if v["impact"] in SERIOUS]
        assert worst == []


@pytest.mark.parametrize("viewport", [WIDE, NARROW], ids=["wide", "narrow"])
def test_page_is_no_wider_than_the_window(browser: Any, file: Path, viewport: dict[str, int]) -> None:
    for opened in open_page(browser, file, viewport=viewport):
        opened.page.locator("#lots path").nth(12).click(force=True)
        assert opened.page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]


@pytest.mark.long
def test_twenty_thousand_lots_load_and_pan(browser: Any, tmp_path: Path) -> None:
    """Times are printed; only the load limit and a bound far above any usable frame time are asserted."""
    path = tmp_path / "report.html"
    write_report_of_manifest(path, rich_results(20_000), made.manifest())
    context = browser.new_context(viewport=WIDE)
    page = context.new_page()
    start = time.perf_counter()
    page.goto(path.as_uri(), wait_until="load")
    page.evaluate("() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")
    load = time.perf_counter() - start
    print(f"\n20,000 lots: {path.stat().st_size / 1e6:.1f} MB, loaded and painted in {load:.2f} s")
    assert load < LOAD_LIMIT_S
    assert page.locator("#found").inner_text() == "20,000 lots"
    page.locator("#stage").scroll_into_view_if_needed()
    for steps in (2, 4):
        for _ in range(steps):
            page.locator("[data-zoom=in]").click()
        times = _frames_while_dragging(page)
        median, late = times[len(times) // 2], times[int(0.95 * len(times))]
        width = page.locator("#chart").evaluate("e => e.viewBox.baseVal.width")
        print(
            f"pan, {width / 2:,.0f} ft wide: {len(times)} frames, median {median:.0f} ms, 95 % {late:.0f} ms, "
            f"longest {times[-1]:.0f} ms"
        )
        assert median < PAN_MEDIAN_LIMIT_MS
    for what, act in (
        ("switch view", lambda: page.locator("input[value=kzt]").check(force=True)),
        ("filter", lambda: page.get_by_label("Find").fill("c-00")),
        ("pick", lambda: page.evaluate("location.hash = 'lot=A-0008'")),
    ):
        start = time.perf_counter()
        act()
        page.evaluate("() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")
        print(f"{what}: {time.perf_counter() - start:.2f} s")
    context.close()


def _until_count(page: Any, selector: str, count: int) -> None:
    """Wait for a number of elements; the page's own policy forbids waiting by a script of ours."""
    from playwright.sync_api import expect

    expect(page.locator(selector)).to_have_count(count)


def _frames_while_dragging(page: Any) -> list[float]:
    """Frame times in ms, shortest first, while the map is dragged by a steady hand."""
    page.wait_for_timeout(300)
    box = page.locator("#stage").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.evaluate(
        """() => { window.frames_ms = []; let last = performance.now();
        const tick = (t) => {
            window.frames_ms.push(t - last); last = t; window.ticking = requestAnimationFrame(tick); };
        window.ticking = requestAnimationFrame(tick); }"""
    )
    page.mouse.move(x, y)
    page.mouse.down()
    for n in range(40):
        page.mouse.move(x + 6 * n, y + 2 * n)
        page.wait_for_timeout(10)
    page.mouse.up()
    times = page.evaluate("() => { cancelAnimationFrame(window.ticking); return window.frames_ms; }")
    return sorted(float(t) for t in times[1:])
