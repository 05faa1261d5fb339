"""The account of a tank's light: its rows loaded in a transaction, the rest worked out after.

    with club.read() as db:
        rows = accounts.rows_of(db, tank, today=today)
    found = accounts.account(rows)

Readings under what hangs count first; where there are none, those of the latest earlier setup
with the same lamps are carried over. What was worked out is remembered by content.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session, col, select

from server.account import cautions, proposing, reckoning
from server.account import unmeasured as plans
from server.account.account import Account, Glance, Proposal, ToType
from server.account.carried import carried
from server.account.change import Kind
from server.account.known_light import KnownLight
from server.account.reckoning import Resident, Standing
from server.account.unmeasured import stated_light
from server.account.way import next_words
from server.db import abilities, days, light, measured, tanks
from server.db.brightest import at_brightest
from server.db.daylight import LampDay, lamp_days, light_at, lit_parts, part_days
from server.db.days import GroupDay
from server.db.light import Hung
from server.db.measured import Measured, MeasuredRows
from server.db.tanks import LampPlace
from server.db.typed_now import WayRows, lamps_typed, typed, way_rows
from server.dose.day import added, course, hours_at_or_above
from server.dose.together import light_of, shape_of
from server.models import Animal, MeasurementSession, Schedule, Setup, Tank
from server.surveys.plan import Animal as Living
from server.surveys.plan import Plan

Floats = NDArray[np.float64]

MOONLIGHT = 0.02
"""Share of the day's brightest moment below which light counts as a moon's (our judgement)."""


@dataclass(frozen=True, kw_only=True)
class AccountRows:
    """Everything the account of one setup of a tank rests on, read once.

    setup: None where nothing ever hung. readings: of the setup they were taken under, which may
    be an earlier one. hung: as stated where readings put the lamps right, else as the club
    knows them. way: the way to another light that the tank is on.
    """

    tank: Tank
    setup: Setup | None
    hung: tuple[Hung, ...]
    readings: MeasuredRows | None
    schedule: Schedule | None
    days: tuple[GroupDay, ...]
    animals: tuple[Animal, ...]
    today: date
    way: WayRows | None = None

    @property
    def due(self) -> str:
        """Where the way stands and what it asks for; empty where the tank is on none."""
        return next_words(self.way.way, self.today) if self.way is not None else ""

    @property
    def light_since(self) -> date | None:
        """When lamps or day last changed."""
        dates = [row.since for row in (self.setup, self.schedule) if row is not None]
        return max(dates, default=None) if self.setup is not None else None

    @cached_property
    def lamps(self) -> tuple[LampDay, ...]:
        """The day of each lamp model; empty where no day is set."""
        control = self.schedule.control if self.schedule is not None else ""
        return lamp_days(self.hung, self.days, control=control) if self.days else ()

    @cached_property
    def brightest(self) -> tuple[Hung, ...]:
        """The lamps as they stand at the brightest moment of the day."""
        return at_brightest(self.hung, self.lamps) if self.lamps else self.hung

    @cached_property
    def living(self) -> tuple[Living, ...]:
        """The animals as the map takes them."""
        return living(self.animals, self.tank)


# Loading


def rows_of(db: Session, tank: Tank, *, today: date, setup: Setup | None = None) -> AccountRows:
    """Rows of what hangs now, or of one setup. Call inside a transaction."""
    current = tanks.current_setup(db, tank.id)
    chosen = setup or current
    hangs = chosen is None or (current is not None and chosen.id == current.id)
    readings = None if chosen is None else _readings(db, tank, chosen, today)
    ended = None if chosen is None else _last_day(db, chosen)
    ran = days.schedule_on(db, tank.id, ended or today)
    return AccountRows(
        tank=tank,
        setup=chosen,
        hung=()
        if chosen is None
        else light.hung_over(db, chosen.id, as_stated=readings is not None),
        readings=readings,
        schedule=ran,
        days=days.days_of(db, ran.id) if ran is not None else (),
        animals=tuple(tanks.animals_of(db, tank.id, on=ended)),
        today=today,
        way=way_rows(db, tank.id, today=today) if hangs else None,
    )


def _last_day(db: Session, setup: Setup) -> date | None:
    """The last day of a setup that another took over from; its day and animals are of then."""
    if setup.state == "plan":
        return None
    after = tanks.followed_on(db, setup)
    return None if after is None else max(setup.since, after - timedelta(days=1))


def _readings(db: Session, tank: Tank, setup: Setup, today: date) -> MeasuredRows | None:
    """The readings that speak for a setup: its own, else those under the same lamps before."""
    measured_ones = _measured_setups(db, tank.id)
    if setup.id in measured_ones:
        own = measured.rows_of(db, tank, setup)
        if _any(own):
            return own
    lamps = _models(db, setup)
    for earlier in tanks.setups_of(db, tank.id):
        if earlier.id not in measured_ones or earlier.id == setup.id:
            continue
        if earlier.state != "hung" or not _before(earlier, setup, today):
            continue
        rows = measured.rows_of(db, tank, earlier)
        if _any(rows) and sorted(one.stated.row.id for one in rows.hung) == lamps:
            return rows
    return None


def _before(earlier: Setup, setup: Setup, today: date) -> bool:
    if setup.state == "plan":
        return earlier.since <= today
    return (earlier.since, earlier.id) < (setup.since, setup.id)


def _measured_setups(db: Session, tank_id: int) -> set[int | None]:
    asked = select(MeasurementSession.setup_id).where(
        MeasurementSession.tank_id == tank_id,
        MeasurementSession.kind == "points",
        col(MeasurementSession.removed_at).is_(None),
    )
    return set(db.exec(asked.distinct()))


def _models(db: Session, setup: Setup) -> list[int]:
    return sorted(one.stated.row.id for one in light.hung_over(db, setup.id, as_stated=True))


def _any(rows: MeasuredRows) -> bool:
    return any(survey.readings for survey in rows.surveys)


def light_since(db: Session, tank_ids: Sequence[int]) -> dict[int, date]:
    """When lamps or day of each of many tanks last changed, in two questions."""
    hung = {key: row.since for key, row in tanks.current_setups(db, tank_ids).items()}
    ran = {key: row.since for key, row in days.current_schedules(db, tank_ids).items()}
    return {key: max(since, ran.get(key, since)) for key, since in hung.items()}


# Working out


@dataclass(frozen=True)
class _Asked:
    """Rows of an account, alike when everything in them that bears on the light is alike."""

    content: tuple[object, ...]
    rows: AccountRows = field(compare=False)


@dataclass(frozen=True, kw_only=True, eq=False)
class TankLight:
    """The light of an account's rows. measured: the map its readings made; None without any."""

    light: KnownLight
    measured: Measured | None


