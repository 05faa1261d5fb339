"""What the list of tanks, a tank's page and its form show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from server.db.light import Scene
from server.db.measured import MeasuredRows
from server.dose.groups import BY_KEY
from server.models import Animal, MeasurementSession, Member, Setup, Tank
from server.optics.field import planes
from server.web import filters
from server.web.measured.words import place
from server.web.tanks import form as reading
from server.web.tanks.charts import Charts, charts
from server.web.tanks.judged import Judged, judge
from server.web.tanks.known_light import KnownLight, known_light
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
    verdict: str
    verdict_words: str


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
    do: str
    do_address: str
    sure: str
    kind: str
    setup: SetupLine | None
    stood: str
    lamps: tuple[LampLine, ...]
    cautions: tuple[str, ...]
    plans: tuple[SetupLine, ...]
    earlier: tuple[SetupLine, ...]
    animals: tuple[AnimalLine, ...]
    gone: tuple[AnimalLine, ...]
    facts: tuple[tuple[str, str], ...]
    note: str
    sessions: int
    last_session: str
    charts: Charts | None


# Lists


def tank_list(
    who: Member,
    own: Sequence[Tank],
    aside: Sequence[Tank],
    shared: Sequence[tuple[Tank, Member]],
    *,
    setups: Mapping[int, Setup],
    animals: Mapping[int, int],
    today: date,
    page: int,
) -> TanksView:
    """Own tanks, then a page of the club's."""
    pages = max(1, -(-len(shared) // PER_PAGE))
    page = min(max(page, 1), pages)
    shown = shared[(page - 1) * PER_PAGE : page * PER_PAGE]

    def line(tank: Tank, keeper: str = "") -> TankLine:
        key = tank.id
        told = _told(tank, setups.get(key), animals.get(key, 0), who.volume_unit, today)
        return TankLine(
            id=key,
            name=tank.name,
            keeper=keeper,
            size=size_words(tank, who.length_unit),
            told=told,
        )

    return TanksView(
        own=tuple(line(tank) for tank in own),
        aside=tuple(line(tank) for tank in aside),
        shared=tuple(line(tank, keeper.name) for tank, keeper in shown),
        shared_count=len(shared),
        page=page,
        pages=pages,
    )


def shown_ids(shared: Sequence[tuple[Tank, Member]], page: int) -> list[int]:
    """Ids of the shared tanks on one page, to ask only for what is shown."""
    start = (max(page, 1) - 1) * PER_PAGE
    return [tank.id for tank, _ in shared[start : start + PER_PAGE]]


def size_words(tank: Tank, unit: str) -> str:
    sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
    return " × ".join(filters.length_number(side, unit) for side in sides) + f" {unit}"


def litres(tank: Tank) -> float:
    return tank.length_cm * tank.width_cm * tank.depth_cm / 1000


def stood_words(since: date, today: date) -> str:
    """How long a light has been the same, as people say it."""
    days = (today - since).days
    if days < 1:
        return "set today"
    if days < 60:
        return f"unchanged for {filters.count(days, 'day')}"
    return f"unchanged for {filters.count(round(days / 30.44), 'month')}"


def _told(tank: Tank, setup: Setup | None, animals: int, volume_unit: str, today: date) -> str:
    light_words = f"light {stood_words(setup.since, today)}" if setup else "no lamp yet"
    living = filters.count(animals, "animal") if animals else "no animals yet"
    return f"{filters.volume(litres(tank), volume_unit)}, {living}, {light_words}"


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
    """All that is stored about a tank, as its page needs it."""

    lit: MeasuredRows | None
    """The current setup with its lamps and readings; None where nothing ever hung."""
    setups: Sequence[Setup]
    animals: Sequence[Animal]
    gone: Sequence[Animal]
    sessions: Sequence[MeasurementSession]
    today: date


def tank_page(who: Member, tank: Tank, keeper: Member, rows: TankRows) -> TankView:
    """Everything on a tank's page; lights the tank once for the verdicts and charts."""
    unit, animals, sessions = who.length_unit, rows.animals, rows.sessions
    setup, hung = (rows.lit.setup, rows.lit.hung) if rows.lit else (None, ())
    known = known_light(rows.lit, animals)
    answer, do, do_address = _answer(tank, known, own=tank.owner_id == who.id)
    past = [one for one in rows.setups if one.state == "hung" and (not setup or one.id != setup.id)]
    plans = [one for one in rows.setups if one.state == "plan"] if tank.owner_id == who.id else []
    return TankView(
        id=tank.id,
        name=tank.name,
        own=tank.owner_id == who.id,
        keeper=keeper.name,
        aside=tank.archived_at is not None,
        answer=answer,
        do=do,
        do_address=do_address,
        sure=known.sure,
        kind=known.kind,
        setup=None if setup is None else _setup_line(setup),
        stood="" if setup is None else stood_words(setup.since, rows.today),
        lamps=tuple(lamp_line(one, unit) for one in hung),
        cautions=tuple(word for one in hung for word in lamp_line(one, unit, tank).cautions),
        plans=tuple(_setup_line(one) for one in plans),
        earlier=tuple(_setup_line(one) for one in past),
        animals=tuple(_animal_line(one, unit) for one in known.judged),
        gone=tuple(_gone_line(one, unit) for one in judge(rows.gone, None)),
        facts=_facts(tank, who),
        note=tank.note,
        sessions=len(sessions),
        last_session=filters.day(sessions[0].taken_on) if sessions else "",
        charts=charts(tank, known.scene, hung, known.judged, unit=unit, kind=known.kind)
        if hung or animals
        else None,
    )


def _answer(tank: Tank, known: KnownLight, *, own: bool) -> tuple[str, str, str]:
    """Answer, what to do, and the address for doing it."""
    if known.scene is None or not known.scene.emitters:
        do = "Hang a lamp over it, and its light can be planned." if own else ""
        return f"No light over {tank.name} yet.", do, f"/tanks/{tank.id}/light"
    if not known.judged:
        do = "Say who lives where, and each animal gets its verdict." if own else ""
        return _empty_answer(tank, known.scene), do, f"/tanks/{tank.id}/animals/new"
    words = _animals_answer(tank, known.judged)
    answer = words[0].upper() + words[1:] if known.measured else f"As planned, {words}"
    return answer, *_animals_do(tank, known)


def _empty_answer(tank: Tank, scene: Scene) -> str:
    depths = (tank.depth_cm / 2,)
    plane = planes(scene.tank, scene.water, scene.emitters, depths_cm=depths, cell_cm=4)[0]
    return (
        f"{tank.name}: {filters.ppfd(plane.mean)} µmol m⁻² s⁻¹ on average at half depth, "
        f"from {filters.ppfd(plane.min)} to {filters.ppfd(plane.max)}."
    )


def _animals_answer(tank: Tank, judged: Sequence[Judged]) -> str:
    """What the animals get, as the end of a sentence."""
    right = [one for one in judged if one.verdict == "within"]
    if len(right) == len(judged):
        everyone = "the one animal" if len(judged) == 1 else f"all {len(judged)} animals"
        gets = "gets the light it" if len(judged) == 1 else "get the light they"
        return f"{everyone} in {tank.name} {gets} should."
    wrong = [one for one in judged if one.verdict in ("above", "below")]
    so_far = f"{len(right)} of {filters.count(len(judged), 'animal')} in {tank.name} are in range"
    if not wrong:
        unsure = len(judged) - len(right)
        return f"{so_far}; of {'one' if unsure == 1 else unsure} it is not known."
    worst = max(wrong, key=_off)
    ppfd = filters.ppfd(worst.ppfd or 0)
    if len(judged) == 1:
        return f"{worst.animal.name} in {tank.name} is {worst.words} at {ppfd} µmol m⁻² s⁻¹."
    return f"{so_far}; {worst.animal.name} is {worst.words} at {ppfd} µmol m⁻² s⁻¹."


def _off(one: Judged) -> float:
    """How far outside its range an animal is, as a ratio."""
    ppfd = max(one.ppfd or 0.0, 1.0)
    return max(one.animal.low_ppfd / ppfd, ppfd / max(one.animal.high_ppfd, 1.0))


def _animals_do(tank: Tank, known: KnownLight) -> tuple[str, str]:
    verdicts = {one.verdict for one in known.judged}
    if verdicts & {"above", "below"}:
        if known.measured:
            return "See the one change that would help most.", f"/tanks/{tank.id}/verdict"
        return "See what would help, and where to measure first.", f"/tanks/{tank.id}/verdict"
    if not known.measured:
        return "Prove it under water: measure a few points.", f"/tanks/{tank.id}/sessions"
    if "unknown" in verdicts:
        return "See where one more reading would settle it.", f"/tanks/{tank.id}/verdict"
    return "Leave it alone, and look again at the next check.", f"/tanks/{tank.id}/history"


def _setup_line(setup: Setup) -> SetupLine:
    plan = setup.state == "plan"
    name = setup.name or ("A plan" if plan else f"Light from {filters.day(setup.since)}")
    told = f"drawn up {filters.day(setup.since)}" if plan else f"from {filters.day(setup.since)}"
    if setup.reason:
        told += f": {setup.reason}"
    return SetupLine(id=setup.id, name=name, told=told)


def _animal_line(one: Judged, unit: str) -> AnimalLine:
    animal = one.animal
    return AnimalLine(
        id=animal.id,
        letter=one.letter,
        name=animal.name,
        group=light_group(animal.group),
        place=place((animal.x_cm, animal.y_cm, animal.depth_cm), unit),
        wants=one.range_words,
        gets="–" if one.ppfd is None else filters.ppfd(one.ppfd),
        verdict=one.verdict,
        verdict_words=one.words,
    )


def _gone_line(one: Judged, unit: str) -> AnimalLine:
    line = _animal_line(one, unit)
    left = one.animal.left_on
    return AnimalLine(**vars(line) | {"verdict_words": filters.day(left) if left else ""})


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
