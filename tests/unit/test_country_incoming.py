"""Files from outside: known by what they hold, kept where they are put, refused where they are dangerous."""

from __future__ import annotations

import io
import json
import sqlite3
import stat
import struct
import zipfile
from contextlib import closing

import numpy as np
import pytest
import rasterio

from graylight.country import incoming
from graylight.country.incoming import receiving
from graylight.country.roles import sort_out
from graylight.errors import BadInput

GPX = b'<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"></gpx>'
KML = b'<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document/></kml>'
POINT = {"type": "FeatureCollection", "features": []}
LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">'
    b'<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]><gpx>&c;</gpx>'
)
OUTSIDE = b'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]><gpx>&x;</gpx>'


def zipped(*entries: tuple[str, bytes], **more) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in entries:
            info = zipfile.ZipInfo(name)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = more.get("mode", 0o644) << 16
            archive.writestr(info, data)
    return out.getvalue()


def taken(*files: tuple[str, bytes]):
    """What becomes of files: their kinds and names below the scratch folder, and what was left out."""
    with receiving() as box:
        for name, data in files:
            box.take(name, io.BytesIO(data))
        inside = [one.path.relative_to(box.folder).as_posix() for one in box.kept]
        everything = [p for p in box.folder.rglob("*") if p.is_file()]
        assert all(p.resolve().is_relative_to(box.folder.resolve()) for p in everything)
        return [one.kind for one in box.kept], inside, list(box.left_out)


def refused(*files: tuple[str, bytes]) -> str:
    with receiving() as box, pytest.raises(BadInput) as error:  # noqa: PT012  the last file is the one
        for name, data in files:
            box.take(name, io.BytesIO(data))
    assert "\n" not in str(error.value)
    return str(error.value)


def database() -> bytes:
    with closing(sqlite3.connect(":memory:")) as db:
        db.execute("CREATE TABLE marks(fid INTEGER PRIMARY KEY, geom BLOB)")
        return bytes(db.serialize())


DATABASE = database()


@pytest.mark.parametrize(
    ("name", "data", "kind", "ending"),
    [
        ("a.tif", b"II*\0" + b"\0" * 80, "raster", ".tif"),
        ("renamed.gpx", b"MM\0*" + b"\0" * 80, "raster", ".tif"),
        ("big", b"II+\0" + b"\0" * 80, "raster", ".tif"),
        ("a.gpkg", DATABASE, "vector", ".gpkg"),
        ("a.gpx", GPX, "vector", ".gpx"),
        ("a.kml", KML, "vector", ".kml"),
        ("a.json", json.dumps(POINT).encode(), "vector", ".geojson"),
        ("a.asc", b"NCOLS 3\nNROWS 2\n", "raster", ".asc"),
        ("N40W115.hgt", b"\0" * (1201 * 1201 * 2), "raster", ".hgt"),
        ("doc.kmz", zipped(("doc.kml", KML)), "vector", ".kml"),
    ],
)
def test_files_are_known_by_what_they_hold(name, data, kind, ending):
    kinds, paths, out = taken((name, data))
    assert kinds == [kind], out
    assert paths[0].endswith(ending)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("dem.tif", b'<VRTDataset rasterXSize="1"><SourceFilename>/etc/passwd</SourceFilename></VRTDataset>'),
        ("dem.vrt", b'<VRTDataset rasterXSize="1"></VRTDataset>'),
        ("way.xml.vrt", b"<OGRVRTDataSource></OGRVRTDataSource>"),
        ("wms.txt", b"<GDAL_WMS><ServerUrl>http://example.org/</ServerUrl></GDAL_WMS>"),
        ("page.html", b"<html><script>1</script></html>"),
        ("a.exe", b"MZ\x90\0" + b"\0" * 60),
        ("empty.tif", b""),
        ("x.shp", b"\0" * 100),
    ],
)
def test_what_leads_elsewhere_or_is_of_no_use_is_left_out(name, data):
    """Virtual rasters name other files and addresses: GDAL would follow them."""
    kinds, _, out = taken((name, data))
    assert kinds == []
    assert len(out) == 1


@pytest.mark.parametrize(
    "name",
    [
        "../../evil.gpx",
        "/etc/evil.gpx",
        "..\\evil.gpx",
        "C:\\evil.gpx",
        "a/../../evil.gpx",
        "\0.gpx",
        "." * 300 + ".gpx",
    ],
)
def test_a_name_from_outside_is_no_path(name):
    _, paths, _ = taken((name, GPX))
    assert len(paths) == 1
    folder, file = paths[0].split("/")
    assert folder == "001"
    assert file.strip("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-") == "."


