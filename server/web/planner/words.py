"""What the plan page says in sentences: the answer, what to do, how sure, what changed."""

from collections.abc import Sequence

import numpy as np

from server.db.tanks import LampPlace
from server.web import chart_levels, filters
from server.web.planner import light
from server.web.planner.form import WhatIf, percent
from server.web.planner.judge import Turn
from server.web.planner.look import Seen, Subject
from server.web.tanks.judged import Judged

PLANNED_SURE = "Planned from stated figures, not measured: it can be off by a third."
_COUNTS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def sure(of: Subject, seen: Seen, asked: WhatIf) -> str:
    """How sure all this is, and from what."""
    if not of.hung:
        return ""
    if of.measured is None or seen.doubt is None:
        return PLANNED_SURE
    half = [
        (high - low) / 2 / one.ppfd
        for one, spread in zip(seen.judged, seen.spreads, strict=True)
        if spread is not None and one.ppfd
        for low, high in (spread,)
    ]
    width = float(np.median(half)) if half else float(np.median(seen.doubt.above))
    days = sorted({survey.session.taken_on for survey in of.measured.used})
    when = " and ".join(filters.day(day) for day in days)
    count = filters.count(len(of.measured.map.used), "reading")
    beyond = ", and less so the further you go from how it hangs" if asked.changed else ""
    return f"Sure to about {filters.number(100 * width)} %, from {count} on {when}{beyond}."


def answer(judged: Sequence[Judged], *, planned: bool) -> str:
    """The headline: how many of the animals have the light they need."""
    if not judged:
        return "This is the light over the tank. Place its animals to see how they would fare."
    if all(one.ppfd is None for one in judged):
        return "Nothing hangs over this tank yet."
    good = sum(one.verdict == "within" for one in judged)
    verb = "would have" if planned else "has" if good in (0, 1) else "have"
    if len(judged) == 1:
        fit = "the light it needs" if good else "light outside its range"
        return f"{judged[0].animal.name} {'would have' if planned else 'has'} {fit}."
    if good == len(judged):
        have = "would have" if planned else "have"
        return f"All {_count(len(judged))} animals {have} the light they need."
    return (
        f"{_count(good).capitalize()} of {_count(len(judged))} animals {verb} the light they need."
    )


def _count(number: int) -> str:
    return _COUNTS[number] if number < len(_COUNTS) else str(number)


def told(judged: Sequence[Judged]) -> str:
    """The first few animals that are not in range, with their numbers."""
    off = [one for one in judged if one.verdict in ("below", "above") and one.ppfd is not None]
    told = [
        f"{one.animal.name} gets {filters.ppfd(one.ppfd or 0)}, "
        f"{'below' if one.verdict == 'below' else 'above'} its {one.range_words}"
        for one in off[:3]
    ]
    more = f", and {_count(len(off) - 3)} more are out of range" if len(off) > 3 else ""
    unsure = sum(one.verdict == "unknown" and one.ppfd is not None for one in judged)
    sentences = [f"{'; '.join(told)}{more}."] if told else []
    sentences += [f"Of {_count(unsure)} it is not known."] if unsure else []
    return " ".join(sentences)


def to_do(of: Subject, judged: Sequence[Judged], turn: Turn | None, asked: WhatIf) -> str:
    """What to do next, in one sentence."""
    if not of.hung or not judged:
        return ""
    if turn is not None:
        some = f"{_count(turn.in_range)} of {_count(len(judged))}"
        then = "all" if turn.in_range == len(judged) else some
        return f"{_turned(of, turn, asked.lamps)}: {then} would then be in range."
    if all(one.verdict == "within" for one in judged):
        return "Hang it like this, then measure." if asked.changed else "Leave it, and measure."
    return "No turn of the power alone puts more in range: try another height, or move an animal."


def _turned(of: Subject, turn: Turn, now: Sequence[LampPlace]) -> str:
    if turn.lamp is not None:
        before, after = now[turn.lamp].power, turn.powers[turn.lamp]
        which = lamp_name(of, turn.lamp)
        way = "down" if after < before else "up"
        return f"Turn {which} {way} from {percent(before)} to {percent(after)} %"
    share = max(turn.powers) / max(place.power for place in now)
    if share < 1:
        return f"Turn all lamps down to {filters.number(100 * share)} % of what they are now"
    return f"Turn all lamps up by {filters.number(100 * (share - 1))} %"


def lamp_name(of: Subject, n: int) -> str:
    """A lamp by number where there are several, by name where it is the only one."""
    return f"lamp {n + 1}" if len(of.hung) > 1 else of.hung[n].stated.row.name


def focus_words(asked: WhatIf) -> str:
    if asked.focus is None:
        return ""
    one = asked.focus
    wants = f"{filters.ppfd(one.low_ppfd)}–{filters.ppfd(one.high_ppfd)}"
    return f"The clear area is where {one.name} would get its {wants} µmol m⁻² s⁻¹."


def change_words(difference: light.Floats, asked: WhatIf) -> str:
    low, high = round(float(difference.min())), round(float(difference.max()))
    depth = filters.length(asked.depth_cm, asked.unit)
    if max(abs(low), abs(high)) < 2:
        return f"At {depth} nothing would change by as much as 2 µmol m⁻² s⁻¹."
    return (
        f"At {depth} the light would change by {chart_levels.signed(low)} to "
        f"{chart_levels.signed(high)} µmol m⁻² s⁻¹ against how it hangs now."
    )
