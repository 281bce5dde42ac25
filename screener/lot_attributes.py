"""The columns of a lots file: matched to ours, read as text, number, yes/no or date, and checked cell by cell."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hazard.issues import Issue, Issues
from screener.columns import HAZARD_COLUMNS, LOTS_INPUT, Column
from screener.config import Site, nearest
from screener.files.vectors import VectorLayer

YES = frozenset({"yes", "y", "true", "t", "1"})
NO = frozenset({"no", "n", "false", "f", "0", ""})

# Control characters, and characters that take no room or turn the writing direction: never part of a name.
_UNSEEN = re.compile("[\x00-\x1f\x7f-\x9f\u00ad\u200b-\u200f\u2028-\u202e\u2060-\u2064\u2066-\u2069\ufeff]")
_WHOLE = re.compile(r"^-?\d+\.0$")


class LotReader:
    """One lots table while it is read: what is skipped and why."""

    def __init__(self, layer: VectorLayer, issues: Issues, row_numbers: NDArray[np.int64] | None = None) -> None:
        self.source = layer.frame
        self.file = layer.where
        self.issues = issues
        self.rows = len(layer.frame)
        self.row_numbers = np.arange(1, self.rows + 1) if row_numbers is None else row_numbers
        self.ids: NDArray[np.object_] = np.array([f"row {n}" for n in self.row_numbers], dtype=object)
        self.reason: NDArray[np.object_] = np.full(self.rows, "", dtype=object)
        self.detail: NDArray[np.object_] = np.full(self.rows, "", dtype=object)

    def where(self, i: int) -> str:
        return f"{self.file} {self.ids[i]}"

    def lot_id(self, i: int) -> str:
        return str(self.ids[i])

    def tell(self, i: int, severity: str, code: str, found: str, expected: str, done: str) -> None:
        issue = Issue(code, severity, self.where(i), found, expected, done, self.lot_id(i))
        self.issues.add(issue)
        if severity == "skip" and not self.reason[i]:
            self.reason[i] = code
            self.detail[i] = f"{found}; expected {expected}" if expected else found

    def each(
        self, rows: Iterable[Any], severity: str, code: str, found: Callable[[int], str], expected: str, done: str
    ) -> None:
        for i in rows:
            self.tell(int(i), severity, code, found(int(i)), expected, done)


# ---------------------------------------------------------------- columns


def match_columns(layer: VectorLayer, tract: Site, issues: Issues) -> dict[str, str]:
    """Our name -> the file's column, for every input column that the file has."""
    theirs = [str(name) for name in layer.frame.columns if name != layer.frame.geometry.name]
    wanted = {**tract.lots.columns, **tract.hazard_columns()}
    found: dict[str, str] = {}
    for ours, named in wanted.items():
        if named in theirs:
            found[ours] = named
            continue
        close = nearest(named, theirs)
        expected = f"{close} (the nearest)" if close else f"one of {', '.join(theirs) or 'none'}"
        fix = "correct it in the project file"
        issues.add("column_missing", "stop", layer.where, f"no column {named} (for {ours})", expected, fix)
    skip = {column.name for column in HAZARD_COLUMNS}  # a hazard is taken from the lots only where the project says so
    for column in LOTS_INPUT:
        if column.name not in wanted and column.name not in skip:
            _match_by_name(column, theirs, layer.where, found, issues)
    _note_misspelt(theirs, found, layer.where, issues)
    _check_cut_names(theirs, found, tract, layer.where, issues)
    _note_unused_hazards(theirs, wanted, layer.where, issues)
    return found


def _match_by_name(column: Column, theirs: list[str], where: str, found: dict[str, str], issues: Issues) -> None:
    same = [name for name in theirs if name.casefold() == column.name.casefold()]
    if column.name in same and len(same) == 1:
        found[column.name] = column.name
    elif len(same) == 1:
        found[column.name] = same[0]
        done = f"took it for {column.name}"
        issues.add("column_case", "note", where, f"column {same[0]}", column.name, done)
    elif len(same) > 1:
        fix = f'say which in the project file: [lots] columns = {{ {column.name} = "..." }}'
        issues.add("column_ambiguous", "stop", where, f"columns {' and '.join(same)}", f"one {column.name}", fix)
    elif column.required:
        close = nearest(column.name, theirs)
        hint = f"; nearest is {close}" if close else ""
        found_text = f"no column {column.name} among {', '.join(theirs) or 'none'}{hint}"
        fix = f'name it in the project file: [lots] columns = {{ {column.name} = "..." }}'
        issues.add("column_missing", "stop", where, found_text, f"a column {column.name}", fix)


