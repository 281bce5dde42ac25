"""Files made to cost memory or time, or to lead elsewhere: refused with a reason, cheaply, and nothing is fetched."""

from __future__ import annotations

import http.server
import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import rasterio
from raster_helpers import EAST, NORTH, NORTH_UP, UTM, plane, write

from hazard.issues import InputError, Issues
from hazard.layers import Layer
from hazard.raster_files import DEEPEST_VIRTUAL, referenced_files
from hazard.rasters import read_window

ROOT = Path(__file__).parents[2]
BOX = (EAST + 100, NORTH - 400, EAST + 400, NORTH - 100)
NO_RASTER = ("utf16.vrt", "service.tif", "service_alone.tif", "address.tif")  # to the library no raster at all
MEMORY_BYTES, SECONDS = 3 << 30, 30
HEAD = "<SRS>EPSG:26910</SRS><GeoTransform>500000,30,0,5300000,0,-30</GeoTransform>"
BOXES = '<SrcRect xOff="0" yOff="0" xSize="20" ySize="20"/><DstRect xOff="0" yOff="0" xSize="20" ySize="20"/>'


def vrt(inner: str, size: int = 20, data: str = "Float64", before: str = "") -> str:
    return (
        f'{before}<VRTDataset rasterXSize="{size}" rasterYSize="{size}">{HEAD}'
        f'<VRTRasterBand dataType="{data}" band="1">{inner}</VRTRasterBand></VRTDataset>'
    )


def source(target: str, name: str = "SourceFilename") -> str:
    return f'<SimpleSource><{name} relativeToVRT="1">{target}</{name}><SourceBand>1</SourceBand>{BOXES}</SimpleSource>'


def message(path: Path, quantity: str = "wind_speed_mph") -> str:
    with pytest.raises(InputError) as caught:
        read_window(Layer(path, quantity), BOX, UTM)
    return "\n".join(f"{issue.code} {issue.message()}" for issue in caught.value.issues)


# -- memory and time ----------------------------------------------------------------------------------------------


def _absurd(folder: Path) -> dict[str, str]:
    """Files, and a word of the message that each must get."""
    tile = folder / "tile.tif"
    write(tile, plane((20, 20)))
    expected = {}

    def text(name: str, content: str, word: str) -> None:
        (folder / name).write_text(content)
        expected[name] = word

    text("huge.vrt", vrt("", 2_000_000), "raster_too_large")
    text("wide.vrt", vrt("", 2_147_483_647), "raster_too_large")
    text("huge.asc", "ncols 2000000\nnrows 2000000\nxllcorner 0\nyllcorner 0\ncellsize 30\n1 1\n", "raster_too_large")
    for depth in range(25):
        inner = "tile.tif" if depth == 0 else f"n{depth - 1}.vrt"
        (folder / f"n{depth}.vrt").write_text(vrt(source(inner) * 2))
    expected["n24.vrt"] = "nested"
    text("round.vrt", vrt(source("round.vrt")), "refers to itself")
    text("many.vrt", vrt(source("tile.tif") * 30_000), "raster_unsafe")
    text("bomb.vrt", '<!DOCTYPE a [<!ENTITY b "bb">' + "".join(
        f'<!ENTITY b{k} "&b{k - 1 if k else ""};&b{k - 1 if k else ""};">' for k in range(40)
    ) + "]>" + vrt("&b39;"), "raster_unsafe")  # fmt: skip
    text("deep.vrt", vrt("<Metadata>" * 50_000 + "</Metadata>" * 50_000), "raster_unsafe")
    text("attributes.vrt", vrt(f'<SimpleSource x="{"y" * 5_000_000}"/>'), "raster_unsafe")
    text("long.vrt", vrt("<MDI/>" * 2_500_000), "raster_unsafe")
    profile = {"driver": "GTiff", "crs": UTM.to_wkt(), "transform": NORTH_UP, "sparse_ok": True, "BIGTIFF": "YES"}
    with rasterio.open(
        folder / "block.tif", "w", width=60_000, height=60_000, count=1, dtype="float32", blockysize=60_000,
        compress="deflate", **profile,
    ):  # fmt: skip
        expected["block.tif"] = "raster_too_large"
    with rasterio.open(folder / "bands.tif", "w", width=20, height=20, count=20_000, dtype="uint8", **profile):
        expected["bands.tif"] = "20000 bands"
    with rasterio.open(
        folder / "pixels.tif", "w", width=4096, height=4096, count=500, dtype="uint8", interleave="pixel", tiled=True,
        blockxsize=4096, blockysize=4096, **profile,
    ):  # fmt: skip
        expected["pixels.tif"] = "raster_too_large"
    (folder / "a.tif").symlink_to("b.tif")
    (folder / "b.tif").symlink_to("a.tif")
    expected["a.tif"] = "raster_unreadable"
    for name in ("entities.tif", "big.tif"):
        write(folder / name, plane((20, 20)))
        expected[name] = "raster_unsafe"
    (folder / "entities.tif.aux.xml").write_text("<!DOCTYPE a><PAMDataset/>")
    with (folder / "big.tif.aux.xml").open("wb") as file:
        file.truncate(1 << 30)
    return expected


