"""Ground, plants and scenes of our own making, as the open services would hand them out: small, and known everywhere."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import numpy as np
import rasterio
from pyproj import Transformer
from rasterio.transform import Affine, from_bounds, from_origin

LON, LAT = -111.5, 39.3
"""The middle of the tests' country."""
DEM_DEG = 1 / 1800  # two arc seconds: 3DEP's own third of a second would be 467 MB a degree
SCENE_CRS = "EPSG:32612"


def ground_m(lon, lat):
    """Height of the ground: a sum of waves, so that every cell's true value is known."""
    lon, lat = np.asarray(lon, np.float64), np.asarray(lat, np.float64)
    waves = 500 * np.sin(2 * np.pi * (lon + 111.5) / 0.07) * np.cos(2 * np.pi * (lat - 39.3) / 0.06)
    return 2600 + waves + 150 * np.sin(2 * np.pi * (lon - lat) / 0.023)


def canopy_m(lon, lat):
    """Height of the trees: timber on one side of every wave."""
    return np.where(np.sin(2 * np.pi * (np.asarray(lon) + 111.5) / 0.05) > 0.2, 14.0, 0.0)


def cover_code(lon, lat):
    """WorldCover: trees under the canopy, grass elsewhere, a lake in the middle."""
    lake = (np.abs(np.asarray(lon) - LON) < 0.003) & (np.abs(np.asarray(lat) - LAT) < 0.002)
    return np.where(lake, 80, np.where(canopy_m(lon, lat) > 2, 10, 30)).astype(np.uint8)


def centres(transform, rows, cols):
    """Coordinates of all cell centres."""
    col, row = np.meshgrid(np.arange(cols) + 0.5, np.arange(rows) + 0.5)
    return transform.a * col + transform.c, transform.e * row + transform.f


def write_cog(path, values, transform, crs, *, nodata=None, block=128):
    """A cloud-optimised GeoTIFF with overviews."""
    stack = values[None] if values.ndim == 2 else values
    path.parent.mkdir(parents=True, exist_ok=True)
    with rasterio.open(
        path, "w", driver="COG", width=stack.shape[2], height=stack.shape[1], count=stack.shape[0], dtype=stack.dtype,
        crs=crs, transform=transform, nodata=nodata, compress="DEFLATE", blocksize=block, level=1,
        overview_resampling="AVERAGE" if stack.dtype.kind == "f" else "NEAREST",
    ) as out:  # fmt: skip
        out.write(stack)
    return path


def in_degrees(west, north, side_deg, cell_deg, of, *, dtype):
    """A square of degrees filled by a function of longitude and latitude."""
    cells = round(side_deg / cell_deg)
    transform = from_origin(west, north, cell_deg, cell_deg)
    return of(*centres(transform, cells, cells)).astype(dtype), transform


def make_rasters(root: Path) -> None:
    """All rasters below a folder, by the paths under which the server hands them out."""
    for west in (-113, -112):
        values, transform = in_degrees(west, 40, 1, DEM_DEG, ground_m, dtype="float32")
        name = f"n40w{-west:03d}"
        write_cog(root / f"dem/{name}/USGS_13_{name}.tif", values, transform, "EPSG:4269", nodata=-999999.0)
    values, transform = in_degrees(-112, 40, 1, 1 / 1200, ground_m, dtype="float32")
    name = "Copernicus_DSM_COG_10_N39_00_W112_00_DEM"
    write_cog(root / f"glo30/{name}/{name}.tif", values + 5, transform, "EPSG:4326")
    for south in (38, 39):
        values, transform = in_degrees(-112, south + 1, 1, 1 / 400, ground_m, dtype="float32")
        name = f"Copernicus_DSM_COG_30_N{south}_00_W112_00_DEM"
        write_cog(root / f"glo90/{name}/{name}.tif", values + 5, transform, "EPSG:4326")
    values, transform = in_degrees(-114, 42, 3, 1 / 800, cover_code, dtype="uint8")
    write_cog(
        root / "cover/ESA_WorldCover_10m_2021_v200_N39W114_Map.tif", values, transform, "EPSG:4326", nodata=0
    )
    _canopy(root)
    _one_metre(root)
    for number in range(3):
        _scene(root, number)


