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


def _rows(seen: Seen, unit: str) -> tuple[AnimalRow, ...]:
    """Who gets what; all gauges of the table on one scale."""
    ends = [end for one in seen.judged for end in (one.animal.low_ppfd, one.animal.high_ppfd)]
    known_light = [one.ppfd for one in seen.judged if one.ppfd is not None]
    every = [max(value, 5.0) for value in (*ends, *known_light)] or [50.0, 500.0]
    scale = (min(every) * 0.75, max(every) * 1.33)
    return tuple(_row(seen, n, unit, scale) for n in range(len(seen.judged)))


def _row(seen: Seen, n: int, unit: str, scale: tuple[float, float]) -> AnimalRow:
    one, spread = seen.judged[n], seen.spreads[n]
    animal = one.animal
    place = " · ".join(
        (
            f"{filters.length_number(animal.x_cm, unit)} right",
            f"{filters.length_number(animal.y_cm, unit)} back",
            f"{filters.length(animal.depth_cm, unit)} deep",
        )
    )
    return AnimalRow(
        letter=one.letter,
        name=animal.name,
        place=place,
        gets="not known" if one.ppfd is None else filters.ppfd(one.ppfd),
        spread="" if spread is None else f"± {filters.number(max((spread[1] - spread[0]) / 2, 1))}",
        wants=one.range_words,
        was="" if seen.was is None else filters.ppfd(float(seen.was[n])),
        verdict=one.verdict,
        words=one.words,
        gauge=gauge.gauge(
            value=one.ppfd,
            wanted=(animal.low_ppfd, animal.high_ppfd),
            interval=spread,
            verdict=one.verdict,
            scale_range=scale,
            width=GAUGE_WIDTH,
        ),
    )


# The whole page


def plan_page(of: Subject, asked: WhatIf) -> PlanView:
    """The page with both sizes of every drawing."""
    return PlanView(
        tank_id=of.tank.id or 0,
        tank_name=of.tank.name,
        own=of.own,
        setup_id=of.setup.id or 0,
        setup_words=_setup_words(of),
        unit=asked.unit,
        action=f"/tanks/{of.tank.id}/plan",
        drawn=drawn(of, asked, sizes=("wide", "narrow"), draft=False),
        lamps=tuple(_control(of, asked, n) for n in range(len(of.hung))),
        lift=_slide(asked, "lift", "Raise all lamps by", -20.0, 20.0),
        depth=_slide(asked, "depth", "Depth of the view from above", 0.0, of.tank.depth_cm),
        cuts=(
            _slide(asked, "y", "Front view cut, from the front wall", 0.0, of.tank.width_cm),
            _slide(asked, "x", "Side view cut, from the left wall", 0.0, of.tank.length_cm),
        ),
        focus=str(asked.focus.id) if asked.focus else "",
        focus_options=(
            ("", "the light, in PPFD"),
            *((str(a.id), f"where {a.name} could live") for a in of.animals),
        ),
        facts=_facts(of, asked),
        errors=asked.errors,
        keep_name=asked.values.get("name", ""),
    )


def _setup_words(of: Subject) -> str:
    name = f"“{of.setup.name}”" if of.setup.name else "This setup"
    day = filters.day(of.setup.since)
    if of.setup.state == "plan":
        return f"{name} is a plan not hung yet, drawn up on {day}"
    return f"{name} was set on {day} and {'hangs now' if of.is_current else 'was replaced since'}"


def _slide(asked: WhatIf, name: str, label: str, low_cm: float, high_cm: float) -> Slide:
    return Slide(
        name=name,
        label=label,
        value=asked.values[name],
        low=_plain_length(low_cm, asked.unit),
        high=_plain_length(high_cm, asked.unit),
        step="1" if asked.unit == "cm" else "0.5",
        unit=asked.unit,
        error=asked.errors.get(name, ""),
    )


def _plain_length(value_cm: float, unit: str) -> str:
    """A slider's end: a decimal point and a plain minus, as HTML takes it."""
    return shown_length(value_cm, unit).replace("−", "-")


def _control(of: Subject, asked: WhatIf, n: int) -> LampControl:
    hung, place, lamp = of.hung[n], asked.lamps[n], of.hung[n].stated.lamp
    low = min(LOWEST_CM, place.height_cm, lamp.min_height_cm or LOWEST_CM)
    high = max(USUAL_HIGHEST_CM, place.height_cm, lamp.max_height_cm or 0.0)
    return LampControl(
        number=n + 1,
        name=hung.stated.row.name,
        height=_slide(asked, f"h{n}", "Height over water", low, high),
        power=Slide(
            name=f"p{n}",
            label="Power",
            value=asked.values[f"p{n}"],
            low="0",
            high="100",
            step="1",
            unit="%",
            error=asked.errors.get(f"p{n}", ""),
        ),
        place=(
            _slide(asked, f"x{n}", "Middle, from the left wall", 0.0, of.tank.length_cm),
            _slide(asked, f"y{n}", "Middle, from the front wall", 0.0, of.tank.width_cm),
        ),
    )


