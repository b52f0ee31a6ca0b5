"""What settings are called when people read of them; the keys are for those who type them."""

from __future__ import annotations

import re

__all__ = ["WORDS", "called", "in_words", "value_words"]

_WHOLE = {
    "animal": "the animal",
    "date": "the morning planned for",
    "units": "the units",
    "lookouts": "the most lookouts in a set",
    "start": "the start of the walk",
    "legal_minutes": "how long before sunrise legal light begins",
    "usable_light_sun_deg": "the sun's height at first usable light",
    "treeline_m": "the treeline",
    "memory_gb": "the memory a run may take",
}
_SIGHT = {
    "eye_m": "the height of the eye, seated",
    "refraction": "the refraction of sight lines",
    "elevation_error_m": "the error of the elevation",
    "thin_closure": "the canopy below which nothing is hidden",
    "dense_closure": "the canopy from which trees are a wall",
    "radius_m": "the farthest that a lookout may be from a pocket",
    "closure_error": "the error of the canopy's closure",
    "crown_base_share": "the height at which crowns begin",
    "tree_m": "the height from which plants count as trees",
    "stems_per_ha": "the trunks per hectare of closed timber",
    "stem_m": "the thickness of a trunk",
    "clear_light": "the light through leaves from which ground is clear",
    "hidden_light": "the light through leaves below which ground is hidden",
}
_OPTICS = {
    "eye_arcsec": "the finest angle of the naked eye, in arc seconds",
    "dawes_arcsec_mm": "the limit of a glass by its aperture",
    "small_power": "the magnification of small binoculars",
    "small_aperture_mm": "the aperture of small binoculars",
    "middle_power": "the magnification of the usual binoculars",
    "middle_aperture_mm": "the aperture of the usual binoculars",
    "large_power": "the magnification of binoculars on a tripod",
    "large_aperture_mm": "the aperture of binoculars on a tripod",
    "scope_power": "the magnification of the spotting scope",
    "scope_aperture_mm": "the aperture of the spotting scope",
    "body_part": "the depth of a body, for finding it",
    "tell_m": "the size that must be made out to tell animals apart",
    "judge_m": "the thickness that must be made out to judge antlers",
    "cycles": "the fineness that an even chance needs",
    "field_part": "the part of the charted distance reached in the field",
    "cn2_still": "the shimmer of the air before sunrise",
    "cn2_strong": "the shimmer of the air under a high sun",
    "strong_sun_deg": "the sun's height from which shimmer is strong",
}
_GLARE = {
    "glass_deg": "the angle within which the sun is in the glass",
    "near_deg": "the angle within which the sun is near",
    "behind_deg": "the angle from which the sun is behind the watcher",
}
_WATCH = {
    "best_near_m": "the distance nearer than which a lookout is worth less",
    "best_far_m": "the distance farther than which a lookout is worth less",
    "seat_slope_deg": "the steepest ground to sit on",
    "seat_open_m": "how far one may shift to see past trees",
    "walk_limit_hours": "the longest walk in to a lookout",
    "settle_minutes": "the time to be in place before usable light",
}
_WALK = {
    "pace_factor": "the pace factor",
    "pack_factor": "the pace factor with a day pack",
    "dark_factor": "the pace factor in the dark",
    "spread": "the spread of a walking time",
    "scramble_deg": "the steepest ground to walk loaded or in the dark",
    "shut_deg": "the steepest ground to walk at all",
    "private_open": "walking over private holdings",
}
_AIR = {
    "down_slope_ms": "the wind down a slope at night",
    "up_slope_ms": "the wind up a sunlit slope",
    "down_valley_ms": "the wind down a valley at night",
    "up_valley_ms": "the wind up a valley by day",
    "up_slope_minutes": "the delay of the air's turn up a slope",
    "down_slope_minutes": "the delay of the air's turn down a slope",
    "up_valley_minutes": "the delay of the air's turn up a valley",
    "down_valley_minutes": "the delay of the air's turn down a valley",
    "turn_minutes": "the time about a turn in which air is unreliable",
    "smooth_m": "the span over which air smooths the ground",
    "full_slope_deg": "the slope from which the slope wind is full",
    "valley_km2": "the ground, in square kilometres, that must drain through a valley for a wind of its own",
    "valley_depth_m": "the height at which the valley wind fades out",
    "valley_reach_m": "the length over which a valley's axis is taken",
    "exposed_ms": "the general wind that rules on crests",
    "sheltered_ms": "the general wind that rules in valleys",
    "exposure_m": "the distance within which ground is compared for its exposure",
    "open_part": "the part of the forecast wind near open ground",
    "timber_part": "the part of the forecast wind in dense timber",
    "shelter_closure": "the canopy from which timber shelters",
    "lee_deg": "the fall of a lee slope behind which air turns",
    "night_class": "the stability of the air at night",
    "day_class": "the stability of the air over sunlit slopes",
    "windy_class": "the stability of the air in a general wind",
    "meander": "the sway of light air at night",
    "scent_full_m": "the distance up to which scent is full",
    "scent_gone_m": "the distance from which scent is gone",
    "scent_minutes": "how long air is followed",
    "still_ms": "the speed below which air is still",
    "pool_ms": "the spread of scent in still air",
}
_CAMP = {
    "slope_deg": "the steepest ground to sleep on",
    "setback_m": "the distance of a camp from water",
    "keep_m": "the least distance of a camp from pockets",
    "shelter_m": "the distance within which trees shelter a camp",
    "water_minutes": "the longest walk from camp to water",
    "lookout_minutes": "the longest walk from camp to a lookout",
    "scent_limit": "the most scent from a camp that may reach a pocket",
    "seen_limit": "the most of a pocket that may be in sight of a camp",
    "apart_m": "the distance between camps offered",
    "most": "the number of camps offered",
}
_APPROACH = {
    "seen_weight": "the weight of being seen on the hidden way",
    "scent_weight": "the weight of being smelled on the hidden way",
    "between": "the place of the middle way between the quickest and the hidden",
    "seen_dark": "the weight of being in view in the dark",
}
_PACK = {
    "people": "the people who carry",
    "load_kg": "the most that one carries at a time",
    "body_kg": "the weight of who carries",
    "more": "the part that weights come out above the average",
    "hours_limit": "the longest time for carrying out",
    "terrain_on": "the effort of walking loaded on a path",
    "terrain_off": "the effort of walking loaded off a path",
}
_SIT = {
    "wind": "the wind",
    "watch_minutes": "the length of the watch after sunrise",
    "bed_sun_minutes": "how long the sun lies on a pocket before animals bed",
    "bed_by_minutes": "how long after sunrise animals have bedded at the latest",
    "evening_minutes": "how long before sunset one sits still at dusk",
    "rise_minutes": "how long before sunset animals come out at the earliest",
    "scent_care": "the scent that calls for care",
    "scent_spoils": "the scent that spoils a morning",
    "toward_deg": "the swing of a general wind",
    "toward_part": "the part of a pocket that air must reach to count",
    "wind_off": "how far off a wind as said may be",
    "wind_care_ms": "the wind that calls for care",
    "wind_spoils_ms": "the wind that spoils a sit",
    "glass_care": "the part of the time with sun in the glass that calls for care",
    "glass_spoils": "the part of the time with sun in the glass that spoils a morning",
    "shade_part": "the part of the sun's beam that still counts as shade",
    "detour_minutes": "the longest detour for being noticed less",
    "steep_path_minutes": "the time on a steep path in the dark that calls for care",
}
_RECORD = {
    "glass_ha_per_hour": "the ground that an hour of glassing covers",
    "least_ha": "the least ground that glassing is reckoned over",
    "wide_power": "the magnification above which glassing is slower",
    "walking_part": "the part of the ground that a walker covers",
    "shows": "the chance that animals show themselves",
    "midday": "how much animals are in the open at midday",
    "full_minutes": "how long after sunrise animals are in the open in full",
    "twilight": "the speed of glassing in twilight",
    "fog": "the speed of glassing in fog",
    "fog_m": "the farthest that one sees in fog",
    "wet": "the speed of glassing in rain or snow",
    "fade_days": "how long an empty morning or a push tells",
    "seen_fade_days": "how long a sighting or sign tells",
    "season_days": "how long a sighting counts for its pocket",
    "stray": "the part of animals seen that are only passing",
    "sign_stray": "the part of fresh sign of animals only passing",
    "roam": "the part of animals outside all pockets that live in one",
    "habitat_worth": "the worth of the habitat, in sightings",
    "near_m": "the distance outside a pocket at which an animal counts half",
    "wanted": "the sex that the odds are about",
    "other_part": "the worth of a sighting of the other sex",
    "bearing_error_deg": "the error of a compass bearing",
    "distance_error_part": "the error of a distance, as a part of it",
    "angle_error_deg": "the error of an angle on the drawn view",
    "place_error_m": "the error of a place by its coordinates",
    "rest_days": "how long a lookout rests",
    "rest_part": "the worth of a lookout the day after",
    "pushed_days": "how long a pocket rests where animals were pushed",
    "pushed_part": "the worth of a pocket the day after animals were pushed",
    "pushed_leave": "the chance that pushed animals leave their pocket",
    "pushed_m": "the distance over which pushed animals settle half as likely",
    "near_best": "how near to the best a shorter walk must be",
    "move_gain": "the gain from which a move is proposed",
    "learn_sightings": "the fewest sightings to learn from",
    "learn_spread": "how far off a weight of the habitat may be",
    "learn_turns": "the fewest turns of the air to learn from",
    "learn_walk_minutes": "the least walking to learn from",
}
_GROUPS = {
    "sight": _SIGHT, "optics": _OPTICS, "glare": _GLARE, "watch": _WATCH, "walk": _WALK, "air": _AIR, "camp": _CAMP,
    "approach": _APPROACH, "pack": _PACK, "sit": _SIT, "record": _RECORD,
}  # fmt: skip
WORDS: dict[str, str] = {
    **_WHOLE,
    **{f"{group}.{name}": words for group, names in _GROUPS.items() for name, words in names.items()},
}
"""Words by key, one for every setting; a test goes through all of them."""
_UNITS = (
    ("_arcsec_mm", ""), ("_mm", " mm"), ("_m", " m"), ("_minutes", " minutes"), ("_hours", " hours"), ("hours_limit", " hours"), ("_days", " days"),
    ("_deg", "°"), ("_ms", " m/s"), ("_per_ha", ""), ("_ha", " ha"), ("_per_hour", " ha"), ("_kg", " kg"), ("_gb", " GB"),
    ("_km2", " km²"),
)  # fmt: skip
# 'date' and 'start' are English, too: only what has a dot or an underline is a key at sight
_KEY = re.compile(
    rf"(^|[.:] )?\b({'|'.join(re.escape(key) for key in sorted(WORDS, key=len, reverse=True) if '.' in key or '_' in key)})\b"
)


