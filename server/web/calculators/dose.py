"""Dose of a day: how much light that is in a day, and what is published about it."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import urlencode

from server.dose.day import Day, DayRefused, course
from server.dose.dose import Dose, dose
from server.dose.groups import BY_KEY, GROUPS, NONE_PUBLISHED, Group, Published
from server.dose.photosynthesis import (
    CURVES,
    LEAST_BEST_RATIO,
    hours_of_full_photosynthesis,
    inhibited,
    inhibited_hours,
)
from server.dose.shapes import Trapezoid
from server.dose.sun import LATITUDE_LIMITS, natural_day
from server.dose.warnings import DARK_HOURS, LOW_DLI_SOURCE, low_light
from server.drawing.line_chart import Rule
from server.web.ask import Asked
from server.web.calculators.dose_json import DoseAnswer, dose_of_a_day
from server.web.calculators.registry import Calculator, Json
from server.web.day_chart import DayCharts, Mark, day_charts
from server.web.day_points import day_of
from server.web.fields import choice, clock, day, lines, maybe, number
from server.web.filters import percent, ppfd, significant
from server.web.forms import Field, Filled, Form, Wrong
from server.web.published import WHAT, band_words
from server.web.times import shown_hours, shown_time

UNIT = "µmol m⁻² s⁻¹"
PPFD_LIMITS = (1.0, 3000.0)
KNOWN = "If you know it for your animal."
PLAIN_SATURATION = 250.0

PEAK = number(
    "peak", "Brightest light at the animal", PPFD_LIMITS, like="200", unit=UNIT, start="200",
    where="The PPFD a meter shows there at full light.",
)  # fmt: skip
ON = clock("on", "Lights on", like="10:00", start="10:00")
OFF = clock("off", "Lights off", like="20:00", start="20:00")
RAMP = number(
    "ramp", "Ramp up, and again down", (0, 360), like="60", unit="minutes", start="60",
    hint="0 for a clock switch.",
)  # fmt: skip
GROUP = choice(
    "group", "Kind of animal", tuple((one.key, one.name) for one in GROUPS), start="small_polyp"
)
POINTS = lines(
    "points", "A day of your own", most=4000, extra={"rows": 4, "spellcheck": False},
    hint="One point a line or between commas: time and percent, such as 08:00 0, 11:30 100. "
    "Straight lines between them; the same time twice is a switch. It replaces the times above.",
)  # fmt: skip
LATITUDE = number(
    "latitude", "Or a natural day at latitude", LATITUDE_LIMITS, like="18", unit="degrees",
    hint="South is below 0.",
)  # fmt: skip
ON_DATE = maybe(day("on_date", "on the day", kind="text", hint="Empty means today."))
COMPENSATION = maybe(
    number("compensation", "Compensation point", PPFD_LIMITS, like="60", unit=UNIT, hint=KNOWN)
)
SATURATION = maybe(
    number("saturation", "Saturation point", PPFD_LIMITS, like="250", unit=UNIT, hint=KNOWN)
)
BEST = maybe(
    number("best", "Best light, less above it", PPFD_LIMITS, like="800", unit=UNIT,
           hint="If more light holds it back.")
)  # fmt: skip
FORM = Form(
    PEAK,
    *(one.but(needed=False) for one in (ON, OFF, RAMP)),
    GROUP,
    POINTS,
    maybe(LATITUDE),
    ON_DATE,
    COMPENSATION,
    SATURATION,
    BEST,
)


@dataclass(frozen=True)
class Typed:
    """A day to be added up; compensation, saturation and the best light only where typed."""

    peak_ppfd: float
    day: Day
    group: Group
    compensation_ppfd: float | None
    saturation_ppfd: float | None
    best_ppfd: float | None


def read(form: Filled, ask: Asked) -> Typed:
    peak, group = form[PEAK], BY_KEY[form[GROUP]]
    compensation, saturation, best = form[COMPENSATION], form[SATURATION], form[BEST]
    if best is not None and (saturation is None or best <= LEAST_BEST_RATIO * saturation):
        form.wrong(
            BEST, "Type the saturation point too; the best light lies above 2.72 times of it."
        )
    return Typed(peak, _day(form, ask), group, compensation, saturation, best)


def _day(form: Filled, ask: Asked) -> Day:
    """The day from its points, else from a latitude, else from on, off and ramp."""
    points = form[POINTS]
    if points:
        return _checked(form, POINTS, lambda: day_of(points))
    if form.text("latitude"):
        degrees, on = form[LATITUDE], form[ON_DATE]
        return _checked(form, LATITUDE, lambda: _natural(degrees, on or ask.today))
    on_h, off_h, ramp = form[ON], form[OFF], form[RAMP]
    return _checked(form, RAMP, lambda: _trapezoid(on_h, off_h, ramp))


def _checked(form: Filled, field: Field[Any], made: Callable[[], Day]) -> Day:
    """The day, where everything before it could be taken. Raises Refused."""
    form.check()
    try:
        return made()
    except (Wrong, DayRefused) as wrong:
        raise form.refuse(field, str(wrong)) from wrong


def _natural(degrees: float, on: date) -> Day:
    return natural_day(latitude_deg=degrees, on=on)


def _trapezoid(on_h: float, off_h: float, ramp_minutes: float) -> Day:
    lit = (off_h - on_h) % 24 or 24.0
    return Trapezoid(on_h=on_h, lit_hours=lit, ramp_hours=ramp_minutes / 60).day


def work(typed: Typed) -> Dose:
    return dose(
        typed.day,
        peak_ppfd=typed.peak_ppfd,
        compensation_ppfd=typed.compensation_ppfd or 0.0,
        saturation_ppfd=typed.saturation_ppfd or PLAIN_SATURATION,
    )


@dataclass(frozen=True)
class FigureLine:
    """One published figure against this day."""

    animal: str
    what: str
    band: str
    hours: str
    source: str
    condition: str


@dataclass(frozen=True)
class View:
    answer: str
    do: str
    sure: str
    night: str
    charts: DayCharts
    facts: tuple[tuple[str, str], ...]
    by_curve: tuple[tuple[str, str], ...]
    figures: tuple[FigureLine, ...]
    group_note: str
    start_words: str
    other_days: str
    points: tuple[tuple[str, str], ...]


_LOW_WORDS = {
    "dark": (
        "Give much more light: corals bleached within 30 days below 0.1 mol m⁻² d⁻¹ in a "
        "published trial."
    ),
    "low": (
        "Raise the peak or lengthen the day: this lies below the published low-light threshold "
        "of 1.2–1.9 mol m⁻² d⁻¹."
    ),
    "near": (
        "Give a little more: this lies inside the published low-light threshold of "
        "1.2–1.9 mol m⁻² d⁻¹."
    ),
    "enough": (
        "This clears the published low-light threshold of 1.2–1.9 mol m⁻² d⁻¹. Whether it is too "
        "much depends on what the animal is used to."
    ),
}
LOW_SURE = (
    "The sum is exact for the light you typed. The threshold was measured on two branching corals "
    f"and a crust-forming alga: {LOW_DLI_SOURCE}. No published upper limit was found."
)


def show(typed: Typed, found: Dose) -> View:
    return View(
        answer=_answer(found),
        do=_LOW_WORDS[low_light(found.dli_mol_m2_d)],
        sure=LOW_SURE,
        night=_night(found),
        charts=_charts(typed),
        facts=(*_facts(typed, found), *_inhibited_fact(typed, found)),
        by_curve=_by_curve(typed, found),
        figures=figure_lines(typed),
        group_note=typed.group.note or ("" if typed.group.published else NONE_PUBLISHED),
        start_words=_start_words(typed.group),
        other_days=_other_days(typed, found),
        points=tuple(
            (shown_time(hour), f"{level:g} %")
            for hour, level in zip(typed.day.hours, typed.day.levels, strict=True)
        ),
    )


def _answer(result: Dose) -> str:
    if not result.lit_hours:
        return "No light at all: 0 mol m⁻² d⁻¹."
    dli = significant(result.dli_mol_m2_d)
    return f"{dli} mol m⁻² d⁻¹ in {shown_hours(result.lit_hours)} of light."


def _night(result: Dose) -> str:
    if result.dark_hours >= DARK_HOURS:
        return ""
    return (
        f"Only {shown_hours(result.dark_hours)} of real darkness. Faint light all night for a "
        "month harmed the algae in published trials; leave the lamp fully off for at least 8 hours."
    )


def _charts(typed: Typed) -> DayCharts:
    compensation, saturation = typed.compensation_ppfd, typed.saturation_ppfd
    marks = []
    if compensation:
        marks.append(Mark(compensation, "feeds"))
    if saturation:
        marks.append(Mark(saturation, "saturated"))
    rules = tuple(
        Rule(y=level, words=f"{words} {ppfd(level)}")
        for level, words in ((compensation, "compensation"), (saturation, "saturation"))
        if level
    )
    return day_charts(
        course(typed.day, peak_ppfd=typed.peak_ppfd),
        title="The day's light",
        marks=tuple(marks),
        rules=rules,
    )


def _facts(typed: Typed, result: Dose) -> tuple[tuple[str, str], ...]:
    facts = [
        ("Dose", f"{significant(result.dli_mol_m2_d)} mol m⁻² d⁻¹"),
        ("Lit", shown_hours(result.lit_hours)),
        ("At full light", shown_hours(result.full_hours)),
        ("In the dark, at a stretch", shown_hours(result.dark_hours)),
    ]
    if typed.compensation_ppfd:
        facts.append(("At or above compensation", shown_hours(result.feeding_hours)))
    if typed.saturation_ppfd:
        facts.append(("At or above saturation", shown_hours(result.saturated_hours)))
        facts.append(("Photosynthesis", _share_words(result)))
    return tuple(facts)


def _inhibited_fact(typed: Typed, result: Dose) -> tuple[tuple[str, str], ...]:
    if not (typed.best_ppfd and typed.saturation_ppfd and result.lit_hours):
        return ()
    curve = inhibited(saturation_ppfd=typed.saturation_ppfd, best_ppfd=typed.best_ppfd)
    hours = inhibited_hours(course(typed.day, peak_ppfd=typed.peak_ppfd), curve)
    share = percent(hours / result.lit_hours)
    return (("Photosynthesis with inhibition", f"{share} (Platt, Gallegos & Harrison 1980)"),)


def _share_words(result: Dose) -> str:
    return f"{percent(result.saturation_share)} of what full saturation all day would give"


def _by_curve(typed: Typed, result: Dose) -> tuple[tuple[str, str], ...]:
    """The day's photosynthesis under each curve, as a share of lit hours all saturated."""
    saturation = typed.saturation_ppfd
    if not saturation or not result.lit_hours:
        return ()
    one = course(typed.day, peak_ppfd=typed.peak_ppfd)
    return tuple(
        (
            f"{curve.name}: {curve.equation} ({curve.source})",
            percent(
                hours_of_full_photosynthesis(one, saturation_ppfd=saturation, curve=curve)
                / result.lit_hours
            ),
        )
        for curve in CURVES.values()
    )