def _canopy(root: Path) -> None:
    """The tile 0231000230 of zoom 10, on cells of about 19 m; 255 where nothing is known."""
    side, half, cells = 2 * 20037508.342789244 / 1024, 20037508.342789244, 2048
    col, row = 194, 390
    transform = from_origin(col * side - half, half - row * side, side / cells, side / cells)
    to_degrees = Transformer.from_crs("EPSG:3857", "EPSG:4326", always_xy=True)
    lon, lat = to_degrees.transform(*centres(transform, cells, cells))
    write_cog(
        root / "canopy/0231000230.tif",
        canopy_m(lon, lat).astype(np.uint8),
        transform,
        "EPSG:3857",
        nodata=255,
    )


def _one_metre(root: Path) -> None:
    """Two projects in the zone, the newer one a metre higher and only over the western half."""
    to_zone = Transformer.from_crs("EPSG:4326", "EPSG:26912", always_xy=True)
    to_degrees = Transformer.from_crs("EPSG:26912", "EPSG:4326", always_xy=True)
    x, y = to_zone.transform(LON, LAT)
    x, y = round(x, -1), round(y, -1)
    for name, west, east, more in (("old", x - 1000, x + 1000, 0.0), ("new", x - 1000, x, 1.0)):
        transform = from_origin(west, y + 1000, 2.0, 2.0)
        rows, cols = 1000, round((east - west) / 2)
        lon, lat = to_degrees.transform(*centres(transform, rows, cols))
        values = (ground_m(lon, lat) + more).astype(np.float32)
        write_cog(
            root / f"fine/USGS_1M_12_{name}.tif", values, transform, "EPSG:26912", nodata=-999999.0, block=256
        )


SCENES = ("S2_CLEAR_BUT_HALF", "S2_CLOUDY", "S2_OFFSET_TAKEN")
PLANT_RED, PLANT_NIR = 0.04, 0.30


