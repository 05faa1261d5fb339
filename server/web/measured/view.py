"""What the verdict page shows."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.account import sentences
from server.account.cuts import Cuts
from server.account.known_light import KnownLight
from server.db import accounts
from server.db.accounts import Told
from server.db.light import lamp_labels
from server.db.measured import Measured
from server.db.tanks import place_of
from server.drawing import legend
from server.models import Meter, Setup, Tank
from server.surveys import explanation
from server.surveys.next_reading import NextReading, next_reading
from server.web import chart_levels, filters
from server.web import three_views as draw
from server.web.animal_rows import AnimalRow, animal_rows
from server.web.forms import shown_length
from server.web.measured import charts, facts, readings_view, words
from server.web.measured.readings_view import MisfitRow, ReadingRow
from server.web.plan_address import plan_address
from server.web.three_views import Drawings, Picture, Sounded


@dataclass(frozen=True, kw_only=True)
class LampRow:
    """What was learnt about one lamp, and whether it is kept on the shelf."""

    hung_id: int
    model_id: int
    kept: bool
    name: str
    output: str
    beam: str


@dataclass(frozen=True, kw_only=True)
class VerdictView:
    """The whole page."""

    tank_id: int
    tank_name: str
    own: bool
    setup_id: int
    setup_words: str
    unit: str
    measured: bool
    kind: str
    answer: str
    told: str
    do: str
    try_address: str
    brighter: bool
    cautions: tuple[str, ...]
    sure: str
    next_words: str
    next_address: str
    next_why: str
    worth_it: bool
    wide: Drawings
    narrow: Drawings
    legend: legend.Legend
    rows: tuple[AnimalRow, ...]
    findings: tuple[str, ...]
    drift: str
    replaced: str
    misfits: tuple[MisfitRow, ...]
    not_used: str
    readings: tuple[ReadingRow, ...]
    typical: str
    factors: tuple[tuple[str, str], ...]
    lamps: tuple[LampRow, ...]
    shared: bool
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class Subject:
    """What was loaded for the page, and what was made of it.

    light: the account's own, which is there. kept: hung lamps whose measurement is kept on the
    shelf. depth_cm: of the view from above.
    """

    told: Told
    light: KnownLight
    setup: Setup
    meters: dict[int, Meter]
    kept: frozenset[int]
    own: bool
    is_current: bool
    unit: str
    depth_cm: float

    @property
    def tank(self) -> Tank:
        return self.told.rows.tank

    @property
    def readings(self) -> Measured | None:
        """What the readings made, of this light or of the same lamps before."""
        return self.told.measured


def verdict_page(of: Subject) -> VerdictView:
    account, unit, found = of.told.account, of.unit, of.readings
    proposal = account.proposal
    following = next_reading(of.light.map, animals=of.told.rows.living)
    drawn = _drawn(of)
    learnt = _learnt(of, found) if found is not None else _Learnt()
    return VerdictView(
        tank_id=of.tank.id,
        tank_name=of.tank.name,
        own=of.own,
        setup_id=of.setup.id,
        setup_words=_setup_words(of),
        unit=unit,
        measured=of.light.measured,
        kind=sentences.basis_words(account.basis),
        answer=sentences.headline(account.animals, _tense(of)),
        told=sentences.out_of_range(account.animals),
        do=sentences.proposal_words(account),
        try_address=_try(of),
        brighter=proposal is not None and proposal.brighter,
        cautions=sentences.beside(account, sentences.proposal_words(account)),
        sure=sentences.certainty(account),
        next_words=words.next_words(following, unit),
        next_address=_next_address(of, following),
        next_why=following.why,
        worth_it=following.worth_it,
        wide=draw.wide(drawn),
        narrow=draw.narrow(drawn),
        legend=legend.legend(chart_levels.PPFD, width=300.0, title="PPFD, µmol m⁻² s⁻¹"),
        rows=animal_rows(account.animals, unit),
        findings=learnt.findings,
        drift=learnt.drift,
        replaced=learnt.replaced,
        misfits=learnt.misfits,
        not_used=learnt.not_used,
        readings=learnt.readings,
        typical=learnt.typical,
        factors=learnt.factors,
        lamps=learnt.lamps,
        shared=of.tank.shared,
        facts=facts.worked_out(of.light.map),
    )


@dataclass(frozen=True, kw_only=True)
class _Learnt:
    """What the readings told besides the light."""

    findings: tuple[str, ...] = ()
    drift: str = ""
    replaced: str = ""
    misfits: tuple[MisfitRow, ...] = ()
    not_used: str = ""
    readings: tuple[ReadingRow, ...] = ()
    typical: str = ""
    factors: tuple[tuple[str, str], ...] = ()
    lamps: tuple[LampRow, ...] = ()


def _learnt(of: Subject, found: Measured) -> _Learnt:
    return _Learnt(
        findings=tuple(told.words for told in explanation.explained(found.map)),
        drift=words.drift_words(found.change) if found.change else "",
        replaced=readings_view.replaced(found),
        misfits=readings_view.misfits(found, of.unit),
        not_used=readings_view.not_used(found),
        readings=readings_view.readings(found, of.unit),
        typical=readings_view.typical(found),
        factors=tuple(facts.factors(one, of.meters) for one in found.used),
        lamps=_lamps(found, lamp_labels(found.rows.hung), of.kept),
    )


def _tense(of: Subject) -> sentences.Tense:
    if of.setup.state == "plan":
        return "would"
    return "is" if of.is_current else "was"


def _setup_words(of: Subject) -> str:
    setup = of.setup
    name = f"“{setup.name}”" if setup.name else "the setup"
    since = filters.day(setup.since)
    if setup.state == "plan":
        return f"{name}, a plan drawn up on {since}"
    return f"{name} of {since}, {'hanging now' if of.is_current else 'replaced since'}"


def _cuts(of: Subject) -> Cuts:
    tank = of.tank
    return Cuts(depth_cm=of.depth_cm, front_y_cm=tank.width_cm / 2, side_x_cm=tank.length_cm / 2)


def _drawn(of: Subject) -> Picture:
    rows, cuts = of.told.rows, _cuts(of)
    light, doubt = charts.measured_views(of.light.map, cuts)
    taken_now = of.light.basis == "measured"
    return Picture(
        tank=rows.tank,
        hung=rows.hung,
        places=[place_of(one.row) for one in rows.hung],
        animals=of.told.account.animals,
        cuts=cuts,
        light=light,
        levels=chart_levels.AMONG_ROCKS if rows.tank.furnishing else chart_levels.PPFD,
        unit=of.unit,
        soundings=[
            Sounded(x_cm=one.x_cm, y_cm=one.y_cm, depth_cm=one.depth_cm, ppfd=one.ppfd)
            for one in (of.light.map.used if taken_now else ())
        ],
        doubt=doubt,
        kind=sentences.basis_words(of.light.basis),
    )


# What to do


def _try(of: Subject) -> str:
    """The plan page with the change tried; empty where it moves an animal or nothing helps."""
    tried = accounts.tried(of.told) if of.light.measured else None
    if tried is None:
        return ""
    hung = [place_of(one.row) for one in of.told.rows.hung]
    return plan_address(of.tank.id, of.setup.id, hung, tried, of.unit)


def _next_address(of: Subject, following: NextReading) -> str:
    """Entry by the tank at that very place; a new session where there is none to go on with."""
    if not of.own:
        return ""
    if of.readings is None or of.light.basis != "measured":
        return f"/tanks/{of.tank.id}/sessions/new"
    at = {
        name: shown_length(value, of.unit)
        for name, value in (
            ("x", following.x_cm),
            ("y", following.y_cm),
            ("depth", following.depth_cm),
        )
    }
    return f"/sessions/{of.readings.rows.surveys[-1].session.id}/enter?{urlencode(at)}"


def _lamps(found: Measured, names: Sequence[str], kept: frozenset[int]) -> tuple[LampRow, ...]:
    beam = found.map.fit.beam_deg
    told = f"{beam.value:.0f}° ({beam.low:.0f}–{beam.high:.0f}°)" if beam else "as its table says"
    return tuple(
        LampRow(
            hung_id=one.row.id,
            model_id=one.stated.row.id,
            kept=(one.row.id) in kept,
            name=f"{name}, {one.stated.row.name}" if len(names) > 1 else name,
            output=(
                f"{filters.percent(factor.value)} of what is stated "
                f"({filters.number(100 * factor.low)}–{filters.percent(factor.high)})"
            ),
            beam=told,
        )
        for one, name, factor in zip(
            found.rows.hung, names, found.map.fit.lamp_factors, strict=True
        )
    )
