"""Issue records and their collector."""

from __future__ import annotations

import pytest

from hazard.issues import InputError, Issue, Issues


def test_message_form() -> None:
    issue = Issue("lot_id_missing", "skip", "lots.gpkg:lots row 7", "no lot_id", "unique text", "named row-7", "row-7")
    assert issue.message() == "lots.gpkg:lots row 7: no lot_id; expected unique text; named row-7"
    assert Issue("x", "note", "v.tif", "found").message() == "v.tif: found"
    with pytest.raises(ValueError, match="severity is 'fatal'"):
        Issue("x", "fatal", "v.tif", "found")


def test_collector() -> None:
    issues = Issues()
    issues.add("b", "note", "w", "second")
    assert not issues.has_stop()
    issues.raise_stops()
    stop = issues.add("a", "stop", "w", "first", "other", "fix it")
    issues.add(Issue("c", "warn", "w", "third"))
    assert len(issues) == 3
    assert issues.has_stop()
    assert issues.stops() == [stop]
    with pytest.raises(InputError, match="w: first; expected other; fix it") as caught:
        issues.raise_stops()
    assert caught.value.issues == [stop]
    assert [i.severity for i in issues.warnings_as_stops()] == ["note", "stop", "stop"]


def test_frame_does_not_depend_on_the_order_of_arrival() -> None:
    parts = [Issue("b", "note", "w", "x"), Issue("a", "stop", "w", "y"), Issue("a", "stop", "v", "y")]
    frame = Issues(parts).frame()
    assert frame.equals(Issues(reversed(parts)).frame())
    assert frame["severity"].tolist() == ["stop", "stop", "note"]
    assert list(Issues().frame().columns) == list(frame.columns)
