"""How high to hang it: which height and power put most of the wanted depths in range."""

from dataclasses import dataclass, replace
from urllib.parse import urlencode

from server.drawing.line_chart import Dot, LineChart, Series, line_chart
from server.optics.field import share_into_water
from server.optics.mounting import HeightChoice, MountingAdvice, Target, mounting_height
from server.optics.remedies import Remedies, remedies
from server.web.ask import Asked
from server.web.calculators.registry import Calculator, Json
from server.web.calculators.scene import MORE_ABOUT_THEM, TANK_AND_LAMPS, Scene, read_scene
from server.web.calculators.spread_json import MountingAnswer, work_refused
from server.web.calculators.spread_json import mounting_height as mounting_asked
from server.web.calculators.target import TOO_MUCH, UNIT, not_above
from server.web.charts import Both, both
from server.web.fields import length as length_field
from server.web.fields import line, maybe
from server.web.fields import number as number_field
from server.web.filters import (
    CM_PER_INCH,
    NotANumber,
    length,
    length_number,
    number,
    percent,
    ppfd,
    read_number,
    to_cm,
)
from server.web.forms import OWN_UNIT, Filled, Form, Wrong

HEIGHT = 260.0
MOST_DEPTHS = 12
_MOST_ROWS = 24
SURE = (
    "The arithmetic agrees with following photons one by one to about 1 %; what is stated about a "
    "lamp is seldom that exact. Hang it there at two thirds of the power, measure, then correct, "
    "and let the animals get used to it over weeks (common practice, no published source)."
)


LOW = number_field("low", "Light wanted, from", (0, 3000), like="150", unit=UNIT, start="150")
HIGH = number_field("high", "to", (1, 5000), like="300", unit=UNIT, start="300")
DEPTHS = line(
    "depths", "at the depths", most=200, missing="Type one depth or more, such as 15; 30.",
    unit=OWN_UNIT, start="15; 30", start_in="6; 12", hint="Several with a semicolon between.",
)  # fmt: skip
LOWEST = length_field(
    "lowest", "Lowest the lamp may hang", (0.5, 500), like_cm=10, start="10", start_in="4"
)
HIGHEST = length_field("highest", "Highest", (0.5, 500), like_cm=60, start="60", start_in="24")
HEADROOM = maybe(
    length_field("headroom", "Room above the water", (0.5, 500), like_cm=60,
                 hint="Under a hood or ceiling; empty means enough.")
)  # fmt: skip
LEAST_POWER = maybe(
    number_field("least_power", "Dims down to", (0, 100), like="10", unit="%", start="10",
                 hint="100 where it cannot be dimmed.")
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Typed:
    """A tank and lamps to be hung, the light wanted, and what lamp and room allow."""

    scene: Scene
    target: Target
    height_range_cm: tuple[float, float]
    headroom_cm: float | None
    power_range: tuple[float, float]
    values: dict[str, str]
    unit: str


@dataclass(frozen=True)
class View:
    answer: str
    do: str
    charts: Both[LineChart]
    facts: tuple[tuple[str, str], ...]
    helps: tuple[tuple[str, str], ...]
    columns: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, ...], ...]
    spread_address: str
    sure: str = SURE


def read(form: Filled, ask: Asked) -> Typed:
    lowest, highest, headroom = form[LOWEST], form[HIGHEST], form[HEADROOM]
    power = form[LEAST_POWER] or 0.0
    scene = read_scene(form, height_cm=lowest)
    low, high = not_above(form, HIGH, form[LOW], form[HIGH])
    depths = _depths(form, scene)
    form.check()
    _check_heights(form, lowest, highest, headroom)
    if work_refused(
        scene.tank, scene.water, scene.emitters, depths_cm=depths, cell_cm=scene.cell_cm, times=30
    ):
        raise form.refuse("cell", TOO_MUCH)
    return Typed(
        scene=scene,
        target=Target(low_ppfd=low, high_ppfd=high, depths_cm=depths),
        height_range_cm=(lowest, highest),
        headroom_cm=headroom,
        power_range=(power / 100.0, 1.0),
        values=form.values,
        unit=form.unit,
    )