def _note_misspelt(theirs: list[str], found: dict[str, str], where: str, issues: Issues) -> None:
    """A column of no use to us whose name is close to one that the file lacks."""
    hazards = {column.name for column in HAZARD_COLUMNS}  # these are told of on their own
    absent = [column.name for column in LOTS_INPUT if column.name not in found and column.name not in hazards]
    for name in theirs:
        near = difflib.get_close_matches(name.casefold(), absent, 1, 0.8) if name not in found.values() else []
        if near:
            done = "kept as a free column, not used"
            issues.add("column_unknown", "warn", where, f"column {name}", f"perhaps {near[0]}", done)


def _check_cut_names(theirs: list[str], found: dict[str, str], tract: Site, where: str, issues: Issues) -> None:
    """Shapefiles cut names to ten characters; two that become one are told apart by a number only."""
    if tract.lots.file.suffix.lower() not in (".shp", ".zip"):
        return
    cut = [
        name
        for name in theirs
        if re.fullmatch(r".{8}_\d", name) and any(t[:8] == name[:8] for t in theirs if t != name)
    ]
    if not cut:
        return
    stem = cut[0][:8]
    both = [name for name in theirs if name.startswith(stem)]
    used = [name for name in both if name in found.values()]
    severity, done = ("stop", "give a GeoPackage, or rename the columns") if used else ("warn", "not used here")
    text = f"columns {' and '.join(both)} are cut to ten characters and can't be told apart"
    issues.add("column_cut", severity, where, text, "full names", done)


def _note_unused_hazards(theirs: list[str], wanted: Mapping[str, str], where: str, issues: Issues) -> None:
    for column in HAZARD_COLUMNS:
        if column.name in theirs and column.name not in wanted and column.name not in wanted.values():
            fix = f'to use it: [hazards] {column.name} = {{ column = "{column.name}" }}'
            issues.add("column_unused", "note", where, f"column {column.name} is not used", "", fix)


# ---------------------------------------------------------------- attributes


def read_attributes(reader: LotReader, columns: Mapping[str, str], tract: Site) -> pd.DataFrame:
    """The lots' attributes under our names and types; ids first, so that everything else can name its lot."""
    _read_ids(reader, reader.source[columns["lot_id"]])
    frame = pd.DataFrame({"lot_id": reader.ids, "source_row": reader.row_numbers})
    for column in LOTS_INPUT:
        if column.name == "lot_id":
            continue
        name = "lot_status" if column.name == "status" else column.name
        values = reader.source[columns[column.name]] if column.name in columns else None
        frame[name] = _attribute(reader, column, values)
    frame["exposure"] = frame["exposure"].str.upper()
    frame["site_class"] = frame["site_class"].str.upper()
    frame["options"] = [";".join(split_options(text)) for text in frame["options"]]
    frame["plan"] = frame["plan"].str.strip()
    return frame


def _attribute(reader: LotReader, column: Column, values: pd.Series[Any] | None) -> Any:
    match column.kind:
        case "number":
            return np.full(reader.rows, np.nan) if values is None else _numbers(reader, column, values)
        case "yes_no":
            return np.zeros(reader.rows, dtype=bool) if values is None else _yes_no(reader, column, values)
        case "date":
            return np.full(reader.rows, "", dtype=object) if values is None else _dates(reader, column, values)
        case _:
            return np.full(reader.rows, "", dtype=object) if values is None else _names(reader, column, values)


def texts(values: pd.Series[Any]) -> NDArray[np.object_]:
    """Cells as text, "" where there is none. Numbers that are whole lose their decimal point, never a digit."""
    result: NDArray[np.object_] = np.empty(len(values), dtype=object)
    result[:] = [
        "" if value is None or value != value or value is pd.NaT else str(value) for value in values.to_numpy(object)
    ]
    if pd.api.types.is_float_dtype(values):
        result[:] = [text[:-2] if _WHOLE.match(text) else text for text in result]
    return result


def clean(text: str) -> str:
    """A name without unseen characters and outer blanks, in the composed Unicode form."""
    return unicodedata.normalize("NFC", _UNSEEN.sub("", text)).strip()


def _read_ids(reader: LotReader, values: pd.Series[Any]) -> None:
    raw = texts(values)
    if pd.api.types.is_numeric_dtype(values):
        done = "read as text; leading zeros, if there were any, were lost before"
        reader.issues.add("lot_id_number", "warn", reader.file, f"column {values.name} holds numbers", "text", done)
    ids = np.array([clean(text) for text in raw], dtype=object)
    taken = set(ids)
    blank = np.flatnonzero(ids == "")
    for i in blank:
        name = f"row-{reader.row_numbers[i]}"
        while name in taken:
            name += "-"
        taken.add(name)
        ids[i] = name
    reader.ids[:] = ids
    reader.each(blank, "skip", "lot_id_missing", lambda i: "no lot id", "a lot id", "named by its row")
    changed = np.flatnonzero((ids != raw) & (raw != ""))
    reader.each(
        (i for i in changed if ids[i] == clean(raw[i])),
        "fix",
        "lot_id_cleaned",
        lambda i: f"lot id {raw[i]!r}",
        "an id without blanks around it and without unseen characters",
        "taken without them",
    )
    _note_look_alikes(reader)


