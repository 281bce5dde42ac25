"""run.json: how a set of results came about, without clock, host or path, so that the same run gives the same bytes.

It is written last; its presence and the checksums in it mean that the set is complete. Times stand in timings.json.
"""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from hazard.issues import InputError, Issue
from hazard.raster_files import referenced_files
from screener.columns import SCHEMA_VERSION

if TYPE_CHECKING:
    import pandas as pd

    from screener.config import Site

CAUTION = (
    "For planning and pricing only: local code and the building official set the rules, "
    "and a licensed design professional decides what is built."
)
_LIBRARIES = (
    "tract-screener",
    "numpy",
    "scipy",
    "pandas",
    "pyarrow",
    "geopandas",
    "shapely",
    "pyogrio",
    "pyproj",
    "rasterio",
    "numba",
    "pydantic",
)
# Files that belong to another by their name: parts of a shapefile, and what GDAL reads beside a raster.
_COMPANIONS = (".shx", ".dbf", ".prj", ".cpg", ".tfw", ".wld", ".aux.xml", ".ovr", ".msk")
NOT_CHECKSUMMED = ("run.json", "timings.json")


class Inputs(Protocol):
    """What a run reads: a project or a portfolio."""

    def input_files(self) -> dict[str, Path]: ...
    def remote_inputs(self) -> dict[str, str]: ...
    def settings(self) -> dict[str, Any]: ...
    def shown(self, path: Path) -> str: ...


def tool_version() -> str:
    """Our own version."""
    try:
        return version("tract-screener")
    except PackageNotFoundError:  # run from a copy of the source that was never installed
        return "unknown"


def versions() -> dict[str, str]:
    """Versions of everything whose change could change a number."""
    import pyogrio
    import pyproj
    import rasterio
    import shapely

    found = {"python": platform.python_version()}
    for name in _LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "unknown"
    found["GDAL for vectors"] = pyogrio.__gdal_version_string__
    found["GDAL for rasters"] = rasterio.__gdal_version__
    found["PROJ"] = pyproj.proj_version_str
    found["GEOS"] = shapely.geos_version_string
    return found


