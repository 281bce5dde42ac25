"""Hostile files, each made when it is asked for: (reader, file name, bytes, what must be said).

What must be said is an issue's code, or "" for a file that must be read. Attacks by XML: the table of vulnerabilities
in the Python documentation of its XML modules (entity expansion, external entities, DTD retrieval, large tokens).
"""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Callable
from dataclasses import dataclass

from tests.fuzz import seeds

GOOD = seeds.landxml().decode()
BODY = GOOD.partition("?>\n")[2]
HEAD = '<?xml version="1.0"?>\n'
LONG = 100 * 1024**2


@dataclass(frozen=True)
class Attack:
    """One hostile file. `needs`: a module that must be there for the tool to know the attack."""

    reader: str
    file: str
    make: Callable[[], bytes]
    code: str
    needs: str = "screener"


def _bomb() -> str:
    """Ten entities of ten each, nine times over: 10^9 words."""
    lines = ['<!ENTITY a0 "lot lot lot lot ">']
    lines += [f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10)]
    return f"<!DOCTYPE LandXML [{''.join(lines)}]>"


def _with(doctype: str, text: str = "&a9;", head: str = HEAD) -> str:
    return head + doctype + BODY.replace('name="A-01"', f'name="{text}"')


def _after(mark: str, more: str) -> bytes:
    """The good file with more put in after a mark."""
    assert mark in GOOD
    return GOOD.replace(mark, mark + more, 1).encode()


def ebcdic_bomb() -> bytes:
    """A bomb in an encoding in which no search for <!DOCTYPE in ASCII finds it."""
    note = "<!--" + b"LandXML".decode("cp037") + "-->"
    return b"<?xml version='1.0' encoding='cp037'?>" + (note + _with(_bomb(), head="")).encode("cp037")


