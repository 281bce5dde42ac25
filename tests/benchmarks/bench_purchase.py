"""How long purchase tables take: priced again for another mix, simulated, for many lots, and as a workbook.

    python tests/benchmarks/bench_purchase.py [--lots 20000] [--record]

The sample at the end of month 8 (62 lots with a plan, 118 without) is screened once; then only its stored tables are
used, and copies of them for many lots: every copy has phases of its own, so nothing is shared but kits. Invented data.
Not a timed test: it passes no judgement. ``--record`` adds the outcome to results.md beside this file.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from screener.files.workbook import write_workbook
from screener.purchase_case import PurchaseCase, read_case, read_texts
from screener.purchase_tables import purchase_of
from screener.sample import write_sample

HERE = Path(__file__).parent
MIX = "thimble=0.5,kettle=0.5"


def timed(work: Callable[[], Any]) -> tuple[Any, float, float]:
    """The result, seconds on the clock, and seconds of this process."""
    clock, own = time.perf_counter(), time.process_time()
    result = work()
    return result, time.perf_counter() - clock, time.process_time() - own


def copied(case: PurchaseCase, lots: int) -> PurchaseCase:
    """The case laid side by side until it has so many lots."""
    times = -(-lots // len(case.lots))
    kits = [case.lot_kits.assign(lot_id=f"{k:04d}-" + case.lot_kits["lot_id"]) for k in range(times)]
    own = [
        case.lots.assign(lot_id=f"{k:04d}-" + case.lots["lot_id"], phase=f"{k:04d}-" + case.lots["phase"])
        for k in range(times)
    ]
    return replace(case, lot_kits=pd.concat(kits, ignore_index=True), lots=pd.concat(own, ignore_index=True))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--lots", type=int, default=20_000)
    parser.add_argument("--record", action="store_true")
    parser.add_argument("--results", type=Path, help="results of the month-8 sample that are there already")
    options = parser.parse_args()
    lines = measure(options.lots, options.results)
    print("\n".join(lines))
    if options.record:
        with (HERE / "results.md").open("a", encoding="utf-8") as file:
            file.write("\n" + "\n".join(lines) + "\n")


def measure(lots: int, results: Path | None) -> list[str]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if results is None:
            write_sample(folder / "sample")
            command = [sys.executable, "-m", "screener.cli.main"]
            subprocess.run(
                [*command, "run", str(folder / "sample/tract_month8.toml"), "--allow-exceptions", "-q"], check=True
            )
            results = folder / "sample" / "results-month8"
        rows = [("step", "clock, s", "processor, s")]
        case, *spent = timed(lambda: read_case(results))
        rows.append(("reading kits, lots, prices of 180 lots", *shown(spent)))
        changed = case.with_mix({"thimble": 0.5, "kettle": 0.5})
        timed(lambda: purchase_of(changed))  # once for imports
        _, *spent = timed(lambda: purchase_of(changed))
        rows.append(("another mix: bill, orders, forecast (exact)", *shown(spent)))
        _, *spent = timed(lambda: purchase_of(case))
        rows.append(("the sample's mix of five plans (exact)", *shown(spent)))
        _, *spent = timed(lambda: purchase_of(case.with_settings({"mix_certainty": 60.0})))
        rows.append(("the same with an uncertain mix (simulated)", *shown(spent)))
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        words = [sys.executable, "-m", "screener.cli.main", "reprice", str(results), "--mix", MIX]
        _, clock, _ = timed(lambda: subprocess.run(words, check=True, capture_output=True))
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        own = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        rows.append(("`screener reprice --mix`, the whole command", *shown([clock, own])))
        big = copied(case, lots)
        made, *spent = timed(lambda: purchase_of(big))
        rows.append((f"{len(big.lots):,} lots: bill, orders, forecast", *shown(spent)))
        tables = {n: read_texts(results / f"{n}.csv") for n in ("lots", "exceptions")}
        times = -(-lots // len(tables["lots"]))
        many = pd.concat([typed(tables["lots"]).assign(lot_id=f"{k:04d}") for k in range(times)], ignore_index=True)
        tables |= {"lots": many, "bill_of_materials": made.bill, "orders": made.orders, "forecast": made.forecast}
        manifest = json.loads((results / "run.json").read_text(encoding="utf-8"))
        book = folder / "tract.xlsx"
        _, *spent = timed(lambda: write_workbook(book, tables, manifest))
        size = sum(len(t) for t in tables.values())
        rows.append(
            (f"workbook of {len(many):,} lots, {size:,} rows, {book.stat().st_size / 1e6:.1f} MB", *shown(spent))
        )
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    head = [
        f"## Purchase tables, {date.today()}",
        f"{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; peak memory {memory:,} MiB.",
        "",
        "| " + " | ".join(rows[0]) + " |",
        "|---|---:|---:|",
    ]
    return [*head, *("| " + " | ".join(row) + " |" for row in rows[1:])]


def typed(lots: pd.DataFrame) -> pd.DataFrame:
    """Stored lots with numbers and truth values of their kind."""
    from screener.columns import by_name

    out = lots.copy()
    for column in by_name("lots").values():
        if column.kind in ("number", "integer"):
            out[column.name] = pd.to_numeric(out[column.name])
        elif column.kind == "yes_no":
            out[column.name] = out[column.name].map({"true": True, "false": False})
    return out


def shown(spent: list[float]) -> tuple[str, str]:
    clock, own = spent
    return f"{clock:.2f}", f"{own:.2f}"


if __name__ == "__main__":
    main()
