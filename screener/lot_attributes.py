"""The columns of a lots file: matched to ours, read as text, number, yes/no or date, and checked cell by cell."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hazard.issues import DrawnPlace, Issue, Issues
from screener.column_suggestions import bare_number, block_and_lot, likely, mapping_line
from screener.columns import LOTS_INPUT, Column
from screener.config import Site
from screener.files.vectors import VectorLayer

YES = frozenset({"yes", "y", "true", "t", "1"})
NO = frozenset({"no", "n", "false", "f", "0", ""})

# Control characters, and characters that take no room or turn the writing direction: never part of a name.
_UNSEEN = re.compile("[\x00-\x1f\x7f-\x9f\u00ad\u200b-\u200f\u2028-\u202e\u2060-\u2064\u2066-\u2069\ufeff]")
_UNCLEAR = "?"
_WHOLE = re.compile(r"^-?\d+\.0$")


class LotReader:
    """One lots table while it is read: what is skipped and why."""

    def __init__(self, layer: VectorLayer, issues: Issues, row_numbers: NDArray[np.int64] | None = None) -> None:
        self.source = layer.frame
        self.file = layer.where
        self.issues = issues
        self.rows = len(layer.frame)
        self.row_numbers = np.arange(1, self.rows + 1) if row_numbers is None else row_numbers
        self.ids: NDArray[np.object_] = np.full(self.rows, "", dtype=object)  # the ids are read before all else
        self.reason: NDArray[np.object_] = np.full(self.rows, "", dtype=object)
        self.detail: NDArray[np.object_] = np.full(self.rows, "", dtype=object)

    def where(self, i: int) -> str:
        return f"{self.file} {self.ids[i]}"

    def lot_id(self, i: int) -> str:
        return str(self.ids[i])

    def tell(
        self, i: int, severity: str, code: str, found: str, expected: str, done: str, place: DrawnPlace | None = None
    ) -> None:
        issue = Issue(code, severity, self.where(i), found, expected, done, self.lot_id(i), place)
        self.issues.add(issue)
        if severity == "skip" and not self.reason[i]:
            self.reason[i] = code
            self.detail[i] = f"{found}; expected {expected}" if expected else found

    def each(
        self, rows: Iterable[Any], severity: str, code: str, found: Callable[[int], str], expected: str, done: str
    ) -> None:
        for i in rows:
            self.tell(int(i), severity, code, found(int(i)), expected, done)


# ---------------------------------------------------------------- attributes


def read_attributes(reader: LotReader, columns: Mapping[str, str], tract: Site) -> pd.DataFrame:
    """The lots' attributes under our names and types; ids first, so that everything else can name its lot."""
    if "lot_id" in columns:
        _read_ids(reader, reader.source[columns["lot_id"]])
    else:
        _read_ids(reader, _built_ids(reader, columns))
    made: dict[str, Any] = {"lot_id": reader.ids, "source_row": reader.row_numbers}
    blank = pd.Series("", index=range(reader.rows), dtype="str")
    for column in LOTS_INPUT:
        if column.name != "lot_id":
            name = "lot_status" if column.name == "status" else column.name
            values = reader.source[columns[column.name]] if column.name in columns else None
            made[name] = _attribute(reader, column, values, blank)
    for name, change in (
        ("exposure", str.upper), ("site_class", str.upper), ("plan", str.strip),
        ("options", lambda text: ";".join(split_options(text))),
    ):  # fmt: skip
        made[name] = _changed(*coded(pd.Series(made[name])), change)
    frame = pd.DataFrame(made)
    if "block" not in columns:
        _blocks_from_ids(reader, frame)
    _note_bare_numbers(reader, columns, tract)
    return frame


