"""The one change that would help most, in the account's terms, or why there is none."""

from collections.abc import Sequence

from server.account import sentences
from server.account.account import Proposal
from server.account.known_light import KnownLight
from server.surveys.advice import Advice, Change, Hanging, Kind, advice
from server.surveys.plan import Animal
from server.surveys.verdict import Judged, Verdict
from server.wording import figures


def proposed(
    light: KnownLight,
    animals: Sequence[Animal],
    hanging: Sequence[Hanging],
    *,
    unit: str = "cm",
) -> Proposal | str:
    """A proposal, or in words why there is none. hanging: one for each lamp of the plan."""
    best = advice(light.map, animals, hanging)
    if best is None:
        return ""
    if not best.helps:
        return _why_none(best.now)
    lamps = [lamp.name for lamp in light.map.plan.lamps]
    first = "" if light.measured else f" {sentences.MEASURE_FIRST}"
    return Proposal(
        words=f"{_order(best, lamps, unit)}.{first}",
        before=_end(best.change, best.change.before, unit),
        after=_end(best.change, best.change.after, unit),
        chance_before=best.sure_before / len(animals),
        chance_after=best.sure_after / len(animals),
        measure_first=not light.measured,
    )


def change_proposed(
    light: KnownLight, animals: Sequence[Animal], hanging: Sequence[Hanging]
) -> Change | None:
    """The change itself, to be tried on a chart; None where there is none."""
    best = advice(light.map, animals, hanging)
    return best.change if best is not None and best.helps else None


def _why_none(now: Sequence[Judged]) -> str:
    verdicts = {one.verdict for one in now}
    if verdicts == {Verdict.IN_RANGE}:
        return sentences.LEAVE_IT
    if Verdict.NOT_KNOWN in verdicts:
        return sentences.MEASURE_FIRST
    return "No single change of power, height or place would put more animals in range."


def _order(best: Advice, lamps: Sequence[str], unit: str) -> str:
    """One change as an order, without its full stop."""
    what = best.change
    if what.kind is Kind.POWER:
        return _turn(what, lamps)
    if what.kind is Kind.HEIGHT:
        return _lift(what, lamps, unit)
    if what.kind is Kind.LAMP_PLACE:
        return f"Move {_lamp(what, lamps)} {_sideways(what, unit)}"
    name = best.now[what.animal or 0].animal.name
    return f"Move {name} to {sentences.place_words(what.after, unit)}"


def _turn(what: Change, lamps: Sequence[str]) -> str:
    before, after = (figures.number(100 * end[0]) for end in (what.before, what.after))
    way = "down" if what.after[0] < what.before[0] else "up"
    if what.lamp is None and len(lamps) > 1:
        return f"Turn all lamps {way} together, the brightest from {before} to {after} %"
    return f"Turn {_lamp(what, lamps)} {way} from {before} to {after} %"


def _lift(what: Change, lamps: Sequence[str], unit: str) -> str:
    way = "Raise" if what.after[0] > what.before[0] else "Lower"
    if what.lamp is None and len(lamps) > 1:
        by = figures.length(abs(what.after[0] - what.before[0]), unit)
        return f"{way} all lamps by {by}"
    before, after = (figures.length(end[0], unit) for end in (what.before, what.after))
    return f"{way} {_lamp(what, lamps)} from {before} to {after} above the water"


def _lamp(what: Change, lamps: Sequence[str]) -> str:
    return lamps[what.lamp if what.lamp is not None else 0]


def _sideways(what: Change, unit: str) -> str:
    dx, dy = what.after[0] - what.before[0], what.after[1] - what.before[1]
    by = figures.length(abs(dx) + abs(dy), unit)
    way = ("right" if dx > 0 else "left") if dx else ("back" if dy > 0 else "front")
    return f"{by} to the {way}"


def _end(what: Change, end: Sequence[float], unit: str) -> str:
    """One end of a change, in words with units."""
    if what.kind is Kind.POWER:
        return figures.percent(end[0])
    if what.kind is Kind.HEIGHT:
        return f"{figures.length(end[0], unit)} above the water"
    if what.kind is Kind.LAMP_PLACE:
        x, y = (figures.length_number(one, unit) for one in end)
        return f"{x} right, {y} {unit} back"
    return sentences.place_words(end, unit)
