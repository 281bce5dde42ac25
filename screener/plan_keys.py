"""What every key of a plan file means, for `screener schema plan`; a test holds it to the keys that plans have."""

from __future__ import annotations

_CHOSEN: dict[str, str] = {
    "styles": "built in these styles only; none: in every style",
    "options": "built only where all of these options are",
    "without": "left out where any of these options is built",
}
"""Keys that areas, openings, walls, roofs, girders, porches and weight changes share."""

PLAN_KEYS: dict[str, str] = {
    "schema": "version of this form",
    "plan": "what holds for the whole house",
    "plan.name": "name that lots use, unique in the library whatever its case",
    "plan.title": "name for people",
    "plan.note": "any remark",
    "plan.species": "framing species combination, such as DF-L, SPF, HF, SP",
    "plan.foundation": "what the lowest walls stand on",
    "plan.first_floor_height_ft": "first floor above the ground",
    "plan.stud_spacing_in": "studs, centre to centre",
    "plan.stud_depth_in": "depth of the outer studs",
    "plan.plate_piece_ft": "longest piece of a plate or sill; longer ones are spliced, each piece has its end anchors",
    "plan.sill_thickness_in": "thickness of the sill plate",
    "plan.hold_down_offset_ft": "from the end of a shear segment to its hold-down; shortens the lever arm",
    "plan.mean_roof_height_ft": "mean roof height the plan states; the larger of this and the computed one counts",
    "plan.redundancy": "redundancy factor rho in categories D to F; none: counted from the perimeter "
    "walls (12.3.4.2 b); a declaration stands, and a difference is told",
    "plan.glazing_protected": "whether glazing is protected against wind-borne debris",
    "plan.roof_boundary_by": "what hands the roof's shear to the walls: blocking between trusses, or their ties",
    "plan.rafter_over_stud": "whether every truss stands over a stud",
    "plan.gypsum_shares": "whether gypsum walls may share the shear: not, to seismic category C, or to D; "
    "where they may, the whole house takes their response factor R 2",
    "plan.floor_live_psf": "floor live load",
    "plan.seal_date": "date of the seal on the plan set; its age is judged",
    "plan.code_edition": "code edition of the plan set, shown in the engineer's packet",
    "permit": "the envelope that the plan's sealed master set was approved for; none: not judged",
    "permit.wind_speed_mph": "greatest wind speed",
    "permit.exposure": "worst exposure it covers: C covers B and C",
    "permit.kzt": "greatest Kzt",
    "permit.sds_g": "greatest SDS",
    "styles": "front styles: letter = words; the first is the default",
    "options": "built options: name = words",
    "weights": "dead loads: the least for uplift, the greatest for earthquake and gravity",
    "weights.roof": "roof and ceiling, on plan area with overhangs",
    "weights.exterior_wall": "outer walls, on wall area",
    "weights.interior_wall": "partitions, on wall area",
    "weights.floor": "upper floors",
    "weight_change": "heavier assemblies of a style or option, such as a tile roof",
    "weight_change.assembly": "which of the weights grows",
    "weight_change.add_psf": "by how much, least and greatest alike",
    "storey": "storeys, the lowest first",
    "storey.name": "name that walls and roofs use",
    "storey.wall_height_ft": "floor to top of plates",
    "storey.floor_depth_ft": "depth of the floor below it; none under the first",
    "storey.interior_wall_ft": "length of partitions beyond the walls that are drawn, for their weight",
    "storey.areas": "rectangles whose union is the storey's outline",
    "storey.areas.rect": "x0, y0, x1, y1; x to the right along the front, the front wall faces -y",
    "wall": "straight walls parallel to x or y",
    "wall.name": "name, unique in the house as built",
    "wall.storey": "storey it stands in",
    "wall.from": "x, y of one end; openings are measured from here",
    "wall.to": "x, y of the other end",
    "wall.line": "shear line; walls of one line share its load",
    "wall.exterior": "whether it is an outer wall",
    "wall.shear": "whether its solid pieces brace the house",
    "wall.floor_tributary_ft": "width of the floor above that it carries",
    "wall.stands_on": "wall of the storey below that carries it, where none stands on its line",
    "wall.method": "how it counts as a shear wall: its solid pieces by themselves, or with its openings as one "
    "perforated wall (on the foundation, with no wall above)",
    "wall.openings": "windows, doors and other openings",
    "wall.openings.name": "name of the opening",
    "wall.openings.from_ft": "from the wall's `from` end to its near edge",
    "wall.openings.width_ft": "width",
    "wall.openings.height_ft": "height",
    "wall.openings.sill_ft": "bottom above the floor; 0: a door, which cuts the plate",
    "roof": "gable and hip parts of trusses",
    "roof.name": "name of the part",
    "roof.storey": "storey whose walls carry it",
    "roof.shape": "its ends",
    "roof.rect": "x0, y0, x1, y1 over the bearing lines, without overhangs",
    "roof.ridge": "axis the ridge is parallel to",
    "roof.ridge_at_ft": "ridge from the low side; default: the middle",
    "roof.pitch_in_12": "rise in 12 of the low side's slope",
    "roof.heel_ft": "height of the truss at the plate",
    "roof.eave_overhang_ft": "overhang at the eaves, on plan",
    "roof.rake_overhang_ft": "overhang at gable ends",
    "roof.truss_spacing_in": "trusses, centre to centre",
    "roof.bearings": "lines of walls that the trusses bear on, the outer ones included",
    "roof.bearings.at_ft": "across the span, from the rectangle's low side",
    "roof.bearings.wall": "wall that lies there",
    "roof.girders": "girders that carry trusses over an open stretch of a bearing line",
    "roof.girders.at_ft": "bearing line, across the span",
    "roof.girders.from_ft": "one end, along the ridge from the rectangle's low side",
    "roof.girders.to_ft": "the other end",
    "roof.end_walls": "walls under the two ends of the ridge, the low end first",
    "roof.hip_setback_ft": "from a hip end to its girder; hips need it",
    "porch": "open porches and covered patios on posts",
    "porch.name": "name of the porch",
    "porch.rect": "x0, y0, x1, y1 of its roof",
    "porch.pitch_in_12": "rise in 12 of its roof",
    "porch.posts": "posts, two at least",
    "porch.attached_wall": "wall its ledger is on; blank: it stands free",
    "porch.roof_dead_psf": "dead load of its roof",
    "porch.post_height_ft": "height of the posts",
    "porch.fascia_depth_ft": "depth of its fascia, for wind from the side",
    "porch.footing_weight_lb": "weight of one footing that counts against uplift",
}


def meaning(name: str) -> str:
    """The meaning of a key by its full name, list marks left out; blank where none is known."""
    bare = name.replace("[]", "")
    last = bare.rsplit(".", 1)[-1]
    if bare in PLAN_KEYS:
        return PLAN_KEYS[bare]
    if last in ("least_psf", "greatest_psf"):
        return "the least it weighs" if last == "least_psf" else "the most it weighs"
    return _CHOSEN.get(last, "")