READ_ALL = """
import json, resource, sys, time
resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[2]), int(sys.argv[2])))
from pathlib import Path
import pyproj
from hazard.issues import InputError
from hazard.layers import Layer
from hazard.rasters import read_window
out = {}
for name in sys.argv[4:]:
    begun = time.process_time()
    try:
        quantity = "elevation_ft" if name in ("pixels.tif", "bands.tif") else "wind_speed_mph"
        layer = Layer(Path(sys.argv[1]) / name, quantity, band=1 if name == "pixels.tif" else None)
        read_window(layer, tuple(json.loads(sys.argv[3])), pyproj.CRS("EPSG:26910"))
        out[name] = ("read", 0)
    except InputError as error:
        out[name] = (" ".join(f"{i.code} {i.message()}" for i in error.issues), time.process_time() - begun)
print(json.dumps(out))
"""


def test_absurd_files_cost_little_memory_and_time(tmp_path: Path) -> None:
    """Each is refused with its reason, all in one process of 3 GiB, in at most some seconds of work each: a file that
    declares 32 TB, virtual rasters nested to 2^25 sources or referring to themselves, entity bombs, deep and long
    markup, blocks of 14 GB, 20,000 bands, links in a circle, a settings file of 1 GiB."""
    expected = _absurd(tmp_path)
    done = subprocess.run(
        [sys.executable, "-c", READ_ALL, str(tmp_path), str(MEMORY_BYTES), json.dumps(BOX), *expected],
        cwd=ROOT, capture_output=True, text=True, timeout=600,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    found = json.loads(done.stdout)
    for name, word in expected.items():
        said, seconds = found[name]
        assert word in said, (name, said)
        assert name in said, (name, said)
        assert seconds < SECONDS, (name, seconds)
        assert len(said) < 3000, name


def test_virtual_rasters_may_be_nested_a_little(tmp_path: Path) -> None:
    write(tmp_path / "tile.tif", plane((20, 20)))
    for depth in range(DEEPEST_VIRTUAL + 1):
        inner = "tile.tif" if depth == 0 else f"n{depth - 1}.vrt"
        (tmp_path / f"n{depth}.vrt").write_text(vrt(source(inner)))
    deepest = tmp_path / f"n{DEEPEST_VIRTUAL - 1}.vrt"
    wanted = read_window(Layer(tmp_path / "tile.tif", "wind_speed_mph"), BOX, UTM)
    np.testing.assert_array_equal(read_window(Layer(deepest, "wind_speed_mph"), BOX, UTM).values, wanted.values)
    assert "nested more than 3 deep" in message(tmp_path / f"n{DEEPEST_VIRTUAL}.vrt")
    names = {file.name for file in referenced_files(deepest)}
    assert names == {"tile.tif", *(f"n{k}.vrt" for k in range(DEEPEST_VIRTUAL - 1))}


# -- leading elsewhere --------------------------------------------------------------------------------------------


@pytest.fixture
def listener() -> Iterator[tuple[str, list[str]]]:
    """A server on this machine, and what was asked of it."""
    asked: list[str] = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        do_HEAD = do_GET

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}", asked
    server.shutdown()
    server.server_close()


