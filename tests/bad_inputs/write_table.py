"""Writes TABLE.md, the table of bad inputs for readers, from the CSV files that the tests carry out."""

from __future__ import annotations

from case_table import HERE, TABLES, cases

HEADINGS = {"L": "Lots", "R": "Rasters", "T": "Plans and hardware lists", "O": "Project, run and output"}
DONE = {
    "stop": "**stops**",
    "skip": "skips the lot",
    "fix": "repairs it, says so",
    "warn": "computes, warns",
    "note": "says so",
    "silent": "just handles it",
}


def page() -> str:
    """The whole page."""
    lines = [
        "# Bad inputs and what each gets",
        "",
        "Written by `python tests/bad_inputs/write_table.py` from the tables that the tests carry out; not by hand.",
    ]
    for letter in TABLES:
        lines += [
            "",
            f"## {HEADINGS[letter]}",
            "",
            "| case | input | the tool | code | words in the message |",
            "|---|---|---|---|---|",
        ]
        for row in cases(letter):
            words = ", ".join(f"`{word}`" for word in row.words.split("|") if word)
            code = f"`{row.code}`" if row.code else ""
            lines.append(f"| {row.id} | {_cell(row.input)} | {DONE[row.does]} | {code} | {_cell(words)} |")
    return "\n".join(lines) + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


if __name__ == "__main__":
    (HERE / "TABLE.md").write_text(page(), encoding="utf-8")
