"""What the list of tanks, a tank's page and its form show."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from server.account import sentences
from server.account.account import AnimalLight, Glance
from server.db import accounts
from server.db.accounts import AccountRows, Told
from server.dose.groups import BY_KEY
from server.models import Animal, MeasurementSession, Member, Setup, Tank
from server.optics.field import planes
from server.surveys.plan import Plan
from server.web import filters
from server.web.animal_marks import MARKS
from server.web.tanks import form as reading
from server.web.tanks.charts import Charts, charts
from server.web.tanks.setup_view import LampLine, lamp_line
from server.web.tanks.typed import Refused, merged

PER_PAGE = 30


@dataclass(frozen=True, kw_only=True)
class TankLine:
    """One tank in a list."""

    id: int
    name: str
    keeper: str
    size: str
    told: str


@dataclass(frozen=True, kw_only=True)
class TanksView:
    own: tuple[TankLine, ...]
    aside: tuple[TankLine, ...]
    shared: tuple[TankLine, ...]
    shared_count: int
    page: int
    pages: int


@dataclass(frozen=True, kw_only=True)
class TankFormView:
    title: str
    action: str
    back: str
    unit: str
    values: dict[str, str]
    errors: dict[str, str]
    walls: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    floors: tuple[tuple[str, str], ...]
    waters: tuple[tuple[str, str], ...]
    more_open: bool


@dataclass(frozen=True, kw_only=True)
class AnimalLine:
    """One animal of a tank and what it gets."""

    id: int
    letter: str
    name: str
    group: str
    place: str
    wants: str
    gets: str
    spread: str
    verdict: str
    verdict_words: str


@dataclass(frozen=True, kw_only=True)
class GoneLine:
    """An animal that lived here before."""

    id: int
    name: str
    group: str
    left: str


@dataclass(frozen=True, kw_only=True)
class SetupLine:
    id: int
    name: str
    told: str


@dataclass(frozen=True, kw_only=True)
class TankView:
    """A tank's page: the answer, what to do, how sure, then everything there is."""

    id: int
    name: str
    own: bool
    keeper: str
    aside: bool
    answer: str
    off: str
    do: str
    do_address: str
    beside: tuple[str, ...]
    sure: str
    kind: str
    setup: SetupLine | None
    stood: str
    lamps: tuple[LampLine, ...]
    cautions: tuple[str, ...]
    plans: tuple[SetupLine, ...]
    earlier: tuple[SetupLine, ...]
    animals: tuple[AnimalLine, ...]
    gone: tuple[GoneLine, ...]
    facts: tuple[tuple[str, str], ...]
    note: str
    sessions: int
    last_session: str
    charts: Charts | None


# Lists


@dataclass(frozen=True, kw_only=True)
class ListedTank:
    """A tank as a list knows it. living: in few words who lives there or how they fare."""

    tank: Tank
    keeper: str = ""
    living: str
    light_since: date | None


def listed_own(rows: AccountRows) -> ListedTank:
    """An own tank, with the count of its account."""
    seen = accounts.told(rows).glance
    return ListedTank(
        tank=rows.tank, living=sentences.count_words(seen.animals), light_since=seen.light_since
    )


def listed_shared(tank: Tank, keeper: str, animals: int, light_since: date | None) -> ListedTank:
    """Another member's tank; only who lives there is counted."""
    living = filters.count(animals, "animal") if animals else sentences.count_words(())
    return ListedTank(tank=tank, keeper=keeper, living=living, light_since=light_since)


