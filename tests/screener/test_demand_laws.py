"""Laws that the demand model must hold on any house: growth, mirror, books, pruning.

Growth is not a law everywhere, and is not asked here of: hold-downs when a change of weight also changes storey forces;
a line under one part of a house when only another part gets heavier (the vertical distribution shifts); choices of
hardware made from the demands.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from demand_houses import ABACUS, SAMPLE_PLANS, lots, model_of_file, model_of_text, plan_file, plan_text, worst_of
from hypothesis import given, settings
from hypothesis import strategies as st

from screener import points
from screener.checks.published import published
from screener.demands import DemandModel, LotHazards, build_model, evaluate, load_basis
from screener.load_path import trace_load_path
from screener.plans import RoofPart, Variant
from screener.wind_states import FACES, Procedure

Case = tuple[Path, str, tuple[str, ...]]


def houses(singles: bool = False) -> list[Case]:
    """Sample houses: every style bare and with all options (and with each option alone), and the hand-checked house."""
    out: list[Case] = [(ABACUS, "", ())]
    for path in SAMPLE_PLANS:
        plan = plan_file(path)
        sets = [(), tuple(sorted(plan.options))] + ([(o,) for o in sorted(plan.options)] if singles else [])
        out += [(path, style, s) for style in (plan.styles or {"": ""}) for s in dict.fromkeys(sets)]
    return out


def some_houses() -> list[Case]:
    """One variant a plan, the richest of its last style: enough for laws that do not depend on the style."""
    out: list[Case] = [(ABACUS, "", ())]
    for path in SAMPLE_PLANS:
        plan = plan_file(path)
        out.append((path, list(plan.styles)[-1] if plan.styles else "", tuple(sorted(plan.options))))
    return out


def name_of(case: Case) -> str:
    return "/".join([case[0].stem, case[1], "+".join(case[2])]).rstrip("/")


def model_of(case: Case, mirrored: bool = False, procedure: Procedure = "envelope") -> DemandModel:
    return model_of_file(case[0], case[1], case[2], mirrored, procedure=procedure)


ONE_EACH = pytest.mark.parametrize("case", some_houses(), ids=name_of)
EVERY = pytest.mark.parametrize("case", houses(), ids=name_of)
BOTH = pytest.mark.parametrize("procedure", ["envelope", "directional"])


def demands(model: DemandModel, hazards: LotHazards) -> dict[str, np.ndarray]:
    basis = load_basis(model, hazards)
    return {p.name: evaluate(p, basis).largest for p in model.points}


def mixed_lots(n: int = 12, seed: int = 3) -> LotHazards:
    """Lots of every sort, calm to strong, with and without snow and shaking."""
    r = np.random.default_rng(seed)
    q = r.uniform(0.0, 45.0, n)
    sds = r.uniform(0.0, 1.6, n)
    return lots(
        q_envelope_psf=list(q),
        q_components_psf=list(q * r.uniform(0.8, 1.1, n)),
        q_onto_psf=q[:, None] * np.random.default_rng(seed + 1).uniform(0.4, 1.1, (n, len(FACES))),
        gcpi=list(r.choice([0.18, 0.55], n)),
        sds_g=list(sds),
        sd1_g=list(0.6 * sds),
        s1_g=list(0.4 * sds),
        rho=list(r.choice([1.0, 1.3], n)),
        roof_snow_psf=list(r.choice([0.0, 20.0, 40.0], n)),
    )


def faced_from_the_other_side(hazards: LotHazards) -> LotHazards:
    """The same winds met by a mirrored house: what blew on to the left blows on to the right."""
    left, right = FACES.index("left"), FACES.index("right")
    onto = hazards.q_onto_psf.copy()
    onto[:, [left, right]] = onto[:, [right, left]]
    return replace(hazards, q_onto_psf=onto)


def changed(hazards: LotHazards, **factors: float) -> LotHazards:
    return replace(hazards, **{k: getattr(hazards, k) * factor for k, factor in factors.items()})


# --- growth ----------------------------------------------------------------------------------------------------------


@BOTH
@ONE_EACH
@given(more=st.floats(1.0, 1.5))
@settings(max_examples=6, deadline=None)
def test_more_wind_never_lowers_a_demand(case: Case, procedure: Procedure, more: float) -> None:
    model, here = model_of(case, procedure=procedure), mixed_lots()
    windier = changed(here, q_envelope_psf=more, q_components_psf=more, q_onto_psf=more)
    low, high = demands(model, here), demands(model, windier)
    for name in low:
        assert (high[name] >= low[name] - 1e-9 * np.abs(low[name])).all(), name


@ONE_EACH
@given(more=st.floats(1.0, 1.5))
@settings(max_examples=6, deadline=None)
def test_more_shaking_never_lowers_a_demand(case: Case, more: float) -> None:
    model, here = model_of(case), mixed_lots()
    low, high = demands(model, here), demands(model, changed(here, sds_g=more, sd1_g=more, s1_g=more))
    for name in low:
        assert (high[name] >= low[name] - 1e-9 * np.abs(low[name])).all(), name


@BOTH
@ONE_EACH
def test_more_redundancy_or_inside_pressure_never_lowers_a_demand(case: Case, procedure: Procedure) -> None:
    model, here = model_of(case, procedure=procedure), mixed_lots()
    low, high = demands(model, here), demands(model, changed(here, rho=1.2, gcpi=1.5))
    for name in low:
        assert (high[name] >= low[name] - 1e-9 * np.abs(low[name])).all(), name


def weighed(variant: Variant, least: float = 1.0, greatest: float = 1.0) -> Variant:
    return replace(variant, weights={k: (a * least, b * greatest) for k, (a, b) in variant.weights.items()})


@BOTH
@ONE_EACH
def test_less_dead_load_never_lowers_net_uplift(case: Case, procedure: Procedure) -> None:
    """Least weights resist; without a tenth of them no wind uplift or hold-down tension gets smaller."""
    model, here = model_of(case, procedure=procedure), mixed_lots()
    light = build_model(weighed(model.variant, least=0.9), "ASCE 7-16", "ASD", procedure)
    basis = load_basis(model, here)
    assert np.array_equal(basis, load_basis(light, here))  # least weights do not shake
    ours, lighter = first_components(model, basis), first_components(light, basis)
    for name, values in ours.items():
        assert (lighter[name] >= values - 1e-9 * np.abs(values)).all(), name


def first_components(model: DemandModel, basis: np.ndarray) -> dict[str, np.ndarray]:
    """Uplifts and tensions; groups parted by rank (a lighter house may move a pack to the heavy ones) count as one."""
    out: dict[str, np.ndarray] = {}
    for p in model.points:
        if p.components[0] in ("uplift_lb", "uplift_plf", "tension_lb"):
            name = p.name.rsplit(",", 1)[0] if p.family == "header_end" else p.name
            values = evaluate(p, basis).largest[:, 0]
            out[name] = np.maximum(out.get(name, values), values)
    return out


@ONE_EACH
def test_more_seismic_weight_never_lowers_seismic_shear(case: Case) -> None:
    model = model_of(case)
    heavy = build_model(weighed(model.variant, greatest=1.25), "ASCE 7-16", "ASD")
    here = lots(sds_g=[0.4, 1.0], sd1_g=[0.2, 0.6], s1_g=[0.1, 0.4], rho=1.3)
    low, high = load_basis(model, here), load_basis(heavy, here)
    for point in model.points:
        if point.family in ("wall_sheathing", "sill_anchor", "roof_diaphragm", "roof_boundary"):
            for lot in range(2):
                ours = worst_of(model, low[lot], point.name, "shear_plf", "seismic")
                assert worst_of(heavy, high[lot], point.name, "shear_plf", "seismic") >= ours * (1 - 1e-9), point.name


@BOTH
@ONE_EACH
def test_pressure_doubled_without_dead_load_doubles_every_wind_demand(case: Case, procedure: Procedure) -> None:
    """Basis rows with velocity pressures alone: no weights, no least loads."""
    model = model_of(case, procedure=procedure)
    column = model.frame.column
    basis = np.zeros((2, len(model.frame.basis)))
    for name, value in zip(model.frame.velocities, (21.0, 19.0, 17.0, 20.0, 23.0), strict=False):
        basis[:, column[name]] = [value, 2.0 * value]
        basis[:, column[name.replace("_psf", "_gcpi_psf")]] = [0.18 * value, 0.36 * value]
    for point in model.points:
        once, twice = evaluate(point, basis).largest
        assert twice == pytest.approx(2.0 * once, rel=1e-12, abs=1e-12), point.name


# --- mirror ----------------------------------------------------------------------------------------------------------


def demand_sets(model: DemandModel, hazards: LotHazards) -> dict[tuple[object, ...], np.ndarray]:
    """Demands by kind of point, whatever its name: left and right, first and last change places in a mirror."""
    basis = load_basis(model, hazards)
    groups: dict[tuple[object, ...], list[np.ndarray]] = {}
    for p in model.points:
        key = (
            p.family,
            p.schedule,
            p.measure,
            p.count,
            round(p.area_sqft, 6),
            tuple(sorted(round(r, 6) for r in p.runs_ft)),
        )
        groups.setdefault(key, []).append(evaluate(p, basis).largest.ravel())
    return {k: np.array(sorted(map(tuple, np.round(v, 7)))) for k, v in groups.items()}


@BOTH
@EVERY
def test_mirrored_house_has_the_same_demands(case: Case, procedure: Procedure) -> None:
    """A mirrored house in mirrored winds."""
    here = mixed_lots(5)
    ours = demand_sets(model_of(case, procedure=procedure), here)
    mirrored = demand_sets(model_of(case, mirrored=True, procedure=procedure), faced_from_the_other_side(here))
    assert ours.keys() == mirrored.keys()
    for key, values in ours.items():
        assert mirrored[key] == pytest.approx(values, rel=1e-9, abs=1e-6), key


OFFSET_RIDGE = """
schema = 1
plan = { name = "offset", species = "SPF", foundation = "slab", first_floor_height_ft = 0.5 }
weights.roof = { least_psf = 11.0, greatest_psf = 14.0 }
weights.exterior_wall = { least_psf = 9.0, greatest_psf = 10.0 }
weights.interior_wall = { least_psf = 6.0, greatest_psf = 7.0 }
weights.floor = { least_psf = 8.0, greatest_psf = 9.0 }
storey = [{ name = "1", wall_height_ft = 9, areas = [{ rect = [0, 0, 26, 40] }] }]
wall = [
    { name = "front", storey = "1", from = [0, 0], to = [26, 0], line = "F" },
    { name = "rear", storey = "1", from = [0, 40], to = [26, 40], line = "B" },
    { name = "left", storey = "1", from = [0, 0], to = [0, 40], line = "L" },
    { name = "right", storey = "1", from = [26, 0], to = [26, 40], line = "R" },
]