def _cautions(of: Subject, hung: Hung, place: LampPlace, unit: str) -> tuple[str, ...]:
    """What the lamp's papers or the tank's place say against this height."""
    lamp, found = hung.stated.lamp, []
    if lamp.min_height_cm is not None and place.height_cm < lamp.min_height_cm:
        least = filters.length(lamp.min_height_cm, unit)
        found.append(f"Lower than the {least} its papers ask for.")
    if lamp.max_height_cm is not None and place.height_cm > lamp.max_height_cm:
        most = filters.length(lamp.max_height_cm, unit)
        found.append(f"Higher than the {most} its papers allow.")
    if of.tank.headroom_cm is not None and place.height_cm > of.tank.headroom_cm:
        room = filters.length(of.tank.headroom_cm, unit)
        found.append(f"There is only {room} of free height over this tank.")
    return tuple(found)


def _plain_address(of: Subject) -> str:
    setup = "" if of.is_current else f"?setup={of.setup.id}"
    return f"/tanks/{of.tank.id}/plan{setup}"


def _address(of: Subject, asked: WhatIf, powers: Sequence[float]) -> str:
    """This plan with other powers, as an address."""
    values = {name: text for name, text in asked.values.items() if name not in ("name",)}
    values |= {f"p{n}": percent(power) for n, power in enumerate(powers)}
    values |= {"unit": asked.unit, "setup": str(of.setup.id)}
    if asked.focus is not None:
        values["focus"] = str(asked.focus.id)
    return f"/tanks/{of.tank.id}/plan?{urlencode(values)}"


_WALLS = {"clear": "clear glass", "black": "dark"}


def _facts(of: Subject, asked: WhatIf) -> tuple[tuple[str, str], ...]:
    """Every number that went in."""
    tank, unit = of.tank, asked.unit
    lit = light.moved(light.lit(tank, of.hung), asked.hung, asked.lamps)
    walls = (
        ("left", tank.wall_left),
        ("right", tank.wall_right),
        ("front", tank.wall_front),
        ("back", tank.wall_back),
    )
    sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
    size = " × ".join(filters.length_number(side, unit) for side in sides)
    facts = [
        ("Tank inside", f"{size} {unit}, length × width × depth of water"),
        ("Walls", ", ".join(f"{side} {_WALLS.get(w, 'returning ' + w)}" for side, w in walls)),
        ("Floor returns", filters.percent(FLOORS[tank.floor].albedo)),
        ("Cover pane", "yes, clear glass" if tank.cover else "none"),
        ("Water", tank.water),
    ]
    for n, (hung, place) in enumerate(zip(of.hung, asked.lamps, strict=True), start=1):
        about = "about " if hung.stated.estimated else ""
        flux = filters.significant(hung.stated.lamp.ppf_umol_s, 3)
        beam = (
            "measured intensity table"
            if hung.stated.lamp.intensity
            else f"beam {filters.number(hung.stated.lamp.beam_deg)}°"
        )
        facts.append(
            (
                f"Lamp {n}, {hung.stated.row.name}",
                f"{about}{flux} µmol s⁻¹ at full power"
                f"{', estimated from its watts' if hung.stated.estimated else ''}; {beam}; "
                f"{filters.length(place.height_cm, unit)} up; {filters.percent(place.power)}",
            )
        )
    facts += _measured_facts(of)
    if of.hung:
        scene = light.scene_of(lit)
        share = share_into_water(scene.tank, scene.water, scene.emitters)
        facts.append(("Photons that enter the water", filters.percent(share)))
    return tuple(facts)


def _measured_facts(of: Subject) -> list[tuple[str, str]]:
    """What the readings put right, each with its 80 % interval."""
    if of.measured is None:
        return []
    fit, unit = of.measured.map.fit, "% of what was stated"
    facts = [("Output, from the readings", f"{_share_words(fit.output_factor)} {unit}")]
    if fit.beam_deg is not None:
        facts.append(("Beam, from the readings", f"{_known_words(fit.beam_deg, 1.0)}°"))
    facts.append(("Water absorbs", f"{_known_words(fit.absorption_per_m, 1.0, 2)} per metre"))
    if fit.typical_error_percent is not None:
        facts.append(
            (
                "Typical error",
                f"{filters.number(fit.typical_error_percent, 1)} %: how far a reading is, in the "
                "middle, from what all the others foretell",
            )
        )
    return facts


def _share_words(one: Known) -> str:
    return _known_words(one, 100.0)


def _known_words(one: Known, times: float, digits: int = 0) -> str:
    value, low, high = (filters.number(v * times, digits) for v in (one.value, one.low, one.high))
    return f"{value} ({low} to {high})"


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