def called(key: str) -> str:
    """A setting as people call it; what is no setting, as it was said.

    >>> called("sight.radius_m"), called("no.such")
    ('the farthest that a lookout may be from a pocket', "'no.such'")
    """
    return WORDS.get(key) or repr(key)


def value_words(key: str, value: str) -> str:
    """What a setting is set to, with its unit.

    >>> value_words("sight.radius_m", "2400"), value_words("date", "2026-09-12"), value_words("start", "")
    ('2400 m', '2026-09-12', 'its default')
    """
    if not value:
        return "its default"
    if value in ("true", "false"):
        return {"true": "yes", "false": "no"}[value]
    number = re.fullmatch(r"[-+]?\d+(\.\d*)?([eE][-+]?\d+)?", value) is not None
    unit = next((unit for end, unit in _UNITS if key.endswith(end)), "") if number and key in WORDS else ""
    return f"{value}{unit}"


def in_words(text: str) -> str:
    """A sentence with the words of every setting whose key it names.

    >>> in_words("Pace: 3 minutes. walk.pace_factor stays 1.")
    'Pace: 3 minutes. The pace factor stays 1.'
    """
    return _KEY.sub(_told, text)


def _told(found: re.Match[str]) -> str:
    before, words = found.group(1), WORDS[found.group(2)]
    begins = before is not None and not before.startswith(":")
    return (before or "") + (words[0].upper() + words[1:] if begins else words)