[[roof]]
name = "offset"
storey = "1"
shape = "gable"
rect = [0, 0, 26, 40]
ridge = "y"
ridge_at_ft = 9
pitch_in_12 = 8
heel_ft = 0.75
eave_overhang_ft = 2.0
rake_overhang_ft = 1.0
bearings = [{ at_ft = 0, wall = "left" }, { at_ft = 26, wall = "right" }]
end_walls = ["front", "rear"]
"""


@BOTH
def test_mirrored_house_with_its_ridge_off_the_middle(procedure: Procedure) -> None:
    """Slopes of two angles: which of them is drawn at the left must not matter."""
    here = mixed_lots(5)
    ours = demand_sets(model_of_text(OFFSET_RIDGE, procedure=procedure), here)
    other = model_of_text(OFFSET_RIDGE, mirrored=True, procedure=procedure)
    mirrored = demand_sets(other, faced_from_the_other_side(here))
    assert ours.keys() == mirrored.keys()
    for key, values in ours.items():
        assert mirrored[key] == pytest.approx(values, rel=1e-9, abs=1e-6), key


def offset_hip() -> str:
    """A hip 40 x 26 ft, ridge along x and off the middle; its left half is the mirror image of its right half."""
    text = OFFSET_RIDGE.replace("[0, 0, 26, 40]", "[0, 0, 40, 26]").replace("to = [26, 0]", "to = [40, 0]")
    text = text.replace("[0, 40], to = [26, 40]", "[0, 26], to = [40, 26]").replace("to = [0, 40]", "to = [0, 26]")
    text = text.replace("[26, 0], to = [26, 40]", "[40, 0], to = [40, 26]").replace('"gable"', '"hip"')
    text = text.replace('ridge = "y"', 'ridge = "x"').replace("rake_overhang_ft = 1.0", "hip_setback_ft = 8")
    text = text.replace('wall = "left"', 'wall = "front"').replace('wall = "right"', 'wall = "rear"')
    return text.replace('["front", "rear"]', '["left", "right"]')


@BOTH
def test_mirrored_hip_with_its_ridge_off_the_middle(procedure: Procedure) -> None:
    here = mixed_lots(5)
    ours = demand_sets(model_of_text(offset_hip(), procedure=procedure), here)
    other = model_of_text(offset_hip(), mirrored=True, procedure=procedure)
    mirrored = demand_sets(other, faced_from_the_other_side(here))
    assert ours.keys() == mirrored.keys()
    for key, values in ours.items():
        assert mirrored[key] == pytest.approx(values, rel=1e-9, abs=1e-6), key


def test_both_ends_of_a_like_ended_hip_are_alike() -> None:
    model, here = model_of_text(offset_hip()), mixed_lots(5)
    found = demands(model, here)
    for kind in ("truss tie: offset hip jacks on", "sill anchor:", "hold-down:"):
        ends = [sorted(k for k in found if k.startswith(f"{kind} {end}")) for end in ("left", "right")]
        assert ends[0]
        for left, right in zip(*ends, strict=True):
            assert found[left] == pytest.approx(found[right], rel=1e-9, abs=1e-6), left


@ONE_EACH
def test_mirrored_twice_is_the_house_itself(case: Case) -> None:
    """Coordinates reflect about the middle of the outline; doing so twice restores them."""
    variant = model_of(case).variant
    other = plan_file(case[0]).variant(case[1], case[2], mirrored=True)
    middle = variant.extent[0] + variant.extent[2]
    for one, two in zip(variant.walls, other.walls, strict=True):
        back = (middle - two.hi, middle - two.lo, two.at) if one.axis == "x" else (two.lo, two.hi, middle - two.at)
        assert back == pytest.approx((one.lo, one.hi, one.at), abs=1e-9)
        gaps = [(middle - o.hi, middle - o.lo) if one.axis == "x" else (o.lo, o.hi) for o in two.openings]
        assert np.array(sorted(gaps)) == pytest.approx(np.array(sorted((o.lo, o.hi) for o in one.openings)))


# --- lots are independent --------------------------------------------------------------------------------------------


@BOTH
@ONE_EACH
def test_lot_order_and_splitting_change_nothing(case: Case, procedure: Procedure) -> None:
    model, here = model_of(case, procedure=procedure), mixed_lots(33)
    whole = demands(model, here)
    order = np.random.default_rng(1).permutation(33)
    shuffled = demands(model, here.take(order))
    halves = [demands(model, here.take(slice(0, 17))), demands(model, here.take(slice(17, 33)))]
    alone = demands(model, here.take(slice(4, 5)))
    for name, values in whole.items():
        assert np.array_equal(shuffled[name], values[order]), name
        assert np.array_equal(np.concatenate([h[name] for h in halves]), values), name
        assert np.array_equal(alone[name][0], values[4]), name


@ONE_EACH
def test_the_worst_case_is_at_least_each_case(case: Case) -> None:
    model, here = model_of(case), mixed_lots()
    basis = load_basis(model, here)
    for point in model.points:
        found, values = evaluate(point, basis), point.values(basis)
        assert (found.largest[:, None, :] >= values).all()
        assert (found.largest >= 0).all()
        governing = np.take_along_axis(values, found.case[:, None, :], axis=1)[:, 0, :]
        assert np.array_equal(np.maximum(governing, 0.0), found.largest), point.name


@BOTH
@pytest.mark.parametrize("case", [c for c in some_houses() if c[0].stem in ("abacus", "ladder")], ids=name_of)
def test_cases_left_out_never_govern(case: Case, procedure: Procedure, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every case kept against the pruned set, on random bases of numbers not below zero: same maxima of each hazard."""
    pruned = model_of(case, procedure=procedure)
    monkeypatch.setattr(points, "undominated", lambda rows, hazards: (rows, list(range(len(rows)))))
    full = build_model(pruned.variant, "ASCE 7-16", "ASD", procedure)
    r = np.random.default_rng(8)
    basis = r.uniform(0.0, 1.0, (60, len(pruned.frame.basis))) * r.choice(
        [0.0, 0.1, 1.0, 40.0], (60, len(pruned.frame.basis))
    )
    basis[:, 0] = 1.0
    left_out = 0
    for p in pruned.points:
        q = full.by_name[p.name]
        left_out += len(q.case_names) - len(p.case_names)
        for hazard in ("wind", "seismic", "gravity"):
            ours = np.array([h == hazard for h in p.case_hazards])
            theirs = np.array([h == hazard for h in q.case_hazards])
            most = np.maximum(q.values(basis)[:, theirs].max(axis=1, initial=0.0), 0.0)
            kept = np.maximum(p.values(basis)[:, ours].max(axis=1, initial=0.0), 0.0)
            assert kept == pytest.approx(most, rel=1e-9, abs=1e-9), (p.name, hazard)
    assert left_out > 1000


