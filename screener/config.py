"""The project file: one TOML a tract, checked as a whole, every fault reported at once.

Relative paths are relative to the file. An unknown key is an error that names the nearest known one. Only local files
are read: a name that asks for the network is refused, but for the https address of a raster where the caller allows it.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, Field, PrivateAttr, ValidationError

from hazard.issues import Issue, Issues
from screener.config_checks import check_files, check_output, check_together
from screener.config_faults import fault_issue, field_model
from screener.config_sections import (
    AgesSection,
    ClassValues,
    DesignSection,
    ExposureSection,
    GroundSection,
    HardwareSection,
    HazardsSection,
    LotsSection,
    OutputSection,
    PlansSection,
    PurchaseSection,
    Section,
    TerrainSection,
    TiersSection,
    TractSection,
    shown_path,
)
from screener.files.toml_files import read_toml

_MOST_FAULTS = 200  # told one by one


class Site(Section):
    """The lots of a tract and their ground: what hazards need. `source` is the file itself; every path is absolute."""

    tract: TractSection
    design: DesignSection = DesignSection()  # type: ignore[call-arg]
    lots: LotsSection
    ground: GroundSection = GroundSection()  # type: ignore[call-arg]
    hazards: HazardsSection
    site_classes: dict[str, ClassValues] = Field(
        default_factory=dict,
        description="ASCE 7-22: values for each site class, as [site_classes.C]; a lot takes its own class's, the "
        "default class the greater of C, CD and D, each value by itself; in place of hazards.sms_g and sm1_g",
    )
    exposure: ExposureSection = ExposureSection()  # type: ignore[call-arg]
    terrain: TerrainSection = TerrainSection()  # type: ignore[call-arg]
    ages: AgesSection = AgesSection()  # type: ignore[call-arg]
    _source: Path = PrivateAttr(default=Path("tract.toml"))
    _noticed: tuple[Issue, ...] = PrivateAttr(default=())

    @property
    def source(self) -> Path:
        """The project file."""
        return self._source

    @property
    def noticed(self) -> tuple[Issue, ...]:
        """What was repaired or doubtful in the project file itself: it belongs among the issues of every run."""
        return self._noticed

    @property
    def folder(self) -> Path:
        """The folder that relative paths start from."""
        return self._source.parent

    @property
    def name(self) -> str:
        """The tract's name."""
        return self.tract.name

    def shown(self, path: Path | str | tuple[Path | str, ...]) -> str:
        """A path as results may show it: relative to the project file, or only its name; never the machine's.

        An address is shown without its query, which may hold a secret; of several tiles the names, one after another.
        """
        if isinstance(path, tuple):
            return ", ".join(self.shown(each) for each in path)
        return shown_path(path, self.folder) if isinstance(path, Path) else path.partition("?")[0]

    def remote_inputs(self) -> dict[str, str]:
        """Addresses that are read, as results may show them, by the key that names them."""
        given = (f"hazards.{name}" for name in HazardsSection.model_fields)
        found = {f"{key}.file": getattr(self.hazards, key.partition(".")[2]) for key in given}
        for name, values in self.site_classes.items():
            for key in ClassValues.model_fields:
                found[f"site_classes.{name}.{key}.file"] = getattr(values, key)
        return {
            key if len(files) == 1 else f"{key}.{number}": self.shown(file)
            for key, source in found.items()
            if source is not None
            for files in [source.files]
            for number, file in enumerate(files, start=1)
            if isinstance(file, str)
        }

    def input_files(self) -> dict[str, Path]:
        """Every file and folder that is read, by the key that names it, the project file first."""
        return {"project file": self.source, **{key: path for key, path in _paths(self) if key != "output.folder"}}

    def hazard_columns(self) -> dict[str, str]:
        """Hazards given per lot: our name -> the lots file's column."""
        given = ((name, getattr(self.hazards, name)) for name in HazardsSection.model_fields)
        return {name: source.column for name, source in given if source is not None and source.column is not None}

    def settings(self) -> dict[str, Any]:
        """The project after defaults, with paths as results may show them."""
        shown: dict[str, Any] = _shown_values(self.model_dump(mode="python", exclude_none=True), self)
        return shown

    def defaults_taken(self) -> dict[str, Any]:
        """Settings the file left out, and the value taken for each: "design.method" -> "ASD"."""
        return dict(_defaults(self, ""))


class Tract(Site):
    """A project file, checked: a site with its plans, hardware and purchase."""

    plans: PlansSection
    hardware: HardwareSection
    tiers: TiersSection = TiersSection()  # type: ignore[call-arg]
    purchase: PurchaseSection
    output: OutputSection


class HazardProject(Site):
    """A project file read for its hazards alone: plans may be missing; hardware and prices are not looked at."""

    plans: PlansSection | None = None
    hardware: HardwareSection | None = None
    tiers: TiersSection | None = None
    purchase: PurchaseSection | None = None
    output: OutputSection | None = None

    def input_files(self) -> dict[str, Path]:
        """Every file and folder that is read, by the key that names it; plans only where they are there."""
        unread = ("hardware", "tiers", "purchase")
        found = {key: path for key, path in super().input_files().items() if key.partition(".")[0] not in unread}
        if self.plans is not None and not os.path.isdir(self.plans.folder):
            del found["plans.folder"]
        return found


