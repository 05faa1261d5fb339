"""What the mounting-height calculator shows."""

from dataclasses import dataclass, replace
from urllib.parse import urlencode

from server.drawing.line_chart import Dot, LineChart, Series, line_chart
from server.optics.field import share_into_water
from server.optics.mounting import HeightChoice, MountingAdvice, mounting_height
from server.optics.remedies import Remedies, remedies
from server.web.filters import CM_PER_INCH, length, length_number, number, percent, ppfd
from server.web.spread.form import MountingTyped
from server.web.spread.scene_form import FLOOR_NAMES, SHAPE_NAMES, WALL_NAMES, WATER_NAMES
from server.web.tanks.typed import Refused

WIDE, NARROW, HEIGHT = 720.0, 340.0, 260.0
_MOST_ROWS = 24
SURE = (
    "The arithmetic agrees with following photons one by one to about 1 %; what is stated about a "
    "lamp is seldom that exact. Hang it there at two thirds of the power, measure, then correct, "
    "and let the animals get used to it over weeks (common practice, no published source)."
)


@dataclass(frozen=True)
class MountingCharts:
    """Share in range and power against the height, drawn for a desk and for a phone."""

    wide: LineChart
    narrow: LineChart


@dataclass(frozen=True)
class MountingView:
    """The mounting-height calculator: form, answer, chart, what would help, figures."""

    values: dict[str, str]
    errors: dict[str, str]
    unit: str
    more: bool = False
    answer: str = ""
    do: str = ""
    sure: str = SURE
    charts: MountingCharts | None = None
    facts: tuple[tuple[str, str], ...] = ()
    not_met: str = ""
    helps: tuple[tuple[str, str], ...] = ()
    columns: tuple[tuple[str, str], ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    spread_address: str = ""
    walls: tuple[tuple[str, str], ...] = WALL_NAMES
    floors: tuple[tuple[str, str], ...] = FLOOR_NAMES
    waters: tuple[tuple[str, str], ...] = WATER_NAMES
    shapes: tuple[tuple[str, str], ...] = SHAPE_NAMES


def refused_view(refused: Refused, unit: str) -> MountingView:
    return MountingView(refused.values, refused.errors, unit, more=True)


def mounting_view(typed: MountingTyped) -> MountingView:
    """The answer for a target that was understood."""
    scene, unit = typed.scene, typed.unit
    advice = mounting_height(
        scene.tank, scene.water, scene.emitters, target=typed.target,
        height_range_cm=typed.height_range_cm, power_range=typed.power_range,
        headroom_cm=typed.headroom_cm, cell_cm=scene.cell_cm,
    )  # fmt: skip
    found = remedies(
        scene.tank, scene.water, scene.emitters, advice, target=typed.target,
        height_range_cm=_allowed(typed), power_range=typed.power_range, cell_cm=scene.cell_cm,
    )  # fmt: skip
    best = advice.best
    return MountingView(
        typed.values,
        {},
        unit,
        answer=(
            f"Hang {_them(typed)} {length(best.height_cm, unit)} above the water at "
            f"{percent(best.power)} power: {percent(best.share_in_range)} of the target gets "
            f"{ppfd(typed.target.low_ppfd)}–{ppfd(typed.target.high_ppfd)}."
        ),
        do=_do(best, found, typed),
        charts=_charts(advice, typed),
        facts=_facts(best, typed),
        not_met=found.not_met,
        helps=tuple((one.words, percent(one.share_in_range)) for one in found.tried),
        columns=((f"Height, {unit}", "number"), ("best power", "number"), ("in range", "number"),
                 ("least", "number"), ("most", "number")),
        rows=tuple(_row(one, unit) for one in _thinned(advice.curve, best)),
        spread_address=_spread_address(best, typed),
    )  # fmt: skip


def _allowed(typed: MountingTyped) -> tuple[float, float]:
    low, high = typed.height_range_cm
    return low, high if typed.headroom_cm is None else min(high, typed.headroom_cm)


def _them(typed: MountingTyped) -> str:
    return "it" if len(typed.scene.emitters) == 1 else "them"


def _do(best: HeightChoice, found: Remedies, typed: MountingTyped) -> str:
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


def _facts(best: HeightChoice, typed: MountingTyped) -> tuple[tuple[str, str], ...]:
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


def _charts(advice: MountingAdvice, typed: MountingTyped) -> MountingCharts:
    per_unit = 1.0 if typed.unit == "cm" else CM_PER_INCH
    heights = [one.height_cm / per_unit for one in advice.curve]
    best = advice.best
    wide, narrow = (
        line_chart(
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
                Series(
                    x=heights,
                    y=[100 * one.share_in_range for one in advice.curve],
                    name="in range",
                ),
                Series(
                    x=heights, y=[100 * one.power for one in advice.curve], name="power", style=2
                ),
            ],
            y_range=(0.0, 105.0),
            dots=[Dot(x=best.height_cm / per_unit, y=100 * best.share_in_range)],
        )
        for width in (WIDE, NARROW)
    )
    return MountingCharts(wide, narrow)


def _spread_address(best: HeightChoice, typed: MountingTyped) -> str:
    """The same tank in the spread calculator, at the height and power of the answer."""
    kept = ("length", "width", "depth", "beam", "lamps", "shape", "size", "x", "y", "wall_left",
            "wall_right", "wall_front", "wall_back", "floor", "cover", "water", "cell", "low",
            "high")  # fmt: skip
    asked = {name: typed.values.get(name, "") for name in kept}
    asked["ppf"] = number(best.power * typed.scene.emitters[0].ppf_umol_s, 1)
    asked["height"] = length_number(best.height_cm, typed.unit, 2)
    asked["look"] = length_number(typed.target.depths_cm[0], typed.unit, 2)
    return "/calculators/spread?" + urlencode({k: v for k, v in asked.items() if v})