# --- the books -------------------------------------------------------------------------------------------------------

EVERY_VARIANT = pytest.mark.parametrize(
    "case",
    [c if c in houses() else pytest.param(c, marks=pytest.mark.long) for c in houses(singles=True)],
    ids=name_of,
)


@BOTH
@EVERY_VARIANT
def test_what_enters_arrives(case: Case, procedure: Procedure) -> None:
    """Vertical: roofs, porches, walls, floors against feet and posts. Horizontal: levels against lines at the base."""
    books = model_of(case, procedure=procedure).books
    entered, arrived = sum(books.entered.values()), sum(books.arrived.values())
    assert np.abs(entered).max() > 100.0
    assert entered == pytest.approx(arrived, rel=1e-9, abs=1e-6)
    for axis in ("x", "y"):
        assert books.shear_entered[axis] == pytest.approx(books.shear_arrived[axis], rel=1e-9, abs=1e-6)


@cache
def gcpf_table() -> dict[tuple[str, str], list[tuple[float, float]]]:
    """ASCE 7-16 Figure 28.3-1 as read in public transcriptions (wind_gcpf.csv)."""
    out: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for r in published("wind_gcpf.csv"):
        angle = 0.0 if "-" in r["theta_deg"] else float(r["theta_deg"])
        out.setdefault((r["case"], r["zone"]), []).append((angle, float(r["gcpf"])))
    return out


