"""What the search for a lamp shows."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.account import sentences
from server.account.ability import SPLASH_CAUTION, splashed
from server.account.fitting import Fitting
from server.models import Member, Tank
from server.web import filters
from server.web.compare.which.form import WhichAsked

SURE = (
    "Planned from the lamps' stated figures, which nobody has measured over this tank: no light "
    "is known before the meter is under water. Chances count that doubt."
)


@dataclass(frozen=True, kw_only=True)
class FittingLine:
    """One lamp of the shelf over this tank."""

    lamp_id: int
    name: str
    how: str
    in_range: str
    mean: str
    uniformity: str
    missed: str
    shimmer: str
    watts: str
    price: str
    note: str
    why_not: str
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
    unit: str
    currency: str
    tried: str
    next_page: int | None
    values: dict[str, str]
    errors: dict[str, str]


def which_page(
    who: Member,
    tank: Tank,
    found: Sequence[Fitting],
    asked: WhichAsked,
    *,
    animals: int,
    price_per_kwh: float,
    full_light_hours: float | None,
    currency: str,
    tried: tuple[int, int],
) -> WhichView:
    lines = [
        (fit, _line(who, tank, fit, price_per_kwh, full_light_hours, currency)) for fit in found
    ]
    can = tuple(line for fit, line in lines if not fit.why_not)
    return WhichView(
        tank_id=tank.id,
        tank=tank.name,
        own=tank.owner_id == who.id,
        answer=_answer(found, animals),
        do=_do(who, [fit for fit in found if not fit.why_not]),
        sure=SURE,
        can=can,
        cannot=tuple(line for fit, line in lines if fit.why_not),
        by_animals=animals,
        unit=who.length_unit,
        currency=currency,
        tried=_tried(tried, len(found)),
        next_page=asked.page + 1 if tried[0] + len(found) < tried[1] and found else None,
        values=asked.values,
        errors=asked.errors,
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
    who: Member,
    tank: Tank,
    fit: Fitting,
    price_per_kwh: float,
    full_light_hours: float | None,
    currency: str,
) -> FittingLine:
    height = filters.length(fit.height_cm, who.length_unit)
    watts = f"{filters.number(fit.watts_at_power)} W"
    if full_light_hours is not None:
        year = fit.watts_at_power / 1000 * full_light_hours * 365.25 * price_per_kwh
        watts += f", {filters.number(year)} {currency} a year"
    price = "not stated" if fit.price is None else f"{filters.number(fit.price)} {currency}"
    return FittingLine(
        lamp_id=fit.key,
        name=f"{fit.count} × {fit.name}",
        how=f"{height}, {filters.percent(fit.power)}" if fit.power else "",
        in_range=_in_range(fit),
        mean=filters.ppfd(fit.mean_ppfd),
        uniformity=filters.number(fit.uniformity, 2),
        missed=filters.percent(fit.missed_share),
        shimmer=filters.percent(fit.shimmer),
        watts=watts,
        price=price,
        note=fit.note,
        why_not=fit.why_not,
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
