"""Finding the animal's profile: shipped, or the country's own."""

from __future__ import annotations

from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.habitat.profile import Profile, read_profile, shipped, shipped_names, shipped_text

__all__ = ["find_profile", "is_animal", "profile_text"]


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


def is_animal(said: object, profile: str) -> bool:
    """Whether animals said to be of a kind (none said: any) are those of a profile.

    >>> is_animal("Mule deer", "mule-deer-summer"), is_animal("", "elk-fall"), is_animal("elk", "mule-deer-fall")
    (True, True, False)
    """
    kind = profile.rsplit("-", 1)[0].replace("-", " ")
    return str(said or kind).lower() in {kind, kind.split()[-1]}


def profile_text(country: Country) -> str:
    """The file of the profile named in the settings, as TOML."""
    name = country.settings.animal
    if name in country.own_profiles():
        return country.read_text(f"animals/{name}.toml") or ""
    return shipped_text(name)
