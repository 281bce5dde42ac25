"""`screener draw`: what the tool understood of a plan, and where anchors and straps go."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from screener import errors
from screener.cli import printing

EPILOG = """\b
Examples:
  screener draw plans/thimble.toml
  screener draw plans/lantern.toml --style B --options 'patio;third_bay' --mirrored
  screener draw plans/kettle.toml --loads --q-psf 30 --out kettle.svg
  screener draw plans/kettle.toml --layout hardware.csv --anchors-at 48 --out kettle.dxf

\b
A layout for the package of a lot: see `screener sheets --help`."""


@click.command(epilog=EPILOG)
@click.argument("plan", type=click.Path(dir_okay=False))
@click.option("--style", default="", help="Front style; default the plan's first.")
@click.option("--options", "built", default="", help="Built options, with ; between.")
@click.option("--mirrored", is_flag=True, help="Draw the mirror image.")
@click.option("--out", type=click.Path(dir_okay=False), default=None, help="File to write, .svg or .dxf.")
@click.option("--loads", is_flag=True, help="Write loads beside walls and trusses.")
@click.option("--q-psf", type=click.FloatRange(0, 200), default=None, help="Velocity pressure for --loads.")
@click.option("--sds-g", type=click.FloatRange(0, 4), default=None, help="SDS for --loads.")
@click.option("--edition", default="ASCE 7-16", show_default=True, help="Load standard.")
@click.option("--method", type=click.Choice(["ASD", "LRFD"]), default="ASD", show_default=True, help="For --loads.")
@click.option("--layout", type=click.Path(dir_okay=False), default=None, help="Anchors and straps from this list.")
@click.option("--anchors-at", type=float, default=None, help="Anchor spacing of --layout, in.")
@click.option("--straps-at", type=float, default=None, help="Storey strap spacing of --layout, in.")
def command(plan: str, **options: Any) -> int:
    """Draw PLAN, a plan file (TOML): walls, openings, shear segments, trusses, girders, end zones."""
    written = draw(Path(plan), **options)
    printing.say(f"written: {written}")
    return errors.OK


def draw(
    plan: Path, *, style: str, built: str, mirrored: bool, out: str | None, edition: str, method: str, **how: Any
) -> Path:
    """Read, draw, write; the file written."""
    from screener.sheets.write import write_text

    house = _house(plan, style, built, edition, method)
    target = Path(out) if out else Path(_name(house, mirrored, "layout" if how["layout"] else ""))
    if target.suffix.lower() not in (".svg", ".dxf"):
        raise click.UsageError(f"--out {target.name}: expected a name that ends in .svg or .dxf")
    make = _layout_text if how["layout"] else _plan_text
    write_text(target, make(house, mirrored, target.suffix.lower() == ".dxf", **how))
    return target


def _title(house: Any, mirrored: bool) -> str:
    return f"{house.variant.plan.name}, {'mirrored' if mirrored else 'as drawn'}"


def _plan_text(
    house: Any, mirrored: bool, as_dxf: bool, *, loads: bool, q_psf: float | None, sds_g: float | None, **_: Any
) -> str:
    from screener.drawings.dxf import dxf_text
    from screener.drawings.house_drawings import plan_panels, plan_sheet
    from screener.drawings.layout_drawing import drafting_shapes
    from screener.drawings.load_labels import DrawnHazards
    from screener.drawings.svg import svg_file

    hazards, title = None, _title(house, mirrored)
    if loads or q_psf is not None or sds_g is not None:
        usual = DrawnHazards()
        hazards = DrawnHazards(usual.q_psf if q_psf is None else q_psf, usual.sds_g if sds_g is None else sds_g)
    if as_dxf:
        return dxf_text(drafting_shapes(plan_panels(house, mirrored, hazards)), [title])
    return svg_file(plan_sheet(house, mirrored, hazards), title)


def _layout_text(
    house: Any,
    mirrored: bool,
    as_dxf: bool,
    *,
    layout: str,
    anchors_at: float | None,
    straps_at: float | None,
    **_: Any,
) -> str:
    from screener.drawings.house_drawings import layout_dxf, layout_sheet
    from screener.drawings.svg import svg_file

    given = _stock(house, Path(layout), anchors_at, straps_at)
    words = f"the first items of {Path(layout).name}, not a lot's package"
    if as_dxf:
        return layout_dxf(house, *given, mirrored, words)
    return svg_file(layout_sheet(house, *given, mirrored, words)[0], _title(house, mirrored))


def _house(plan: Path, style: str, built: str, edition: str, method: str) -> Any:
    from hazard.issues import InputError, Issue
    from screener.load_path import trace_load_path
    from screener.lot_attributes import split_options
    from screener.plan_files import load_plan

    try:
        variant = load_plan(plan).variant(style, split_options(built))
    except ValueError as error:
        found, _, expected = str(error).partition("; expected ")
        raise InputError([Issue("plan_choice", "stop", plan.name, found, expected, "nothing drawn")]) from error
    return trace_load_path(variant, edition, method)


def _stock(house: Any, layout: Path, anchors_at: float | None, straps_at: float | None) -> tuple[Any, Any]:
    from hazard.issues import InputError, Issue
    from screener.drawings.house_drawings import stock_options
    from screener.hardware import read_hardware

    try:
        hardware, issues = read_hardware(layout)
    except OSError as error:
        raise InputError(
            [Issue("hardware_unreadable", "stop", layout.name, str(error.strerror), "a readable CSV file", "")]
        ) from error
    issues.raise_stops()
    try:
        return stock_options(house, hardware, anchors_at, straps_at), hardware
    except ValueError as error:
        found, _, expected = str(error).partition("; expected ")
        raise InputError([Issue("layout_spacing", "stop", layout.name, found, expected, "nothing drawn")]) from error


def _name(house: Any, mirrored: bool, what: str) -> str:
    from screener.sheets.write import slug

    variant = house.variant
    parts = [variant.plan.name, variant.style, *sorted(variant.options), what, "mirrored" if mirrored else ""]
    return "-".join(slug(p) for p in parts if p) + ".svg"
