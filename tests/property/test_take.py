"""Files of any kind, whole or broken, taken in: never a crash, never a write outside the country, always an answer."""

from __future__ import annotations

import io
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyogrio import raw

from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.country.outline import MOST_CROSSINGS, Crossings, Tangled, mended
from graylight.country.sealed import why_unsealed
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


@pytest.fixture(scope="module")
def package(tmp_path_factory) -> bytes:
    """A GeoPackage with a spatial index of several nodes."""
    path = tmp_path_factory.mktemp("package") / "x.gpkg"
    at = np.random.default_rng(1).uniform(-1.0, 1.0, (400, 2))
    raw.write(
        str(path), shapely.to_wkb(shapely.points(at)), [np.array(["a"] * 400, object)], ["name"], geometry_type="Point",
        crs="EPSG:4326", layer="marks", driver="GPKG",
    )  # fmt: skip
    return path.read_bytes()


@QUICK
@given(
    changes=st.lists(
        st.tuples(st.integers(0, 2**31), st.binary(min_size=1, max_size=8)), min_size=1, max_size=20
    )
)
def test_a_package_with_bytes_changed(ground, package, changes):
    data = bytearray(package)
    for at, given_ in changes:
        data[at % len(data) : at % len(data) + len(given_)] = given_
    taken(ground, "x.gpkg", bytes(data))


@QUICK
@given(data=st.data())
def test_an_index_with_its_nodes_changed_is_refused_or_ends(ground, package, data):
    """A plain walk over the nodes is the reference: no node is met twice, or it is refused."""
    path = ground / "in" / "nodes.gpkg"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(package)
    with closing(sqlite3.connect(path)) as db, db:
        nodes = dict(db.execute("SELECT nodeno, data FROM rtree_marks_geom_node"))
        for node in data.draw(st.lists(st.sampled_from(sorted(nodes)), min_size=1, max_size=4)):
            body = bytearray(nodes[node])
            depth, entry = data.draw(st.integers(0, 5)), data.draw(st.integers(0, 20))
            body[0:2] = depth.to_bytes(2, "big")
            body[4 + entry * 24 : 12 + entry * 24] = data.draw(st.sampled_from(sorted(nodes))).to_bytes(
                8, "big"
            )
            nodes[node] = bytes(body)
            db.execute("UPDATE rtree_marks_geom_node SET data = ? WHERE nodeno = ?", (nodes[node], node))
    assert (why_unsealed(path) is not None) == walks_twice(nodes)
    path.unlink()


def walks_twice(nodes: dict[int, bytes]) -> bool:
    met: list[int] = []

    def walk(node: int, depth: int) -> None:
        if node in met:
            met.append(node)
            return
        met.append(node)
        body = nodes.get(node, b"")
        count = int.from_bytes(body[2:4], "big") if depth else 0
        for at in range(4, 4 + count * 24, 24):
            walk(int.from_bytes(body[at : at + 8], "big", signed=True), depth - 1)

    walk(1, int.from_bytes(nodes[1][0:2], "big"))
    return len(met) > len(set(met))


@QUICK
@given(
    spots=st.lists(st.tuples(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3)), min_size=3, max_size=60),
    left=st.sampled_from([0, 3, 50, MOST_CROSSINGS]),
)
def test_any_outline_is_mended_or_refused(spots, left):
    """GEOS's own judgement of what is valid is the reference; what is spent is never more than there was."""
    crossings = Crossings(left)
    try:
        found = mended(shapely.Polygon(spots), crossings)
    except Tangled:
        assert crossings == Crossings(left, refused=1)
    else:
        assert shapely.is_valid(found)
        assert 0 <= crossings.left <= left