def sha256(path: Path) -> str:
    """Checksum of a file's content."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def input_records(tract: Inputs) -> list[dict[str, Any]]:
    """Every file that the project reads: its key, name, size and checksum, in the order of the keys.

    Of a virtual raster every file that it is made of; an address stands without size and checksum. Raises InputError
    for every file that can't be read.
    """
    records: list[dict[str, Any]] = []
    faults = []
    for key, path in tract.input_files().items():
        for file in _files_of(path, key):
            shown = tract.shown(file)
            try:
                records.append({"key": key, "file": shown, "bytes": file.stat().st_size, "sha256": sha256(file)})
            except OSError as error:
                found = error.strerror or str(error)
                faults.append(Issue("file_unreadable", "stop", shown, found, "a file that can be read", f"see {key}"))
    if faults:
        raise InputError(faults)
    records += [
        {"key": key, "file": file, "bytes": None, "sha256": None} for key, file in tract.remote_inputs().items()
    ]
    return records


def _files_of(path: Path, key: str) -> list[Path]:
    if path.is_dir():
        return sorted(entry for entry in path.rglob("*") if entry.is_file() and not entry.name.startswith("."))
    is_raster = key.startswith(("hazards.", "site_classes.")) and not key.endswith(".classes")
    made_of = referenced_files(path) if is_raster else []
    return list(dict.fromkeys(file for each in (path, *made_of) for file in _with_companions(each)))


def _with_companions(path: Path) -> list[Path]:
    beside = [path.with_suffix(suffix) for suffix in _COMPANIONS] + [path.with_name(path.name + s) for s in _COMPANIONS]
    return [path, *sorted({file for file in beside if file.is_file() and file != path})]


def run_id(tract: Inputs, inputs: list[dict[str, Any]], options: Mapping[str, Any]) -> str:
    """A name for a run that is the same exactly when inputs, settings and versions are."""
    return _hash({**_work(tract.settings(), inputs, options), "versions": versions()})


def about_run(tract: Inputs, inputs: list[dict[str, Any]], options: Mapping[str, Any]) -> dict[str, Any]:
    """What tells a run from others: its id, the same without versions (`work`), and the versions."""
    work = _hash(_work(tract.settings(), inputs, options))
    return {"run_id": run_id(tract, inputs, options), "work": work, "versions": versions()}


def about_results(manifest: Mapping[str, Any]) -> dict[str, Any]:
    """The same of results that are there; nothing of what their manifest does not tell."""
    try:
        work = _hash(_work(manifest["settings"], manifest["inputs"], manifest["options"]))
        return {"run_id": manifest["run_id"], "work": work, "versions": manifest["versions"]}
    except (KeyError, TypeError):
        return {}


def _work(settings: Any, inputs: list[dict[str, Any]], options: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "settings": settings,
        "inputs": [(record["key"], record["file"], record["sha256"]) for record in inputs],
        "options": dict(options),
    }


def _hash(content: Mapping[str, Any]) -> str:
    return hashlib.sha256(to_json(content).encode()).hexdigest()[:16]


def basis_words(tract: Site, wind_mph: Iterable[float]) -> str:
    """What numbers rest on, in one sentence for every output: edition, wind, state of the ground, hardware list."""
    design, hardware = tract.design, getattr(tract, "hardware", None)
    known = [float(v) for v in wind_mph if v == v]
    wind = f"{min(known):.0f} mph" if known else "not known"
    if known and round(max(known)) != round(min(known)):
        wind = f"{min(known):.0f} to {max(known):.0f} mph"
    source = tract.hazards.wind_speed_mph
    where = tract.shown(source.file) if source.file else f"column {source.column}" if source.column else "project file"
    held = f"; loads of hardware as {tract.shown(hardware.file)} lists them" if hardware is not None else ""
    return (
        f"Screening, not for construction: {design.loads}, {design.method}; basic wind speed {wind} ({where}); "
        f"ground state {tract.tract.ground_state}{held}. Local amendments come first; lots out of scope are exceptions."
    )


def build_manifest(
    tract: Site,
    inputs: list[dict[str, Any]],
    options: Mapping[str, Any],
    lots: pd.DataFrame,
    issues: pd.DataFrame,
    exit_code: int,
    recorded: Mapping[str, Any],
) -> dict[str, Any]:
    """The manifest but for the outputs' checksums, which `write_manifest` adds. `recorded`: the pipeline's notes."""
    severities = issues["severity"].value_counts().to_dict() if len(issues) else {}
    codes = issues["code"].value_counts().to_dict() if len(issues) else {}
    return {
        "caution": CAUTION,
        "basis": basis_words(tract, lots.get("wind_speed_mph", ())),
        "schema_version": SCHEMA_VERSION,
        "run_id": run_id(tract, inputs, options),
        "tract": tract.name,
        "exit_code": exit_code,
        "counts": {
            "lots": len(lots),
            "by_status": dict(sorted(lots["status"].value_counts().to_dict().items())),
            "issues_by_severity": dict(sorted(severities.items())),
            "issues_by_code": dict(sorted(codes.items())),
        },
        "settings": tract.settings(),
        "defaults_taken": tract.defaults_taken(),
        "options": dict(options),
        "crs": lots.crs.to_string() if getattr(lots, "crs", None) is not None else None,
        "units": "US customary; each column's unit is in its name or in gpkg_data_columns",
        "inputs": inputs,
        "versions": versions(),
        "recorded": dict(recorded),
    }


def write_manifest(folder: Path, manifest: Mapping[str, Any], timings: Mapping[str, Any]) -> None:
    """Write timings.json, then run.json with the checksum of every other file in the folder."""
    stamp = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"
    (folder / "timings.json").write_text(to_json({"written_utc": stamp, **timings}), encoding="utf-8", newline="\n")
    outputs = {
        file.relative_to(folder).as_posix(): {"bytes": file.stat().st_size, "sha256": sha256(file)}
        for file in sorted(folder.rglob("*"))
        if file.is_file() and file.name not in NOT_CHECKSUMMED
    }
    complete = {**manifest, "outputs": outputs}
    (folder / "run.json").write_text(to_json(complete), encoding="utf-8", newline="\n")


def read_manifest(folder: Path) -> dict[str, Any] | None:
    """The manifest of a results folder, None where there is none that can be read."""
    try:
        manifest = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return manifest if isinstance(manifest, dict) else None


def is_complete(folder: Path) -> bool:
    """Whether every file that the manifest names is there and unchanged."""
    manifest = read_manifest(folder)
    if manifest is None:
        return False
    outputs = manifest.get("outputs", {})
    try:
        return bool(outputs) and all(sha256(folder / name) == about["sha256"] for name, about in outputs.items())
    except (OSError, KeyError, TypeError):
        return False


def refuse_changed(folder: Path, names: Iterable[str] | None = None) -> None:
    """Raise InputError for every table of a results folder that is not as its run wrote it: no number is read from it.

    `names`: the files that must be right; None: every CSV file that is there.
    """
    outputs = (read_manifest(folder) or {}).get("outputs", {})
    outputs = outputs if isinstance(outputs, dict) else {}
    wanted = [n for n in outputs if n.endswith(".csv") and (folder / n).is_file()] if names is None else list(names)
    faults = []
    for name in wanted:
        about = outputs.get(name)
        written = about.get("sha256") if isinstance(about, dict) else None
        try:
            same = sha256(folder / name) == written
        except OSError as error:
            raise InputError(
                Issue("file_unreadable", "stop", name, error.strerror or str(error), "a file that can be read", "")
            ) from error
        if not same:
            found = "changed since its run wrote it" if written else "not named in run.json"
            where = f"{folder.name}/{name}"
            faults.append(Issue("results_changed", "stop", where, found, "the file as written", "run again"))
    if faults:
        raise InputError(faults)


def run_table(manifest: Mapping[str, Any]) -> pd.DataFrame:
    """The manifest as rows of key and value, for the GeoPackage."""
    import pandas as pd

    rows = list(_flat("", manifest))
    return pd.DataFrame(rows, columns=["key", "value"])


def _flat(prefix: str, value: Any) -> list[tuple[str, str]]:
    if isinstance(value, Mapping):
        return [row for key in value for row in _flat(f"{prefix}.{key}" if prefix else str(key), value[key])]
    if isinstance(value, list | tuple) and any(isinstance(v, Mapping) for v in value):
        return [row for number, v in enumerate(value, 1) for row in _flat(f"{prefix}.{number}", v)]
    return [(prefix, value if isinstance(value, str) else to_json(value, indent=None).strip())]


def to_json(value: Any, indent: int | None = 2) -> str:
    """JSON text that is the same everywhere; a number that is none becomes null."""
    return json.dumps(_plain(value), indent=indent, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(v) for key, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, set | frozenset):
        return sorted(_plain(v) for v in value)
    if isinstance(value, np.ndarray | np.generic):
        return _plain(value.tolist())
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if isinstance(value, date):
        return value.isoformat()
    if value is None or isinstance(value, str | int):
        return value
    return str(value)
