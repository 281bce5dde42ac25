"""Everything a purchase follows from, as plain tables: kits, which lot takes which, dates, prices, settings.

A run makes one from its tract; `read_case` makes the same from the tables of finished results, so that a change in mix
or prices needs no demands again. Orders, bill and forecast are functions of a case alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from hazard.issues import InputError, Issue
from screener.config_sections import PurchaseSection
from screener.files.manifest import read_manifest, refuse_changed
from screener.kits import OPEN, fitted_shares, kit_tables
from screener.price_list import MILLION, PriceList, millionths, of_hardware, of_records
from screener.prices import cents, decimal

if TYPE_CHECKING:
    from screener.pipeline import Prepared
    from screener.selection import Selection
    from screener.unsold import OpenLots

DROPS = ("foundation", "walls", "floor", "roof")
"""Deliveries of a house in the order they are needed."""


@dataclass(frozen=True)
class PurchaseCase:
    """`lots`: lot_id, phase, start ("" or YYYY-MM-DD); `kits` and `lot_kits` as in `screener.kits`."""

    kits: pd.DataFrame
    lot_kits: pd.DataFrame
    lots: pd.DataFrame
    prices: PriceList
    settings: PurchaseSection
    as_of: date | None = None

    @property
    def project_waste(self) -> Decimal:
        return decimal(self.settings.waste)

    @cached_property
    def kit_items(self) -> pd.DataFrame:
        """Kit x bill item x drop in whole numbers: pieces, pieces with waste and minutes in millionths, cents at list.

        Cents are rounded for each row of the kit, as a package is priced.
        """
        kits = self.kits
        by_row = [self.worth(item, int(n)) for item, n in zip(kits["item"], kits["quantity"], strict=True)]
        table = pd.DataFrame(by_row, columns=["with_waste", "minutes", "cents"], dtype=np.int64)
        table = pd.concat([kits[["kit", "bill_item", "drop", "quantity"]].reset_index(drop=True), table], axis=1)
        table["quantity"] = table["quantity"].astype(np.int64)
        table = table.rename(columns={"bill_item": "item"})
        return table.groupby(["kit", "item", "drop"], sort=True, as_index=False).sum()

    def worth(self, item: str, pieces: int) -> tuple[int, int, int]:
        """Net pieces of an item of the list: with waste and minutes in millionths, cents at the list price."""
        row = self.prices.by_item[item]
        waste = self.project_waste if row.waste is None else row.waste
        price = row.price.unit_cost_usd if row.price else Decimal(0)
        with_waste = pieces * (MILLION + millionths(waste))
        return with_waste, pieces * millionths(row.labour_min), cents(Decimal(with_waste) / MILLION * price)

    def lots_of(self, state: str) -> pd.DataFrame:
        """Rows of `lot_kits` in a state, with phase and start of their lots."""
        rows = self.lot_kits[self.lot_kits["state"] == state]
        return rows.merge(self.lots, on="lot_id", how="left", sort=False).reset_index(drop=True)

    def with_mix(self, mix: dict[str, float]) -> PurchaseCase:
        """The same with another plan mix. Raises InputError for a plan that the open lots were not looked at with."""
        folded = {name.casefold(): share for name, share in mix.items()}
        plans = sorted({str(p) for p in self.lot_kits.loc[self.lot_kits["state"] == OPEN, "plan"]})
        faults = [
            Issue("mix_plan_unknown", "stop", "--mix", f"'{name}'", f"one of {', '.join(plans) or 'none'}", "")
            for name in mix
            if name.casefold() not in {p.casefold() for p in plans}
        ]
        if abs(sum(mix.values()) - 1.0) > 0.001 or any(share < 0 for share in mix.values()):
            faults.append(Issue("mix_sum", "stop", "--mix", f"shares sum to {sum(mix.values()):g}", "shares of 1", ""))
        if faults:
            raise InputError(faults)
        rest = self.lot_kits[self.lot_kits["state"] != OPEN]
        opened = self.lot_kits[self.lot_kits["state"] == OPEN].reset_index(drop=True)
        opened = opened.assign(share=[folded.get(str(p).casefold(), 0.0) for p in opened["plan"]])
        table = pd.concat([rest, fitted_shares(opened)], ignore_index=True)
        table = table.sort_values(["lot_id", "plan"], kind="stable", ignore_index=True)
        return replace(self, lot_kits=table, settings=self.settings.model_copy(update={"plan_mix": mix}))

    def with_settings(self, changes: dict[str, Any]) -> PurchaseCase:
        """The same with other settings of [purchase]; each must be a legal value."""
        return replace(self, settings=self.settings.model_copy(update=changes))

    def with_prices(self, prices: PriceList, source: str) -> PurchaseCase:
        """The same at other prices. Raises InputError where a kit holds an item that the list does not have."""
        missing = sorted({str(i) for i in self.kits["item"]} - {r.item for r in prices.rows if r.price is not None})
        if missing:
            raise InputError(
                [
                    Issue("hardware_item_gone", "stop", source, f"no priced row for '{item}'", "all items of kits", "")
                    for item in missing
                ]
            )
        return replace(self, prices=prices)


def case_of_run(p: Prepared, s: Selection, open_lots: OpenLots) -> PurchaseCase:
    """The case of a run in memory."""
    kits, lot_kits = kit_tables(p, s, open_lots)
    lots = pd.DataFrame(
        {
            "lot_id": p.site.points.lot_id.astype(object),
            "phase": [str(v) if isinstance(v, str) else "" for v in p.lots["phase"].iloc[p.usable]],
            "start": [_date_text(d) for d in p.lots["start"].iloc[p.usable]],
        }
    )
    return PurchaseCase(kits, lot_kits, lots, of_hardware(p.hardware), p.tract.purchase, p.tract.tract.as_of)


def _date_text(value: Any) -> str:
    return "" if value is None or value != value or value == "" else str(value)[:10]


def read_case(folder: Path) -> PurchaseCase:
    """The case of finished results. Raises InputError for a folder that does not hold them."""
    manifest = read_manifest(folder)
    wanted = [f"{name}.csv" for name in ("kits", "lot_kits", "lots", "prices")]
    missing = [name for name in wanted if not (folder / name).is_file()]
    if manifest is None or missing:
        found = f"no {', '.join(missing)}" if missing else "no run.json"
        raise InputError([Issue("no_results", "stop", str(folder), found, "results of `screener run`", "run it again")])
    refuse_changed(folder, wanted)
    kits, lot_kits, prices = (read_texts(folder / f"{name}.csv") for name in ("kits", "lot_kits", "prices"))
    lots = read_texts(folder / "lots.csv", ["lot_id", "phase", "start"])
    kits["quantity"] = pd.to_numeric(kits["quantity"]).astype(np.int64)
    lot_kits["share"] = pd.to_numeric(lot_kits["share"])
    try:
        settings = manifest["settings"]
        as_of = settings["tract"].get("as_of")
        purchase = PurchaseSection.model_validate(settings["purchase"])
        day = date.fromisoformat(as_of) if as_of else None
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        where, found = f"{folder.name}/run.json settings", f"not as a run writes them ({type(error).__name__})"
        raise InputError(
            [Issue("results_changed", "stop", where, found, "the file as written", "run again")]
        ) from error
    case = PurchaseCase(kits, lot_kits, lots, of_records(prices), purchase, day)
    mix = case.settings.plan_mix
    return case.with_mix(mix) if mix and (lot_kits["state"] == OPEN).any() else case  # shares as the run had them


def read_texts(path: Path, columns: list[str] | None = None) -> pd.DataFrame:
    """A result table with every cell a text; the apostrophe that guards a formula is taken off again."""
    import pyarrow as pa
    from pyarrow import csv

    names = csv.open_csv(path).schema.names
    kinds = {name: pa.string() for name in names}
    options = csv.ConvertOptions(column_types=kinds, strings_can_be_null=False, include_columns=columns or names)
    frame: pd.DataFrame = csv.read_csv(path, convert_options=options).to_pandas()
    frame = frame.astype(object)
    for name in frame.columns:
        guarded = frame[name].str.match(r"^'[=+\-@\t\r\n]")
        if guarded.any():
            frame[name] = frame[name].where(~guarded, frame[name].str[1:])
    return frame
