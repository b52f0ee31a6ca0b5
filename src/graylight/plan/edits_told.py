"""What the person said, and what became of it, in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from graylight.country.folder import Country
from graylight.plan.aside import aside
from graylight.plan.edits import Edits, Own
from graylight.plan.ids import Given
from graylight.plan.making import Worked
from graylight.plan.own import DROPPED
from graylight.plan.starts import called
from graylight.settings.words import called as setting
from graylight.settings.words import value_words

__all__ = ["edits_applied"]


def edits_applied(country: Country, worked: Worked, given: Given, lookouts: Iterable[str]) -> list[str]:
    """Each thing that was said, in the order settings, pockets, lookouts, names, starts; then what could not be used."""
    edits, ids = worked.edits, worked.chosen.ids
    shut = {key: pocket.shut for key, pocket in zip(ids, worked.habitat.pockets, strict=True)}
    return [
        *(
            f"{setting(key)} set to {value_words(key, value)} by you"
            for key, value in edits.settings
            if not aside(key)
        ),
        *(_pocket(one, shut) for one in edits.of("P")),
        *(_accepted(key, shut) for key in _ordered(edits.accepted, "P")),
        *_dropped(_ordered(edits.dropped, "P"), shut),
        *(_lookout(one, worked.watched.own, given) for one in edits.of("L")),
        *(_dropped_lookout(key, given) for key in _ordered(edits.dropped, "L")),
        *_names(edits, {*ids, *lookouts}),
        *_starts(edits, country, worked),
        *edits.unread,
    ]


def _ordered(ids: Iterable[str], letter: str) -> list[str]:
    return sorted((key for key in ids if key.startswith(letter)), key=lambda key: int(key[1:]))


def _pocket(one: Own, shut: dict[str, str | None]) -> str:
    words = f"pocket {one.id} {one.how} by you"
    return words if one.id in shut else f"{words}, but nothing is known of the ground in it"


def _accepted(key: str, shut: dict[str, str | None]) -> str:
    words = f"pocket {key} accepted by you"
    if key not in shut:
        return f"{words}, but there is no such pocket now"
    return words if shut[key] is None else f"{words}; it stays unranked: {shut[key]}"


def _dropped(keys: Sequence[str], shut: dict[str, str | None]) -> list[str]:
    """Those that were dropped and nothing else are said in one line."""
    plain = [key for key in keys if shut.get(key) == DROPPED]
    told = []
    if len(plain) > 1:
        named = f"{', '.join(plain[:-1])} and {plain[-1]}"
        told.append(f"pockets {named} {DROPPED}: they are shown, but neither ranked nor watched")
    for key in (one for one in keys if len(plain) < 2 or one not in plain):
        if key not in shut:
            told.append(f"pocket {key} dropped by you; there is no such pocket now")
            continue
        also = "" if shut[key] == DROPPED else f" ({shut[key]})"
        told.append(f"pocket {key} {DROPPED}: it is shown, but neither ranked nor watched{also}")
    return told


def _lookout(one: Own, own: tuple[str, ...], given: Given) -> str:
    also = ", and accepted" if one.held and one.how == "added" else ""
    words = f"lookout {one.id} {one.how} by you{also}"
    if one.id in own:
        return f"{words}: the sets are made about it" if one.held else words
    if one.shape is None and one.id not in given.lookouts:
        return f"{words}, but there was no such lookout"
    return f"{words}, but its ground is not known, or another of yours stands on the same cell"


def _dropped_lookout(key: str, given: Given) -> str:
    mine = key in given.own.values()
    if key in given.lookouts:
        return f"lookout {key} {DROPPED}: none is chosen near it"
    return f"lookout {key} {DROPPED}" + ("" if mine else ", but there was no such lookout")


def _names(edits: Edits, there: set[str]) -> list[str]:
    kinds = {"P": "pocket", "L": "lookout"}
    return [
        f"{kinds[key[0]]} {key} named {name!r} by you"
        + ("" if key in there else ", but it is not in this plan")
        for key, name in edits.names.items()
    ]


def _starts(edits: Edits, country: Country, worked: Worked) -> list[str]:
    used = {called(way) for way in worked.walked.starts}
    told = []
    for name in edits.starts:
        if country.settings.start is not None:
            told.append(f"start {name!r} chosen by you, but the start that is set goes before it")
        elif name.lower() in used:
            told.append(f"start {name!r} chosen by you: only chosen ones are used")
        else:
            told.append(f"start {name!r} chosen by you, but no start on open ground goes by that name")
    return told