@pytest.mark.parametrize(
    "name", ["../evil.gpx", "/evil.gpx", "a/../../evil.gpx", "..\\evil.gpx", "C:\\evil.gpx", "a/..\\evil.gpx"]
)
def test_a_zip_that_leads_out_is_refused(name):
    assert "leads out" in refused(("pack.zip", zipped(("fine.gpx", GPX), (name, GPX))))


def test_a_zip_with_a_link_is_refused():
    assert "link" in refused(("pack.zip", zipped(("way.gpx", b"/etc/passwd"), mode=stat.S_IFLNK | 0o777)))


def test_a_zip_that_swells_is_refused():
    """32 MB of blanks pack into 32 kB: a thousandfold."""
    data = zipped(("way.gpx", GPX + b" " * (32 * 2**20)))
    assert len(data) < 100_000
    assert "grows" in refused(("pack.zip", data))


def test_a_zip_that_lies_about_its_sizes_is_refused():
    data = bytearray(zipped(("way.gpx", GPX + b" " * (32 * 2**20))))
    for mark, at in ((b"PK\x01\x02", 24), (b"PK\x03\x04", 22)):
        where = data.find(mark) + at
        data[where : where + 4] = struct.pack("<I", 10)
    assert refused(("pack.zip", bytes(data)))


def test_too_many_entries_are_refused():
    data = zipped(*[(f"{i}.gpx", GPX) for i in range(incoming.MOST_FILES + 1)])
    assert str(incoming.MOST_FILES) in refused(("pack.zip", data))


def test_too_much_in_all_is_refused():
    with receiving() as box:
        box.most_bytes = 1000
        with pytest.raises(BadInput, match="in all"):
            box.take("a.tif", io.BytesIO(b"II*\0" + b"\0" * 2000))


@pytest.mark.parametrize(
    ("name", "data"), [("a.gpx", GPX + b" " * 2000), ("a.json", json.dumps(POINT).encode() + b" " * 2000)]
)
def test_too_much_text_is_refused_before_it_is_read(monkeypatch, name, data):
    monkeypatch.setattr(incoming, "MOST_JSON" if name.endswith("json") else "MOST_TEXT", 1000)
    assert " MB; accepted is at most" in refused((name, data))


def test_json_has_a_limit_of_its_own_and_is_not_taken_apart_beyond_it(monkeypatch):
    """It is parsed as a whole: several times its size of memory."""
    monkeypatch.setattr(incoming, "MOST_JSON", 1000)
    monkeypatch.setattr(incoming.json, "loads", lambda text: pytest.fail("taken apart all the same"))
    long = json.dumps({**POINT, "more": "x" * 1100}).encode()
    told = refused(("a.geojson", long))
    assert " MB; accepted is at most" in told
    assert "GeoPackage" in told
    assert "\n" not in told
    assert incoming.MOST_TEXT > 64 * 2**20


def test_too_many_files_are_refused(monkeypatch):
    monkeypatch.setattr(incoming, "MOST_FILES", 3)
    assert "more than 3 files" in refused(*[(f"{i}.gpx", GPX) for i in range(4)])


def test_a_zip_in_a_zip_is_not_followed():
    kinds, _, out = taken(("pack.zip", zipped(("inner.zip", zipped(("way.gpx", GPX))), ("way.gpx", GPX))))
    assert kinds == ["vector"]
    assert "packed file inside" in out[0]


@pytest.mark.parametrize("data", [b"PK\x03\x04" + b"\0" * 60, zipped(("way.gpx", GPX))[:-30]])
def test_a_broken_zip_is_refused(data):
    assert "unpacked" in refused(("pack.zip", data))


@pytest.mark.parametrize(
    "data", [LAUGHS, OUTSIDE, LAUGHS.decode().encode("utf-16"), OUTSIDE.replace(b"gpx", b"kml")]
)
def test_entities_are_refused(data):
    assert "document type" in refused(("a.kml" if b"<kml" in data else "a.gpx", data))


@pytest.mark.parametrize(
    ("name", "data"),
    [("a.gpx", GPX[:-4]), ("a.gpx", KML), ("a.kml", b"<html/>"), ("a.gpx", b"<")],
)
def test_xml_that_is_not_what_it_says_is_refused(name, data):
    assert name in refused((name, data))


@pytest.mark.parametrize(
    "crs",
    [
        {"type": "link", "properties": {"href": "http://example.org/crs"}},
        {"type": "name", "properties": {"name": "http://example.org/crs"}},
        {"type": "name", "properties": {"name": "/etc/passwd"}},
        {"type": "name"},
        "EPSG:4326",
    ],
)
def test_a_frame_that_would_be_fetched_is_refused(crs):
    """GDAL follows a linked frame over the network."""
    assert "frame" in refused(("a.geojson", json.dumps({**POINT, "crs": crs}).encode()))


