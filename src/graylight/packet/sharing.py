"""What of a packet may be shown to others, as PDF and page: mornings and strips, no place, no name, no date."""

from __future__ import annotations

import re
from pathlib import PurePosixPath
from typing import Any

from graylight.packet.band import draw_band
from graylight.packet.contents import Contents, Sit
from graylight.packet.discreet import ABOUT, discreet_sit, scrubbed, stripped_photo, unnamed
from graylight.packet.document import PAPERS, compiled
from graylight.packet.georeference import untimed
from graylight.packet.page import COLUMNS, HEADS, data_uri, svg_uri, written
from graylight.packet.profiles import draw_way
from graylight.packet.words import cautions_of, flag_of, sit_told
from graylight.telling.plan import LAW

__all__ = ["TITLE", "shared_files"]

TITLE = "A plan to look at"
_HOUR = re.compile(r"\b(\d\d:\d\d) UTC\b")


def shared_files(contents: Contents, strips: dict[str, bytes]) -> dict[str, bytes]:
    """Files by name, below the packet's folder.

    Parameters
    ----------
    contents
        From `gathered`.
    strips
        PNG of each lookout's horizon strip without names, by its id.
    """
    names = unnamed(contents)
    sits = [_sit(discreet_sit(sit), contents, names) for sit in contents.sits]
    care = [words for words in scrubbed(cautions_of(contents)[0], names) if words]
    found = {f"share/shared-{paper}.pdf": _pdf(sits, strips, contents, care, paper) for paper in PAPERS}
    found["share/shared.html"] = _page(sits, strips, contents, care)
    return {**found, **_photos(contents)}


def _sit(sit: Sit, contents: Contents, names: list[tuple[str, str]]) -> dict[str, Any]:
    told = scrubbed(sit_told(sit, contents), names)
    told = _timeless(told)
    lead = [words for words in told["lead"] if words and not re.match(r"\w+day \d+ \w+ 2001", words)]
    return {
        **told, "day": "", "place": None, "height": "", "lead": lead, "named": [], "sees": [_true_only(s) for s in told["sees"]],
        "profile": None if sit.way is None else _profile(sit, contents),
        "band": None if sit.morning is None else draw_band(sit.morning),
    }  # fmt: skip


def _true_only(row: dict[str, str]) -> dict[str, str]:
    return {**row, "magnetic": "–"}


def _timeless(told: Any) -> Any:
    """Hours without the zone they were shifted to."""
    if isinstance(told, str):
        return _HOUR.sub(r"\1", told).replace(" (no magnetic bearing)", "")
    if isinstance(told, dict):
        return {key: _timeless(value) for key, value in told.items()}
    return [_timeless(value) for value in told] if isinstance(told, list) else told


def _profile(sit: Sit, contents: Contents) -> bytes | None:
    """The rise and fall of the way, counted from its start."""
    if sit.way is None or any(len(point) < 3 for point in sit.way.line) or not sit.way.line:
        return None
    base = min(point[2] for point in sit.way.line)
    line = [[lon, lat, up - base] for lon, lat, up in sit.way.line]
    return draw_way(sit.way.model_copy(update={"line": line}), contents.country.settings.units)


def _pdf(
    sits: list[dict[str, Any]], strips: dict[str, bytes], contents: Contents, care: list[str], paper: str
) -> bytes:
    pictures, told = {}, []
    for sit in sits:
        name = sit["id"]
        pictures[f"strip-{name}.png"] = strips[name]
        drawn = {part: sit[part] for part in ("profile", "band")}
        pictures.update({f"{part}-{name}.svg": svg for part, svg in drawn.items() if svg is not None})
        named = {part: None if svg is None else f"{part}-{name}.svg" for part, svg in drawn.items()}
        told.append({**sit, **named, "strip": f"strip-{name}.png"})
    facts = {
        "paper": PAPERS[paper], "title": TITLE, "short": TITLE, "flag": flag_of(contents.plan), "program": contents.plan.program,
        "law": LAW, "datum": "", "sits": told, "about": list(ABOUT), "care": care,
    }  # fmt: skip
    return untimed(compiled("shared.typ", facts, pictures).pdf, title=TITLE)


def _page(sits: list[dict[str, Any]], strips: dict[str, bytes], contents: Contents, care: list[str]) -> bytes:
    told = [
        {
            **sit, "strip": data_uri(strips[sit["id"]], "image/png"), "moments": [],
            "profile": svg_uri(sit["profile"]), "band": svg_uri(sit["band"]),
        }
        for sit in sits
    ]  # fmt: skip
    return written({
        "title": TITLE, "flag": flag_of(contents.plan), "datum": "", "heads": HEADS, "columns": COLUMNS, "map": None,
        "sits": told, "pockets": [],
        "foot": [{"heading": "What this is", "text": list(ABOUT)}, {"heading": "Take care", "text": care}],
    })  # fmt: skip


def _photos(contents: Contents) -> dict[str, bytes]:
    """The photos of the person's own places, without what the camera wrote, under names that say nothing."""
    found: dict[str, bytes] = {}
    for feature in contents.country.features("places"):
        named = str(feature.properties.get("photo") or "")
        parts = PurePosixPath(named).parts
        if not parts or ".." in parts or PurePosixPath(named).is_absolute():
            continue
        for path in (contents.country.folder / "photos" / named, contents.country.folder / named):
            bare = stripped_photo(path.read_bytes()) if path.is_file() else None
            if bare is not None:
                found[f"share/photo-{len(found) + 1}.jpg"] = bare
                break
    return found