def test_nothing_is_fetched_for_what_a_file_says(tmp_path: Path, listener: tuple[str, list[str]]) -> None:
    """Every way we know by which a file can ask the raster library to fetch: in other letters, as an attribute, behind
    other text, as encoded text, through a second file, beside the raster. All are refused; nobody is asked."""
    address, asked = listener
    tile = write(tmp_path / "tile.tif", plane((20, 20)))
    far = [f"/vsicurl/{address}/{k}.tif" for k in range(20)]  # one each: the library remembers what was not there
    service = f"<GDAL_WMS><Service name='TMS'><ServerUrl>{address}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service>"
    service += "<DataWindow><SizeX>20</SizeX><SizeY>20</SizeY><TileLevel>0</TileLevel></DataWindow></GDAL_WMS>"
    (tmp_path / "service.tif").write_text(service)
    (tmp_path / "inner.tif").write_text(vrt(source(far[0])))
    (tmp_path / "utf16.vrt").write_bytes(vrt(source(far[1])).encode("utf-16"))
    for name, text in {
        "plain.vrt": vrt(source(far[2])),
        "letters.vrt": vrt(source(far[3], "sourcefilename")),
        "attribute.vrt": vrt(f'<SimpleSource SourceFilename="{far[4]}">{BOXES}</SimpleSource>'),
        "both.vrt": vrt(source("tile.tif").replace("<SimpleSource", f'<SimpleSource SourceFilename="{far[17]}"')),
        "behind.vrt": vrt(source(far[5]), before="<a/>"),
        "cdata.vrt": vrt(source(f"<![CDATA[{far[6]}]]>")),
        "coded.vrt": vrt(source(far[7].replace("/", "&#47;"))),
        "dataset.vrt": vrt(f"<SimpleSource><SourceDataset>{far[8]}</SourceDataset>{BOXES}</SimpleSource>"),
        "options.vrt": vrt(f"<SimpleSource><SourceFilename>tile.tif</SourceFilename><OpenOptions><OOI key='x'>{far[9]}"
                           f"</OOI></OpenOptions>{BOXES}</SimpleSource>"),
        "raw.vrt": vrt("").replace('band="1"', 'band="1" subClass="VRTRawRasterBand"').replace(
            "</VRTRasterBand>", f"<SourceFilename>{far[10]}</SourceFilename></VRTRasterBand>"),
        "warped.vrt": vrt("").replace("<VRTDataset", '<VRTDataset subClass="VRTWarpedDataset"'),
        "service.vrt": vrt(source("service.tif")),
        "second.vrt": vrt(source("inner.tif")),
        "overview.vrt": vrt(f"<Overview><SourceFilename>{far[11]}</SourceFilename></Overview>"),
        "twice.vrt": vrt(source("tile.tif").replace("<SrcRect", f"<SourceFilename>{far[12]}</SourceFilename><SrcRect")),
        "mask.vrt": vrt("").replace("</VRTDataset>", "<MaskBand><VRTRasterBand dataType='Byte'>" + source(far[13])
                                    + "</VRTRasterBand></MaskBand></VRTDataset>"),
        "service_alone.tif": service,
        "address.tif": address,
    }.items():  # fmt: skip
        (tmp_path / name).write_text(text)
    for number, ending in enumerate((".msk", ".ovr")):
        beside = tmp_path / f"beside{number}.tif"
        beside.write_bytes(tile.read_bytes())
        Path(f"{beside}{ending}").write_text(vrt(source(far[14 + number]), data="Byte"))
    named = tmp_path / "named.tif"
    named.write_bytes(tile.read_bytes())
    Path(f"{named}.aux.xml").write_text(
        f'<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">{far[16]}</MDI></Metadata></PAMDataset>'
    )
    tried = [path for path in sorted(tmp_path.iterdir()) if path.suffix in (".vrt", ".tif") and path != tile]
    assert len(tried) >= 20
    for path in tried:
        said = message(path)
        assert path.name in said, said
        seen = "raster_unsafe" in said or "raster_outside_folder" in said
        assert seen or (path.name in NO_RASTER and "raster_unreadable" in said), said
    assert asked == []


def test_even_a_reference_that_slipped_by_would_not_be_fetched(
    tmp_path: Path, listener: tuple[str, list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second line: local files are read with the library's own network access closed."""
    address, asked = listener
    monkeypatch.setattr("hazard.raster_files._target_problem", lambda *_: "")
    monkeypatch.setattr("hazard.raster_files._Walk._target", lambda *_: (None, None))
    (tmp_path / "v.vrt").write_text(vrt(source(f"/vsicurl/{address}/t.tif").replace('"1">/vsi', '"0">/vsi')))
    with pytest.raises(InputError):
        read_window(Layer(tmp_path / "v.vrt", "wind_speed_mph"), BOX, UTM, 0.0, Issues())
    assert asked == []