def tank_light(rows: AccountRows) -> TankLight | None:
    """The light as known best; None where none falls on the tank."""
    if rows.setup is None:
        return None
    return _tank_light(_Asked((*_content(rows), _read(rows)), rows))


def _content(rows: AccountRows) -> tuple[object, ...]:
    return (rows.setup.id if rows.setup else 0, *light.content_of(rows.tank, rows.brightest))


def _read(rows: AccountRows) -> tuple[object, ...]:
    if rows.readings is None:
        return ()
    return (rows.readings.setup.id, *measured.content_of(rows.readings))


@lru_cache(maxsize=256)
def _tank_light(asked: _Asked) -> TankLight | None:
    rows = asked.rows
    plan = measured.plan_over(rows.tank, rows.brightest)
    if not any(emitter.ppf_umol_s > 0 for emitter in plan.emitters):
        return None
    found = measured.measured(rows.readings) if rows.readings is not None else None
    if found is None or not found.measured or rows.setup is None:
        return TankLight(light=unmeasured(plan), measured=None)
    own = found.rows.setup.id == rows.setup.id
    known = KnownLight(
        basis="measured" if own else "carried",
        map=carried(found.map, plan, order=_order(found.rows.hung, rows.hung)),
        readings_on=tuple(sorted({one.session.taken_on for one in found.used})),
    )
    return TankLight(light=known, measured=found)


