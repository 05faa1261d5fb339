"""Tanks like mine: whose experience is nearest, and what they settled on."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import Response

from server.comparing.likeness import Likeness, likeness
from server.db import comparisons, light, tanks
from server.db.comparisons import Shared
from server.db.light import Hung
from server.dose.unchanged import in_words
from server.models import Member, Tank
from server.web import filters
from server.web.ask import Ask
from server.web.open import SeenTank

router = APIRouter(include_in_schema=False)

MOST = 8


@dataclass(frozen=True, kw_only=True)
class LikeLine:
    """One shared tank with lamps, near to this one."""

    tank_id: int
    setup_id: int
    name: str
    keeper: str
    size: str
    alike: str
    light: str
    held: str


@dataclass(frozen=True, kw_only=True)
class LikeView:
    tank_id: int
    tank: str
    own: bool
    setup_id: int | None
    answer: str
    lines: tuple[LikeLine, ...]


@router.get("/tanks/{tank_id}/like-mine")
def like_mine(ask: Ask, tank: SeenTank) -> Response:
    with ask.read() as db:
        keeper = db.get_one(Member, tank.owner_id)
        others = [(t, k) for t, k in tanks.shared_tanks(db, but_of=tank.owner_id)]
        (mine,) = comparisons.likened(db, [(tank, keeper)])
        ranked = nearest(mine, comparisons.likened(db, others))
        hung = {
            one.setup.id: light.hung_over(db, one.setup.id)
            for one, _ in ranked
            if one.setup is not None
        }
    lines = tuple(
        _line(ask.who, one, found, hung[one.setup.id], in_words((ask.today - one.setup.since).days))
        for one, found in ranked
        if one.setup is not None
    )
    view = LikeView(
        tank_id=tank.id,
        tank=tank.name,
        own=tank.owner_id == ask.who.id,
        setup_id=mine.setup.id if mine.setup else None,
        answer=_answer(tank, lines),
        lines=lines,
    )
    return ask.page("compare/like_mine.html", view=view)


def nearest(mine: Shared, others: Sequence[Shared]) -> list[tuple[Shared, Likeness]]:
    """Lit tanks with something in common: those with most in common first, then the nearest."""
    found = [
        (one, likeness(mine.likened, one.likened))
        for one in others
        if one.setup is not None and one.likened.kinds
    ]
    near = [(one, by) for one, by in found if by.alike_in]
    return sorted(near, key=lambda pair: (-len(pair[1].alike_in), pair[1].distance))[:MOST]


def _answer(tank: Tank, lines: Sequence[LikeLine]) -> str:
    if not lines:
        return f"No other member shows a tank to compare with {tank.name} yet."
    return f"{lines[0].keeper}'s {lines[0].name} is nearest to {tank.name}."


def _line(who: Member, one: Shared, found: Likeness, hung: Sequence[Hung], held: str) -> LikeLine:
    assert one.setup is not None
    tank, unit = one.tank, who.length_unit
    sides_cm = (tank.length_cm, tank.width_cm, tank.depth_cm)
    size = " × ".join(filters.length_number(side, unit) for side in sides_cm) + f" {unit}"
    alike = ", ".join(found.alike_in)
    return LikeLine(
        tank_id=tank.id,
        setup_id=one.setup.id,
        name=tank.name,
        keeper=one.keeper.name,
        size=size,
        alike=f"alike in {alike}",
        light="; ".join(
            f"{lamp.stated.row.name}, {filters.length(lamp.row.height_cm, unit)} above the water "
            f"at {filters.percent(lamp.row.power)}"
            for lamp in hung
        ),
        held=held,
    )
