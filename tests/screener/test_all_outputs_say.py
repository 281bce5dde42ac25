"""What every output must say and must not say, over every text that a sample run leaves: page, sheet, packet, map,
terminal, explanation, tables.

The list of sentences is the project's own: what a person who reads one output alone must know, and the claims that no
screening may make.
"""

from __future__ import annotations

import html
import json
import re
from pathlib import Path

import pytest
from tract_helpers import SampleRun, command, cut, write_tract

from screener.sample import sample_folder

MUST = {
    "a screening for planning and pricing": r"planning and pricing",
    "not for construction": r"not for construction",
    "edition": r"ASCE 7-16",
    "state of the ground": r"ground( state)?:? |\(worst\)|worst|today",
    "wind speed": r"115 ?mph|wind.{0,40}115",
    "the building official": r"building official",
    "local rules": r"local (code|amendments)",
    "a licensed professional decides": r"licensed design professional",
    "what holds comes from the user's list": r"hardware( list|\.csv)",
    "lots out of scope": r"exception|refer|Next:|next step|flags|Codes",
}
"""What one output must carry by itself."""

LEFT_OUT = {
    "hazards": {"what holds comes from the user's list"},  # no hardware in it
    "sheet": {"what holds comes from the user's list", "lots out of scope"},  # the sheet's own lot is no exception
}

FORBIDDEN = (
    r"code[- ]compliant",
    r"compl(y|ies|iant) with (the )?code",
    r"\bmeets (the )?code",
    r"\bapproved\b",
    r"\bsafe\b",
    r"\bsafely\b",
    r"engineer (is )?not (required|needed)",
    r"no engineer",
    r"no (wind )?risk",
    r"\binsur",
    r"\bguarantee",
    r"\bwarrant",
    r"\bcertif",
    r"exposure determination",
    r"\bwe recommend",
    r"final count\b(?! (is|of what))",
    r"concrete (is )?(ok|passes|adequate)",
)
"""Claims: no output makes one. "No count is final" and the like are said in other words."""


def plain(text: str) -> str:
    """A page as a reader sees it: without style, script and tags; blanks run together."""
    if "<" in text[:200]:
        text = re.sub(r"<(script|style)\b.*?</\1>", " ", text, flags=re.S)
        text = html.unescape(re.sub(r"<[^>]+>", " ", text))
    return re.sub(r"\s+", " ", text)


@pytest.fixture(scope="module")
def outputs(sample_run: SampleRun, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Every text of a run by its name, as a reader sees it; what screens anew does so for two of its lots."""
    project, folder = sample_run.folder / "tract.toml", tmp_path_factory.mktemp("said")
    two = write_tract(folder / "two", cut(("A-05", "C-31")))
    found = {"terminal": sample_run.out, "report": (sample_run.results / "report.html").read_text(encoding="utf-8")}
    for name, words in (
        ("explain", ("explain", two, "--lot", "C-31")),
        ("hazards", ("hazards", project, "--output", folder / "hazards")),
        ("sheets", ("sheets", sample_run.results, "--lot", "A-05", "--lot", "A-29", "--out", folder / "sheets")),
        ("packet", ("sheets", two, "--packet", "C-31", "--out", folder / "packet")),
    ):
        code, out, err = command(*words)
        assert code in (0, 3), (name, err)
        if name in ("explain", "hazards"):
            found[name] = out
    pages = sorted((folder / "sheets").rglob("*.html"))
    found["sheet"] = pages[0].read_text(encoding="utf-8")
    found |= {f"sheets {n}": p.read_text(encoding="utf-8") for n, p in enumerate(pages[1:])}
    found["packet"] = next((folder / "packet").rglob("*.html")).read_text(encoding="utf-8")
    for file in sorted([*sample_run.results.glob("*.csv"), *(folder / "hazards").glob("*.csv")]):
        found[f"{file.parent.name}/{file.name}"] = file.read_text(encoding="utf-8")
    return {name: plain(text) for name, text in found.items()}


@pytest.mark.parametrize("name", ["terminal", "report", "explain", "hazards", "sheet", "packet"])
def test_each_output_says_what_it_must(outputs: dict[str, str], name: str) -> None:
    missing = [
        what
        for what, pattern in MUST.items()
        if what not in LEFT_OUT.get(name, set()) and not re.search(pattern, outputs[name], re.IGNORECASE)
    ]
    assert not missing, missing


def test_the_report_says_the_rest_too(outputs: dict[str, str]) -> None:
    """Ages of inputs, who decides exposure and Kzt, where loads come from, what is not looked at."""
    for words in (
        "ages?",
        "screening values",
        "are not looked at",
        "the hardware list that",
        "nobody has looked at it",
    ):
        assert re.search(words, outputs["report"]), words


def test_no_output_makes_a_claim(outputs: dict[str, str]) -> None:
    assert len(outputs) > 12
    found = [
        (name, pattern, text[max(0, hit.start() - 40) : hit.end() + 40])
        for name, text in outputs.items()
        for pattern in FORBIDDEN
        for hit in re.finditer(pattern, text, re.IGNORECASE)
    ]
    assert not found


def test_the_map_picture_carries_the_caution_and_no_claim() -> None:
    text = plain((sample_folder() / "sample_map.svg").read_text(encoding="utf-8"))
    assert "For planning and pricing only" in text
    assert not [p for p in FORBIDDEN if re.search(p, text, re.IGNORECASE)]


def test_the_record_of_the_run_carries_both_sentences(sample_run: SampleRun) -> None:
    record = json.loads((sample_run.results / "run.json").read_text(encoding="utf-8"))
    assert record["basis"] in sample_run.out
    for words in (
        "not for construction",
        "ASCE 7-16, ASD",
        "115 mph (wind_speed.tif)",
        "ground state worst",
        "hardware.csv",
    ):
        assert words in record["basis"]


def test_words_of_codes_are_no_claim() -> None:
    """Every text that a scope code may print, whether or not the sample has such a lot."""
    folder = Path(__file__).parents[2]
    for file in (folder / "screener/reference/scope_codes.csv", folder / "hazard/reference/seismic_scope_codes.csv"):
        text = file.read_text(encoding="utf-8")
        assert not [p for p in FORBIDDEN if re.search(p, text, re.IGNORECASE)]