def figure_lines(typed: Typed) -> tuple[FigureLine, ...]:
    """Published figures of the group and the hours of this day that reach them."""
    return tuple(
        FigureLine(
            animal=figure.animal,
            what=WHAT[figure.quantity],
            band=band_words(figure),
            hours=_hours_words(typed, figure),
            source=figure.source,
            condition=figure.condition,
        )
        for figure in typed.group.published
    )


def _hours_words(typed: Typed, figure: Published) -> str:
    def hours(level: float) -> float:
        return dose(
            typed.day,
            peak_ppfd=typed.peak_ppfd,
            compensation_ppfd=level,
            saturation_ppfd=PLAIN_SATURATION,
        ).feeding_hours

    most, least = hours(figure.low_ppfd or figure.high_ppfd), hours(figure.high_ppfd)
    if most < 1 / 60:
        return "your day never reaches it"
    if least < 1 / 60:
        return f"your day reaches its low end for {shown_hours(most)}"
    if round(most, 1) == round(least, 1):
        return f"your day reaches it for {shown_hours(least)}"
    return f"your day reaches it for {shown_hours(least)} to {shown_hours(most)}"


def _start_words(group: Group) -> str:
    return f"{ppfd(group.low_ppfd)}–{ppfd(group.high_ppfd)} µmol m⁻² s⁻¹ ({group.start_basis})"


def _other_days(typed: Typed, result: Dose) -> str:
    if result.dli_mol_m2_d < 0.01:
        return ""
    asked = {
        "dli": significant(result.dli_mol_m2_d),
        "peak_limit": f"{typed.peak_ppfd:.0f}",
        "from": "16:00",
        "to": "22:00",
        "ramp": "60",
    }
    return f"/calculators/day?{urlencode(asked)}"


DOSE = Calculator(
    key="dose",
    name="Dose of a day",
    question="How much light is that in a day?",
    asks="Your day",
    button="Add up the day",
    form=FORM,
    read=read,
    work=work,
    show=show,
    json=Json(path="/api/dose", summary="Light over a day", work=dose_of_a_day, answer=DoseAnswer),
)
