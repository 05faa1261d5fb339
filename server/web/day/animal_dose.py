"""What the day gives one animal, in words: dose, feeding hours, and against what it knew."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.account.way import against_words
from server.dose.day import hours_at_or_above
from server.dose.groups import BY_KEY, NONE_PUBLISHED, OTHER, Group, Published
from server.dose.photosynthesis import CURVES, TANH, PECurve, hours_of_full_photosynthesis
from server.dose.warnings import Low, low_light
from server.models import Animal
from server.web.filters import ppfd, significant
from server.web.lit import Lit
from server.web.published import band_words
from server.web.times import shown_hours

LOW_WORDS: dict[Low, str] = {
    "dark": "far too little",
    "low": "too little",
    "near": "barely enough",
    "enough": "clears the low-light threshold",
}
UNKNOWN_PAST = "not all of its past is known"
IN_SHADE = "lives in shade; the threshold does not speak for it"


@dataclass(frozen=True, kw_only=True)
class Hours:
    """Hours a day above a level, with where the level comes from."""

    words: str
    level: str
    kind: str
    source: str


@dataclass(frozen=True, kw_only=True)
class AnimalDose:
    """One animal's day, formatted."""

    id: int
    name: str
    group: str
    peak: str
    dli: str
    dli_value: float
    low: Low
    low_words: str
    feeding: tuple[Hours, ...]
    saturated: tuple[Hours, ...]
    photosynthesis: tuple[Hours, ...]
    inhibited: tuple[Hours, ...]
    other_days: str
    history: str
    shade: bool


def animal_doses(now: Lit, rises: Mapping[int, float]) -> tuple[AnimalDose, ...]:
    """Every animal of the tank; `rises`: its light over what it is used to, by id, where known."""
    return tuple(_dose(now, place, rises) for place in range(len(now.animals)))


def _dose(now: Lit, place: int, rises: Mapping[int, float]) -> AnimalDose:
    animal = now.animals[place]
    group = BY_KEY.get(animal.group, OTHER)
    dli, peak = float(now.light.dli[place]), float(now.light.peak[place])
    low = low_light(dli)
    return AnimalDose(
        id=animal.id,
        name=animal.name,
        group=group.name,
        peak=ppfd(peak),
        dli=significant(dli),
        dli_value=dli,
        low=low,
        low_words=IN_SHADE if group.key == "shade" else LOW_WORDS[low],
        feeding=_hours(now, place, animal.compensation_ppfd, group, "compensation"),
        saturated=_hours(now, place, animal.saturation_ppfd, group, "saturation"),
        photosynthesis=_photosynthesis(now, place, animal, group),
        inhibited=_hours(now, place, None, group, "inhibition")
        if group.figures("inhibition")
        else (),
        other_days=_other_days(dli, peak),
        history=against_words(rises[animal.id]) if animal.id in rises else UNKNOWN_PAST,
        shade=group.key == "shade",
    )


def _other_days(dli: float, peak: float) -> str:
    """Address of the calculator that gives the same dose in other days."""
    asked = {"dli": f"{max(dli, 0.01):.2f}", "peak_limit": f"{max(peak * 1.2, 1):.0f}"}
    return f"/calculators/day?{urlencode(asked | {'from': '16:00', 'to': '22:00', 'ramp': '60'})}"


def _hours(
    now: Lit, place: int, own: float | None, group: Group, quantity: str
) -> tuple[Hours, ...]:
    """Hours at or above the keeper's own figure, or above each published band of the group."""
    one = now.course_of(place)
    if own:
        hours = shown_hours(hours_at_or_above(one, own))
        return (Hours(words=hours, level=ppfd(own), kind="own", source="your own figure"),)
    figures = [f for f in group.published if f.quantity == quantity]
    if not figures:
        return (Hours(words="", level="", kind="none", source=NONE_PUBLISHED),)
    return tuple(
        Hours(
            words=_between(
                hours_at_or_above(one, figure.high_ppfd),
                hours_at_or_above(one, figure.low_ppfd or figure.high_ppfd),
            ),
            level=f"{band_words(figure)} ({figure.animal})",
            kind="published",
            source=figure.source,
        )
        for figure in figures
    )


def _photosynthesis(now: Lit, place: int, animal: Animal, group: Group) -> tuple[Hours, ...]:
    """The day's photosynthesis as hours at the saturated rate, by a stated curve."""
    one = now.course_of(place)
    if animal.saturation_ppfd:
        worked = hours_of_full_photosynthesis(one, saturation_ppfd=animal.saturation_ppfd)
        source = f"{TANH.name}, {TANH.source}, with your own saturation point"
        return (
            Hours(
                words=shown_hours(worked),
                level=ppfd(animal.saturation_ppfd),
                kind="own",
                source=source,
            ),
        )
    figures = [f for f in group.published if f.quantity == "saturation" and f.low_ppfd]
    return tuple(
        Hours(
            words=_between(*_worked(now, place, figure)),
            level=f"{band_words(figure)} ({figure.animal})",
            kind="published",
            source=f"{_curve(figure).name} curve, {_curve(figure).source}; {figure.source}",
        )
        for figure in figures
    ) or (Hours(words="", level="", kind="none", source=NONE_PUBLISHED),)


def _worked(now: Lit, place: int, figure: Published) -> tuple[float, float]:
    one, curve = now.course_of(place), _curve(figure)
    return (
        hours_of_full_photosynthesis(one, saturation_ppfd=figure.high_ppfd, curve=curve),
        hours_of_full_photosynthesis(one, saturation_ppfd=figure.low_ppfd, curve=curve),
    )


def _curve(figure: Published) -> PECurve:
    return CURVES.get(figure.curve or "tanh", TANH)


def _between(least: float, most: float) -> str:
    if round(most, 1) == round(least, 1):
        return shown_hours(least)
    return f"{shown_hours(least)} to {shown_hours(most)}"


def dose_span(doses: Sequence[AnimalDose]) -> str:
    """The least and the greatest dose of the animals [mol m⁻² d⁻¹] in words."""
    values = [one.dli_value for one in doses]
    least, most = significant(min(values), 2), significant(max(values), 2)
    return least if least == most else f"{least} to {most}"
