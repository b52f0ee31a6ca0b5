"""A vector file handed over at the command: looked over before OGR opens it, and unpacked first where it is an archive.

OGR goes by what a file holds, and many of its formats point to other files or to addresses. So only those are opened that
are known, by their first bytes, and that hold all they need.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from graylight.country.archive import SIGNATURE
from graylight.country.incoming import check_content, receiving
from graylight.errors import BadInput

__all__ = ["ACCEPTED", "MOST_LAYERS", "openable", "with_few_layers"]

ACCEPTED = "GeoPackage, shapefile, GeoJSON, GPX, KML, FlatGeobuf, a zip file of them, or the folder of a file geodatabase"
MOST_LAYERS = 200
"""Each is opened anew; readers take seconds for so many. Proposed."""
MOST_BYTES = 2**30
MOST_UNPACKED = 512 * 2**20
_FLATGEOBUF = b"fgb\x03"
_SHAPEFILE = b"\x00\x00\x27\x0a"
"""File code 9994 (ESRI Shapefile Technical Description, 1998)."""


@contextmanager
def openable(path: Path, *, role: str = "vector") -> Iterator[list[Path]]:
    """The files that OGR may open for one that was handed over: itself, or what an archive holds.

    Parameters
    ----------
    path
        A file, or a folder that is a data set.
    role
        What it is for, in what is said.

    Raises
    ------
    BadInput
        It is not there, of no known kind, too large, would do harm, or is an archive that holds nothing of use.
    """
    called = f"the {role} file {path.name}"
    if not path.exists():
        raise BadInput(f"no {role} file {str(path)!r}; accepted is {ACCEPTED}; check the path")
    if path.is_dir():
        yield [path]
        return
    try:
        with path.open("rb") as file:
            head = file.read(256)
    except OSError as error:
        raise BadInput(
            f"{called} can't be read ({error.strerror}); accepted is {ACCEPTED}; check it"
        ) from None
    if head.startswith(SIGNATURE):
        with _unpacked(path, called) as inside:
            yield inside
        return
    _look_at(path, head, called)
    yield [path]


@contextmanager
def _unpacked(path: Path, called: str) -> Iterator[list[Path]]:
    with receiving(most_bytes=MOST_UNPACKED) as incoming:
        with path.open("rb") as file:
            incoming.take(path.name, file)
        found = [kept.path for kept in incoming.kept if kept.kind == "vector"]
        if not found:
            raise BadInput(
                f"{called} holds no file that can be read; accepted is {ACCEPTED}; unpack it and look what is in it"
            )
        yield found


def _look_at(path: Path, head: bytes, called: str) -> None:
    """See that a file is of a known kind, and leads nowhere else."""
    if path.stat().st_size > MOST_BYTES:
        raise BadInput(
            f"{called} has more than {MOST_BYTES // 2**20:,} MB; accepted is at most that; cut it to the ground wanted"
        )
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    if head.startswith(b"SQLite format 3\0"):
        check_content(path, called, ".gpkg")
    elif text[:1] in {b"{", b"["}:
        check_content(path, called, ".geojson")
    elif text[:1] == b"<" or head[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        check_content(path, called, ".kml" if path.suffix.lower() == ".kml" else ".gpx")
    elif not head.startswith((_FLATGEOBUF, _SHAPEFILE)):
        raise BadInput(
            f"{called} can't be read, or is cut short or damaged; accepted is {ACCEPTED}; check the file"
        )


def with_few_layers(names: list[str], called: str) -> list[str]:
    """The layers of a file.

    Raises
    ------
    BadInput
        There are too many.
    """
    if len(names) > MOST_LAYERS:
        raise BadInput(
            f"{called} has {len(names):,} layers; accepted are at most {MOST_LAYERS:,}; save those wanted alone"
        )
    return names
