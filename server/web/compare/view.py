"""What the comparison of setups shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.comparing.side_by_side import Figures, figures, unfair
from server.db.comparisons import SetupRows
from server.drawing.tank_view import TankView
from server.models import Member, Setup, Tank
from server.web import filters
from server.web.compare import chart
from server.web.compare.form import Wanted
from server.web.compare.lines import Line, Sided, lines
from server.web.forms import shown_length


@dataclass(frozen=True, kw_only=True)
class Column:
    """One setup at the head of the table."""

    setup_id: int
    tank_id: int
    name: str
    told: str
    own: bool
    chart: TankView | None
    chart_narrow: TankView | None


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A setup that can be chosen."""

    setup_id: int
    name: str
    told: str
    chosen: bool


@dataclass(frozen=True, kw_only=True)
class CompareView:
    answer: str
    do: str
    sure: str
    columns: tuple[Column, ...]
    lines: tuple[Line, ...]
    reserves: tuple[str, ...]
    depth_words: str
    front: bool
    own: tuple[Choice, ...]
    shared: tuple[Choice, ...]
    more: bool
    usual: Mapping[str, str]
    here: str


def compare_page(
    who: Member,
    asked: Wanted,
    sided: Sequence[Sided],
    *,
    own: Sequence[tuple[Setup, Tank]],
    shared: Sequence[tuple[Setup, Tank, Member]],
    more: bool,
    price_per_kwh: float,
    currency: str,
    here: str,
) -> CompareView:
    depths = asked.depths_cm or (_usual_depth(sided),)
    unit = who.length_unit
    found = [
        figures(
            one.side,
            depths_cm=depths,
            low_ppfd=asked.low_ppfd,
            high_ppfd=asked.high_ppfd,
            price_per_kwh=price_per_kwh,
        )
        for one in sided
    ]
    return CompareView(
        answer=_answer(sided, found, filters.length(depths[0], unit)),
        do=_do(sided),
        sure=_sure(sided),
        columns=_columns(who, sided, depths[0], front=asked.front),
        lines=lines(sided, found, asked, depths, unit, currency),
        reserves=unfair([one.side for one in sided], depths) if len(sided) > 1 else (),
        depth_words=filters.length(depths[0], unit),
        front=asked.front,
        own=tuple(_choice(setup, tank, "yours", asked) for setup, tank in own),
        shared=tuple(_choice(setup, tank, keeper.name, asked) for setup, tank, keeper in shared),
        more=more,
        usual={
            "depth": shown_length(depths[0], unit),
            "low": f"{asked.low_ppfd:g}",
            "high": f"{asked.high_ppfd:g}",
        },
        here=here,
    )


def address_of(asked: Wanted, values: Mapping[str, str]) -> str:
    """The address of this comparison, as it can be sent on."""
    typed = [("s", str(setup)) for setup in asked.setups]
    names = ("depth", "low", "high", "view")
    return "/compare?" + urlencode(typed + [(n, values[n]) for n in names if values[n]])


def _usual_depth(sided: Sequence[Sided]) -> float:
    """Where the animals of all the tanks sit, or a third down the shallowest of them."""
    shallowest = min((one.rows.tank.depth_cm for one in sided), default=60.0)
    depths = sorted(a.depth_cm for one in sided for a in one.rows.animals)
    usual = depths[len(depths) // 2] if depths else shallowest / 3
    return round(min(usual, shallowest))


def _answer(sided: Sequence[Sided], found: Sequence[Figures], depth_words: str) -> str:
    if not sided:
        return "Put setups side by side"
    light = [at.mean_ppfd for figure in found if (at := figure.at[0]) is not None]
    names = [_name(one) for one, figure in zip(sided, found, strict=True) if figure.at[0]]
    if len(light) < 2:
        return f"{_name(sided[0])}, ready to be compared"
    most, least = max(light), min(light)
    if least <= 0 or most / least < 1.03:
        return f"All give the same light {depth_words} down, within 3 %."
    brighter, dimmer = names[light.index(most)], names[light.index(least)]
    by = filters.percent(most / least - 1)
    return f"{brighter} gives {by} more light {depth_words} down than {dimmer}."


def _do(sided: Sequence[Sided]) -> str:
    if not sided:
        return "Tick two to four below: yours, an earlier one, a plan, or another member's."
    return "Tick one more to compare it with." if len(sided) == 1 else ""


def _sure(sided: Sequence[Sided]) -> str:
    return " ".join(f"{_name(one)}: {one.measured_words}." for one in sided)


def _columns(
    who: Member, sided: Sequence[Sided], depth_cm: float, *, front: bool
) -> tuple[Column, ...]:
    if not sided:
        return ()
    sides = [one.side for one in sided]
    wide = chart.per_cm_for(sides, room=270.0 if len(sided) == 3 else 440.0)
    narrow = chart.per_cm_for(sides, room=268.0)
    headroom = 12 + max((one.row.height_cm for x in sided for one in x.rows.hung), default=0.0)
    columns = []
    for one in sided:
        drawn = [
            chart.drawn(
                one.side,
                one.rows,
                name=_name(one),
                depth_cm=depth_cm,
                unit=who.length_unit,
                per_cm=per_cm,
                headroom=headroom if front else None,
            )
            for per_cm in (wide, narrow)
        ]
        columns.append(
            Column(
                setup_id=one.rows.setup.id,
                tank_id=one.rows.tank.id,
                name=_name(one),
                told=_told(who, one.rows),
                own=one.rows.tank.owner_id == who.id,
                chart=drawn[0],
                chart_narrow=drawn[1],
            )
        )
    return tuple(columns)


def _name(one: Sided) -> str:
    setup = one.rows.setup
    if setup.name:
        return f"{one.rows.tank.name}, {setup.name}"
    if setup.state == "plan":
        return f"{one.rows.tank.name}, a plan"
    return one.rows.tank.name if one.rows.current else f"{one.rows.tank.name}, {_since(setup)}"


def _since(setup: Setup) -> str:
    return f"from {filters.day(setup.since)}"


def _told(who: Member, rows: SetupRows) -> str:
    sides = (rows.tank.length_cm, rows.tank.width_cm, rows.tank.depth_cm)
    size = " × ".join(filters.length_number(side, who.length_unit) for side in sides)
    keeper = "yours" if rows.tank.owner_id == who.id else f"{rows.keeper.name}'s"
    return f"{keeper}, {size} {who.length_unit}"


def _choice(setup: Setup, tank: Tank, keeper: str, asked: Wanted) -> Choice:
    what = "a plan" if setup.state == "plan" else _since(setup)
    words = f"{setup.name}, {what}" if setup.name else what
    return Choice(
        setup_id=setup.id,
        name=tank.name,
        told=f"{keeper}; {words}",
        chosen=setup.id in asked.setups,
    )