def unmeasured(plan: Plan) -> KnownLight:
    """The light of a plan that nobody measured."""
    return KnownLight(basis="planned", map=plans.unmeasured(plan))


def _order(then: Sequence[Hung], now: Sequence[Hung]) -> tuple[int, ...]:
    """For each lamp now which of those measured it is; empty where the order is the same."""
    free = list(range(len(then)))
    found = []
    for one in now:
        place = next(n for n in free if then[n].stated.row.id == one.stated.row.id)
        free.remove(place)
        found.append(place)
    return () if found == sorted(found) else tuple(found)


@dataclass(frozen=True, kw_only=True)
class Told:
    """An account with what it was made of; each part is worked out when it is first asked for.

    unit: of lengths in its words. light: None where none falls on the tank. measured: what the
    readings made; None without.
    """

    rows: AccountRows
    unit: str
    light: KnownLight | None
    measured: Measured | None

    @cached_property
    def glance(self) -> Glance:
        """What everybody gets and how sure that is, without the work of a proposal."""
        return reckoning.glance(
            self.light,
            residents(self.rows),
            as_of=self.rows.today,
            light_since=self.rows.light_since,
        )

    @cached_property
    def account(self) -> Account:
        """On a way nothing else is proposed: until it ends, the light is not to be touched."""
        rows = self.rows
        standing = Standing(set_now=_set_now(rows), due=rows.due)
        proposal = rows.due or _proposal(rows, self.light, self.unit)
        return reckoning.account(self.glance, self.light, proposal, standing)

    @property
    def plan(self) -> Plan:
        """Lamps over the tank with their numbers put right, as the engine takes them."""
        if self.light is not None:
            return self.light.corrected
        return measured.plan_over(self.rows.tank, self.rows.hung)


def told(rows: AccountRows, *, unit: str = "cm") -> Told:
    """The account of the rows on their day, and the light it rests on."""
    found = tank_light(rows)
    return Told(
        rows=rows,
        unit=unit,
        light=found.light if found else None,
        measured=found.measured if found else None,
    )


def account(rows: AccountRows, *, unit: str = "cm") -> Account:
    """The account alone."""
    return told(rows, unit=unit).account


def _set_now(rows: AccountRows) -> tuple[ToType, ...]:
    """Every number to type now, lamp by lamp, channel by channel, time by time."""
    hangs = lamps_typed(rows.hung, rows.schedule, rows.days, rows.today)
    now = typed(hangs, rows.way, on=rows.today).now
    return tuple(line for lamp in now for line in lamp.lines)


def _proposal(rows: AccountRows, known: KnownLight | None, unit: str) -> Proposal | str:
    if known is None:
        return "No lamp lights this tank yet."
    hanging = abilities.hanging_of(rows.tank, rows.hung)
    return proposing.proposed(
        known,
        rows.living,
        hanging,
        unit=unit,
        floor="sand" if rows.tank.floor.endswith("sand") else "floor",
        lit_hours=_bright_hours(rows),
    )


def _bright_hours(rows: AccountRows) -> float | None:
    """Hours a day of more than moonlight; None without a day."""
    if not rows.lamps:
        return None
    groups = [group for lamp in rows.lamps for group in lamp.fit.groups]
    whole = added(course(group.day, peak_ppfd=group.share) for group in groups)
    return hours_at_or_above(whole, MOONLIGHT * whole.peak_ppfd) if whole.peak_ppfd > 0 else 0.0


def residents(rows: AccountRows) -> tuple[Resident, ...]:
    """The animals with what their day makes of each unit of light."""
    doses = _mol_per_ppfd(rows)
    return tuple(
        Resident(key=row.id, animal=one, mol_per_ppfd=dose)
        for row, one, dose in zip(rows.animals, rows.living, doses, strict=True)
    )


