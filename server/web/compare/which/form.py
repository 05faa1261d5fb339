"""What is asked when looking for a lamp: a budget, and a range where there are no animals."""

from dataclasses import dataclass, field

from starlette.datastructures import QueryParams

from server.account.fitting import Budget
from server.models import Animal, Tank
from server.web import filters
from server.web.tanks.typed import shown_length

MOST_WATTS = 20_000.0
MOST_MONEY = 1_000_000.0
MOST_PPFD = 5_000.0


@dataclass(frozen=True, kw_only=True)
class WhichAsked:
    """The budget; depth, low and high count only where nobody lives in the tank yet."""

    budget: Budget
    page: int
    depth_cm: float
    low_ppfd: float
    high_ppfd: float
    values: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)


def read_which(query: QueryParams, tank: Tank, animals: list[Animal], unit: str) -> WhichAsked:
    errors: dict[str, str] = {}
    values = {name: query.get(name, "")[:40] for name in ("watts", "money", "depth", "low", "high")}
    middle = round(tank.depth_cm / 2)
    values["depth"] = values["depth"] or shown_length(middle, unit)
    values["low"], values["high"] = values["low"] or "100", values["high"] or "250"
    depth = _number(values, "depth", errors, high=tank.depth_cm, unit=unit)
    low = _number(values, "low", errors, high=MOST_PPFD)
    high = _number(values, "high", errors, high=MOST_PPFD)
    if low is not None and high is not None and low >= high:
        errors["high"] = "The upper end must be above the lower end."
        low, high = None, None
    return WhichAsked(
        page=_page(query.get("page", "")),
        budget=Budget(
            watts=_number(values, "watts", errors, high=MOST_WATTS),
            money=_number(values, "money", errors, high=MOST_MONEY),
        ),
        depth_cm=middle if depth is None else depth,
        low_ppfd=100.0 if low is None else low,
        high_ppfd=250.0 if high is None else high,
        values=values,
        errors=errors if not animals else {k: v for k, v in errors.items() if k in _BUDGET},
    )


_BUDGET = ("watts", "money")


def _page(typed: str) -> int:
    return max(1, int(typed)) if typed.isascii() and typed.isdigit() and len(typed) < 4 else 1


def _number(
    values: dict[str, str], name: str, errors: dict[str, str], *, high: float, unit: str = "cm"
) -> float | None:
    """None for an empty field and for one that cannot be read."""
    typed = values[name].strip()
    if not typed:
        return None
    try:
        value = filters.to_cm(filters.read_number(typed), unit)
    except filters.NotANumber:
        errors[name] = "Type one number, or leave it empty."
        return None
    if not 0 < value <= high:
        shown = shown_length(high, unit)
        errors[name] = f"Type a number above 0 and up to {shown}."
        return None
    return value