def note_cut_texts(reader: LotReader, columns: Mapping[str, str], cut: Mapping[str, NDArray[np.bool_]]) -> None:
    """Texts that we use and that fill their column of a shapefile: their end may be missing."""
    for ours in (ours for ours, theirs in columns.items() if theirs in cut):
        found = f"{ours} fills its column {columns[ours]}: the text may be cut off"
        done = "used as it is; check it, or give a GeoPackage"
        for i in np.flatnonzero(cut[columns[ours]]):
            reader.tell(int(i), "warn", "text_cut", found, "a whole text", done)


# ---------------------------------------------------------------- blocks and lots


def _built_ids(reader: LotReader, columns: Mapping[str, str]) -> pd.Series[Any]:
    """Ids made of block and lot, "3-12"; the lot alone where it has no block, blank where it has no number."""
    lot = [bare_number(clean(text)) for text in texts(reader.source[columns["lot"]])]
    block = [""] * len(lot)
    if "block" in columns:
        block = [bare_number(clean(text)) for text in texts(reader.source[columns["block"]])]
    made = [f"{b}-{n}" if b and n else n for b, n in zip(block, lot, strict=True)]
    example = next((name for name in made if name), "none")
    of = f"columns {columns['block']} and {columns['lot']}" if "block" in columns else f"column {columns['lot']}"
    reader.issues.add("lot_ids_built", "note", reader.file, f"lot ids are made of {of}", "", f"such as {example}")
    return pd.Series(made, dtype=object, name="lot_id")


def _blocks_from_ids(reader: LotReader, frame: pd.DataFrame) -> None:
    """The block of each lot, where no column gives one and every id holds a block and a lot."""
    if reader.rows < 2 or block_and_lot(str(reader.ids[0])) is None:
        return
    pairs = [block_and_lot(str(name)) for name in reader.ids]
    if not all(pairs):
        return
    frame["block"] = [pair[0] for pair in pairs if pair is not None]
    done = f"block {frame['block'].iat[0]} of {reader.ids[0]}, and so on"
    reader.issues.add("block_from_lot_id", "note", reader.file, "no column block", "", f"read from the ids: {done}")


def _note_bare_numbers(reader: LotReader, columns: Mapping[str, str], tract: Site) -> None:
    """Lot numbers that start anew in every block: told with the columns that together make ids."""
    source = columns.get("lot_id")
    repeated = pd.Series(reader.ids).duplicated(keep=False).to_numpy()
    if source is None or not repeated.any():
        return
    for block in dict.fromkeys([*filter(None, [columns.get("block")]), *likely(reader.source, "block")]):
        blocks = texts(reader.source[block])
        pairs = pd.DataFrame({"block": blocks[repeated], "lot": reader.ids[repeated]})
        if block == source or pairs.duplicated().any():
            continue
        name = str(pairs["lot"].iat[0])
        places = ", ".join(pairs.loc[pairs["lot"] == name, "block"].head(4))
        found = f"{int(repeated.sum())} lots share their id with a lot of another block ({name} is in {places})"
        others = {k: v for k, v in tract.lots.columns.items() if k not in ("lot_id", "block", "lot")}
        line = mapping_line({"block": block, "lot": source, **others})
        example = f"{bare_number(str(pairs['block'].iat[0]))}-{bare_number(name)}"
        done = f"for ids such as {example}, under [lots]: {line}"
        reader.issues.add("lot_id_needs_block", "warn", reader.file, found, "each id once", done)
        return


def _attribute(reader: LotReader, column: Column, values: pd.Series[Any] | None, blank: pd.Series[str]) -> Any:
    match column.kind:
        case "number":
            return np.full(reader.rows, np.nan) if values is None else _numbers(reader, column, values)
        case "yes_no":
            return np.zeros(reader.rows, dtype=bool) if values is None else _yes_no(reader, column, values)
        case "date":
            return blank if values is None else _dates(reader, column, values)
        case _:
            return blank if values is None else _names(reader, column, values)