def _scene(root: Path, number: int) -> None:
    """A scene of 20 km about the middle on 20 m cells: red and nir of plants, and its classes.

    0: clouds over the western half; 1: all clear, but told to be cloudy; 2: as 1, its offset taken off already.
    """
    to_zone = Transformer.from_crs("EPSG:4326", SCENE_CRS, always_xy=True)
    x, y = to_zone.transform(LON, LAT)
    cells = 1000
    transform = Affine(20.0, 0, round(x, -2) - 10000, 0, -20.0, round(y, -2) + 10000)
    classes = np.full((cells, cells), 4, np.uint8)
    if number == 0:
        classes[:, : cells // 2] = 9
    added = 0 if number == 2 else 1000
    levels = {"red": PLANT_RED, "green": 0.05, "blue": 0.03, "nir": PLANT_NIR}
    for name, level in levels.items():
        values = np.full((cells, cells), round(level * 10000) + added, np.uint16)
        write_cog(root / f"scenes/{number}/{name}.tif", values, transform, SCENE_CRS, nodata=0, block=256)
    write_cog(root / f"scenes/{number}/scl.tif", classes, transform, SCENE_CRS, nodata=0, block=256)


def items(base: str, *, signature: str = "") -> list[dict]:
    """The scenes as STAC items; their addresses may carry a signature."""
    found = []
    for number, (name, cloud, day) in enumerate(
        zip(SCENES, (5.0, 20.0, 30.0), ("2025-08-20", "2025-08-25", "2025-08-27"), strict=True)
    ):
        band = {"scale": 0.0001, "offset": -0.1}
        assets = {
            key: {"href": f"{base}/scenes/{number}/{key}.tif{signature}", "raster:bands": [band]}
            for key in ("red", "green", "blue", "nir", "scl")
        }
        box = [[-112, 39], [-111, 39], [-111, 40], [-112, 40], [-112, 39]]
        found.append(
            {
                "type": "Feature",
                "id": name,
                "geometry": {"type": "Polygon", "coordinates": [box]},
                "properties": {"datetime": f"{day}T18:10:00Z", "eo:cloud_cover": cloud},
                "assets": assets,
            }
        )
    return found


def elements() -> list[dict]:
    """OpenStreetMap about the middle: a trail, a private trail, a road, a trailhead, parking, a stream, a lake with an island,
    a peak, a gate.
    """

    def line(*places):
        return [{"lon": LON + x, "lat": LAT + y} for x, y in places]

    def way(number, tags, *places):
        return {"type": "way", "id": number, "tags": tags, "geometry": line(*places)}

    def node(number, tags, x, y):
        return {"type": "node", "id": number, "tags": tags, "lon": LON + x, "lat": LAT + y}

    def ring(role, half):
        corners = ((-half, -half), (half, -half), (half, half), (-half, half), (-half, -half))
        return {
            "type": "way",
            "ref": 1,
            "role": role,
            "geometry": line(*((0.02 + x, 0.02 + y) for x, y in corners)),
        }

    return [
        way(1, {"highway": "path", "name": "Long Trail"}, (-0.02, -0.02), (0.0, 0.01), (0.02, 0.015)),
        way(2, {"highway": "path", "access": "private"}, (-0.02, 0.0), (0.0, 0.0)),
        way(3, {"highway": "track", "ref": "FR 12"}, (-0.03, -0.02), (-0.02, -0.02)),
        way(4, {"waterway": "stream", "name": "Cold Creek", "intermittent": "yes"}, (0.0, -0.02), (0.0, 0.02)),
        node(5, {"highway": "trailhead", "name": "Long Trailhead"}, -0.02, -0.02),
        node(6, {"amenity": "parking"}, -0.021, -0.02),
        node(7, {"natural": "peak", "name": "Bald Top"}, 0.01, 0.01),
        node(8, {"natural": "peak"}, 0.012, 0.01),
        node(9, {"barrier": "gate"}, -0.025, -0.02),
        node(10, {"natural": "saddle", "name": "Bare Saddle"}, 0.005, -0.01),
        {"type": "relation", "id": 11, "tags": {"natural": "water", "name": "Ring Lake", "type": "multipolygon"},
         "members": [ring("outer", 0.004), ring("inner", 0.001)]},
    ]  # fmt: skip


def holdings(kind: str) -> list[dict]:
    """Seven holdings in a row, told as the two services tell them."""
    found = []
    for number in range(7):
        west = LON - 0.035 + number * 0.01
        ring = [[west, LAT - 0.03], [west + 0.01, LAT - 0.03], [west + 0.01, LAT + 0.03], [west, LAT + 0.03]]
        padus = {"Unit_Nm": f"Forest {number}", "Pub_Access": "RA" if number == 3 else "OA"}
        blm = {"ADMIN_AGENCY_CODE": "PVT" if number % 2 else "USFS", "ADMIN_UNIT_NAME": None}
        found.append(
            {
                "type": "Feature",
                "id": number + 1,
                "geometry": {"type": "Polygon", "coordinates": [[*ring, ring[0]]]},
                "properties": {"OBJECTID": number + 1, **(padus if kind == "padus" else blm)},
            }
        )
    return found


def names_archive() -> bytes:
    """A state's names: one that OpenStreetMap has, too, two that it has not, one outside."""
    rows = [
        "feature_id|feature_name|feature_class|state_name|county_name|prim_lat_dec|prim_long_dec",
        f"1|Bald Top|Summit|Utah|X|{LAT + 0.0101}|{LON + 0.0101}",
        f"2|Windy Gap|Gap|Utah|X|{LAT - 0.02}|{LON + 0.01}",
        f"3|Hidden Basin|Basin|Utah|X|{LAT + 0.02}|{LON - 0.01}",
        f"4|Old School|School|Utah|X|{LAT}|{LON}",
        "5|Far Peak|Summit|Utah|X|41.0|-111.0",
    ]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("Text/DomesticNames_UT.txt", "\r\n".join(rows))
    return out.getvalue()


def grid_forecast() -> dict:
    """A forecast with spans, a null, and units by name, in the service's form."""
    at = "2026-08-27T{:02d}:00:00+00:00/PT{}H".format
    return {
        "properties": {
            "updateTime": "2026-08-26T20:00:00+00:00",
            "elevation": {"unitCode": "wmoUnit:m", "value": 2600},
            "temperature": {
                "uom": "wmoUnit:degC",
                "values": [{"validTime": at(6, 2), "value": 4.5}, {"validTime": at(8, 1), "value": None}],
            },
            "windSpeed": {"uom": "wmoUnit:km_h-1", "values": [{"validTime": at(6, 3), "value": 18}]},
            "windDirection": {
                "uom": "wmoUnit:degree_(angle)",
                "values": [{"validTime": at(6, 3), "value": 230}],
            },
            "skyCover": {"uom": "wmoUnit:percent", "values": [{"validTime": at(7, 1), "value": 40}]},
            "hainesIndex": {"values": [{"validTime": at(6, 3), "value": 5}]},
        }
    }


def photograph(box: list[float], cols: int, rows: int, code: int) -> bytes:
    """An exported picture of four bands, blue-green with a red half in the east."""
    values = np.full((4, rows, cols), 60, np.uint8)
    values[0, :, cols // 2 :] = 180
    values[3] = 120
    with rasterio.MemoryFile() as memory:
        with memory.open(
            driver="GTiff", width=cols, height=rows, count=4, dtype="uint8", crs=f"EPSG:{code}",
            transform=from_bounds(*box, cols, rows),
        ) as out:  # fmt: skip
            out.write(values)
        return memory.read()


def national_cover(box: list[float], cols: int, rows: int) -> bytes:
    """Codes of the National Land Cover Database in its own frame."""
    transform = from_bounds(*box, cols, rows)
    to_degrees = Transformer.from_crs("EPSG:5070", "EPSG:4326", always_xy=True)
    lon, lat = to_degrees.transform(*centres(transform, rows, cols))
    codes = np.where(canopy_m(lon, lat) > 2, 42, 71).astype(np.uint8)
    with rasterio.MemoryFile() as memory:
        with memory.open(
            driver="GTiff",
            width=cols,
            height=rows,
            count=1,
            dtype="uint8",
            crs="EPSG:5070",
            transform=transform,
            nodata=250,
        ) as out:
            out.write(codes, 1)
        return memory.read()


def terrain_tile(zoom: int, col: int, row: int) -> bytes:
    """Heights as colours, 256 x 256: h = R x 256 + G + B / 256 - 32768."""
    from PIL import Image

    half = 20037508.342789244
    cell = 2 * half / 2**zoom / 256
    transform = Affine(cell, 0, col * 256 * cell - half, 0, -cell, half - row * 256 * cell)
    to_degrees = Transformer.from_crs("EPSG:3857", "EPSG:4326", always_xy=True)
    height = ground_m(*to_degrees.transform(*centres(transform, 256, 256))) + 32768
    colours = np.stack([height // 256, height % 256, (height * 256) % 256], axis=-1).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(colours).save(out, "PNG")
    return out.getvalue()


def picture_tile() -> bytes:
    """A plain JPEG tile."""
    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (256, 256), (40, 80, 30)).save(out, "JPEG")
    return out.getvalue()


def as_bytes(given: object) -> bytes:
    return json.dumps(given).encode()