def _mol_per_ppfd(rows: AccountRows) -> list[float] | list[None]:
    """Dose over light at the day's peak for each animal, by the plan's own figures."""
    if not rows.lamps or not rows.animals:
        return [None] * len(rows.animals)
    content = (*_content(rows), *_day_content(rows))
    return list(_dose_shares(_Asked((*content, *_places(rows)), rows)))


def _day_content(rows: AccountRows) -> tuple[object, ...]:
    return tuple((lamp.lamp_model_id, lamp.places, lamp.fit.groups) for lamp in rows.lamps)


def _places(rows: AccountRows) -> tuple[tuple[float, float, float], ...]:
    return tuple((one.x_cm, one.y_cm, one.depth_cm) for one in rows.living)


@lru_cache(maxsize=256)
def _dose_shares(asked: _Asked) -> tuple[float, ...]:
    rows = asked.rows
    full = light_at(rows.tank, lit_parts(rows.tank, rows.hung, rows.lamps), rows.animals)
    through_day = light_of(full, shape_of(part_days(rows.lamps)))
    brightest = stated_light(
        measured.plan_over(rows.tank, rows.brightest), np.array(_places(rows), dtype=np.float64)
    )
    return tuple(float(share) for share in through_day.dli / np.maximum(brightest, 1e-9))


def over_plan(rows: AccountRows, points_cm: Floats) -> Floats:
    """The light as known over that of stated figures at places (n, 3) [cm]; 1 where it is dark."""
    found = tank_light(rows)
    if found is None or not len(points_cm):
        return np.ones(len(points_cm))
    return found.light.over_plan(points_cm)


def living(animals: Sequence[Animal], tank: Tank) -> tuple[Living, ...]:
    """Animals as the map takes them; those a smaller tank left outside at the nearest place."""
    return tuple(
        Living(
            name=one.name,
            x_cm=min(one.x_cm, tank.length_cm),
            y_cm=min(one.y_cm, tank.width_cm),
            depth_cm=min(one.depth_cm, tank.depth_cm),
            low_ppfd=one.low_ppfd,
            high_ppfd=one.high_ppfd,
        )
        for one in animals
    )


def plan_if(rows: AccountRows, hung: Sequence[Hung]) -> Plan:
    """The plan with the same lamps hung otherwise, their day as it runs now."""
    lamps = rows.lamps
    return measured.plan_over(rows.tank, at_brightest(hung, lamps) if lamps else hung)


def cautions_of(rows: AccountRows, unit: str) -> tuple[str, ...]:
    """What is worth a second look about the lamps as they hang."""
    found = (cautions.cautions(hanging_in(rows.tank, one), unit) for one in rows.hung)
    return tuple(words for lamp in found for words in lamp)


def hanging_in(tank: Tank, one: Hung) -> cautions.Hanging:
    """A hung lamp as cautions look at it."""
    row, lamp = one.row, one.stated.lamp
    return cautions.Hanging(
        name=one.stated.row.name,
        kind=lamp.kind,
        control=lamp.control,
        x_cm=row.x_cm,
        y_cm=row.y_cm,
        height_cm=row.height_cm,
        power=row.power,
        sides_cm=(tank.length_cm, tank.width_cm),
        least_height_cm=lamp.min_height_cm,
        most_height_cm=lamp.max_height_cm,
        headroom_cm=tank.headroom_cm,
        estimated=one.stated.estimated,
        low_ppf_umol_s=one.stated.low_ppf_umol_s,
        high_ppf_umol_s=one.stated.high_ppf_umol_s,
    )


_MOVES = (Kind.POWER, Kind.HEIGHT, Kind.LAMP_PLACE)


def tried(of: Told) -> tuple[LampPlace, ...] | None:
    """The lamps as the proposal would have them; None where it turns, lifts and moves none."""
    proposal = of.account.proposal
    if proposal is None or proposal.change.kind not in _MOVES:
        return None
    return tuple(
        replace(
            tanks.place_of(one.row),
            x_cm=then.x_cm,
            y_cm=then.y_cm,
            height_cm=then.height_cm,
            power=then.power,
        )
        for one, then in zip(of.rows.hung, proposal.change.after, strict=True)
    )