def _depths(form: Filled, scene: Scene) -> tuple[float, ...]:
    """Depths between semicolons or spaces, in the reader's unit."""
    pieces = form[DEPTHS].replace(";", " ").split()
    if len(pieces) > MOST_DEPTHS:
        form.wrong(DEPTHS, "Keep this to twelve depths.")
    try:
        return tuple(_depth(piece, scene.tank.depth_cm, form.unit) for piece in pieces)
    except Wrong as wrong:
        form.wrong(DEPTHS, str(wrong))
        return ()


def _depth(piece: str, most_cm: float, unit: str) -> float:
    try:
        depth = to_cm(read_number(piece), unit)
    except NotANumber as wrong:
        raise Wrong(f"“{piece[:20]}” is not a depth; write them like 15; 30.") from wrong
    if not 0.0 <= depth <= most_cm:
        raise Wrong(f"“{piece[:20]}” is not within the water of this tank.")
    return depth


def _check_heights(form: Filled, lowest: float, highest: float, headroom: float | None) -> None:
    """Raises Refused where the heights contradict each other."""
    if highest < lowest:
        raise form.refuse(HIGHEST, "The highest place must not lie below the lowest.")
    if headroom is not None and headroom < lowest:
        words = "The room above the water ends below the lamp's lowest place."
        raise form.refuse(HEADROOM, words)


@dataclass(frozen=True)
class Found:
    """The best height, and what would help where the target fails."""

    advice: MountingAdvice
    remedies: Remedies


def work(typed: Typed) -> Found:
    scene = typed.scene
    advice = mounting_height(
        scene.tank, scene.water, scene.emitters, target=typed.target,
        height_range_cm=typed.height_range_cm, power_range=typed.power_range,
        headroom_cm=typed.headroom_cm, cell_cm=scene.cell_cm,
    )  # fmt: skip
    tried = remedies(
        scene.tank, scene.water, scene.emitters, advice, target=typed.target,
        height_range_cm=_allowed(typed), power_range=typed.power_range, cell_cm=scene.cell_cm,
    )  # fmt: skip
    return Found(advice, tried)


def show(typed: Typed, found: Found) -> View:
    unit, advice, best = typed.unit, found.advice, found.advice.best
    return View(
        answer=(
            f"Hang {_them(typed)} {length(best.height_cm, unit)} above the water at "
            f"{percent(best.power)} power: {percent(best.share_in_range)} of the target gets "
            f"{ppfd(typed.target.low_ppfd)}–{ppfd(typed.target.high_ppfd)}."
        ),
        do=_do(best, found.remedies, typed),
        charts=both(lambda width: _chart(advice, typed, width)),
        facts=_facts(best, typed),
        helps=tuple((one.words, percent(one.share_in_range)) for one in found.remedies.tried),
        columns=((f"Height, {unit}", "number"), ("best power", "number"), ("in range", "number"),
                 ("least", "number"), ("most", "number")),
        rows=tuple(_row(one, unit) for one in _thinned(advice.curve, best)),
        spread_address=_spread_address(best, typed),
    )  # fmt: skip


def _allowed(typed: Typed) -> tuple[float, float]:
    low, high = typed.height_range_cm
    return low, high if typed.headroom_cm is None else min(high, typed.headroom_cm)


def _them(typed: Typed) -> str:
    return "it" if len(typed.scene.emitters) == 1 else "them"


def _do(best: HeightChoice, found: Remedies, typed: Typed) -> str:
    if not found.not_met:
        return (
            f"The light there is {ppfd(best.min_ppfd)}–{ppfd(best.max_ppfd)} µmol m⁻² s⁻¹, "
            f"{ppfd(best.mean_ppfd)} on average."
        )
    if found.tried:
        first = found.tried[0]
        return f"{found.not_met} What would help most: {_lower(first.words)}."
    return f"{found.not_met} None of the changes that were tried helps much: choose a wider range."


