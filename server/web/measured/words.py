"""Sentences of the verdict page: the answer, the one change, how sure, where to measure next."""

from collections.abc import Sequence
from datetime import date

from server.surveys.advice import Advice, Change, Kind
from server.surveys.drift import Drift, Story
from server.surveys.next_reading import NextReading
from server.surveys.verdict import Judged, Verdict
from server.web import filters

_COUNTS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def count(number: int) -> str:
    """A small number as a word."""
    return _COUNTS[number] if number < len(_COUNTS) else str(number)


def answer(judged: Sequence[Judged]) -> str:
    """The headline."""
    if not judged:
        return "This is the light as measured. Place the tank's animals to see how they fare."
    good = sum(one.verdict is Verdict.IN_RANGE for one in judged)
    unsure = sum(one.verdict is Verdict.NOT_KNOWN for one in judged)
    if len(judged) == 1:
        return _answer_for_one(judged[0])
    if good == len(judged):
        return f"All {count(good)} animals have the light they need."
    verb = "has" if good in (0, 1) else "have"
    told = f"{count(good).capitalize()} of {count(len(judged))} animals {verb} the light they need"
    if unsure == len(judged):
        return "Whether the animals have the light they need is not known yet."
    return f"{told}; of {count(unsure)} it is not known." if unsure else f"{told}."


def _answer_for_one(one: Judged) -> str:
    name = one.animal.name
    if one.verdict is Verdict.NOT_KNOWN:
        return f"Whether {name} has the light it needs is not known yet."
    if one.verdict is Verdict.IN_RANGE:
        return f"{name} has the light it needs."
    return f"{name} gets {_than(one.verdict)} light than it needs."


def _than(verdict: Verdict) -> str:
    return "less" if verdict is Verdict.TOO_DIM else "more"


def told(judged: Sequence[Judged]) -> str:
    """The first few animals that are out of range, with their numbers."""
    off = [one for one in judged if one.verdict in (Verdict.TOO_DIM, Verdict.TOO_BRIGHT)]
    words = [
        f"{one.animal.name} gets {filters.ppfd(one.ppfd)}, "
        f"{'below' if one.verdict is Verdict.TOO_DIM else 'above'} its {range_words(one)}"
        for one in off[:3]
    ]
    more = f"; {count(len(off) - 3)} more are out of range" if len(off) > 3 else ""
    return f"{', and '.join(words)}{more}." if words else ""


def range_words(one: Judged) -> str:
    return f"{filters.ppfd(one.animal.low_ppfd)}–{filters.ppfd(one.animal.high_ppfd)}"


def do(
    best: Advice | None,
    judged: Sequence[Judged],
    lamps: Sequence[str],
    unit: str,
    *,
    measured: bool,
) -> str:
    """What to do, in one sentence. Nothing is to be changed on the word of a plan alone."""
    if best is None or not judged:
        return ""
    if not measured:
        return "Measure before you change anything."
    if best.helps:
        after = best.in_range_after
        whole = after == len(judged)
        who = "all" if whole else f"{count(after)} of {count(len(judged))}"
        surely = "more surely " if after == best.in_range_before else ""
        return f"{change(best.change, judged, lamps, unit)}: {who} would then be {surely}in range."
    if all(one.verdict is Verdict.IN_RANGE for one in judged):
        return "Leave it as it is."
    if any(one.verdict is Verdict.NOT_KNOWN for one in judged):
        return "Measure before you change anything."
    return "No single change of power, height or place would put more animals in range."


def change(what: Change, judged: Sequence[Judged], lamps: Sequence[str], unit: str) -> str:
    """One change as an order."""
    if what.kind is Kind.POWER:
        return _turn(what, lamps)
    if what.kind is Kind.HEIGHT:
        way = "Raise" if what.after[0] > what.before[0] else "Lower"
        before, after = (filters.length(end[0], unit) for end in (what.before, what.after))
        if what.lamp is None and len(lamps) > 1:
            by = filters.length(abs(what.after[0] - what.before[0]), unit)
            return f"{way} all lamps by {by}"
        return f"{way} {_lamp(what, lamps)} from {before} to {after} above the water"
    if what.kind is Kind.LAMP_PLACE:
        return f"Move {_lamp(what, lamps)} {_sideways(what, unit)}"
    name = judged[what.animal or 0].animal.name
    return f"Move {name} to {place(what.after, unit)}"


def _turn(what: Change, lamps: Sequence[str]) -> str:
    before, after = (filters.number(100 * end[0]) for end in (what.before, what.after))
    way = "down" if what.after[0] < what.before[0] else "up"
    if what.lamp is None and len(lamps) > 1:
        return f"Turn all lamps {way} together, the brightest from {before} to {after} %"
    return f"Turn {_lamp(what, lamps)} {way} from {before} to {after} %"


def _lamp(what: Change, lamps: Sequence[str]) -> str:
    return lamps[what.lamp if what.lamp is not None else 0]


def _sideways(what: Change, unit: str) -> str:
    dx, dy = what.after[0] - what.before[0], what.after[1] - what.before[1]
    by = filters.length(abs(dx) + abs(dy), unit)
    way = ("right" if dx > 0 else "left") if dx else ("back" if dy > 0 else "front")
    return f"{by} to the {way}"


def place(at: Sequence[float], unit: str) -> str:
    """'34 right, 12 back, 14 cm deep', as one stands before the tank."""
    x, y = (filters.length_number(one, unit) for one in at[:2])
    return f"{x} right, {y} back, {filters.length(at[2], unit)} deep"


def sure(half_width: float, readings: int, days: Sequence[date]) -> str:
    """How sure, and from what."""
    percent = filters.number(100 * half_width)
    if not readings:
        return (
            f"Known to about {percent} % only: this is the plan from stated figures, "
            "nobody has measured this light yet."
        )
    when = " and ".join(filters.day(one) for one in sorted(set(days)))
    return f"Sure to about {percent} %, from {filters.count(readings, 'reading')} on {when}."


def next_words(following: NextReading, unit: str) -> str:
    at = (following.x_cm, following.y_cm, following.depth_cm)
    return f"Measure here next: {place(at, unit)}"


_CHANGED = {
    Story.OUTPUT: "The lamps are the likeliest cause: they age, and dust or salt settles on them",
    Story.WATER: "The water is the likeliest cause: it yellows, and fresh carbon clears it",
    Story.WALLS: "The walls are the likeliest cause: algae or salt on the glass",
}


def drift_words(change: Drift) -> str:
    """What the latest session shows against those before it."""
    size = abs(change.change_percent.value)
    low, high = sorted((change.change_percent.low, change.change_percent.high))
    between = f"between {_signed(low)} and {_signed(high)} %"
    if not change.real:
        return (
            "The latest readings agree with the earlier ones within their scatter "
            f"(a change {between}, {filters.percent(change.chance_real)} likely to be real)."
        )
    likeliest = next(story for story, _ in change.stories if story is not Story.NOTHING)
    way = "less" if change.change_percent.value < 0 else "more"
    sure_of_it = dict(change.stories)[likeliest]
    return (
        f"The light has changed since the earlier readings: about {size:.0f} % {way} "
        f"({between}). {_CHANGED[likeliest]} ({filters.percent(sure_of_it)} likely among the "
        "causes tried)."
    )


def _signed(value: float) -> str:
    return filters.number(value) if value < 0 else f"+{filters.number(value)}"
