"""Files handed over: folders looked through, archives unpacked where nothing in them can do harm."""

from __future__ import annotations

import stat
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path, PurePosixPath

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
MOST_TIMES = 200
"""An archive that unpacks to more than this many times its size is a bomb, not a track."""
BOMB_FROM = 1 * 2**20
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
    try:
        with zipfile.ZipFile(path) as archive:
            return _unpack(archive, path, into)
    except (
        zipfile.BadZipFile,
        zipfile.LargeZipFile,
        EOFError,
        NotImplementedError,
        OSError,
        ValueError,
        RuntimeError,
    ):
        raise Unusable("it is damaged, locked, or packed in a way that can't be read") from None


def _unpack(archive: zipfile.ZipFile, path: Path, into: Path) -> list[Item]:
    entries = [entry for entry in archive.infolist() if not entry.is_dir()]
    _look_over(entries, path)
    found, left = [], MOST_UNPACKED
    for entry in entries:
        name = PurePosixPath(entry.filename.replace("\\", "/"))
        suffix = name.suffix.lower()
        if suffix not in KINDS and suffix not in COMPANIONS:
            continue
        # parts of a shapefile must stay side by side; the folders of the archive become plain names
        target = into / _plain(str(name.parent)) / f"{_plain(name.stem)}{suffix}"
        target.parent.mkdir(exist_ok=True)
        left -= _copy(archive, entry, target, left)
        if suffix in KINDS and KINDS[suffix] != "archive":
            found.append(Item(target, f"{name.name} in {path.name}"))
    return sorted(found, key=lambda item: item.called)


def _plain(text: str) -> str:
    """A plain name for any name."""
    return sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:16]


def _look_over(entries: list[zipfile.ZipInfo], path: Path) -> None:
    """Refuse what would do harm before a byte is unpacked."""
    if len(entries) > MOST_FILES:
        raise Unusable(f"it holds {len(entries):,} files; accepted are {MOST_FILES:,}")
    for entry in entries:
        parts = PurePosixPath(entry.filename.replace("\\", "/")).parts
        if (
            not parts
            or ".." in parts
            or parts[0] in {"/", "\\"}
            or ":" in parts[0]
            or "\x00" in entry.filename
        ):
            raise Unusable(
                f"it would write outside its folder ({entry.filename[:60]!r}); such an archive is not opened"
            )
        if stat.S_ISLNK(entry.external_attr >> 16):
            raise Unusable("it holds a link to another place; such an archive is not opened")
    total = sum(entry.file_size for entry in entries)
    size = max(1, path.stat().st_size)
    if total > MOST_UNPACKED or (total > BOMB_FROM and total > MOST_TIMES * size):
        raise Unusable(
            f"{size:,} bytes would unpack to {total:,}; accepted are {MOST_TIMES} times as many, up to {MOST_UNPACKED:,}"
        )


def _copy(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, target: Path, left: int) -> int:
    """Unpack one file; what it says of its size is not believed."""
    written = 0
    with archive.open(entry) as source, target.open("wb") as out:
        while part := source.read(CHUNK):
            written += len(part)
            if written > left:
                raise Unusable(f"it unpacks to more than {MOST_UNPACKED:,} bytes")
            out.write(part)
    return written
