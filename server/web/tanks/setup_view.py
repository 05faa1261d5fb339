"""What one setup's page and the form that changes the light show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from server.account import sentences
from server.account.account import AnimalLight, Glance
from server.db import accounts
from server.db.accounts import Told
from server.db.light import Hung, Stated
from server.models import LampModel, Member, Setup, Tank
from server.optics.field import planes, share_into_water
from server.surveys.plan import Plan
from server.web import filters
from server.web.tanks.charts import Charts, charts
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


def lamp_line(one: Hung, unit: str) -> LampLine:
    """A hung lamp in words."""
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
    )


@dataclass(frozen=True, kw_only=True)
class SetupRows:
    """All that is known about a setup, as its page needs it."""

    told: Told
    until: date | None
    is_current: bool
    sessions: int


def setup_page(
    who: Member, tank: Tank, setup: Setup, rows: SetupRows, refused: Refused | None = None
) -> SetupView:
    """One setup, old, current or planned, and what it gave or would give the animals."""
    unit, told, is_current = who.length_unit, rows.told, rows.is_current
    account, hung, plan = told.glance, told.rows.hung, told.plan
    kind, today = sentences.basis_words(account.basis), account.as_of
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
        answer=_answer(setup, account, is_current),
        lamps=tuple(lamp_line(one, unit) for one in hung),
        cautions=accounts.cautions_of(told.rows, unit),
        verdicts=tuple(_verdict_row(one) for one in account.animals),
        depths=_depths(plan, unit),
        into_water=_into_water(plan),
        sessions=rows.sessions,
        charts=charts(tank, plan, hung, account.animals, unit=unit, kind=kind),
        sure=sentences.certainty(account),
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


def _answer(setup: Setup, account: Glance, is_current: bool) -> str:
    if account.known_to_percent is None:
        return "No light."
    if not account.animals and setup.state != "plan" and not is_current:
        return "Nobody lived in the tank under this light."
    tense: sentences.Tense = "would" if setup.state == "plan" else "is" if is_current else "was"
    return sentences.headline(account.animals, tense)


def _verdict_row(one: AnimalLight) -> tuple[str, str, str, str, str]:
    gets = f"{sentences.gets_words(one)} {sentences.spread_words(one)}".strip()
    return one.letter, one.name, sentences.wants_words(one), gets, sentences.verdict_words(one)


def _depths(lit: Plan, unit: str) -> tuple[tuple[str, str, str, str, str], ...]:
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


def _into_water(lit: Plan) -> str:
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