def _note_look_alikes(reader: LotReader) -> None:
    """Ids that differ only in case, blanks or the form of their characters."""
    groups: dict[str, list[str]] = {}
    for name in dict.fromkeys(reader.ids):
        folded = re.sub(r"[\s_\-.]+", "", unicodedata.normalize("NFKC", name).casefold())
        groups.setdefault(folded, []).append(name)
    for names in groups.values():
        if len(names) > 1:
            done = "kept as different lots"
            found = f"lot ids {' and '.join(map(repr, names))} look alike"
            reader.issues.add("lot_id_look_alike", "warn", reader.file, found, "ids that can't be confused", done)


def _names(reader: LotReader, column: Column, values: pd.Series[Any]) -> NDArray[np.object_]:
    raw = texts(values)
    cleaned = np.array([clean(text) for text in raw], dtype=object)
    unseen = np.array([_UNSEEN.search(text) is not None for text in raw], dtype=bool)
    reader.each(
        np.flatnonzero(unseen),
        "fix",
        "text_cleaned",
        lambda i: f"{column.name} {raw[i]!r} holds unseen characters",
        "plain text",
        "taken without them",
    )
    return cleaned


def _numbers(reader: LotReader, column: Column, values: pd.Series[Any]) -> NDArray[np.float64]:
    raw = texts(values)
    numbers = np.array([_number(text) for text in raw])
    wrong = np.isinf(numbers)
    code, expected = ("number_unusable", f"a plain number ({column.unit or 'no unit'})")
    if column.name == "front_bearing_deg":
        wrong |= (numbers < 0) | (numbers > 360)
        code, expected = "bearing_unusable", "degrees from 0 to 360"
        numbers = np.where(numbers == 360, 0.0, numbers)
    elif column.name.endswith("_setback_ft"):
        wrong |= numbers < 0
    reader.each(np.flatnonzero(wrong), "skip", code, lambda i: f"{column.name} {raw[i]!r}", expected, "skipped")
    return np.where(wrong, np.nan, numbers)


def _number(text: str) -> float:
    """A plain number; NaN for blank; infinite for what is none (units, thousands separators, decimal commas)."""
    text = text.strip()
    if not text:
        return np.nan
    try:
        value = float(text)
    except ValueError:
        return np.inf
    if "_" in text or not np.isfinite(value):
        return np.inf
    return value


def _yes_no(reader: LotReader, column: Column, values: pd.Series[Any]) -> NDArray[np.bool_]:
    raw = texts(values)
    folded = np.array([clean(text).casefold() for text in raw], dtype=object)
    yes = np.isin(folded, list(YES))
    unclear = np.flatnonzero(~(yes | np.isin(folded, list(NO))))
    code = f"{column.name}_unclear"
    reader.each(unclear, "skip", code, lambda i: f"{column.name} {raw[i]!r}", "yes or no", "skipped")
    return yes


def _dates(reader: LotReader, column: Column, values: pd.Series[Any]) -> NDArray[np.object_]:
    """Dates as YYYY-MM-DD. A month alone is its first day; other styles are ambiguous and are not guessed."""
    if pd.api.types.is_datetime64_any_dtype(values):
        given = values.dt.strftime("%Y-%m-%d")
        return np.array([text if isinstance(text, str) else "" for text in given], dtype=object)
    raw = texts(values)
    result: NDArray[np.object_] = np.full(len(raw), "", dtype=object)
    for i, text in enumerate(raw):
        day = (
            f"{text.strip()}-01" if re.fullmatch(r"\d{4}-\d{2}", text.strip()) else text.strip()[:10].replace("/", "-")
        )
        if not day:
            continue
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", day) and not pd.isna(pd.to_datetime(day, errors="coerce")):
            result[i] = day
        else:
            done = "left blank: the lot counts, its month does not"
            reader.tell(i, "warn", "date_unclear", f"{column.name} {text!r}", "a date as YYYY-MM-DD", done)
    return result


def split_options(text: str) -> list[str]:
    """Options of a lot, in alphabetical order: "third_bay; patio" -> ["patio", "third_bay"]."""
    return sorted({part.strip() for part in re.split(r"[;,|]", text) if part.strip()})
