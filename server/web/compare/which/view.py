"""What the search for a lamp shows."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.account import sentences
from server.account.ability import SPLASH_CAUTION, splashed
from server.account.fitting import Fitting
from server.models import Member, Tank
from server.web import filters

SURE = (
    "Planned from the lamps' stated figures, which nobody has measured over this tank: no light "
    "is known before the meter is under water. Chances count that doubt."
)


@dataclass(frozen=True, kw_only=True)
class FittingLine:
    """One lamp of the shelf over this tank; `year`: what its watts cost a year."""

    fit: Fitting
    in_range: str
    year: float | None
    hang: str
    splash: str


@dataclass(frozen=True, kw_only=True)
class WhichView:
    tank_id: int
    tank: str
    own: bool
    answer: str
    do: str
    sure: str
    can: tuple[FittingLine, ...]
    cannot: tuple[FittingLine, ...]
    by_animals: int
    tried: str
    next_page: int | None


def which_page(
    who: Member,
    tank: Tank,
    found: Sequence[Fitting],
    *,
    animals: int,
    price_per_kwh: float,
    full_light_hours: float | None,
    page_number: int,
    tried: tuple[int, int],
) -> WhichView:
    lines = [_line(tank, fit, price_per_kwh, full_light_hours) for fit in found]
    return WhichView(
        tank_id=tank.id,
        tank=tank.name,
        own=tank.owner_id == who.id,
        answer=_answer(found, animals),
        do=_do(who, [fit for fit in found if not fit.why_not]),
        sure=SURE,
        can=tuple(line for line in lines if not line.fit.why_not),
        cannot=tuple(line for line in lines if line.fit.why_not),
        by_animals=animals,
        tried=_tried(tried, len(found)),
        next_page=page_number + 1 if tried[0] + len(found) < tried[1] and found else None,
    )


def _tried(tried: tuple[int, int], count: int) -> str:
    first, all_lamps = tried
    if all_lamps <= count:
        return ""
    return (
        f"Lamps {first + 1} to {first + count} of {all_lamps} were tried, those first whose "
        "photons come nearest to what this tank wants."
    )


def _answer(found: Sequence[Fitting], animals: int) -> str:
    can = [fit for fit in found if not fit.why_not]
    whom = "every animal" if animals else "the whole depth"
    if not found:
        return "The club's shelf holds no lamp yet"
    if not can:
        best = max(found, key=lambda fit: fit.expected)
        return (
            f"By the plan no lamp of the shelf lights {whom} as asked; {best.name} comes nearest, "
            f"with a chance of {filters.percent(best.chance)}."
        )
    lamps = filters.count(len(can), "lamp")
    return f"By the plan {lamps} of the shelf can light {whom} as asked."


def _do(who: Member, can: Sequence[Fitting]) -> str:
    if not can:
        return ""
    first = can[0]
    return (
        f"Likeliest: {first.count} × {first.name}, "
        f"{filters.length(first.height_cm, who.length_unit)} above the water at "
        f"{filters.percent(first.power)}."
    )


def _line(
    tank: Tank, fit: Fitting, price_per_kwh: float, full_light_hours: float | None
) -> FittingLine:
    year = None
    if full_light_hours is not None:
        year = fit.watts_at_power / 1000 * full_light_hours * 365.25 * price_per_kwh
    return FittingLine(
        fit=fit,
        in_range=_in_range(fit),
        year=year,
        hang=_hang_address(tank, fit),
        splash=SPLASH_CAUTION if fit.power and splashed(fit.height_cm) else "",
    )


def _in_range(fit: Fitting) -> str:
    """By the account's verdicts, and the chance that an animal has the light it needs."""
    if not fit.animals:
        return "–"
    return f"{sentences.count_words(fit.animals)}; chance {filters.percent(fit.chance)}"


def _hang_address(tank: Tank, fit: Fitting) -> str:
    """The what-if page with these lamps, so that the light is seen before anything is kept."""
    typed = [
        ("lamp", f"{fit.key},{x:.1f},{y:.1f},{fit.height_cm:.1f},{fit.power:.3f}")
        for x, y in fit.places
    ]
    return f"/tanks/{tank.id}/what-if?" + urlencode(typed)
