"""A day for a dose: which day gives the dose these animals want."""

from dataclasses import dataclass

from server.dose.choices import Choice, best, choices
from server.dose.day import course
from server.dose.groups import COMMON_PRACTICE
from server.dose.shapes import DLI_LIMITS, NoSuchDay, Viewing, hours_for
from server.web.ask import Asked
from server.web.calculators.dose import (
    COMPENSATION,
    PLAIN_SATURATION,
    PPFD_LIMITS,
    RAMP,
    SATURATION,
    UNIT,
)
from server.web.calculators.registry import Calculator
from server.web.day_chart import DayCharts, day_charts
from server.web.fields import clock, maybe, number
from server.web.filters import percent, ppfd, significant
from server.web.forms import Filled, Form
from server.web.times import shown_hours, shown_time

DLI = number("dli", "Dose wanted", DLI_LIMITS, like="6", unit="mol m⁻² d⁻¹", start="6")
PEAK_LIMIT = number(
    "peak_limit", "Never brighter than", PPFD_LIMITS, like="250", unit=UNIT, start="250",
    hint="At the animal, at full light.",
)  # fmt: skip
FROM = clock("from", "You want to see it from", like="16:00", start="16:00")
TO = clock("to", "until", like="22:00", start="22:00")
HOURS = maybe(
    number("hours", "Lit for exactly", (1, 24), like="10", unit="hours",
           hint="Leave empty to be told.")
)  # fmt: skip
_PLAIN_COMPENSATION = 60.0
_LENGTHS = frozenset({8.0, 9.0, 10.0, 11.0, 12.0})
SURE = (
    "The arithmetic is exact. How much a day may be stretched or pressed together is common "
    "practice: no published comparison was found that could settle it."
)


@dataclass(frozen=True)
class Typed:
    """A dose wanted, and the limits of the day that should give it."""

    dli_mol_m2_d: float
    peak_limit_ppfd: float
    ramp_hours: float
    viewing: Viewing
    compensation_ppfd: float | None
    saturation_ppfd: float | None
    lit_hours: float | None

    @property
    def own_figures(self) -> bool:
        return self.compensation_ppfd is not None and self.saturation_ppfd is not None


def read(form: Filled, ask: Asked) -> Typed:
    wanted, limit, ramp, lit = form[DLI], form[PEAK_LIMIT], form[RAMP], form[HOURS]
    viewing = form[FROM], form[TO]
    compensation, saturation = form[COMPENSATION], form[SATURATION]
    if lit is not None and 2 * ramp / 60 > lit:
        form.wrong(RAMP, "Both ramps together must fit into the lit hours.")
    form.check()
    return Typed(
        wanted, limit, ramp / 60, Viewing(from_h=viewing[0], to_h=viewing[1]),
        compensation, saturation, lit,
    )  # fmt: skip


def work(typed: Typed) -> tuple[Choice, ...]:
    """Days from 8 to 12 hours (and the length asked for), all with the same dose."""
    lengths = _LENGTHS | ({typed.lit_hours} if typed.lit_hours else set())
    return choices(
        dli_mol_m2_d=typed.dli_mol_m2_d,
        peak_limit_ppfd=typed.peak_limit_ppfd,
        ramp_hours=typed.ramp_hours,
        viewing=typed.viewing,
        compensation_ppfd=typed.compensation_ppfd or _PLAIN_COMPENSATION,
        saturation_ppfd=typed.saturation_ppfd or PLAIN_SATURATION,
        lit_hours=tuple(sorted(n for n in lengths if n >= 2 * typed.ramp_hours)),
    )


@dataclass(frozen=True)
class ChoiceLine:
    """One way to give the dose."""

    chosen: bool
    over: bool
    lit: str
    times: str
    peak: str
    full: str
    seen: str
    feeding: str
    saturated: str
    worked: str


@dataclass(frozen=True)
class View:
    answer: str
    do: str
    sure: str
    charts: DayCharts | None
    lines: tuple[ChoiceLine, ...]
    own_figures: bool
    at_limit: str
    basis: str = COMMON_PRACTICE