LINK = {"type": "link", "properties": {"href": "http://example.org/crs"}}


@pytest.mark.parametrize(
    "data",
    [
        {
            "type": "Feature",
            "properties": {},
            "geometry": {"type": "Point", "coordinates": [-111, 39], "crs": LINK},
        },
        {**POINT, "CRS": LINK},
        {
            **POINT,
            "crs": {
                "type": "name",
                "Type": "link",
                "properties": {"name": "EPSG:4326", "href": "http://example.org/"},
            },
        },
        {**POINT, "coordRefSys": {"type": "Reference", "href": "http://example.org/crs"}},
    ],
)
def test_a_linked_frame_is_refused_wherever_it_stands(data):
    """GDAL (3.12, tried against a server on loopback) follows a link in a geometry, too, and takes keys in any case."""
    assert "frame" in refused(("a.geojson", json.dumps(data).encode()))


def test_an_attribute_called_crs_is_no_frame():
    data = {
        "type": "Feature",
        "properties": {"crs": "EPSG:4326"},
        "geometry": {"type": "Point", "coordinates": [-111, 39]},
    }
    assert taken(("a.geojson", json.dumps(data).encode()))[0] == ["vector"]


def test_a_geopackage_with_virtual_tables_is_refused(tmp_path):
    path = tmp_path / "a.gpkg"
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE VIRTUAL TABLE t USING fts5(words)")
        db.commit()
    assert "virtual tables" in refused(("a.gpkg", path.read_bytes()))


@pytest.mark.parametrize(
    "name", ["urn:ogc:def:crs:OGC:1.3:CRS84", "EPSG:26911", "urn:ogc:def:crs:EPSG::4326"]
)
def test_a_named_frame_is_taken(name):
    crs = {"type": "name", "properties": {"name": name}}
    assert taken(("a.geojson", json.dumps({**POINT, "crs": crs}).encode()))[0] == ["vector"]


@pytest.mark.parametrize("data", [b'{"type": "Topology"}', b"{", b"[" * 10_000, b'{"a": 1}', b"{" * 100_000])
def test_json_that_is_not_geojson_is_refused(data):
    kinds, _, out = (
        taken(("a.geojson", data)) if data[:1] == b"[" else ([], [], [refused(("a.geojson", data))])
    )
    assert kinds == []
    assert out


def test_the_parts_of_a_shapefile_stay_together():
    head = struct.pack(">i", 9994) + b"\0" * 96
    parts = [
        ("d/Trails.shp", head),
        ("d/Trails.dbf", b"x"),
        ("d/Trails.shx", head),
        ("d/Trails.prj", b'GEOGCS["a"]'),
    ]
    kinds, paths, _ = taken(("shapes.zip", zipped(*parts)), ("Trails.prj", b"http://example.org/"))
    assert kinds.count("vector") == 1
    assert len({path.rsplit(".", 1)[0] for path in paths[:4]}) == 1


def raster(tmp_path, name, values, dtype="float32"):
    values = np.atleast_3d(np.asarray(values, dtype))
    values = np.moveaxis(values, -1, 0) if values.shape[-1] < values.shape[0] else values
    path = tmp_path / "made.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=values.shape[2], height=values.shape[1], count=values.shape[0], dtype=dtype,
        crs="EPSG:32611", transform=rasterio.Affine(10, 0, 7e5, 0, -10, 4.4e6),
    ) as out:  # fmt: skip
        out.write(values)
    return name, path.read_bytes()


@pytest.mark.parametrize(
    ("names", "roles"),
    [
        (("a.tif", "b.tif", "c.tif", "d.tif"), ("elevation", "cover", "canopy", "imagery")),
        (("my_dem.tif", "nlcd_2021.tif", "chm.tif", "naip.tif"), ("elevation", "cover", "canopy", "imagery")),
    ],
)
def test_rasters_find_their_places(tmp_path, names, roles):
    ramp = np.linspace(0, 1, 1600).reshape(40, 40)
    values = (1500 + 900 * ramp, np.where(ramp > 0.5, 10, 30), 22 * ramp, np.dstack([255 * ramp] * 3))
    kinds = ("float32", "uint8", "float32", "uint8")
    with receiving() as box:
        for name, value, kind in zip(names, values, kinds, strict=True):
            called, data = raster(tmp_path, name, value, kind)
            box.take(called, io.BytesIO(data))
        found = sort_out(box, name="x")
        paths = {one.called: one.path for one in box.kept}
        for name, role in zip(names, roles, strict=True):
            assert getattr(found.sources, role) == paths[name]


def test_without_heights_nothing_is_made():
    with receiving() as box:
        box.take("a.gpx", io.BytesIO(GPX))
        with pytest.raises(BadInput, match="heights"):
            sort_out(box, name="x")
