"""Files of any kind, whole or broken, taken in: never a crash, never a write outside the country, always an answer."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.intake.taking import take_in
from graylight.settings import Settings
from tests.unit.country_sources import elevation

QUICK = settings(max_examples=25, suppress_health_check=list(HealthCheck))
NAMES = ["x.gpx", "x.kml", "x.kmz", "x.zip", "x.csv", "x.geojson", "x.json", "x.gpkg", "x.shp"]

numbers = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True), st.integers(-(10**20), 10**20),
    st.sampled_from(["", "-112.16", "39.74", "1e400", "--1", "٣", "0x10"]),
).map(str)  # fmt: skip
words = st.text(max_size=30).map(lambda t: t.replace("<", "").replace("&", "").replace("\x00", ""))
tags = st.sampled_from(
    ["gpx", "wpt", "trk", "trkseg", "trkpt", "rte", "rtept", "name", "kml", "Document", "Folder", "Placemark", "Point", "Polygon",
     "LineString", "coordinates", "outerBoundaryIs", "LinearRing", "MultiGeometry", "Track", "coord", "x"]
)  # fmt: skip


@st.composite
def trees(draw, depth: int = 0) -> str:
    tag = draw(tags)
    inner = "" if depth > 4 else "".join(draw(st.lists(trees(depth + 1), max_size=3)))
    place = f' lat="{draw(numbers)}" lon="{draw(numbers)}"' if draw(st.booleans()) else ""
    text = draw(st.one_of(words, st.lists(st.tuples(numbers, numbers), max_size=4).map(
        lambda pairs: " ".join(f"{a},{b}" for a, b in pairs))))  # fmt: skip
    return f"<{tag}{place.replace('<', '')}>{text}{inner}</{tag}>"


@pytest.fixture(scope="module")
def ground(tmp_path_factory) -> Path:
    """A small country."""
    folder = tmp_path_factory.mktemp("fuzz")
    make_country(folder / "country", Sources(elevation=elevation(folder)), Settings())
    return folder


def taken(ground: Path, name: str, data: bytes) -> None:
    """Take a file in; anything but an answer or a refusal in one line is a failure, and so is a new file anywhere else."""
    path = ground / "in" / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    before = {p for p in ground.rglob("*") if "country" not in p.parts}
    try:
        lines = take_in(Country.open(ground / "country"), [path]).lines()
    except BadInput as error:
        lines = [str(error)]
    assert all("\n" not in line for line in lines)
    assert {p for p in ground.rglob("*") if "country" not in p.parts} == before


@QUICK
@given(name=st.sampled_from(NAMES), data=st.binary(max_size=400))
def test_any_bytes(ground, name, data):
    taken(ground, name, data)


@QUICK
@given(
    name=st.sampled_from(["x.gpx", "x.kml"]),
    root=st.sampled_from(["gpx", "kml", "Document"]),
    inner=st.lists(trees(), max_size=4),
)
def test_any_tree_of_the_right_words(ground, name, root, inner):
    taken(ground, name, f"<{root}>{''.join(inner)}</{root}>".encode("utf-8", "surrogatepass"))


@QUICK
@given(
    rows=st.lists(st.lists(st.one_of(numbers, words), max_size=6), max_size=6), mark=st.sampled_from(",;\t|")
)
def test_any_table(ground, rows, mark):
    head = mark.join(["name", "lat", "lon", "note"])
    text = "\n".join([head, *(mark.join(row) for row in rows)])
    taken(ground, "x.csv", text.encode("utf-8", "surrogatepass"))


json_values = st.recursive(
    st.one_of(st.none(), st.booleans(), st.floats(), words),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(
        st.sampled_from(["type", "coordinates", "features", "geometry", "properties", "name", "crs"]), inner, max_size=4)),
    max_leaves=20,
)  # fmt: skip


@QUICK
@given(
    kind=st.sampled_from(
        [
            "Point",
            "LineString",
            "Polygon",
            "MultiPolygon",
            "GeometryCollection",
            "FeatureCollection",
            "Feature",
        ]
    ),
    more=json_values,
)
def test_any_json(ground, kind, more):
    import json

    given_object = {"type": kind, "coordinates": more, "features": more, "geometry": more, "geometries": more}
    taken(ground, "x.geojson", json.dumps(given_object).encode("utf-8", "surrogatepass"))


@QUICK
@given(
    entries=st.lists(st.tuples(st.text(max_size=25), st.binary(max_size=200)), max_size=4),
    cut=st.integers(0, 600), flip=st.integers(0, 600), name=st.sampled_from(["x.zip", "x.kmz"]),
)  # fmt: skip
def test_any_archive(ground, entries, cut, flip, name):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for number, (entry, data) in enumerate(entries):
            try:
                archive.writestr(f"{entry}{number}.kml", data)
            except (ValueError, UnicodeEncodeError):
                continue
    data = bytearray(out.getvalue())
    if flip < len(data):
        data[flip] ^= 0xFF
    taken(ground, name, bytes(data[: len(data) - cut] if cut < len(data) else data))