def texts(values: pd.Series[Any]) -> NDArray[np.object_]:
    """Cells as text, "" where there is none. Numbers that are whole lose their decimal point, never a digit."""
    if isinstance(values.dtype, pd.StringDtype):
        return values.to_numpy(object, na_value="")
    cells = values.to_numpy(object)
    given = np.asarray(pd.notna(cells))
    result: NDArray[np.object_] = np.full(len(values), "", dtype=object)
    result[given] = [value if type(value) is str else str(value) for value in cells[given]]
    if pd.api.types.is_float_dtype(values):
        result[:] = [text[:-2] if _WHOLE.match(text) else text for text in result]
    return result


def clean(text: str) -> str:
    """A name without unseen characters and outer blanks, in the composed Unicode form."""
    if text.isascii() and text.isprintable():  # most names: nothing to look for
        return text.strip()
    return unicodedata.normalize("NFC", _UNSEEN.sub("", text)).strip()


def clean_all(raw: NDArray[np.object_]) -> NDArray[np.object_]:
    """`clean` of many names (n,)."""
    together = "".join(raw.tolist())
    if together.isascii() and together.isprintable() and " " not in together:  # most files: nothing to look for
        return raw.copy()
    return np.array([clean(text) for text in raw], dtype=object)


def coded(values: pd.Series[Any]) -> tuple[NDArray[np.intp], NDArray[np.object_]]:
    """Cells as `texts` gives them, each distinct text once (k,), and which of them each cell (n,) is.

    Columns of a tract hold few. Equal cells of one type are one text; of mixed types (1, True) they may be two.
    """
    kind = values.dtype
    if not (isinstance(kind, pd.StringDtype) or pd.api.types.is_bool_dtype(kind) or kind.kind in "iu"):
        place, distinct = pd.factorize(texts(values))
        return place, distinct
    place, cells = pd.factorize(values)
    return place, np.append(texts(pd.Series(cells, dtype=kind)), "")  # place -1, the last: no cell


def _changed(
    place: NDArray[np.intp], distinct: NDArray[np.object_], function: Callable[[str], str]
) -> pd.api.extensions.ExtensionArray:
    """A function of coded texts as a column of texts."""
    column: pd.api.extensions.ExtensionArray = pd.array([*map(function, distinct), ""], dtype="str").take(place)
    return column


def _read_ids(reader: LotReader, values: pd.Series[Any]) -> None:
    raw = texts(values)
    if pd.api.types.is_numeric_dtype(values):
        done = "read as text; leading zeros, if there were any, were lost before"
        reader.issues.add("lot_id_number", "warn", reader.file, f"column {values.name} holds numbers", "text", done)
    ids = clean_all(raw)
    blank = np.flatnonzero(ids == "")
    taken = set(ids) if len(blank) else set()
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
    """Ids that differ only in case, blanks or the form of their characters, or in how block and lot are written."""
    names_once = pd.unique(reader.ids)
    folded = _all_folded(names_once.tolist())
    if len(set(folded)) == len(folded):
        return
    groups: dict[str, list[str]] = {}
    for i in np.flatnonzero(pd.Series(folded, dtype=object).duplicated(keep=False)).tolist():
        groups.setdefault(folded[i], []).append(names_once[i])
    for names in groups.values():
        done = "kept as different lots"
        found = f"lot ids {' and '.join(map(repr, names))} look alike"
        reader.issues.add("lot_id_look_alike", "warn", reader.file, found, "ids that can't be confused", done)


_BETWEEN = str.maketrans("", "", " _-.\t\n\r\f\v")
_MAY_BEGIN_A_PAIR = frozenset("bBlL0123456789 ")


def _all_folded(names: list[str]) -> list[str]:
    """`_folded` of all names; plain ones that hold no block and lot together, in one text."""
    together = "\n".join(names)
    if not names or not together.isascii() or together.count("\n") != len(names) - 1:
        return [_folded(name) for name in names]
    plain = together.lower().replace("\n", "\0").translate(_BETWEEN).split("\0")
    return [_folded(n) if n[:1] in _MAY_BEGIN_A_PAIR else f for n, f in zip(names, plain, strict=True)]