def show(typed: Typed, found: tuple[Choice, ...]) -> View:
    asked = next((one for one in found if one.shape.lit_hours == typed.lit_hours), None)
    chosen = asked or best(found)
    return View(
        answer=_answer(typed, chosen),
        do=_do(typed, chosen, asked is not None),
        sure=SURE,
        charts=_choice_charts(found, chosen),
        lines=tuple(_choice_line(one, one is chosen, typed.own_figures) for one in found),
        own_figures=typed.own_figures,
        at_limit=_at_limit(typed),
    )


def _answer(typed: Typed, chosen: Choice | None) -> str:
    dli = significant(typed.dli_mol_m2_d)
    if chosen is None:
        return (
            f"No day of 8 to 12 hours gives {dli} mol m⁻² d⁻¹ below "
            f"{ppfd(typed.peak_limit_ppfd)} µmol m⁻² s⁻¹."
        )
    return (
        f"{shown_hours(chosen.shape.lit_hours)} of light with a peak of "
        f"{ppfd(chosen.dose.peak_ppfd)} µmol m⁻² s⁻¹ gives {dli} mol m⁻² d⁻¹."
    )


def _do(typed: Typed, chosen: Choice | None, asked: bool) -> str:
    if chosen is None:
        return "Allow a higher peak, a longer day, or ask for a smaller dose."
    on = shown_time(chosen.shape.on_h)
    off = shown_time(chosen.shape.on_h + chosen.shape.lit_hours)
    words = f"Set the lamp on at {on} and off at {off}"
    if typed.ramp_hours:
        words += f", {shown_hours(typed.ramp_hours)} up and {shown_hours(typed.ramp_hours)} down"
    if not chosen.within_peak:
        return f"{words}. This passes your peak limit of {ppfd(typed.peak_limit_ppfd)}."
    seen = shown_hours(chosen.seen_hours)
    return f"{words}. You see it lit for {seen} of your {shown_hours(typed.viewing.hours)}."


def _at_limit(typed: Typed) -> str:
    """Wanted dose and peak limit alone: how many hours that takes."""
    try:
        shape = hours_for(
            dli_mol_m2_d=typed.dli_mol_m2_d,
            peak_ppfd=typed.peak_limit_ppfd,
            ramp_hours=typed.ramp_hours,
        )
    except NoSuchDay as refused:
        return str(refused)
    return (
        f"At your peak limit of {ppfd(typed.peak_limit_ppfd)} the dose takes "
        f"{shown_hours(shape.lit_hours)} with {shown_hours(shape.full_hours)} at full light: "
        "the shortest day that keeps to it."
    )


def _choice_charts(found: tuple[Choice, ...], chosen: Choice | None) -> DayCharts | None:
    if not found:
        return None
    first = chosen or found[-1]
    ends = [one for one in (found[0], found[-1]) if one is not first]
    named = tuple(
        (shown_hours(one.shape.lit_hours), course(one.shape.day, peak_ppfd=one.dose.peak_ppfd))
        for one in ends
    )
    return day_charts(
        course(first.shape.day, peak_ppfd=first.dose.peak_ppfd),
        title="The same dose, longer and dimmer or shorter and brighter",
        others=named,
    )


def _choice_line(one: Choice, chosen: bool, own: bool) -> ChoiceLine:
    shape, result = one.shape, one.dose
    return ChoiceLine(
        chosen=chosen,
        over=not one.within_peak,
        lit=shown_hours(shape.lit_hours),
        times=f"{shown_time(shape.on_h)}–{shown_time(shape.on_h + shape.lit_hours)}",
        peak=ppfd(result.peak_ppfd),
        full=shown_hours(shape.full_hours),
        seen=shown_hours(one.seen_hours),
        feeding=shown_hours(result.feeding_hours) if own else "",
        saturated=shown_hours(result.saturated_hours) if own else "",
        worked=percent(result.saturation_share) if own else "",
    )


DAY_FOR_A_DOSE = Calculator(
    key="day",
    name="A day for a dose",
    question="Which day gives the dose these animals want?",
    asks="What you want",
    button="Find the day",
    form=Form(DLI, PEAK_LIMIT, FROM, TO, RAMP, HOURS, COMPENSATION, SATURATION),
    read=read,
    work=work,
    show=show,
)
