"""What is asked when looking for a lamp: a budget, and a range where there are no animals."""

from dataclasses import dataclass

from server.account.fitting import Budget
from server.models import Tank
from server.web.ask import Asked
from server.web.fields import length, maybe, number
from server.web.forms import Filled, Form

USUAL_RANGE = (100.0, 250.0)
UNIT = "µmol m⁻² s⁻¹"
WATTS = maybe(
    number(
        "watts",
        "Watts at most",
        (0.1, 20_000),
        like="150",
        unit="W",
        hint="Of all lamps together; empty: any.",
    )
)
MONEY = maybe(
    number(
        "money",
        "Price at most",
        (0.1, 1_000_000),
        like="300",
        hint="For all lamps together; empty: any.",
    )
)
DEPTH = maybe(length("depth", "Depth to light", (0.1, 300), like_cm=20))
LOW = maybe(number("low", "From", (0.1, 5_000), like="100", unit=UNIT, start="100"))
HIGH = maybe(number("high", "to", (0.1, 5_000), like="250", unit=UNIT, start="250"))


@dataclass(frozen=True, kw_only=True)
class WhichAsked:
    """The budget; depth, low and high count only where nobody lives in the tank yet."""

    budget: Budget
    depth_cm: float
    low_ppfd: float
    high_ppfd: float


def which_form(ask: Asked, tank: Tank, currency: str, *, lived_in: bool) -> Filled:
    """Where animals live, their own ranges count and none is asked for."""
    budget = (WATTS, MONEY.but(unit=currency))
    if lived_in:
        return Form(*budget).in_address(ask, fill=True)
    lengths = {"depth": _middle_cm(tank)}
    return Form(*budget, DEPTH, LOW, HIGH).in_address(ask, fill=True, lengths=lengths)


def read_which(form: Filled, tank: Tank) -> WhichAsked:
    """What cannot be taken stays in the form's errors, and the usual stands in its place."""
    depth, low, high = form[DEPTH], form[LOW], form[HIGH]
    if depth is not None and depth > tank.depth_cm:
        form.wrong(DEPTH, "Type a depth within the water of this tank.")
        depth = None
    low, high = low or USUAL_RANGE[0], high or USUAL_RANGE[1]
    if low >= high:
        form.wrong(HIGH, "The upper end must be above the lower end.")
        low, high = USUAL_RANGE
    return WhichAsked(
        budget=Budget(watts=form[WATTS], money=form[MONEY]),
        depth_cm=depth or _middle_cm(tank),
        low_ppfd=low,
        high_ppfd=high,
    )


def _middle_cm(tank: Tank) -> float:
    return float(round(tank.depth_cm / 2))
