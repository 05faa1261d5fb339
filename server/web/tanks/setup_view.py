"""What one setup's page and the form that changes the light show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from server.db.light import Hung, Scene, Stated, scene
from server.db.measured import MeasuredRows
from server.models import Animal, LampModel, Member, Setup, Tank
from server.optics.field import planes, share_into_water
from server.web import filters
from server.web.tanks.charts import Charts, charts
from server.web.tanks.judged import Judged
from server.web.tanks.known_light import known_light
from server.web.tanks.typed import Refused

KIND_WORDS = {
    "led_cluster": "LED cluster",
    "led_panel": "LED panel",
    "led_bar": "LED bar",
    "fluorescent_tube": "fluorescent tube",
    "metal_halide": "metal halide",
    "mixed": "mixed",
}


@dataclass(frozen=True, kw_only=True)
class LampLine:
    """One lamp over the water, in words."""

    name: str
    lamp_model_id: int
    kind: str
    place: str
    height: str
    power: str
    flux: str
    channels: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class SetupView:
    id: int
    tank_id: int
    tank_name: str
    own: bool
    is_plan: bool
    is_current: bool
    title: str
    told: str
    reason: str
    answer: str
    lamps: tuple[LampLine, ...]
    cautions: tuple[str, ...]
    verdicts: tuple[tuple[str, str, str, str, str], ...]
    depths: tuple[tuple[str, str, str, str, str], ...]
    into_water: str
    sessions: int
    charts: Charts
    sure: str
    today: str
    values: dict[str, str]
    errors: dict[str, str]


@dataclass(frozen=True, kw_only=True)
class LampRow:
    """One lamp in the form: its number and the channels it has."""

    n: int
    legend: str
    channels: tuple[tuple[str, str], ...]
    hangs: bool


@dataclass(frozen=True, kw_only=True)
class LightFormView:
    tank_id: int
    tank_name: str
    action: str
    title: str
    unit: str
    shelf: tuple[tuple[str, str], ...]
    rows: tuple[LampRow, ...]
    values: dict[str, str]
    errors: dict[str, str]
    first: bool
    stood: str
    may_add: bool
    redraws_plan: bool


def lamp_line(one: Hung, unit: str, tank: Tank | None = None) -> LampLine:
    """A hung lamp; with its tank, also what is worth a second look."""
    row, lamp = one.row, one.stated.lamp
    across, along = (filters.length_number(value, unit) for value in (row.x_cm, row.y_cm))
    turned = ", turned front to back" if row.turned else ""
    sign = "about " if one.stated.estimated else ""
    return LampLine(
        name=one.stated.row.name,
        lamp_model_id=one.stated.row.id,
        kind=KIND_WORDS[lamp.kind],
        place=f"{across} {unit} from the left, {along} from the front{turned}",
        height=filters.length(row.height_cm, unit),
        power=filters.percent(row.power),
        flux=f"{sign}{filters.significant(lamp.ppf_umol_s * row.power, 3)} µmol s⁻¹",
        channels=", ".join(f"{name} {filters.percent(v)}" for name, v in one.levels.items()),
        cautions=() if tank is None else _cautions(one, tank, unit),
    )


def _cautions(one: Hung, tank: Tank, unit: str) -> tuple[str, ...]:
    row, lamp, name = one.row, one.stated.lamp, one.stated.row.name
    height = filters.length(row.height_cm, unit)
    found = []
    if lamp.min_height_cm is not None and row.height_cm < lamp.min_height_cm:
        least = filters.length(lamp.min_height_cm, unit)
        found.append(f"{name} hangs at {height}, lower than the {least} its papers ask for.")
    if lamp.max_height_cm is not None and row.height_cm > lamp.max_height_cm:
        most = filters.length(lamp.max_height_cm, unit)
        found.append(f"{name} hangs at {height}, higher than the {most} its papers name.")
    if tank.headroom_cm is not None and row.height_cm > tank.headroom_cm:
        room = filters.length(tank.headroom_cm, unit)
        found.append(f"{name} hangs at {height}, but there is only {room} of room above the water.")
    if not (0 <= row.x_cm <= tank.length_cm and 0 <= row.y_cm <= tank.width_cm):
        found.append(f"The middle of {name} is outside the rim; much of its light will miss.")
    if 0 < row.power < 1 and (lamp.control == "clock_switch" or lamp.kind == "metal_halide"):
        why = "is a halide burner" if lamp.kind == "metal_halide" else "has only a clock switch"
        found.append(
            f"{name} {why}; make sure that it can really be dimmed to "
            f"{filters.percent(row.power)}. Raising it dims it, too."
        )
    if one.stated.estimated:
        low, high = one.stated.low_ppf_umol_s, one.stated.high_ppf_umol_s
        found.append(
            f"The light of {name} is estimated from its watts: {filters.significant(low, 2)} to "
            f"{filters.significant(high, 2)} µmol s⁻¹ at full power."
        )
    return tuple(found)


@dataclass(frozen=True, kw_only=True)
class SetupRows:
    """All that is stored about a setup, as its page needs it."""

    lit: MeasuredRows
    animals: Sequence[Animal]
    until: date | None
    is_current: bool
    sessions: int
    today: date


def setup_page(
    who: Member, tank: Tank, setup: Setup, rows: SetupRows, refused: Refused | None = None
) -> SetupView:
    """One setup, old, current or planned, and what it gave or would give the animals."""
    unit, hung, is_current, today = who.length_unit, rows.lit.hung, rows.is_current, rows.today
    known = known_light(rows.lit, rows.animals)
    lit, judged = known.scene or scene(tank, hung), known.judged
    return SetupView(
        id=setup.id,
        tank_id=tank.id,
        tank_name=tank.name,
        own=tank.owner_id == who.id,
        is_plan=setup.state == "plan",
        is_current=is_current,
        title=setup.name or ("A plan" if setup.state == "plan" else "The light"),
        told=_since(setup, rows.until, is_current),
        reason=setup.reason,
        answer=_answer(setup, judged, is_current, bool(lit.emitters)),
        lamps=tuple(lamp_line(one, unit) for one in hung),
        cautions=tuple(word for one in hung for word in lamp_line(one, unit, tank).cautions),
        verdicts=tuple(_verdict_row(one) for one in judged),
        depths=_depths(lit, unit),
        into_water=_into_water(lit),
        sessions=rows.sessions,
        charts=charts(tank, lit, hung, judged, unit=unit, kind=known.kind),
        sure=known.sure,
        today=today.isoformat(),
        values={"since": today.isoformat(), "reason": ""} | (refused.values if refused else {}),
        errors=refused.errors if refused else {},
    )


def _since(setup: Setup, until: date | None, is_current: bool) -> str:
    if setup.state == "plan":
        return f"Drawn up on {filters.day(setup.since)}, not hung yet."
    if is_current:
        return f"Over the water since {filters.day(setup.since)}."
    end = f" to {filters.day(until)}" if until else ""
    return f"Over the water from {filters.day(setup.since)}{end}."


def _answer(setup: Setup, judged: Sequence[Judged], is_current: bool, lit: bool) -> str:
    if not lit:
        return "No light."
    if not judged:
        return "Nobody lived in the tank under this light."
    right = sum(one.verdict == "within" for one in judged)
    if setup.state == "plan":
        return f"This plan would put {right} of {filters.count(len(judged), 'animal')} in range."
    has = "has" if is_current else "had"
    return f"This light {has} {right} of {filters.count(len(judged), 'animal')} in range."


def _verdict_row(one: Judged) -> tuple[str, str, str, str, str]:
    gets = "–" if one.ppfd is None else filters.ppfd(one.ppfd)
    return one.letter, one.animal.name, one.range_words, gets, one.words


def _depths(lit: Scene, unit: str) -> tuple[tuple[str, str, str, str, str], ...]:
    """Mean, least, most and evenness near the surface, half way down and near the floor."""
    if not lit.emitters:
        return ()
    found = planes(
        lit.tank,
        lit.water,
        lit.emitters,
        depths_cm=[round(lit.tank.depth_cm * part, 1) for part in (0.1, 0.5, 0.95)],
        cell_cm=max(3.0, lit.tank.length_cm / 30),
    )
    return tuple(
        (
            filters.length(plane.depth_cm, unit),
            filters.ppfd(plane.mean),
            filters.ppfd(plane.min),
            filters.ppfd(plane.max),
            filters.number(plane.uniformity, 2),
        )
        for plane in found
    )


def _into_water(lit: Scene) -> str:
    if not lit.emitters:
        return ""
    return filters.percent(share_into_water(lit.tank, lit.water, lit.emitters))


# The form


def light_form(
    who: Member,
    tank: Tank,
    *,
    shelf: Sequence[LampModel],
    stated: Mapping[int, Stated],
    current: Setup | None,
    plan: Setup | None,
    values: Mapping[str, str],
    errors: Mapping[str, str],
    hanging: int,
    stood: str,
    most: int,
) -> LightFormView:
    """The lamps of a setup as rows; `hanging` of them hang already."""
    count = int(values["lamps"])
    return LightFormView(
        tank_id=tank.id,
        tank_name=tank.name,
        action=f"/setups/{plan.id}/redraw" if plan else f"/tanks/{tank.id}/light",
        title=_form_title(tank, current, plan),
        unit=who.length_unit,
        shelf=_options(shelf, stated),
        rows=tuple(_row(n, values, stated, hanging) for n in range(count)),
        values=dict(values),
        errors=dict(errors),
        first=current is None,
        stood=stood,
        may_add=count < most,
        redraws_plan=plan is not None,
    )


def _form_title(tank: Tank, current: Setup | None, plan: Setup | None) -> str:
    if plan is not None:
        return f"Redraw the plan for {tank.name}"
    return f"Change the light over {tank.name}" if current else f"Hang a lamp over {tank.name}"


def _options(
    shelf: Sequence[LampModel], stated: Mapping[int, Stated]
) -> tuple[tuple[str, str], ...]:
    """The shelf, and hung models that are no longer on it."""
    on_shelf = {model.id for model in shelf}
    others = [one.row for key, one in stated.items() if key not in on_shelf]
    told = [(str(model.id), _model_words(model)) for model in [*shelf, *others]]
    return (("", "no lamp"), *told)


def _model_words(model: LampModel) -> str:
    return f"{model.name}: {KIND_WORDS[model.kind]}, {_plain(model.watts)} W"


def _plain(value: float) -> str:
    return filters.number(value, 1).removesuffix(".0")


def _row(n: int, values: Mapping[str, str], stated: Mapping[int, Stated], hanging: int) -> LampRow:
    chosen = values.get(f"lamp-{n}-model", "")
    lamp = stated.get(int(chosen)) if chosen.isascii() and chosen.isdigit() else None
    channels = lamp.lamp.channels if lamp else ()
    return LampRow(
        n=n,
        legend=f"Lamp {n + 1}" + (f": {lamp.row.name}" if lamp else ""),
        channels=tuple(
            (f"lamp-{n}-channel-{k}", channel.name) for k, channel in enumerate(channels)
        )
        if len(channels) > 1
        else (),
        hangs=n < hanging,
    )