def gcpf(case: str, zone: str, angle: float) -> float:
    rows = gcpf_table()[case, zone]
    return float(np.interp(angle, [a for a, _ in rows], [g for _, g in rows]))


def wind_uplift_lb(part: RoofPart, h: float, least: float, q: float, axis: str, sense: int, corner: str) -> float:
    """Vertical wind on one roof, areas times pressures: +GCpi, no levers. ASCE 7-16 Figure 28.3-1 and Sec. 28.3.3."""
    two_a = 2 * max(min(0.1 * least, 0.4 * h), 0.04 * least, 3.0)
    case_b = axis == part.along
    zone_end = ("low" if sense > 0 else "high") if case_b else corner
    o, s, rake = part.eave_overhang_ft, part.spacing_ft, part.rake_overhang_ft
    first = part.along_lo + (part.hip_setback_ft if part.shape == "hip" else 0.0)
    last = part.along_hi - (part.hip_setback_ft if part.shape == "hip" else 0.0)
    count = int(np.ceil((last - first) / s - 1e-9)) - 1
    trusses = [first + s * (i + 1) for i in range(count)]
    lower = [t for t in trusses if t - s / 2 < part.along_lo + two_a]
    upper = [t for t in trusses if t + s / 2 > part.along_hi - two_a]
    if set(lower) & set(upper):
        middle = 0.5 * (part.along_lo + part.along_hi)
        lower = [t for t in lower if t not in upper or t <= middle]
        upper = [t for t in upper if t not in lower]
    in_zone = lower if zone_end == "low" else upper
    start, stop = first + s / 2, last - s / 2
    if in_zone:
        lo = start if zone_end == "low" else in_zone[0] - s / 2
        hi = stop if in_zone[-1] == trusses[-1] else in_zone[-1] + s / 2
    else:
        lo = hi = start
    lengths = {"E": hi - lo, "": stop - start - (hi - lo)}

    windward = ("low" if sense > 0 else "high") if not case_b else corner
    total = 0.0
    for suffix, length in lengths.items():
        total += length * strip_lb(part, q, case_b, windward, suffix)
    for end in ("low", "high"):
        suffix = "E" if end == zone_end else ""
        half = strip_lb(part, q, case_b, windward, suffix)
        if part.shape == "gable":
            total += s / 2 * half
            blown_under = case_b and end == zone_end
            total += rake * (strip_lb(part, q, case_b, windward, suffix, rake=True) if blown_under else half)
        else:
            total += s / 2 * half
            g = gcpf("B", "2" + suffix, 0.0)
            edge = q * (-g + 0.70) if case_b and end == zone_end else q * (-g + 0.18)
            total += (part.span + 2 * o) * (part.hip_setback_ft * q * (-g + 0.18) + o * edge)
    return total


