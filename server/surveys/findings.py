"""What the readings say is not as planned: each with its chance, a sentence, and a check by hand.

Only what is more likely than not is said, likeliest first. A chance is the share of all that is
still possible in which the thing is so (`weighing`); the sentence ends with what a member can do
about it in a minute.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from server.surveys import misfit, places
from server.surveys.estimate import MeasuredMap
from server.surveys.stories import Kind, Subject

SAID = 0.5
SHORT = 3  # a name that is only a letter or a number says "Lamp" before it


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing that is likely not as planned.

    kind: "lamp", "lens", "place", "lean", "wall", "shade", "sensor" or "reading". lamp: its name,
    None for all lamps. wall: its side, "every" for all clear ones. reading: its place among the
    used readings, from 0.
    """

    kind: str
    chance: float
    words: str
    lamp: str | None = None
    wall: str | None = None
    reading: int | None = None


def findings(found: MeasuredMap) -> tuple[Finding, ...]:
    """Everything that is more likely than not, likeliest first."""
    said = (*_of_stories(found), *_of_shade(found), *_of_readings(found))
    likely = [one for one in said if one.chance > SAID]
    return tuple(sorted(likely, key=lambda one: -one.chance))


def _of_stories(found: MeasuredMap) -> Iterator[Finding]:
    told = {s for part in found.posterior.parts for s in part.case.story.subjects}
    for subject in told - {(Kind.PLANNED, None, None)}:
        chance = found.posterior.chance(subject)
        if chance > SAID:
            yield _finding(found, subject, chance)


def _finding(found: MeasuredMap, subject: Subject, chance: float) -> Finding:
    kind, lamp, side = subject
    lamps = found.plan.lamps
    name = lamps[lamp or 0].name if lamp is not None or len(lamps) == 1 else None
    words = {
        Kind.LAMP: _lamp_words,
        Kind.WALL: _wall_words,
        Kind.PLACE: _place_words,
        Kind.LEAN: _lean_words,
        Kind.LENS: _lens_words,
        Kind.SENSOR: _sensor_words,
    }[kind](found, subject)
    if kind is Kind.SENSOR:
        return Finding(kind=kind.value, chance=chance, words=words)
    return Finding(kind=kind.value, chance=chance, words=words, lamp=name, wall=side)


def _name(found: MeasuredMap, lamp: int | None) -> str:
    """'Lamp 2', 'The lamp' or 'The lamps' at the beginning of a sentence."""
    if lamp is not None:
        name = found.plan.lamps[lamp].name
        if len(name) < SHORT:
            return f"Lamp {name}"
        return f"{name[:1].upper()}{name[1:]}"
    return "The lamps" if len(found.plan.lamps) > 1 else "The lamp"


def _plural(found: MeasuredMap, one: str, several: str, lamp: int | None = None) -> str:
    return one if lamp is not None or len(found.plan.lamps) == 1 else several


def _lamp_words(found: MeasuredMap, subject: Subject) -> str:
    lamp = subject[1]
    if lamp is None:
        share = found.fit.output_factor.value
        way = f"{100 * share:.0f}\u00a0%" if share < 1 else f"{share:.1f} times"
        give = _plural(found, "gives", "give")
        return (
            f"{_name(found, None)} {give} about {way} of what is planned, or the meter reads that "
            "far off: compare the settings with the plan, then hold another meter beside it at "
            "one spot."
        )
    factor = found.fit.lamp_factors[lamp].value
    others = [f.value for n, f in enumerate(found.fit.lamp_factors) if n != lamp]
    apart = factor / max(float(np.median(others)), 1e-9)
    name = _name(found, lamp)
    if apart < 0.1:
        return f"{name} seems to be out: look whether it shines, then at its plug and its driver."
    if apart < 1:
        return (
            f"{name} gives about {100 * apart:.0f}\u00a0% of what the others give against the "
            "plan: compare its setting with theirs, and wipe its lens."
        )
    return (
        f"{name} gives about {apart:.1f} times what the others give against the plan: compare its "
        "setting with theirs."
    )


def _wall_words(found: MeasuredMap, subject: Subject) -> str:
    if subject[2] == "every":
        return (
            "All clear walls return less light than clean glass would: draw a finger over one "
            "inside and look whether growth comes off."
        )
    lost = 100 * found.fit.wall_loss[subject[2] or "left"].value
    return (
        f"The {subject[2]} wall returns about {lost:.0f}\u00a0% less light than clean glass would: "
        "draw a finger over it inside and look whether growth comes off."
    )


def _place_words(found: MeasuredMap, subject: Subject) -> str:
    right, back, up = (_aside(found, subject, axis) for axis in range(3))
    ways = [
        f"{abs(size):.0f} cm {way[0] if size > 0 else way[1]}"
        for size, way in (
            (right, ("further right", "further left")),
            (back, ("further back", "further forward")),
            (up, ("higher", "lower")),
        )
        if abs(size) >= 1
    ]
    hang = _plural(found, "hangs", "hang", subject[1])
    where = " and ".join(ways) or "a little elsewhere"
    return (
        f"{_name(found, subject[1])} probably {hang} {where} than said: measure from the left wall "
        "and from the front wall to the middle of a lamp, and from the water up to it."
    )


def _aside(found: MeasuredMap, subject: Subject, axis: int) -> float:
    parts = [
        (share, part.case.story.aside[axis])
        for share, part in zip(found.posterior.share, found.posterior.parts, strict=True)
        if subject in part.case.story.subjects
    ]
    return float(sum(s * a for s, a in parts) / sum(s for s, _ in parts))


def _lean_words(found: MeasuredMap, subject: Subject) -> str:
    leans = _plural(found, "leans", "lean", subject[1])
    return (
        f"{_name(found, subject[1])} probably {leans}: lay a spirit level on it, along and across."
    )


def _lens_words(found: MeasuredMap, subject: Subject) -> str:
    seem = _plural(found, "seems", "seem", subject[1])
    return (
        f"{_name(found, subject[1])} {seem} to throw two wings of light instead of one beam: hold "
        "a sheet of paper under it, out of the water, and look whether the middle is darker than "
        "a ring around it."
    )


def _sensor_words(found: MeasuredMap, subject: Subject) -> str:
    return (
        f"The meter {subject[2]} reads otherwise than the others do: wipe its sensor, look at the "
        "factors it was given, and hold it beside another one at one spot."
    )


def _of_shade(found: MeasuredMap) -> Iterator[Finding]:
    shaded = found.posterior.shaded
    none = [not part.case.odd.shaded.any() for part in found.posterior.parts]
    chance = max(1.0 - float(found.posterior.share @ np.array(none, dtype=np.float64)), 0.0)
    if chance <= SAID:
        return
    inside = np.flatnonzero(shaded > 0.5 * shaded.max())
    middle = found.posterior.evidence.places[inside].mean(axis=0)
    where = places.in_words(found.plan.tank, middle)
    yield Finding(
        kind="shade",
        chance=chance,
        words=(
            f"Something shades the tank {where}: look along the sensor's wand from there up to the "
            "lamps for rock, coral or a pump in the way."
        ),
    )


def _of_readings(found: MeasuredMap) -> Iterator[Finding]:
    said = {one.number - 1: one.words for one in misfit.misfits(found)}
    for index, chance in enumerate(found.posterior.wrong):
        if chance > SAID:
            words = said.get(index, f"Reading {index + 1} does not fit the others.")
            yield Finding(
                kind="reading",
                chance=float(chance),
                words=f"{words} Take it once more.",
                reading=index,
            )