def _lower(words: str) -> str:
    return words[:1].lower() + words[1:]


def _facts(best: HeightChoice, typed: Typed) -> tuple[tuple[str, str], ...]:
    scene = typed.scene
    hung = [replace(one, height_cm=best.height_cm) for one in scene.emitters]
    entering = share_into_water(scene.tank, scene.water, hung)
    return (
        ("Too dim", percent(best.share_below)),
        ("Too bright", percent(best.share_above)),
        ("Evenness", f"{number(best.uniformity, 2)} (dimmest cell over mean)"),
        ("Miss the water", f"{percent(1.0 - entering)} of the lamps' photons"),
    )


def _row(one: HeightChoice, unit: str) -> tuple[str, ...]:
    return (
        length_number(one.height_cm, unit),
        percent(one.power),
        percent(one.share_in_range),
        ppfd(one.min_ppfd),
        ppfd(one.max_ppfd),
    )


def _thinned(curve: tuple[HeightChoice, ...], best: HeightChoice) -> list[HeightChoice]:
    """So many heights that they can be read, the best one among them."""
    step = max(1, -(-len(curve) // _MOST_ROWS))
    return [one for k, one in enumerate(curve) if k % step == 0 or one is best]


def _chart(advice: MountingAdvice, typed: Typed, width: float) -> LineChart:
    per_unit = 1.0 if typed.unit == "cm" else CM_PER_INCH
    heights = [one.height_cm / per_unit for one in advice.curve]
    shares = [100 * one.share_in_range for one in advice.curve]
    powers = [100 * one.power for one in advice.curve]
    best = advice.best
    return line_chart(
        width=width,
        height=HEIGHT,
        title="Share in range and power against the height",
        description=(
            f"At {length(best.height_cm, typed.unit)} {percent(best.share_in_range)} of the "
            f"target is in range with {percent(best.power)} power. "
            "The table below has every figure."
        ),
        x_name=f"height over the water, {typed.unit}",
        y_name="%",
        series=[
            Series(x=heights, y=shares, name="in range"),
            Series(x=heights, y=powers, name="power", style=2),
        ],
        y_range=(0.0, 105.0),
        dots=[Dot(x=best.height_cm / per_unit, y=100 * best.share_in_range)],
    )


def _spread_address(best: HeightChoice, typed: Typed) -> str:
    """The same tank in the spread calculator, at the height and power of the answer."""
    kept = ("length", "width", "depth", "beam", "lamps", "shape", "size", "x", "y", "wall_left",
            "wall_right", "wall_front", "wall_back", "floor", "cover", "water", "cell", "low",
            "high")  # fmt: skip
    asked = {name: typed.values.get(name, "") for name in kept}
    asked["ppf"] = number(best.power * typed.scene.emitters[0].ppf_umol_s, 1)
    asked["height"] = length_number(best.height_cm, typed.unit, 2)
    asked["look"] = length_number(typed.target.depths_cm[0], typed.unit, 2)
    return "/calculators/spread?" + urlencode({k: v for k, v in asked.items() if v})


MOUNTING_HEIGHT = Calculator(
    key="mounting-height",
    name="How high to hang it",
    question="Which height and power put most of these depths in range?",
    asks="Your tank, lamps and target",
    button="Find the height",
    form=Form(
        *TANK_AND_LAMPS, LOW, HIGH, DEPTHS, LOWEST, HIGHEST, HEADROOM, LEAST_POWER,
        *MORE_ABOUT_THEM,
    ),
    read=read,
    work=work,
    show=show,
    json=Json(
        path="/api/mounting-height",
        summary="How high to hang it",
        work=mounting_asked,
        answer=MountingAnswer,
    ),
    fill=True,
)  # fmt: skip