def strip_lb(part: RoofPart, q: float, case_b: bool, windward: str, suffix: str, rake: bool = False) -> float:
    """One foot of ridge: plan widths times pressures. ``rake``: the soffit of a windward gable end pushes too."""
    total = 0.0
    for side, run in (("low", part.ridge_at - part.across_lo), ("high", part.across_hi - part.ridge_at)):
        angle = float(np.degrees(np.arctan2(part.rise_ft, run)))
        g = gcpf("B" if case_b else "A", ("2" if side == windward else "3") + suffix, angle)
        push = 0.70 if rake else 0.18
        # the eave at the reference side: windward across the ridge, under quartering winds along it
        eave = 0.70 if rake or side == windward else 0.18
        total += q * (run * (-g + push) + part.eave_overhang_ft * (-g + eave))
    return total


@EVERY
def test_books_agree_with_areas_times_pressures_and_weights(case: Case) -> None:
    """What arrives at the ground, from areas alone: least dead load, and every wind with the inside blown up."""
    model = model_of(case)
    v, frame = model.variant, model.frame
    arrived = sum(model.books.arrived.values(), model.frame.zero())
    roof, ext, inner, floor = (v.weights[k][0] for k in ("roof", "exterior_wall", "interior_wall", "floor"))
    dead = sum((r.span + 2 * r.eave_overhang_ft) * (r.length + 2 * r.rake_overhang_ft) * roof for r in v.roofs)
    for w in v.walls:
        solid = w.length * w.height_ft - sum(o.length * (o.head_ft - o.sill_ft) for o in w.openings)
        dead += solid * (ext if w.exterior else inner)
        if w.storey + 1 < len(v.levels):
            dead += w.floor_tributary_ft * w.length * floor
    dead += sum((p.rect[2] - p.rect[0]) * (p.rect[3] - p.rect[1]) * p.roof_dead_psf for p in v.porches)
    assert -arrived[frame.row["dead_least"], 0] == pytest.approx(dead, rel=1e-9)

    q, column = 24.0, frame.column
    basis = np.zeros(len(frame.basis))
    basis[column["q_envelope_psf"]], basis[column["q_envelope_gcpi_psf"]] = q, 0.18 * q
    checked = 0
    for row, state in enumerate(frame.wind):
        if state.minimum or state.gcpi_sign < 0:
            continue
        parts = [
            wind_uplift_lb(r, v.mean_roof_height_ft, v.least_dimension_ft, q, state.axis, state.sense, state.corner)
            for r in v.roofs
        ]
        assert float(arrived[row] @ basis) == pytest.approx(sum(parts), rel=1e-9), state.name
        checked += 1
    assert checked == 16


