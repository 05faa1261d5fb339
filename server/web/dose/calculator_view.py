"""What the dose calculators show."""

from dataclasses import dataclass
from urllib.parse import urlencode

from server.dose.choices import Choice, best, choices
from server.dose.day import course
from server.dose.dose import Dose, dose
from server.dose.groups import COMMON_PRACTICE, GROUPS, NONE_PUBLISHED, Group, Published
from server.dose.photosynthesis import (
    CURVES,
    hours_of_full_photosynthesis,
    inhibited,
    inhibited_hours,
)
from server.dose.shapes import NoSuchDay, hours_for
from server.dose.warnings import DARK_HOURS, LOW_DLI_SOURCE, low_light
from server.drawing.line_chart import Rule
from server.web.dose.calculator_form import BackTyped, DoseTyped
from server.web.dose.day_chart import DayCharts, Mark, day_charts
from server.web.dose.times import shown_hours, shown_time
from server.web.filters import percent, ppfd, significant
from server.web.tanks.typed import Refused

GROUP_OPTIONS = tuple((group.key, group.name) for group in GROUPS)
_PLAIN_COMPENSATION, _PLAIN_SATURATION = 60.0, 250.0


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
class DoseView:
    """The dose calculator: form, answer, chart, figures."""

    values: dict[str, str]
    errors: dict[str, str]
    groups: tuple[tuple[str, str], ...]
    more: bool
    answer: str = ""
    do: str = ""
    sure: str = ""
    night: str = ""
    charts: DayCharts | None = None
    facts: tuple[tuple[str, str], ...] = ()
    by_curve: tuple[tuple[str, str], ...] = ()
    figures: tuple[FigureLine, ...] = ()
    group_note: str = ""
    start_words: str = ""
    other_days: str = ""
    points: tuple[tuple[str, str], ...] = ()


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


def refused_view(refused: Refused) -> DoseView:
    """The form as it was typed, with what is wrong."""
    return DoseView(refused.values, refused.errors, GROUP_OPTIONS, more=True)


