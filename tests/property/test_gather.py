"""What services may send, whole or broken: read as far as it can be, refused else; never a crash, a hang or a flood of memory."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
import rasterio
from hypothesis import given, settings
from hypothesis import strategies as st
from rasterio.transform import from_origin

from graylight.country.forecast import Hour
from graylight.errors import SourceUnavailable
from graylight.gather.forecast import hours_of, span
from graylight.gather.names import _inside
from graylight.gather.tiff import directories
from graylight.gather.twin import _joined, _merged, _missing
from graylight.gather.ways import sorted_out
from graylight.grid import Bounds
from tests.unit.open_ground import elements, grid_forecast, names_archive

QUICK = settings(max_examples=80)
junk = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=12)),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(
        st.sampled_from(["lon", "lat", "geometry", "members", "role", "type", "value", "values", "uom", "validTime"]), inner,
        max_size=4)),
    max_leaves=12,
)  # fmt: skip


@pytest.fixture(scope="module")
def tiff() -> bytes:
    with rasterio.MemoryFile() as memory:
        with memory.open(driver="COG", width=600, height=500, count=2, dtype="uint16", crs="EPSG:26912", blocksize=128,
                         transform=from_origin(0, 0, 10, 10)) as out:  # fmt: skip
            out.write(np.arange(600000, dtype=np.uint32).reshape(2, 500, 600).astype(np.uint16))
        return memory.read()


def read_from(data: bytes):
    return lambda at, size: data[at : at + size]


@QUICK
@given(st.data())
def test_a_tiff_with_bytes_changed_is_read_or_refused(tiff, data):
    broken = bytearray(tiff[:4000])
    for _ in range(data.draw(st.integers(1, 6))):
        broken[data.draw(st.integers(0, 1200))] = data.draw(st.integers(0, 255))
    try:
        found = directories(read_from(bytes(broken) + tiff[4000:]))
    except SourceUnavailable:
        return
    assert all(len(d.offsets) == len(d.sizes) for d in found)


@QUICK
@given(st.binary(max_size=300), st.sampled_from([b"II*\x00", b"MM\x00*", b"II+\x00\x08\x00\x00\x00"]))
def test_any_bytes_are_no_tiff(data, head):
    try:
        directories(read_from(head + data))
    except SourceUnavailable:
        return


@QUICK
@given(
    number=st.integers(0, 10),
    key=st.sampled_from(["geometry", "members", "lon", "lat", "tags", "type"]),
    value=junk,
)
def test_elements_with_a_part_changed_are_sorted_or_passed_over(number, key, value):
    given_elements = elements()
    given_elements[number][key] = value
    for features in sorted_out(given_elements).values():
        json.dumps(features)


@QUICK
@given(
    layer=st.sampled_from(["temperature", "windSpeed", "windDirection"]),
    value=junk,
    text=st.text(max_size=40),
)
def test_a_forecast_with_a_layer_changed_tells_what_is_left(layer, value, text):
    told = grid_forecast()["properties"]
    told[layer] = value
    assert all(isinstance(hour, Hour) for hour in hours_of(told))
    span(text)


@QUICK
@given(at=st.integers(0, 330), byte=st.integers(0, 255), cut=st.integers(0, 100))
def test_an_archive_of_names_with_a_byte_changed(at, byte, cut):
    data = bytearray(names_archive())
    data[at % len(data)] = byte
    try:
        found = list(_inside(bytes(data[: len(data) - cut]), Bounds(-112, 39, -111, 40), "names"))
    except SourceUnavailable:
        return
    assert len(found) <= 4
    assert io.BytesIO(data).getbuffer().nbytes == len(data)


ranges = st.lists(
    st.tuples(st.integers(0, 60), st.integers(1, 20)).map(lambda t: (t[0], t[0] + t[1])), max_size=8
)


@QUICK
@given(wanted=ranges, held=ranges, whole=st.integers(0, 80))
def test_missing_ranges_are_the_bytes_that_are_wanted_and_not_held(wanted, held, whole):
    """Beside sets of single bytes."""
    limit = whole or 1000
    bytes_wanted = {b for start, end in wanted for b in range(start, min(end, limit))}
    bytes_held = {b for start, end in held for b in range(start, end)}
    found = _missing(wanted, _merged(held), whole)
    told = [b for start, end in found for b in range(start, end)]
    assert sorted(told) == sorted(bytes_wanted - bytes_held)
    assert {b for start, end in _joined(found) for b in range(start, end)} >= set(told)