@ONE_EACH
def test_shaking_enters_whole(case: Case) -> None:
    """Each storey force enters once along each axis, whatever the lines."""
    model = model_of(case)
    first = len(model.frame.wind)
    for i, state in enumerate(model.frame.seismic):
        entered = model.books.shear_entered[state.axis][first + i]
        for level in range(len(model.variant.levels)):
            assert entered[model.frame.column[f"rho_storey_force_lb_{level + 1}"]] == pytest.approx(state.sense)


def porch_wind_lb(model: DemandModel, axis: str, q: float) -> tuple[float, float]:
    """Half the wind on the porches that hang on the house: at ``q``, and at the least 16 psf; faces times pressures."""
    v, face = model.variant, 0.0
    for p in v.porches:
        if not p.attached_wall:
            continue
        x0, y0, x1, y1 = p.rect
        depth = y1 - y0 if v.wall(p.attached_wall).axis == "x" else x1 - x0
        face += (y1 - y0 if axis == "x" else x1 - x0) * (p.fascia_depth_ft + depth * p.pitch_in_12 / 12)
    return 0.5 * 1.3 * 0.85 * q * face, 0.5 * 16 * face


@EVERY
def test_half_the_wind_on_a_porch_enters_the_house(case: Case) -> None:
    """The house with its porches against the same house without them, wind state by wind state."""
    model = model_of(case)
    bare = build_model(replace(model.variant, porches=()), "ASCE 7-16", "ASD")
    q = 23.0
    basis = np.zeros(len(model.frame.basis))
    basis[0], basis[model.frame.column["q_components_psf"]] = 1.0, q
    for axis in ("x", "y"):
        at_q, least = porch_wind_lb(model, axis, q)
        if any(p.attached_wall for p in model.variant.porches):
            assert at_q > 100
        for row, state in enumerate(model.frame.wind):
            more = float((model.books.shear_entered[axis] - bare.books.shear_entered[axis])[row] @ basis)
            due = (state.axis == axis) * state.sense * (least if state.minimum else at_q)
            assert more == pytest.approx(due, rel=1e-9, abs=1e-9), (axis, state.name)


