"""Lots from GeoParquet (1.0, 1.1), which not every build of GDAL reads.

The footer says how large the columns are when unpacked: that is looked at before anything is read.
"""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING

from hazard.issues import Issues

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from screener.files.vectors import VectorFile

LARGEST_BYTES = 2 * 1024**3
GREATEST_RATIO = 1000  # columns of one value pack far better than text in an archive does


def read_parquet(file: VectorFile, issues: Issues) -> GeoDataFrame | None:
    """The features of a GeoParquet file. None, with the reason among the issues, where it can't be used."""
    import geopandas as gpd
    import pyarrow as pa
    import pyarrow.parquet as pq
    import pyproj
    import shapely

    plain = (ValueError, TypeError, OSError, LookupError, AttributeError)
    theirs = (pa.ArrowException, shapely.errors.ShapelyError, pyproj.exceptions.CRSError)
    fix = "write it again as GeoParquet"
    try:
        footer = pq.read_metadata(file.path)
        size = sum(footer.row_group(i).total_byte_size for i in range(footer.num_row_groups))
        packed = max(1, file.path.stat().st_size)
        if size > LARGEST_BYTES or size / packed > GREATEST_RATIO or footer.num_rows > LARGEST_BYTES:
            found = f"declares {footer.num_rows:,} rows and {size:,} bytes in {packed:,}"
            limit = f"at most {LARGEST_BYTES:,} bytes and {GREATEST_RATIO} times the file's size"
            issues.add("file_too_large", "stop", file.name, found, limit, "check the file")
            return None
        if footer.num_rows == 0:
            issues.add("no_features", "stop", file.name, "0 features", "at least one", "check the file")
            return None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            frame: GeoDataFrame = gpd.read_parquet(file.path)
            frame.geometry  # noqa: B018  a file without a main geometry fails here, not later
    except (*plain, *theirs) as error:
        reason = (str(error).splitlines() or [type(error).__name__])[0].replace(str(file.path), file.name)[:200]
        issues.add("file_unreadable", "stop", file.name, reason, "a GeoParquet file", fix)
        return None
    return frame.reset_index(drop=True)
