"""Pressures on components and cladding as effects: studs, wall plates, roof sheathing (ASCE 7 Chapter 30, 12.11)."""

from __future__ import annotations

import numpy as np

from screener.line_loads import Effect
from screener.load_states import Frame
from screener.standards import asce7_ch12_seismic as seismic
from screener.standards import asce7_ch28_envelope as envelope
from screener.standards import asce7_ch30_components as components
from screener.trace import named


def suction_and_pressure(
    frame: Frame,
    suction_gcp: float,
    pressure_gcp: float,
    what: str = "component",
    curves: tuple[str, str] = ("", ""),
) -> Effect:
    """Magnitude of the net pressure (psf): outward with inside pressure in the +GCpi states, inward in the -GCpi ones.

    The least pressure of Sec. 30.2.2 stands in the minimum states. ``what`` and ``curves`` (the break points behind
    both coefficients, in words) name it in a derivation.
    """
    kd = envelope.kd_in_pressure(frame.edition)
    rows, told = np.zeros((len(frame.wind), len(frame.basis))), []
    for i, state in enumerate(frame.wind):
        if state.minimum:
            rows[i, frame.column["one"]] = components.minimum_pressure_psf(frame.edition)
            told.append(f"least pressure, {frame.edition} 30.2.2")
            continue
        rows[i, frame.column["q_components_psf"]] = kd * (-suction_gcp if state.gcpi_sign > 0 else pressure_gcp)
        rows[i, frame.column["q_components_gcpi_psf"]] = kd
        gcp, curve = (suction_gcp, curves[0]) if state.gcpi_sign > 0 else (pressure_gcp, curves[1])
        told.append(f"GCp {gcp:.6g}{f' ({curve}; linear in log10 area)' if curve else ''}, GCpi acting with it")
    return named(
        frame.wind_effect(frame.trace(rows)),
        f"components and cladding pressure on {what}",
        "p = q Kd |GCp| + Kd GCpi q",
        {"Kd": kd},
        "psf",
        f"{frame.edition} 30.3, Figures 30.3-1 and 30.3-2",
        told,
    )


def wall_pressure(frame: Frame, zone: str, area_sqft: float, roof_angle_deg: float) -> Effect:
    """Net pressure on a wall component of the given effective area, zone "4" or "5", psf."""
    return suction_and_pressure(
        frame,
        float(components.gcp("wall", zone, "suction", roof_angle_deg, area_sqft, frame.edition)),
        float(components.gcp("wall", zone, "pressure", roof_angle_deg, area_sqft, frame.edition)),
        f"wall zone {zone}, effective area {area_sqft:.2f} sq ft",
        (_curve(frame, zone, "suction", roof_angle_deg), _curve(frame, zone, "pressure", roof_angle_deg)),
    )


def _curve(frame: Frame, zone: str, sign: str, roof_angle_deg: float) -> str:
    """The break points behind a wall coefficient, where a derivation is asked for."""
    return components.gcp_words("wall", zone, sign, roof_angle_deg, frame.edition) if frame.traced else ""


def least_pressure(frame: Frame) -> Effect:
    """The least pressure of Sec. 30.2.2 in every wind state, psf: it stands beside the uplift of that state too."""
    rows = np.zeros((len(frame.wind), len(frame.basis)))
    rows[:, frame.column["one"]] = components.minimum_pressure_psf(frame.edition)
    what = "least pressure on components and cladding"
    return named(frame.wind_effect(frame.trace(rows)), what, "as stated", {}, "psf", f"{frame.edition} 30.2.2")


def wall_inertia(frame: Frame, weight_psf: float, diaphragm_span_ft: float) -> tuple[Effect, Effect]:
    """Seismic wall anchorage, psf: the part that grows with SDS and the least one (12.11.2), as two effects.

    At SDS 1 and at 0 the standard's own function gives the slope and the floor.
    """
    ka = float(seismic.anchorage_ka(diaphragm_span_ft))
    at_one = float(seismic.wall_anchorage_psf(1.0, weight_psf, ka, 1.0))
    least = float(seismic.wall_anchorage_psf(0.0, weight_psf, ka, 1.0))
    growing, floor = frame.zero(), frame.zero()
    first, last = len(frame.wind), len(frame.wind) + len(frame.seismic)
    growing[first:last, frame.column["sds_g"]] = at_one
    floor[first:last, frame.column["one"]] = least
    about = {"ka": ka, "wall_psf": weight_psf, "diaphragm_span_ft": diaphragm_span_ft}
    source = f"{frame.edition} 12.11.2.1"
    return (
        named(growing, "seismic wall anchorage", "0.4 SDS ka Ie w", about, "psf", source),
        named(floor, "least seismic wall anchorage", "0.2 ka Ie w", about, "psf", source),
    )