def test_wind_enters_the_hand_checked_house_by_area() -> None:
    """Least lateral load of the abacus along y: 16 psf on walls and 8 psf on slopes, in feet of elevation.

    And half of the porch's: 16 psf on fascia and rise, 12 ft wide.
    """
    model = model_of_file(ABACUS)
    entered = model.books.shear_entered["y"]
    row = next(i for i, s in enumerate(model.frame.wind) if s.minimum and s.axis == "y" and s.sense > 0)
    walls = 36 * (4 + 0.5) + 36 * (4.5 + 1 + 4) + 20 * (4.5 + 0.25)
    hip, wing = 14 * 5 / 12 * (36 - 14), 14 * 4 / 12 * 20
    porch = 12 * (1 + 10 * 2 / 12)
    assert entered[row, 0] == pytest.approx(16 * walls + 8 * (hip + wing) + 16 * porch / 2, rel=1e-9)


def test_least_lateral_load_takes_a_gable_for_a_wall() -> None:
    """ASCE 7-16 Sec. 28.3.4 (from memory): 16 psf on the wall area, a gable end included; 8 psf on the roof area."""
    model = model_of_text(OFFSET_RIDGE)
    row = next(i for i, s in enumerate(model.frame.wind) if s.minimum and s.axis == "y" and s.sense > 0)
    area = 26 * (4.5 + 0.75) + 26 * 6.0 / 2
    assert model.books.shear_entered["y"][row, 0] == pytest.approx(16 * area, rel=1e-9)


