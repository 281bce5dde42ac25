"""Wind states: which winds a house is designed for by each main wind procedure, and which velocity pressure each takes.

The envelope procedure (ASCE 7 Chapter 28) knows one velocity pressure for every direction and turns the building under
it; the directional one (Chapter 27) takes each face's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from screener.standards.asce7_ch27_directional import both_axes_share

Axis = Literal["x", "y"]
End = Literal["low", "high"]
Procedure = Literal["envelope", "directional"]
RoofCase = Literal["suction", "pressure"]

FACES = ("front", "rear", "left", "right")
"""The sides of a house that wind can meet, as drawn: wind on to the front blows toward +y, on to the left toward +x."""

FACE_OF: dict[tuple[Axis, int], str] = {("y", 1): "front", ("y", -1): "rear", ("x", 1): "left", ("x", -1): "right"}

VELOCITIES: dict[Procedure, tuple[str, ...]] = {
    "envelope": ("q_envelope_psf",),
    "directional": tuple(f"q_onto_{face}_psf" for face in FACES),
}
"""Velocity pressures of the main wind system by procedure: one for every direction, or one for each face."""


def internal_column(velocity: str) -> str:
    """Basis name of a velocity pressure times GCpi."""
    return velocity.replace("_psf", "_gcpi_psf")


@dataclass(frozen=True)
class WindState:
    """Wind along ``axis`` towards its + or - end with one sign of internal pressure.

    ``roof`` False neglects the roof's horizontal pressures (the note on the least total shear of both figures);
    ``minimum`` is the least lateral load of Sec. 28.3.4 and 27.1.5.
    """

    axis: Axis
    sense: int
    gcpi_sign: int
    roof: bool = True
    minimum: bool = False

    @property
    def name(self) -> str:
        if self.minimum:
            return f"wind toward {'+' if self.sense > 0 else '-'}{self.axis}, least lateral load"
        text = f"{self._title}, {'+' if self.gcpi_sign > 0 else '-'}GCpi"
        return text if self.roof else f"{text}, roof shear neglected"

    @property
    def _title(self) -> str:
        return f"wind toward {'+' if self.sense > 0 else '-'}{self.axis}"

    @property
    def windward_end(self) -> End:
        return "low" if self.sense > 0 else "high"

    @property
    def share(self) -> float:
        """Share of the full pressures that acts in this state."""
        return 1.0

    def acts_along(self, axis: Axis) -> bool:
        return self.axis == axis

    def sense_along(self, axis: Axis) -> int:
        """Direction sign of what acts along ``axis``; along an axis where nothing does, either."""
        return self.sense

    def velocity(self, axis: Axis) -> str:
        """Basis name of the velocity pressure of the wind along ``axis``."""
        raise NotImplementedError

    def porch_velocity(self, axis: Axis) -> str:
        """The same for an open roof, which Chapter 27 serves in either procedure."""
        return self.velocity(axis)


@dataclass(frozen=True)
class EnvelopeState(WindState):
    """A state of Fig. 28.3-1: ``corner`` is the end, on the axis across the wind, where the end zone lies (or, for wind
    along a ridge, the slope that takes zone 2)."""

    corner: End = "low"

    @property
    def _title(self) -> str:
        return f"{super()._title}, corner {self.corner}"

    def velocity(self, axis: Axis) -> str:
        return "q_envelope_psf"

    def porch_velocity(self, axis: Axis) -> str:
        return "q_components_psf"


@dataclass(frozen=True)
class DirectionalState(WindState):
    """A state of Fig. 27.3-1 and 27.3-8, with the velocity pressure of its own wind direction.

    ``roof_case`` picks between the figure's two values on a windward slope (and on roofs parallel to the wind). With
    ``other_sense`` it is case 3: winds along both axes at a share of case 1; ``axis`` is then the one whose roof
    pressures are taken.
    """

    roof_case: RoofCase = "suction"
    other_sense: int = 0
    both_share: float = 1.0

    @property
    def _title(self) -> str:
        if not self.other_sense:
            return f"{super()._title}, roof {self.roof_case}"
        senses = {self.axis: self.sense, ("y" if self.axis == "x" else "x"): self.other_sense}
        ways = " and ".join(f"{'+' if senses[a] > 0 else '-'}{a}" for a in ("x", "y"))
        return f"{self.both_share:.0%} of winds toward {ways}, roof {self.roof_case} of wind along {self.axis}"

    @property
    def share(self) -> float:
        return self.both_share if self.other_sense else 1.0

    def acts_along(self, axis: Axis) -> bool:
        return self.axis == axis or self.other_sense != 0

    def sense_along(self, axis: Axis) -> int:
        return self.sense if self.axis == axis or not self.other_sense else self.other_sense

    def velocity(self, axis: Axis) -> str:
        face_axis = axis if self.acts_along(axis) else self.axis
        return f"q_onto_{FACE_OF[face_axis, self.sense_along(face_axis)]}_psf"


AXES: tuple[Axis, ...] = ("x", "y")
_ENDS: tuple[End, ...] = ("low", "high")
_ROOF_CASES: tuple[RoofCase, ...] = ("suction", "pressure")


def _envelope_states() -> tuple[WindState, ...]:
    full = [
        EnvelopeState(axis, sense, sign, roof, corner=corner)
        for roof in (True, False)
        for axis in AXES
        for sense in (1, -1)
        for corner in _ENDS
        for sign in (1, -1)
    ]
    return (*full, *(EnvelopeState(axis, sense, 1, False, True) for axis in AXES for sense in (1, -1)))


def _directional_states(edition: str) -> tuple[WindState, ...]:
    """Cases 1 and 3 of Fig. 27.3-8; houses of one and two light-frame storeys are exempt from 2 and 4 (Appendix D)."""
    full = [
        DirectionalState(axis, sense, sign, roof, roof_case=roof_case)
        for roof in (True, False)
        for axis in AXES
        for sense in (1, -1)
        for roof_case in _ROOF_CASES
        for sign in (1, -1)
    ]
    share = both_axes_share(edition)
    both = [
        DirectionalState(axis, sense, sign, roof_case=roof_case, other_sense=other_sense, both_share=share)
        for axis in AXES
        for sense in (1, -1)
        for other_sense in (1, -1)
        for roof_case in _ROOF_CASES
        for sign in (1, -1)
    ]
    return (*full, *both, *(DirectionalState(axis, sense, 1, False, True) for axis in AXES for sense in (1, -1)))


def wind_states(procedure: Procedure, edition: str) -> tuple[WindState, ...]:
    """Every wind state of a procedure, in a fixed order."""
    return _envelope_states() if procedure == "envelope" else _directional_states(edition)