def many_points(inside: str) -> bytes:
    """A hundred megabytes of points: of a surface, which is passed over, or of the survey, which are kept."""
    if inside == "surface":
        point = '<P id="1">13784600.5 1641000.25 10</P>\n'
        more = "<Surfaces><Surface><Definition><Pnts>" + point * (LONG // len(point))
        return _after("</CgPoints>\n", more + "</Pnts></Definition></Surface></Surfaces>")
    points = "".join(f'<CgPoint name="p{i}">13784600.5 1641000.25 10</CgPoint>\n' for i in range(LONG // 49))
    return _after("<CgPoints>\n", points)


def _entities(entities: list[tuple[int, object]], blocks: list[tuple[int, object]]) -> bytes:
    """A drawing with a section of blocks."""
    whole = seeds.dxf_of(entities).decode()
    listed = "".join(f"{code:>3}\n{value}\n" for code, value in [(0, "SECTION"), (2, "BLOCKS"), *blocks, (0, "ENDSEC")])
    mark = "  0\nSECTION\n  2\nENTITIES\n"
    return whole.replace(mark, listed + mark).encode()


def _insert(name: str, **more: object) -> list[tuple[int, object]]:
    given = {int(key[1:]): value for key, value in more.items()}
    return [(0, "INSERT"), (8, "LOT"), (2, name), (10, 0.0), (20, 0.0), *given.items()]


def _block(name: str, inner: list[tuple[int, object]]) -> list[tuple[int, object]]:
    return [
        (0, "BLOCK"),
        (8, "0"),
        (2, name),
        (70, 0),
        (10, 0.0),
        (20, 0.0),
        (3, name),
        *inner,
        (0, "ENDBLK"),
        (8, "0"),
    ]


Pairs = list[tuple[int, object]]
Inserts = list[tuple[str, int, int]]  # block, columns, rows


def drawing_of_blocks(own: Pairs, inserts: Inserts, blocks: dict[str, tuple[Pairs, Inserts]]) -> bytes:
    """A drawing of some entities and inserts, and its blocks, each of entities and inserts."""

    def put(listed: Inserts) -> Pairs:
        return [pair for name, columns, rows in listed for pair in _insert(name, g70=columns, g71=rows)]

    made = [pair for name, (lines, inner) in blocks.items() for pair in _block(name, [*lines, *put(inner)])]
    return _entities([*own, *put(inserts)], made)


def block_bomb() -> bytes:
    """Blocks of ten blocks each, ten levels: 10^10 lines."""
    line: list[tuple[int, object]] = [(0, "LINE"), (8, "LOT"), (10, 0.0), (20, 0.0), (11, 1.0), (21, 1.0)]
    blocks = _block("B0", line)
    for i in range(1, 11):
        blocks += _block(f"B{i}", [pair for _ in range(10) for pair in _insert(f"B{i - 1}")])
    return _entities(_insert("B10"), blocks)


def block_of_itself() -> bytes:
    return _entities(_insert("B"), _block("B", _insert("C")) + _block("C", _insert("B")))


def grid_of_blocks() -> bytes:
    """One block put in a thousand million times by its rows and columns."""
    line: list[tuple[int, object]] = [(0, "LINE"), (8, "LOT"), (10, 0.0), (20, 0.0), (11, 1.0), (21, 1.0)]
    return _entities(_insert("B", g70=32767, g71=32767, g44=1.0, g45=1.0), _block("B", line))


def light(count: object, xy: list[tuple[object, object]]) -> bytes:
    """A light polyline that declares a count of vertices."""
    pairs: list[tuple[int, object]] = [(0, "LWPOLYLINE"), (8, "LOT"), (90, count), (70, 1)]
    for x, y in xy:
        pairs += [(10, x), (20, y)]
    return seeds.dxf_of(pairs)


def spline(count: int) -> bytes:
    """A spline that declares a degree, knots and points without end."""
    pairs: list[tuple[int, object]] = [(0, "SPLINE"), (8, "LOT"), (70, 8), (71, count), (72, count), (73, count)]
    return seeds.dxf_of([*pairs, (40, 0.0), (10, 0.0), (20, 0.0), (10, 1.0), (20, 1.0)])


def binary_dxf() -> bytes:
    """The binary form of a drawing: refused or read, not misread."""
    out = b"AutoCAD Binary DXF\r\n\x1a\x00"
    for code, value in ((0, b"SECTION"), (2, b"ENTITIES"), (0, b"POINT"), (8, b"LOT"), (0, b"ENDSEC"), (0, b"EOF")):
        out += struct.pack("<H", code) + value + b"\x00"
    return out


def archive(
    names: list[str], content: bytes = b"x", link: bool = False, local: str = "", pack: int = zipfile.ZIP_STORED
) -> bytes:
    """A zip of members of these names; `local`: what the headers before the members call the first one instead."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", pack) as made:
        for name in names:
            info = zipfile.ZipInfo(name)
            info.external_attr = (0o120777 << 16) if link else (0o100644 << 16)
            made.writestr(info, content, pack)
    data = file.getvalue()
    if local:
        assert len(local) == len(names[0])
        data = data.replace(names[0].encode(), local.encode(), 1)
    return data


def encrypted() -> bytes:
    """The flag of an encrypted member, in both headers."""
    data = bytearray(archive(["lots.geojson"]))
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(mark) + at] |= 1
    return bytes(data)


def deep_toml(style: str) -> bytes:
    return {
        "lists": b"a = " + b"[" * 100_000,
        "tables": b"a = " + b"{b = " * 100_000,
        "dotted": b".".join([b"a"] * 100_000) + b" = 1\n",
        "headings": b"[" + b".".join([b"a"] * 20_000) + b"]\nb = 1\n",
        "closed": b"a = " + b"[" * 900 + b"]" * 900,
    }[style]


CHECKS = "screener.files.vector_checks"
ATTACKS = {
    "entity bomb": Attack("lots", "lots.xml", lambda: _with(_bomb()).encode(), "xml_doctype"),
    "entity bomb in UTF-16": Attack("lots", "lots.xml", lambda: _with(_bomb()).encode("utf-16"), "xml_doctype"),
    "entity bomb in EBCDIC": Attack("lots", "lots.xml", ebcdic_bomb, "file_unreadable"),
    "entity bomb in a map": Attack("lots", "lots.kml", lambda: _with(_bomb()).encode(), "xml_doctype"),
    "entity bomb in a map, UTF-16": Attack("lots", "lots.gml", lambda: _with(_bomb()).encode("utf-16"), "xml_doctype"),
    "external entity, file": Attack(
        "lots", "lots.xml", lambda: _with('<!DOCTYPE a [<!ENTITY x SYSTEM "@FILE@">]>', "&x;").encode(), "xml_doctype"
    ),
    "external entity, address": Attack(
        "lots", "lots.xml", lambda: _with('<!DOCTYPE a [<!ENTITY x SYSTEM "@URL@">]>', "&x;").encode(), "xml_doctype"
    ),
    "external DTD": Attack(
        "lots", "lots.xml", lambda: _with('<!DOCTYPE LandXML SYSTEM "@URL@/a.dtd">', "A").encode(), "xml_doctype"
    ),
    "parameter entity": Attack(
        "lots",
        "lots.xml",
        lambda: _with('<!DOCTYPE a [<!ENTITY % p SYSTEM "@URL@/p"> %p;]>', "A").encode("utf-16"),
        "xml_doctype",
    ),
    "inclusion": Attack(
        "lots",
        "lots.xml",
        lambda: _after("<Parcels>\n", '<i:include xmlns:i="http://www.w3.org/2001/XInclude" href="@FILE@"/>'),
        "",
    ),
    "schema elsewhere": Attack(
        "lots",
        "lots.xml",
        lambda: GOOD.replace(
            ' version="1.2"', ' xmlns:x="http://www.w3.org/2001/XMLSchema-instance" x:schemaLocation="u @URL@/s"'
        ).encode(),
        "",
    ),
    "deep nesting": Attack("lots", "lots.xml", lambda: _after("<Parcels>\n", "<a>" * 1_000_000), "file_unreadable"),
    "deep nesting in a parcel": Attack(
        "lots", "lots.xml", lambda: _after("<CoordGeom>\n", "<Line>" * 1_000_000), "file_unreadable"
    ),
    "one huge attribute": Attack(
        "lots", "lots.xml", lambda: _after("<Parcels>\n", f'<a b="{"x" * LONG}"/>'), "file_unreadable"
    ),
    "one huge comment": Attack(
        "lots", "lots.xml", lambda: _after("<Parcels>\n", f"<!--{'x' * LONG}-->"), "file_unreadable"
    ),
    "many attributes": Attack(
        "lots",
        "lots.xml",
        lambda: _after("<Parcels>\n", "<a " + " ".join(f'b{i}="1"' for i in range(200_000)) + "/>"),
        "",
    ),
    "huge text in a parcel": Attack(
        "lots", "lots.xml", lambda: _after("<PntList2D>", "1 2 " * (40 * 1024**2 // 4)), "file_unreadable"
    ),
    "a hundred megabytes of surface": Attack("lots", "lots.xml", lambda: many_points("surface"), ""),
    "a hundred megabytes of points": Attack("lots", "lots.xml", lambda: many_points("survey"), "file_unreadable"),
    "UTF-7": Attack(
        "lots", "lots.xml", lambda: GOOD.replace("UTF-8", "UTF-7").replace("<U", "+ADw-U").encode(), "file_unreadable"
    ),
    "UTF-16": Attack("lots", "lots.xml", lambda: GOOD.replace("UTF-8", "UTF-16").encode("utf-16"), ""),
    "UTF-16 without a mark": Attack(
        "lots", "lots.xml", lambda: GOOD.replace("UTF-8", "UTF-16").encode("utf-16-le"), ""
    ),
    "UTF-32": Attack("lots", "lots.xml", lambda: GOOD.replace("UTF-8", "UTF-32").encode("utf-32"), "file_unreadable"),
    "an encoding that nobody knows": Attack(
        "lots", "lots.xml", lambda: GOOD.replace("UTF-8", "no-such").encode(), "file_unreadable"
    ),
    "an encoding that is none": Attack(
        "lots", "lots.xml", lambda: GOOD.replace("UTF-8", "idna").encode(), "file_unreadable"
    ),
    "wrong bytes": Attack("lots", "lots.xml", lambda: GOOD.encode().replace(b"A-01", b"\xff\xfe"), "file_unreadable"),
    "blocks of blocks": Attack("lots", "lots.dxf", block_bomb, "file_unreadable"),
    "a block in itself": Attack("lots", "lots.dxf", block_of_itself, "file_unreadable"),
    "a grid of blocks": Attack("lots", "lots.dxf", grid_of_blocks, "file_unreadable"),
    "a huge count of vertices": Attack("lots", "lots.dxf", lambda: light(2_000_000_000, [(0, 0), (9, 9)]), "*"),
    "a negative count": Attack("lots", "lots.dxf", lambda: light(-1, [(0, 0), (9, 9)]), "*"),
    "a huge spline": Attack("lots", "lots.dxf", lambda: spline(2_000_000_000), "*"),
    "a large spline": Attack("lots", "lots.dxf", lambda: spline(30_000), "*"),
    "places that are no numbers": Attack(
        "lots", "lots.dxf", lambda: light(4, [("nan", 0), (100, "inf"), ("-1e400", 100), (0, 100)]), "*"
    ),
    "a unit of thousands of digits": Attack(
        "lots", "lots.dxf", lambda: seeds.dxf().replace(b"\n70\n21\n", b"\n70\n" + b"9" * 5000 + b"\n"), ""
    ),
    "a binary drawing": Attack("lots", "lots.dxf", binary_dxf, "file_unreadable"),
    "an endless line": Attack("lots", "lots.dxf", lambda: seeds.dxf()[:200] + b"9" * (30 * 1024**2), "*"),
    "a file that names another": Attack(
        "lots",
        "lots.xml",
        lambda: (
            b'<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>@FILE@</SrcDataSource>'
            b"</OGRVRTLayer></OGRVRTDataSource>"
        ),
        "file_virtual",
        CHECKS,
    ),
    "a file that names an address": Attack(
        "lots",
        "lots.xml",
        lambda: b"<OGRWFSDataSource><URL>@URL@/wfs</URL></OGRWFSDataSource>",
        "file_virtual",
        CHECKS,
    ),
    "zip out of its folder": Attack("lots", "lots.zip", lambda: archive(["../lots.geojson"]), "zip_path"),
    "zip by an absolute path": Attack("lots", "lots.zip", lambda: archive(["/etc/lots.geojson"]), "zip_path"),
    "zip by a drive": Attack("lots", "lots.zip", lambda: archive(["C:\\lots.geojson"]), "zip_path"),
    "zip by backslashes": Attack("lots", "lots.zip", lambda: archive(["a\\..\\..\\lots.geojson"]), "zip_path"),
    "zip bomb": Attack(
        "lots",
        "lots.zip",
        lambda: archive(["lots.geojson"], b" " * 50_000_000, pack=zipfile.ZIP_DEFLATED),
        "zip_too_large",
    ),
    "zip in a zip": Attack("lots", "lots.zip", lambda: archive(["a.zip"], archive(["lots.geojson"])), "zip_nested"),
    "zip of links": Attack(
        "lots", "lots.zip", lambda: archive(["lots.geojson"], b"/etc/passwd", link=True), "zip_link", CHECKS
    ),
    "zip encrypted": Attack("lots", "lots.zip", encrypted, "zip_encrypted", CHECKS),
    "zip of many members": Attack(
        "lots", "lots.zip", lambda: archive([f"{i}.geojson" for i in range(20_000)], b"{}"), "zip_too_large", CHECKS
    ),
    "zip whose headers differ": Attack(
        "lots", "lots.zip", lambda: archive(["aaaaa.geojson"], b"{}", local="../..a.geojso"), "*", CHECKS
    ),
    "TOML of lists": Attack("tract", "tract.toml", lambda: deep_toml("lists"), "config_syntax"),
    "TOML of tables": Attack("tract", "tract.toml", lambda: deep_toml("tables"), "config_syntax"),
    "TOML of dotted keys": Attack("tract", "tract.toml", lambda: deep_toml("dotted"), "config_syntax"),
    "TOML of dotted headings": Attack("plans", "plan.toml", lambda: deep_toml("headings"), "PLAN_syntax"),
    "TOML that closes": Attack("plans", "plan.toml", lambda: deep_toml("closed"), "PLAN_syntax"),
    "TOML with a long number": Attack("tract", "tract.toml", lambda: b"a = " + b"9" * 5000, "config_syntax"),
    "TOML of a hundred megabytes": Attack("tract", "tract.toml", lambda: b"a = 1\n" * (LONG // 6), "config_too_large"),
    "TOML of many keys": Attack("tract", "tract.toml", lambda: _many_keys(), "config_unknown_key"),
    "TOML with a file in a file": Attack(
        "tract",
        "tract.toml",
        lambda: seeds.PROJECT.replace(b"lots.gpkg", b"/vsicurl/@URL@/a.gpkg"),
        "config_remote_path",
    ),
    "TOML with a path too long": Attack(
        "tract", "tract.toml", lambda: seeds.PROJECT.replace(b"lots.gpkg", b"a" * 5000), "file_missing"
    ),
}


def _many_keys() -> bytes:
    lines = [f"k{i} = {i}" for i in range(60_000)]
    return "\n".join(lines).encode()
