"""Finding the animal's profile: shipped, or the country's own."""

from __future__ import annotations

from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.habitat.profile import Profile, read_profile, shipped, shipped_names

__all__ = ["find_profile"]


def find_profile(country: Country) -> Profile:
    """The profile named in the settings: one in the country's animals/ folder wins over a shipped one.

    Raises
    ------
    BadInput
        Unknown animal, or a profile that can't be read.
    """
    name = country.settings.animal
    own = country.own_profiles()
    if name in own:
        where = f"animals/{name}.toml"
        return read_profile(country.read_text(where) or "", where=where)
    if name not in shipped_names():
        known = ", ".join([*own, *shipped_names()])
        raise BadInput(
            f"unknown animal {name!r}; accepted are {known}; a copy of a profile can be put into the country's animals/ folder"
        )
    return shipped(name)
