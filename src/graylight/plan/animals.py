"""Finding the animal's profile: shipped, or the country's own."""

from __future__ import annotations

from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.habitat.profile import Profile, read_profile, shipped, shipped_names, shipped_text

__all__ = ["OWN", "before_learning", "find_profile", "is_animal", "kind_words", "profile_text"]

OWN = "-own"
"""Ends the name of a profile with weights learnt."""


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
    >>> is_animal("mule deer", "mule-deer-summer-own")
    True
    """
    kind = kind_words(profile)
    return str(said or kind).lower() in {kind, kind.split()[-1]}


def kind_words(profile: str) -> str:
    """What animals of a profile are called: its name without season and without what a copy's name adds.

    >>> kind_words("mule-deer-summer"), kind_words("mule-deer-summer-own"), kind_words("elk"), kind_words("moose-fall-own")
    ('mule deer', 'mule deer', 'elk', 'moose')
    """
    kinds = {name.rsplit("-", 1)[0] for name in shipped_names()}
    known = [kind for kind in kinds if profile == kind or profile.startswith(f"{kind}-")]
    kind = max(known, key=len) if known else profile.removesuffix(OWN).rsplit("-", 1)[0]
    return kind.replace("-", " ")


def before_learning(country: Country) -> Profile:
    """The profile from which the one named in the settings was learnt; the same where it was not.

    What was seen moves the weights from here each time: from the learnt ones on it would count twice.
    """
    name = country.settings.animal
    first = name.removesuffix(OWN)
    if name == first or first not in {*country.own_profiles(), *shipped_names()}:
        return find_profile(country)
    return find_profile(country.with_settings(animal=first))


def profile_text(country: Country) -> str:
    """The file of the profile named in the settings, as TOML."""
    name = country.settings.animal
    if name in country.own_profiles():
        return country.read_text(f"animals/{name}.toml") or ""
    return shipped_text(name)