def tank_list(
    who: Member,
    own: Sequence[ListedTank],
    aside: Sequence[Tank],
    shared: Sequence[ListedTank],
    *,
    shared_count: int,
    today: date,
    page: int,
) -> TanksView:
    """Own tanks, then a page of the club's."""
    pages = max(1, -(-shared_count // PER_PAGE))

    def line(one: ListedTank) -> TankLine:
        return TankLine(
            id=one.tank.id,
            name=one.tank.name,
            keeper=one.keeper,
            size=size_words(one.tank, who.length_unit),
            told=_told(one, who.volume_unit, today),
        )

    return TanksView(
        own=tuple(line(one) for one in own),
        aside=tuple(
            TankLine(
                id=tank.id,
                name=tank.name,
                keeper="",
                size=size_words(tank, who.length_unit),
                told="",
            )
            for tank in aside
        ),
        shared=tuple(line(one) for one in shared),
        shared_count=shared_count,
        page=min(max(page, 1), pages),
        pages=pages,
    )


def on_page(shared: Sequence[tuple[Tank, Member]], page: int) -> Sequence[tuple[Tank, Member]]:
    """The shared tanks on one page of the list, to ask only for what is shown."""
    last = max(1, -(-len(shared) // PER_PAGE))
    start = (min(max(page, 1), last) - 1) * PER_PAGE
    return shared[start : start + PER_PAGE]


def size_words(tank: Tank, unit: str) -> str:
    sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
    return " × ".join(filters.length_number(side, unit) for side in sides) + f" {unit}"


def litres(tank: Tank) -> float:
    return tank.length_cm * tank.width_cm * tank.depth_cm / 1000


def _told(line: ListedTank, volume_unit: str, today: date) -> str:
    """Volume, who lives there or how they fare, and how long the light has stood."""
    stood = sentences.stood_words(line.light_since, today) if line.light_since else ""
    light = f"light {stood}" if stood else "no lamp yet"
    return f"{filters.volume(litres(line.tank), volume_unit)}, {line.living}, {light}"


# The form


def tank_form(who: Member, tank: Tank | None, refused: Refused | None) -> TankFormView:
    """A new tank's form, or a stored one's; as typed when it was refused."""
    unit = who.length_unit
    start = reading.EMPTY if tank is None else reading.values_of(tank, unit)
    values = merged(start, refused)
    errors = refused.errors if refused else {}
    first = {"name", "length", "width", "depth", "water"}
    return TankFormView(
        title="A new tank" if tank is None else f"Change {tank.name}",
        action="/tanks/new" if tank is None else f"/tanks/{tank.id}/edit",
        back="/tanks" if tank is None else f"/tanks/{tank.id}",
        unit=unit,
        values=values,
        errors=errors,
        walls=tuple((side, _wall_options(values[f"wall_{side}"])) for side in reading.SIDES),
        floors=tuple(reading.FLOOR_WORDS.items()),
        waters=tuple(reading.WATER_WORDS.items()),
        more_open=bool(errors.keys() - first),
    )


def _wall_options(value: str) -> tuple[tuple[str, str], ...]:
    known = dict(reading.WALLS)
    try:
        other = () if value in known else ((value, f"returns {float(value):.0%} of the light"),)
    except ValueError:
        other = ()
    return reading.WALLS + other


# A tank's page


@dataclass(frozen=True, kw_only=True)
class TankRows:
    """All that is known about a tank, as its page needs it."""

    told: Told
    setups: Sequence[Setup]
    gone: Sequence[Animal]
    sessions: Sequence[MeasurementSession]


def tank_page(who: Member, tank: Tank, keeper: Member, rows: TankRows) -> TankView:
    """Everything on a tank's page, from its account."""
    unit, told = who.length_unit, rows.told
    own, account, setup, hung = (
        tank.owner_id == who.id,
        told.account,
        told.rows.setup,
        told.rows.hung,
    )
    past = [one for one in rows.setups if one.state == "hung" and (not setup or one.id != setup.id)]
    plans = [one for one in rows.setups if one.state == "plan"] if own else []
    do, do_address = _do(tank, told) if own else ("", "")
    return TankView(
        id=tank.id,
        name=tank.name,
        own=own,
        keeper=keeper.name,
        aside=tank.archived_at is not None,
        answer=_answer(tank, told),
        off=sentences.out_of_range(account.animals),
        do=do,
        do_address=do_address,
        beside=sentences.beside(account, do),
        sure=sentences.certainty(account),
        kind=sentences.basis_words(account.basis),
        setup=None if setup is None else _setup_line(setup),
        stood=_stood(account),
        lamps=tuple(lamp_line(one, unit) for one in hung),
        cautions=accounts.cautions_of(told.rows, unit),
        plans=tuple(_setup_line(one) for one in plans),
        earlier=tuple(_setup_line(one) for one in past),
        animals=tuple(
            _animal_line(one, row.group, unit)
            for one, row in zip(account.animals, told.rows.animals, strict=True)
        ),
        gone=tuple(_gone_line(one) for one in rows.gone),
        facts=_facts(tank, who),
        note=tank.note,
        sessions=len(rows.sessions),
        last_session=filters.day(rows.sessions[0].taken_on) if rows.sessions else "",
        charts=_charts(tank, told, unit) if hung or account.animals else None,
    )


def _stood(account: Glance) -> str:
    if account.light_since is None:
        return ""
    return sentences.stood_words(account.light_since, account.as_of)


def _charts(tank: Tank, told: Told, unit: str) -> Charts:
    kind = sentences.basis_words(told.account.basis)
    return charts(tank, told.plan, told.rows.hung, told.account.animals, unit=unit, kind=kind)


def _answer(tank: Tank, told: Told) -> str:
    if told.light is None:
        return f"No light over {tank.name} yet."
    if not told.account.animals:
        return _empty_answer(tank, told.plan)
    return sentences.headline(told.account.animals)


def _empty_answer(tank: Tank, plan: Plan) -> str:
    depths = (tank.depth_cm / 2,)
    plane = planes(plan.tank, plan.water, plan.emitters, depths_cm=depths, cell_cm=4)[0]
    return (
        f"{tank.name}: {filters.ppfd(plane.mean)} µmol m⁻² s⁻¹ on average at half depth, "
        f"from {filters.ppfd(plane.min)} to {filters.ppfd(plane.max)}."
    )


def _do(tank: Tank, told: Told) -> tuple[str, str]:
    """The account's next step, and the address for doing it."""
    address = f"/tanks/{tank.id}"
    if told.light is None:
        address += "/light"
    elif not told.account.animals:
        address += "/animals/new"
    elif told.rows.due:
        address += "/acclimation"
    else:
        address += "/verdict" if told.light.measured else "/sessions"
    return told.account.next_step, address


def _setup_line(setup: Setup) -> SetupLine:
    plan = setup.state == "plan"
    name = setup.name or ("A plan" if plan else f"Light from {filters.day(setup.since)}")
    told = f"drawn up {filters.day(setup.since)}" if plan else f"from {filters.day(setup.since)}"
    if setup.reason:
        told += f": {setup.reason}"
    return SetupLine(id=setup.id, name=name, told=told)


def _animal_line(one: AnimalLight, group: str, unit: str) -> AnimalLine:
    return AnimalLine(
        id=one.key,
        letter=one.letter,
        name=one.name,
        group=light_group(group),
        place=sentences.place_words((one.x_cm, one.y_cm, one.depth_cm), unit),
        wants=sentences.wants_words(one),
        gets=sentences.gets_words(one),
        spread=sentences.spread_words(one),
        verdict=MARKS[one.verdict],
        verdict_words=sentences.verdict_words(one),
    )


def _gone_line(one: Animal) -> GoneLine:
    left = filters.day(one.left_on) if one.left_on else ""
    return GoneLine(id=one.id, name=one.name, group=light_group(one.group), left=left)


def light_group(key: str) -> str:
    group = BY_KEY.get(key)
    return group.name if group else key


def _facts(tank: Tank, who: Member) -> tuple[tuple[str, str], ...]:
    walls = dict(reading.WALLS)
    sides = ", ".join(
        f"{side} {walls.get(value, value).split(':')[0]}"
        for side in reading.SIDES
        if (value := getattr(tank, f"wall_{side}"))
    )
    head = tank.headroom_cm
    return (
        ("Inside", size_words(tank, who.length_unit)),
        ("Water", f"{filters.volume(litres(tank), who.volume_unit)}, {tank.water}"),
        ("Walls", sides),
        ("Floor", reading.FLOOR_WORDS[tank.floor]),
        ("Cover", "a clear pane" if tank.cover else "open"),
        ("Room above", filters.length(head, who.length_unit) if head else "not stated"),
        ("Seen by", "the club" if tank.shared else "you alone"),
    )
