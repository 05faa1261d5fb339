"""What is asked of a comparison, from the address: which setups, which depth, which range."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.web import filters
from server.web.fields import choice, line, maybe, number
from server.web.forms import OWN_UNIT, Field, Filled, Form, Wrong, shown_length

MOST = 4
DEPTH_CM = (0.0, 300.0)
MOST_DEPTHS = 3
PPFD = (0.0, 5000.0)
USUAL_RANGE = (75.0, 350.0)


def _depths(typed: str, form: Filled) -> tuple[float, ...]:
    """Up to three depths [cm] with semicolons or spaces between them, each once."""
    parts = typed.replace(";", " ").split()
    if len(parts) > MOST_DEPTHS:
        raise Wrong(f"At most {MOST_DEPTHS} depths are compared at once.")
    return tuple(dict.fromkeys(_depth(part, form.unit) for part in parts))


def _depth(typed: str, unit: str) -> float:
    try:
        depth_cm = filters.to_cm(filters.read_number(typed), unit)
    except filters.NotANumber as wrong:
        raise Wrong("Type one depth or several, such as 10; 25; 40.") from wrong
    if not DEPTH_CM[0] <= depth_cm <= DEPTH_CM[1]:
        raise Wrong(f"A depth lies from 0 to {shown_length(DEPTH_CM[1], unit)} {unit}.")
    return depth_cm


DEPTHS: Field[tuple[float, ...]] = Field(
    name="depth",
    label="Depths",
    read=_depths,
    otherwise=(),
    needed=False,
    unit=OWN_UNIT,
    hint="Up to three, such as 10; 25; 40.",
    most=40,
)
VIEW = choice(
    "view", "Drawn", [("", "from above, at the first depth"), ("front", "from the front")]
)
LOW = maybe(number("low", "Range from", PPFD, like="75", unit="µmol m⁻² s⁻¹"))
HIGH = maybe(number("high", "to", PPFD, like="350", unit="µmol m⁻² s⁻¹"))
SEARCH = line(
    "q", "Shared tanks: name of the tank or its keeper", most=120, hint="Empty shows the newest."
)
COMPARE = Form(DEPTHS, VIEW, LOW, HIGH, SEARCH)


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """setups: ids in the order asked for; depths_cm empty: choose one that suits all, the first
    is drawn; front: draw the tanks from the front instead of from above.
    """

    setups: tuple[int, ...]
    depths_cm: tuple[float, ...]
    low_ppfd: float
    high_ppfd: float
    front: bool = False


def read_wanted(form: Filled, setups: Sequence[str]) -> Wanted:
    """What cannot be taken stays in the form's errors; the rest is compared all the same."""
    low, high = form[LOW], form[HIGH]
    low, high = (USUAL_RANGE[0] if low is None else low), (USUAL_RANGE[1] if high is None else high)
    if low >= high:
        if not {LOW.name, HIGH.name} & set(form.errors):
            form.wrong(HIGH, "The upper end must be above the lower end.")
        low, high = USUAL_RANGE
    return Wanted(
        setups=_setups(form, setups),
        depths_cm=form[DEPTHS],
        low_ppfd=low,
        high_ppfd=high,
        front=form[VIEW] == "front",
    )


def _setups(form: Filled, typed: Sequence[str]) -> tuple[int, ...]:
    found = dict.fromkeys(
        int(text) for text in typed if text.isascii() and text.isdigit() and len(text) < 10
    )
    if len(found) > MOST:
        form.wrong("s", f"At most {MOST} setups stand side by side; the first {MOST} are shown.")
    return tuple(found)[:MOST]