def dose_view(typed: DoseTyped) -> DoseView:
    """The answer for a day that was understood."""
    compensation = typed.compensation_ppfd
    saturation = typed.saturation_ppfd
    result = dose(
        typed.day,
        peak_ppfd=typed.peak_ppfd,
        compensation_ppfd=compensation or 0.0,
        saturation_ppfd=saturation or _PLAIN_SATURATION,
    )
    more = any(
        typed.values[name] for name in ("points", "latitude", "compensation", "saturation", "best")
    )
    return DoseView(
        typed.values,
        {},
        GROUP_OPTIONS,
        more=more,
        answer=_answer(result),
        do=_LOW_WORDS[low_light(result.dli_mol_m2_d)],
        sure=LOW_SURE,
        night=_night(result),
        charts=_charts(typed, compensation, saturation),
        facts=(*_facts(result, compensation, saturation), *_inhibited_fact(typed, result)),
        by_curve=_by_curve(typed, result, saturation),
        figures=figure_lines(typed),
        group_note=typed.group.note or ("" if typed.group.published else NONE_PUBLISHED),
        start_words=_start_words(typed.group),
        other_days=_other_days(result, typed),
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


def _charts(typed: DoseTyped, compensation: float | None, saturation: float | None) -> DayCharts:
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


def _facts(
    result: Dose, compensation: float | None, saturation: float | None
) -> tuple[tuple[str, str], ...]:
    facts = [
        ("Dose", f"{significant(result.dli_mol_m2_d)} mol m⁻² d⁻¹"),
        ("Lit", shown_hours(result.lit_hours)),
        ("At full light", shown_hours(result.full_hours)),
        ("In the dark, at a stretch", shown_hours(result.dark_hours)),
    ]
    if compensation:
        facts.append(("At or above compensation", shown_hours(result.feeding_hours)))
    if saturation:
        facts.append(("At or above saturation", shown_hours(result.saturated_hours)))
        facts.append(("Photosynthesis", _share_words(result)))
    return tuple(facts)


def _inhibited_fact(typed: DoseTyped, result: Dose) -> tuple[tuple[str, str], ...]:
    if not (typed.best_ppfd and typed.saturation_ppfd and result.lit_hours):
        return ()
    curve = inhibited(saturation_ppfd=typed.saturation_ppfd, best_ppfd=typed.best_ppfd)
    hours = inhibited_hours(course(typed.day, peak_ppfd=typed.peak_ppfd), curve)
    share = percent(hours / result.lit_hours)
    return (("Photosynthesis with inhibition", f"{share} (Platt, Gallegos & Harrison 1980)"),)


def _share_words(result: Dose) -> str:
    return f"{percent(result.saturation_share)} of what full saturation all day would give"


def _by_curve(
    typed: DoseTyped, result: Dose, saturation: float | None
) -> tuple[tuple[str, str], ...]:
    """The day's photosynthesis under each curve, as a share of lit hours all saturated."""
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


_WHAT = {
    "saturation": "saturated at or above",
    "compensation": "feeds at or above",
    "optimum": "does best at",
    "inhibition": "held back above",
    "habitat": "lives at",
    "grown at": "grown at",
}


def figure_lines(typed: DoseTyped) -> tuple[FigureLine, ...]:
    """Published figures of the group and the hours of this day that reach them."""
    return tuple(
        FigureLine(
            animal=figure.animal,
            what=_WHAT[figure.quantity],
            band=band_words(figure),
            hours=_hours_words(typed, figure),
            source=figure.source,
            condition=figure.condition,
        )
        for figure in typed.group.published
    )


def band_words(figure: Published) -> str:
    """A published band [µmol m⁻² s⁻¹] in words."""
    if figure.low_ppfd == figure.high_ppfd:
        return ppfd(figure.low_ppfd)
    if figure.low_ppfd == 0:
        return f"below {ppfd(figure.high_ppfd)}"
    return f"{ppfd(figure.low_ppfd)}–{ppfd(figure.high_ppfd)}"


def _hours_words(typed: DoseTyped, figure: Published) -> str:
    def hours(level: float) -> float:
        return dose(
            typed.day,
            peak_ppfd=typed.peak_ppfd,
            compensation_ppfd=level,
            saturation_ppfd=_PLAIN_SATURATION,
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


def _other_days(result: Dose, typed: DoseTyped) -> str:
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


# Back from the dose


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
class BackView:
    """Days that give one dose, side by side."""

    values: dict[str, str]
    errors: dict[str, str]
    more: bool
    answer: str = ""
    do: str = ""
    sure: str = ""
    charts: DayCharts | None = None
    lines: tuple[ChoiceLine, ...] = ()
    basis: str = COMMON_PRACTICE
    own_figures: bool = False
    at_limit: str = ""
    share_address: str = ""


def refused_back_view(refused: Refused) -> BackView:
    """The form as it was typed, with what is wrong."""
    return BackView(refused.values, refused.errors, more=True)


def back_view(typed: BackTyped) -> BackView:
    """Days from 8 to 12 hours (and the length asked for), all with the same dose."""
    own = typed.compensation_ppfd is not None and typed.saturation_ppfd is not None
    lengths = {8.0, 9.0, 10.0, 11.0, 12.0} | ({typed.lit_hours} if typed.lit_hours else set())
    found = choices(
        dli_mol_m2_d=typed.dli_mol_m2_d,
        peak_limit_ppfd=typed.peak_limit_ppfd,
        ramp_hours=typed.ramp_hours,
        viewing=typed.viewing,
        compensation_ppfd=typed.compensation_ppfd or _PLAIN_COMPENSATION,
        saturation_ppfd=typed.saturation_ppfd or _PLAIN_SATURATION,
        lit_hours=tuple(sorted(n for n in lengths if n >= 2 * typed.ramp_hours)),
    )
    asked = next((one for one in found if one.shape.lit_hours == typed.lit_hours), None)
    chosen = asked or best(found)
    return BackView(
        typed.values,
        {},
        more=bool(typed.values["compensation"] or typed.values["hours"]),
        answer=_back_answer(typed, chosen),
        do=_back_do(typed, chosen, asked is not None),
        sure=(
            "The arithmetic is exact. How much a day may be stretched or pressed together is "
            "common practice: no published comparison was found that could settle it."
        ),
        charts=_choice_charts(found, chosen),
        lines=tuple(_choice_line(one, one is chosen, own) for one in found),
        own_figures=own,
        at_limit=_at_limit(typed),
    )


def _back_answer(typed: BackTyped, chosen: Choice | None) -> str:
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


def _back_do(typed: BackTyped, chosen: Choice | None, asked: bool) -> str:
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


def _at_limit(typed: BackTyped) -> str:
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
