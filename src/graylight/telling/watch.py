"""From where marks can be watched, told: what can't be had first, then the seats."""

from __future__ import annotations

from graylight.plan.model import MarkSeen, Watch, WatchSeat
from graylight.telling.naming import standing
from graylight.telling.paragraph import Paragraph, counted, listed, sentence
from graylight.telling.plan import LAW
from graylight.units import Units, area, bearings, distance, duration, share_range

__all__ = ["tell_watch"]

STANDING_FROM_M = 1.4
NOT_WEIGHED = (
    "Seats are ranked by what shows from them alone. "
    "Yours to weigh: wind, scent, how near the animals are, how one sits there."
)


def tell_watch(watch: Watch, units: Units) -> list[Paragraph]:
    """Tell the ground from which marks can be seen, and the best seats on it.

    Parameters
    ----------
    watch
        The answer.
    units
        'us' or 'metric'.
    """
    paragraphs = [Paragraph("From where they show", [*_ground(watch, units), *_files(watch)])]
    for number, seat in enumerate(watch.seats, 1):
        paragraphs.append(Paragraph(f"Seat {number}", _seat(seat, len(watch.marks), units), run_in=True))
    if watch.seats:
        paragraphs.append(Paragraph("Not weighed", [NOT_WEIGHED], run_in=True))
    if watch.not_known:
        paragraphs.append(Paragraph("Not known", [sentence(words) for words in watch.not_known]))
    return [*paragraphs, Paragraph("Take care", [*(sentence(words) for words in watch.cautions), LAW])]


def _ground(watch: Watch, units: Units) -> list[str]:
    how = "standing" if watch.eye_m >= STANDING_FROM_M else "sitting"
    marks, reach = len(watch.marks), distance(watch.within_m, units)
    never = [mark for mark in watch.marks if mark.seen_from_m2 == 0]
    told = [
        sentence(
            f"no ground to sit on within {reach} shows {mark.name}"
            + (f": {mark.why_none}" if mark.why_none else "")
        )
        for mark in never
    ]
    if marks > 1 and not never:
        whole = f"from {area(watch.all_m2, units)}" if watch.all_m2 else "from nowhere"
        told.append(sentence(f"{how}, within {reach}: all {marks} marks show {whole}"))
    if watch.most < marks and watch.most <= marks - len(never):
        most = f"from {area(watch.most_m2, units)}" if watch.most_m2 else "from nowhere"
        told.append(sentence(f"{watch.most} of {'them' if not never else f'the {marks} marks'} show {most}"))
    if not watch.seats:
        told.append("No seat was found that shows any of them through what grows there.")
    alone = "" if marks == 1 else "each by itself, "
    each = [f"{mark.name} from {area(mark.seen_from_m2, units)}" for mark in watch.marks if mark.seen_from_m2]
    return [*told, sentence(f"{alone}{how}: {'; '.join(each)}")] if each else told


def _files(watch: Watch) -> list[str]:
    files = [f"the raster {watch.raster}"] if watch.raster else []
    files += [f"the map {watch.picture}"] if watch.picture else []
    return [sentence(f"where that is: {listed(files)}")] if files else []


def _seat(seat: WatchSeat, marks: int, units: Units) -> list[str]:
    shown = [one for one in seat.sees if one.mark not in seat.hides]
    told = [sentence(standing(seat.place, units))]
    if seat.hides:
        told.append(sentence(f"hidden from there, or mostly: {listed(seat.hides)}"))
    told.append(
        sentence(
            f"{counted(len(shown), 'mark')} of {marks} in sight: {'; '.join(_mark(one, units) for one in shown)}"
        )
    )
    if seat.slope_deg is not None:
        told.append(sentence(f"slope {seat.slope_deg:.0f}°"))
    if seat.walk_seconds is not None:
        told.append(
            sentence(
                f"{duration(seat.walk_seconds)} on foot from the best start, with a day pack in the dark"
            )
        )
    return told


def _mark(one: MarkSeen, units: Units) -> str:
    how_much = share_range(one.share.low, one.share.high)
    away = distance(one.distance_m, units)
    return f"{one.mark}, {how_much} of it, {away} off at {bearings(one.bearing_true_deg, one.bearing_magnetic_deg)}"
