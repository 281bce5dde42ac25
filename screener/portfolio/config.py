"""The portfolio file: many tracts screened as one job, with one set of rules; checked as strictly as a project file.

Design, hazards, plans, hardware, packages' rules and purchase come from a project file that `base` names, or stand in
the portfolio file itself as the same tables. The lots come from one file with a column that tells their tract, or from
tract projects that are listed, each with its own lots and ground.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from hazard.issues import InputError, Issue, Issues
from hazard.table_cells import shortened
from screener.config import Site, Tract, validated
from screener.config_checks import check_files, check_output, check_together
from screener.config_faults import expected_by, model_at, nearest
from screener.config_sections import InputPath, LotsSection, OutputSection
from screener.files.toml_files import read_toml

BASE_SECTIONS = tuple(name for name in Tract.model_fields if name not in ("lots", "output"))
OF_A_TRACT = ("tract", "lots", "ground", "hazards", "site_classes")
"""Tables of a listed tract project that count in a portfolio; all its others are the portfolio's."""


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class PortfolioLots(LotsSection):
    """One file with the lots of all tracts."""

    tract_column: str = Field("tract", description="column that names the tract of each lot")
    division_column: str | None = Field(None, description="column that names the division; none: one division")
    hazards_together: Literal["area", "tract"] = Field(
        "area",
        description='lots whose hazards are read together: those of an "area" (a quarter of a degree; fast) or of each '
        '"tract" by itself (then to the last bit as `screener run` has them for the tract alone)',
    )


class TractEntry(_Section):
    """A tract that has a project file of its own: its lots and ground are taken, and its hazards where it has any."""

    project: InputPath = Field(description="project file of the tract")
    name: str | None = Field(None, min_length=1, description="name of the tract; none: the project's own")
    division: str = Field("", description="division that the tract belongs to")


class PackagesSection(_Section):
    """Which lots share packages."""

    per: Literal["division", "tract", "portfolio"] = Field(
        "division", description="packages are chosen for each division, for each tract, or for all lots together"
    )
    most: int | None = Field(None, ge=1, le=50, description="greatest number of packages of each; none: [tiers] most")


class PortfolioFile(_Section):
    """Keys of a portfolio file beside the tables of a project file."""

    name: str = Field(min_length=1, description="name of the portfolio")
    base: InputPath | None = Field(
        None, description="project file with the rules; none: its tables stand in the portfolio file"
    )
    lots: PortfolioLots | None = Field(None, description="one file with all lots; or else [[tracts]]")
    tracts: list[TractEntry] = Field(default_factory=list, description="tract projects, one table [[tracts]] each")
    packages: PackagesSection = PackagesSection()  # type: ignore[call-arg]
    output: OutputSection


@dataclass(frozen=True)
class Listed:
    """A tract with a project of its own."""

    name: str
    division: str
    project: Tract


@dataclass(frozen=True)
class Portfolio:
    """A portfolio, checked. `base` holds the rules; its lots are those of the portfolio where one file has them."""

    name: str
    source: Path
    base: Tract
    lots: PortfolioLots | None
    listed: tuple[Listed, ...]
    packages: PackagesSection
    output: Path

    def input_files(self) -> dict[str, Path]:
        """Every file and folder that is read, by the key that names it, the portfolio file first."""
        files = {"portfolio file": self.source}
        files |= {("base" if key == "project file" else key): path for key, path in self.base.input_files().items()}
        if self.lots is None:
            del files["lots.file"]
        for number, each in enumerate(self.listed, 1):
            own = each.project.input_files()
            kept = {key: own[key] for key in own if key.partition(".")[0] in ("project file", *OF_A_TRACT)}
            files |= {f"tracts.{number}.{key}": path for key, path in kept.items()}
        return files

    def settings(self) -> dict[str, Any]:
        """The portfolio after defaults, with paths as results may show them."""
        shown = self.base.settings()
        shown.pop("output", None)
        if self.lots is None:
            shown.pop("lots", None)
        else:
            own = self.lots.model_dump(mode="python", exclude_none=True)
            shown["lots"] = {k: self.base.shown(v) if isinstance(v, Path) else v for k, v in own.items()}
        shown["packages"] = self.packages.model_dump(mode="python", exclude_none=True)
        shown["name"] = self.name
        if self.listed:
            shown["tracts"] = [
                {"name": t.name, "division": t.division, **{k: t.project.settings().get(k) for k in OF_A_TRACT}}
                for t in self.listed
            ]
        return shown

    def remote_inputs(self) -> dict[str, str]:
        """Rasters that come from elsewhere: a portfolio takes none."""
        return {}

    def shown(self, path: Path) -> str:
        """A path as results may show it: relative to the portfolio file, or only its name."""
        folder = self.source.parent
        return path.relative_to(folder).as_posix() if path.is_relative_to(folder) else path.name

    @property
    def most(self) -> int:
        """Greatest number of packages of each group."""
        return self.packages.most or self.base.tiers.most


def load_portfolio(path: str | os.PathLike[str]) -> Portfolio:
    """Read and check a portfolio file and every project file that it names. InputError carries every fault found."""
    issues = Issues()
    source = Path(os.path.abspath(path))
    values = read_toml(source, issues, "portfolio", "a portfolio file (TOML)")
    if values is None:
        raise InputError(issues.stops())
    inline = {key: values.pop(key) for key in BASE_SECTIONS if key in values}
    file = _own_keys(values, source, issues)
    issues.raise_stops()
    assert file is not None
    _check_forms(file, inline, source, issues)
    issues.raise_stops()
    base = _base(file, inline, source, issues)
    listed = _listed(file, base, source, issues) if base is not None else ()
    if base is not None:
        _check_rules(base, source, issues)
    issues.raise_stops()
    assert base is not None
    return Portfolio(file.name, source, base, file.lots, tuple(listed), file.packages, file.output.folder)