def _paths(model: BaseModel, prefix: str = "") -> Iterator[tuple[str, Path]]:
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, Path):
            yield prefix + name, value
        elif isinstance(value, tuple):
            yield from ((f"{prefix}{name}.{n}", v) for n, v in enumerate(value, start=1) if isinstance(v, Path))
        elif isinstance(value, BaseModel):
            yield from _paths(value, f"{prefix}{name}.")
        elif isinstance(value, dict):
            for key, inner in value.items():
                if isinstance(inner, BaseModel):
                    yield from _paths(inner, f"{prefix}{name}.{key}.")


def _defaults(model: BaseModel, prefix: str) -> Iterator[tuple[str, Any]]:
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            yield from _defaults(value, f"{prefix}{name}.")
        elif name not in model.model_fields_set and value not in (None, {}, ()):
            yield prefix + name, value


def _shown_values(value: Any, tract: Site) -> Any:
    if isinstance(value, dict):
        return {k: _shown_values(v, tract) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_shown_values(v, tract) for v in value]
    if isinstance(value, Path) or (isinstance(value, str) and value.casefold().startswith("https://")):
        return tract.shown(value)
    return value.isoformat() if isinstance(value, date) else value


# ---------------------------------------------------------------- reading


def load_tract(path: str | os.PathLike[str], *, allow_remote: bool = False) -> Tract:
    """Read and check a project file. Raises InputError with every fault found in it.

    `allow_remote`: rasters may be named by an https address, and are fetched from there.
    """
    return _loaded(path, Tract, allow_remote)


def load_changed_tract(path: str | os.PathLike[str], changes: Mapping[str, Any], remove: Iterable[str] = ()) -> Tract:
    """The project with some keys changed: section -> key -> value. A value replaces the key's own as a whole.

    `remove` names keys to leave out, as "hazards.ss_g".

    Paths are relative to the project file. Raises InputError as `load_tract` does.
    """
    issues = Issues()
    project = _read(path, issues, Tract, changes, remove)
    issues.raise_stops()
    assert project is not None  # no stop was recorded, so there is a project
    return project


def load_hazard_project(path: str | os.PathLike[str], *, allow_remote: bool = False) -> HazardProject:
    """The same for hazards alone: no plans, hardware, prices or output need be named."""
    return _loaded(path, HazardProject, allow_remote)


def read_tract(path: str | os.PathLike[str], issues: Issues, *, allow_remote: bool = False) -> Tract | None:
    """Read a project file, adding every fault to `issues`; the tract as far as it can be understood, or None.

    Unknown keys are set aside, so that a caller who only checks can go on and look at the files too.
    """
    return _read(path, issues, Tract, allow_remote=allow_remote)


_Project = TypeVar("_Project", bound=Site)


def _loaded(path: str | os.PathLike[str], model: type[_Project], allow_remote: bool) -> _Project:
    issues = Issues()
    project = _read(path, issues, model, allow_remote=allow_remote)
    issues.raise_stops()
    assert project is not None  # no stop was recorded, so there is a project
    return project


def _read(
    path: str | os.PathLike[str],
    issues: Issues,
    model: type[_Project],
    changes: Mapping[str, Any] | None = None,
    remove: Iterable[str] = (),
    *,
    allow_remote: bool = False,
) -> _Project | None:
    source = Path(os.path.abspath(path))
    values = read_toml(source, issues, "config", "a project file (TOML)")
    if values is None:
        return None
    for place in remove:
        section, _, key = place.partition(".")
        if isinstance(values.get(section), dict):
            values[section].pop(key, None)
    for section, keys in (changes or {}).items():
        own = values.get(section)
        values[section] = {**(own if isinstance(own, dict) else {}), **keys} if isinstance(keys, Mapping) else keys
    project = validated(values, source, issues, model, allow_remote)
    if project is None:
        return None
    check_files(project.input_files().items(), source, issues)
    check_output(project, issues)
    check_together(project, issues)
    project._noticed = tuple(issue for issue in issues if issue.severity != "stop")
    return project


def validated(
    values: dict[str, Any], source: Path, issues: Issues, model: type[_Project], allow_remote: bool
) -> _Project | None:
    """The values as a project, as far as they can be understood; every fault of a key becomes an issue."""
    context = {"folder": source.parent, "allow_remote": allow_remote}
    try:
        tract = model.model_validate(values, context=context)
    except ValidationError as error:
        faults = error.errors(include_url=False)
        for fault in faults[:_MOST_FAULTS]:
            issues.add(fault_issue(fault, source.name, Tract))
        if len(faults) > _MOST_FAULTS:
            found = f"{len(faults) - _MOST_FAULTS:,} more faults"
            issues.add("config_value", "stop", source.name, found, "none", "correct those named first")
        rest = _without(values, {fault["loc"] for fault in faults})
        try:  # without the faulty keys the rest may still be understood
            tract = model.model_validate(rest, context=context)
        except ValidationError:
            check_files(_paths_by_section(rest, context), source, issues)
            return None
    tract._source = source
    return tract


def _paths_by_section(values: dict[str, Any], context: dict[str, Any]) -> Iterator[tuple[str, Path]]:
    """The paths of those sections that can be understood by themselves."""
    for name, field in Tract.model_fields.items():
        model = field_model(field)
        if model is None or name not in values:
            continue
        try:
            yield from _paths(model.model_validate(values[name], context=context), f"{name}.")
        except ValidationError:
            continue


def _without(values: dict[str, Any], places: set[tuple[int | str, ...]]) -> dict[str, Any]:
    def copy(value: Any, here: tuple[int | str, ...]) -> Any:
        if not isinstance(value, dict):
            return value
        return {k: copy(v, (*here, k)) for k, v in value.items() if (*here, k) not in places}

    result: dict[str, Any] = copy(values, ())
    return result