def _folded(name: str) -> str:
    """A lot id without case, blanks, dashes and dots, in the plain form of its characters; block and lot in one way."""
    pair = block_and_lot(name)
    if pair:
        return f"{pair[0]} {pair[1]}"
    if name.isascii():
        return name.lower().translate(_BETWEEN)
    return re.sub(r"[\s_\-.]+", "", unicodedata.normalize("NFKC", name).casefold())


def _names(reader: LotReader, column: Column, values: pd.Series[Any]) -> pd.api.extensions.ExtensionArray:
    place, raw = coded(values)
    unseen = np.array([_UNSEEN.search(text) is not None for text in raw], dtype=bool)
    reader.each(
        np.flatnonzero(unseen[place]),
        "fix",
        "text_cleaned",
        lambda i: f"{column.name} {raw[place[i]]!r} holds unseen characters",
        "plain text",
        "taken without them",
    )
    return _changed(place, raw, clean)


def _numbers(reader: LotReader, column: Column, values: pd.Series[Any]) -> NDArray[np.float64]:
    if pd.api.types.is_float_dtype(values) and isinstance(values.dtype, np.dtype):
        numbers = values.to_numpy(dtype=np.float64, copy=True)
    else:
        place, given = coded(values)
        numbers = np.array([_number(text) for text in given], dtype=np.float64)[place]
    wrong = np.isinf(numbers)
    code, expected = ("number_unusable", f"a plain number ({column.unit or 'no unit'})")
    if column.name == "front_bearing_deg":
        wrong |= (numbers < 0) | (numbers > 360)
        code, expected = "bearing_unusable", "degrees from 0 to 360"
        numbers = np.where(numbers == 360, 0.0, numbers)
    elif column.name.endswith("_setback_ft"):
        wrong |= numbers < 0
    if wrong.any():
        raw = texts(values)
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
    place, raw = coded(values)
    folded = [clean(text).casefold() for text in raw]
    yes = np.array([text in YES for text in folded], dtype=bool)[place]
    unclear = np.flatnonzero(~np.array([text in YES or text in NO for text in folded], dtype=bool)[place])
    code = f"{column.name}_unclear"
    reader.each(unclear, "skip", code, lambda i: f"{column.name} {raw[place[i]]!r}", "yes or no", "skipped")
    return yes


def _dates(reader: LotReader, column: Column, values: pd.Series[Any]) -> NDArray[np.object_]:
    """Dates as YYYY-MM-DD. A month alone is its first day; other styles are ambiguous and are not guessed."""
    if pd.api.types.is_datetime64_any_dtype(values):
        given = values.dt.strftime("%Y-%m-%d")
        return np.array([text if isinstance(text, str) else "" for text in given], dtype=object)
    place, raw = coded(values)
    days = np.array([_day(text) for text in raw], dtype=object)[place]
    done = "left blank: the lot counts, its month does not"
    unclear = np.flatnonzero(days == _UNCLEAR)
    expected = "a date as YYYY-MM-DD"
    reader.each(unclear, "warn", "date_unclear", lambda i: f"{column.name} {raw[place[i]]!r}", expected, done)
    days[unclear] = ""
    return days


def _day(text: str) -> str:
    """A date as YYYY-MM-DD, "" for blank, `_UNCLEAR` for what is none."""
    text = text.strip()
    day = f"{text}-01" if re.fullmatch(r"\d{4}-\d{2}", text) else text[:10].replace("/", "-")
    known = not day or (re.fullmatch(r"\d{4}-\d{2}-\d{2}", day) and not pd.isna(pd.to_datetime(day, errors="coerce")))
    return day if known else _UNCLEAR


def split_options(text: str) -> list[str]:
    """Options of a lot, in alphabetical order: "third_bay; patio" -> ["patio", "third_bay"]."""
    return sorted({part.strip() for part in re.split(r"[;,|]", text) if part.strip()})