@BOTH
@ONE_EACH
def test_every_wall_that_the_wind_lifts_is_anchored(case: Case, procedure: Procedure) -> None:
    """Uplift at the foot of a wall on the foundation goes somewhere: a sill anchor point stands for it."""
    model = model_of(case, procedure=procedure)
    house = trace_load_path(model.variant, "ASCE 7-16", "ASD", procedure)
    basis = load_basis(model, lots(q_envelope_psf=40.0, q_components_psf=40.0, q_onto_psf=40.0))[0]
    anchored = {p.name for p in house.points if p.family == "sill_anchor"}
    for wall in house.variant.walls_of(0):
        foot = house.loads[wall.name].foot.total()
        net = 0.6 * (foot[: len(house.frame.wind)] @ basis) + 0.6 * float(foot[house.frame.row["dead_least"]] @ basis)
        if net.max() > 1.0:
            assert f"sill anchor: {wall.name}" in anchored, f"{wall.name}: {net.max():.0f} lb of net uplift end here"


@BOTH
@ONE_EACH
def test_segments_share_their_lines_shear(case: Case, procedure: Procedure) -> None:
    """Unit shear times the strength-weighted lengths of a line's pieces, from the plan, is the line's force."""
    model = model_of(case, procedure=procedure)
    house = trace_load_path(model.variant, "ASCE 7-16", "ASD", procedure)
    basis = load_basis(model, mixed_lots(1))[0]
    by_name = {p.name: p for p in house.points}
    for (storey, axis), level in house.lateral.items():
        for line in level.lines:
            if storey < 0 or f"wall sheathing: line {line.name}, storey {storey + 1}" not in by_name:
                continue
            weighted = 0.0
            for w in house.variant.walls_of(storey, axis):
                if w.shear and w.line == line.name:
                    for piece in w.solids():
                        ratio = w.height_ft / piece.length
                        weighted += piece.length * (0.0 if ratio > 3.5 + 1e-9 else min(1.0, 2.0 / ratio))
            point = by_name[f"wall sheathing: line {line.name}, storey {storey + 1}"]
            winds = [
                float(level.line_force[line.name][i] @ basis) * s.sense_along(axis)
                for i, s in enumerate(house.frame.wind)
            ]
            found = point.values(basis[None, :])[0, np.array(point.case_hazards) == "wind", 0].max()
            assert found * weighted == pytest.approx(0.6 * max(winds), rel=1e-9)
        forces = sum(level.line_force.values())
        above = house.lateral.get((storey + 1, axis))
        entering = level.own.total() + (sum(above.line_force.values()) if above else 0.0)
        assert forces == pytest.approx(entering, rel=1e-9, abs=1e-9)


def test_plan_text_is_checked_like_a_file() -> None:
    assert plan_text(OFFSET_RIDGE).name == "offset"
