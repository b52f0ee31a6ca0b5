"""Files handed over: folders looked through, archives unpacked where nothing in them can do harm."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path, PurePosixPath

from graylight.country.archive import BadArchive, Readable, packed
from graylight.errors import BadInput
from graylight.intake.found import Unusable

__all__ = ["KINDS", "RASTERS", "Item", "items", "unpacked"]

KINDS = {
    ".gpx": "gpx", ".kml": "kml", ".kmz": "archive", ".zip": "archive", ".csv": "table", ".geojson": "layers",
    ".json": "layers", ".gpkg": "layers", ".shp": "layers",
}  # fmt: skip
"""What reads a file, by its ending."""
RASTERS = frozenset({".tif", ".tiff", ".img", ".asc", ".vrt", ".hgt", ".jp2"})
COMPANIONS = frozenset({".shx", ".dbf", ".prj", ".cpg", ".qix", ".sbn", ".sbx", ".xml", ".qpj"})
MOST_FILES = 2000
MOST_DEPTH = 8
MOST_UNPACKED = 512 * 2**20
CHUNK = 2**20


@dataclass(frozen=True, slots=True)
class Item:
    """A file to read, how it is called in what is said, and whether it came in a folder with others."""

    path: Path
    called: str
    in_folder: bool = False

    @property
    def stem(self) -> str:
        """The name that a person gave the file, without its ending."""
        return Path(self.called.partition(" in ")[0]).stem


def items(paths: Sequence[Path]) -> list[Item]:
    """The files handed over, those in folders too, by name; companions of shapefiles go with them.

    Raises
    ------
    BadInput
        A path is not there, or there are too many files.
    """
    found: list[Item] = []
    for path in paths:
        if not path.exists():
            raise BadInput(
                f"there is no file {str(path)!r}; accepted are GPX, KML, KMZ, GeoJSON, GeoPackage, zipped shapefiles, CSV with "
                "coordinates, and folders of them; check the path"
            )
        if path.is_dir():
            found += [Item(file, str(file.relative_to(path)), in_folder=True) for file in _below(path)]
        else:
            found.append(Item(path, path.name))
    if len(found) > MOST_FILES:
        raise BadInput(
            f"{len(found):,} files were handed over; accepted are {MOST_FILES:,} at once; take them in in parts"
        )
    return found


def _below(folder: Path, depth: int = 0) -> Iterator[Path]:
    """Files below a folder; links out of it are not followed, and parts of shapefiles go with them."""
    for path in sorted(folder.iterdir()):
        if path.is_symlink():
            continue
        if path.is_dir() and depth < MOST_DEPTH:
            yield from _below(path, depth + 1)
        elif path.is_file() and not path.name.startswith(".") and path.suffix.lower() not in COMPANIONS:
            yield path


def unpacked(path: Path, into: Path) -> list[Item]:
    """The files of an archive that can be read, unpacked into an empty folder under names of our own choice.

    Raises
    ------
    Unusable
        It is damaged or locked, would write outside the folder, or unpacks to far more than it should.
    """
    found = []
    try:
        with packed(path, most_files=MOST_FILES, most_bytes=MOST_UNPACKED) as inside:
            for called, stream in inside:
                name = PurePosixPath(called.replace("\\", "/"))
                suffix = name.suffix.lower()
                if suffix not in KINDS and suffix not in COMPANIONS:
                    continue
                target = _written(stream, name, into)
                if KINDS.get(suffix, "archive") != "archive":
                    found.append(Item(target, f"{name.name} in {path.name}"))
    except BadArchive as error:
        raise Unusable(f"{error}; such an archive is not opened") from None
    return sorted(found, key=lambda item: item.called)


def _written(stream: Readable, name: PurePosixPath, into: Path) -> Path:
    """Unpack one file: parts of a shapefile stay side by side; the folders of the archive become plain names."""
    target = into / _plain(str(name.parent)) / f"{_plain(name.stem)}{name.suffix.lower()}"
    target.parent.mkdir(exist_ok=True)
    with target.open("wb") as out:
        while part := stream.read(CHUNK):
            out.write(part)
    return target


def _plain(text: str) -> str:
    """A plain name for any name."""
    return sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:16]