def _own_keys(values: dict[str, Any], source: Path, issues: Issues) -> PortfolioFile | None:
    try:
        return PortfolioFile.model_validate(values, context={"folder": source.parent})
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            issues.add(_fault(fault, source.name))
    return None


def _fault(fault: Any, file: str) -> Issue:
    place = ".".join(str(part) for part in fault["loc"])
    if fault["type"] == "extra_forbidden":
        known = (*PortfolioFile.model_fields, *BASE_SECTIONS)
        model = model_at(fault["loc"][:-1], PortfolioFile) if len(fault["loc"]) > 1 else None
        names = tuple(model.model_fields) if model is not None else known
        close = nearest(str(fault["loc"][-1]), names)
        expected = f"{close} (the nearest known)" if close else "one of " + ", ".join(names)
        return Issue("config_unknown_key", "stop", file, f"unknown key {place}", expected, "correct or remove it")
    if fault["type"] == "missing":
        return Issue("config_missing_key", "stop", f"{file} {place}", "the key is missing", "it", "add it")
    expected = str(fault["ctx"]["error"]) if fault["type"] == "value_error" else expected_by(fault)
    return Issue("config_value", "stop", f"{file} {place}", repr(fault["input"]), expected, "correct the value")


def _check_forms(file: PortfolioFile, inline: dict[str, Any], source: Path, issues: Issues) -> None:
    def stop(where: str, found: str, expected: str) -> None:
        issues.add("config_value", "stop", f"{source.name} {where}", found, expected, "correct the portfolio file")

    if (file.lots is None) == (not file.tracts):
        found = "both [lots] and [[tracts]]" if file.tracts else "neither [lots] nor [[tracts]]"
        stop("", found, "one of them")
    if file.base is not None and inline:
        stop("", f"base and the tables {', '.join(f'[{name}]' for name in inline)}", "base, or the tables, not both")
    if file.base is None and not inline:
        stop("base", "no rules", "a project file, or its tables here")
    if file.base is not None and not os.path.isfile(file.base):  # takes a name too long for the system as not there
        expected = f"a file at {shortened(file.base.name)}"
        issues.add("file_missing", "stop", f"{source.name} base", "nothing there", expected, "")


def _base(file: PortfolioFile, inline: dict[str, Any], source: Path, issues: Issues) -> Tract | None:
    """The rules as a project whose lots are the portfolio's; listed tracts have lots of their own."""
    at = file.base or source
    values = read_toml(at, issues, "config", "a project file (TOML)") if file.base is not None else dict(inline)
    if values is None:
        return None
    own_tract = values.get("tract", {})
    values["tract"] = {**(own_tract if isinstance(own_tract, dict) else {}), "name": file.name}
    fields = LotsSection.model_fields
    lots = file.lots.model_dump(mode="python", exclude_none=True) if file.lots is not None else {"file": source}
    values["lots"] = {k: str(v) if isinstance(v, Path) else v for k, v in lots.items() if k in fields}
    values["output"] = {"folder": str(file.output.folder)}
    base = validated(values, at, issues, Tract, False)
    if base is not None:
        check_files(base.input_files().items(), at, issues)
        check_output(base, issues)
        check_together(base, issues)
    return base


def _listed(file: PortfolioFile, base: Tract, source: Path, issues: Issues) -> list[Listed]:
    found = []
    for number, entry in enumerate(file.tracts, 1):
        project = _project(entry, base, f"{source.name} tracts {number}", issues)
        if project is not None:
            found.append(Listed(entry.name or project.name, entry.division, project))
    names = [each.name for each in found]
    for name in sorted({n for n in names if names.count(n) > 1}):
        issues.add(
            "tract_twice", "stop", f"{source.name} tracts", f"tract '{name}' is listed twice", "each tract once",
            "give one of them another name",
        )  # fmt: skip
    return found


def _project(entry: TractEntry, base: Tract, where: str, issues: Issues) -> Tract | None:
    """A listed tract: its own lots and ground, its hazards where it has any, and the portfolio's rules."""
    if not os.path.isfile(entry.project):
        expected = f"a file at {shortened(entry.project.name)}"
        issues.add("file_missing", "stop", f"{where} project", "nothing there", expected, "")
        return None
    values = read_toml(entry.project, issues, "config", "a project file (TOML)")
    if values is None:
        return None
    own = {key: values[key] for key in OF_A_TRACT if key in values}
    inherited = {name: getattr(base, name) for name in Tract.model_fields if name not in own}
    if "hazards" in own:
        inherited.pop("site_classes", None)
    project = validated({**inherited, **own}, entry.project, issues, Tract, False)
    if project is None:
        return None
    paths = {k: p for k, p in project.input_files().items() if k.partition(".")[0] in own}
    check_files(paths.items(), entry.project, issues)
    check_together(project, issues)
    return project


def _check_rules(base: Tract, source: Path, issues: Issues) -> None:
    """Rules that a portfolio can't keep, since no single tract is in view when they count."""
    for place, wrong, why in (
        ("[tiers] least_lots", base.tiers.least_lots > 1, "1: packages of a portfolio serve any number of lots"),
        ("[tiers] scope", base.tiers.scope != "tract", '"tract": [packages] per says who shares packages'),
    ):
        if wrong:
            section, key = place.strip("[").split("] ")
            found = repr(getattr(getattr(base, section), key))
            issues.add("portfolio_rule", "stop", f"{source.name} {place}", found, why, "correct it for the portfolio")


def site_of(portfolio: Portfolio, number: int) -> Site:
    """The project that a tract's lots are read by: its own, or the base."""
    return portfolio.listed[number].project if portfolio.listed else portfolio.base
