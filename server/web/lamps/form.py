"""What a member types about a lamp."""

from server.db.lamps import LampWords
from server.models import LampModel
from server.optics.lamp import LIMITS
from server.web.fields import choice, length, line, lines, maybe, number
from server.web.forms import Filled, Form
from server.web.lamp_kinds import KINDS
from server.web.layouts import layout_fields, layout_lengths, layout_values, read_layout

CONTROL_NAMES = {
    "by_hand": "by hand: plugged in and out",
    "clock_switch": "clock switch: on and off at set times",
    "programs": "built-in programs",
    "full": "full control of times and levels",
}
DIMS_NAMES = {
    "": "as usual for its kind and control",
    "no": "not at all: on or off",
    "steps": "in steps",
    "smooth": "smoothly",
}
NAME = line(
    "name", "Name", most=80, missing="Give the lamp the name members know it by.",
    extra={"maxlength": 80, "wide": True},
)  # fmt: skip
KIND = choice("kind", "Kind of lamp", KINDS, start="led_panel")
WATTS = number(
    "watts", "Watts at full power", LIMITS["watts"], like="150", unit="W",
    where="On the type plate, or from a plug-in power meter.",
)  # fmt: skip
PPF = maybe(
    number("ppf", "Photon flux (PPF)", LIMITS["ppf_umol_s"], like="250", unit="µmol s⁻¹",
           hint="Empty means it is estimated from the watts, and marked so.",
           where="In the data sheet; it is not PPFD, which belongs to a place.")
)  # fmt: skip
PPF_SOURCE = line(
    "ppf_source", "Where that figure comes from", most=300, extra={"maxlength": 300, "wide": True},
    hint="Such as: data sheet of May 2026.",
)  # fmt: skip
BEAM = number(
    "beam", "Beam angle", LIMITS["beam_deg"], like="90", unit="degrees",
    where="On the box, often as lens angle. Without lenses take 120.",
)  # fmt: skip
MIN_HEIGHT = maybe(
    length("min_height", "Least height", LIMITS["height_cm"], like_cm=30,
           hint="Water to lamp face, as the maker states.")
)  # fmt: skip
MAX_HEIGHT = maybe(length("max_height", "Greatest height", LIMITS["height_cm"], like_cm=30))
CONTROL = choice("control", "Control", tuple(CONTROL_NAMES.items()), start="full")
DIMS = choice("dims", "Dims", tuple(DIMS_NAMES.items()), start="")
LEAST = maybe(
    number("least", "Least level", (1.0, 100.0), like="10", unit="%",
           hint="Of its full light, where it dims.")
)  # fmt: skip
STEP = maybe(number("step", "Step of the level", (0.1, 50.0), like="5", unit="%"))
PRICE = maybe(number("price", "Price", LIMITS["price"], like="300", hint="In the club's money."))
NOTE = lines("note", "Note", most=2000, extra={"rows": 3})
LAMP = Form(
    NAME, KIND, WATTS, PPF, PPF_SOURCE, BEAM, *layout_fields(start={"layout": ("grid", "grid")}),
    MIN_HEIGHT, MAX_HEIGHT, CONTROL, DIMS, LEAST, STEP, PRICE, NOTE,
)  # fmt: skip


def values_of(row: LampModel) -> dict[str, str]:
    """A stored lamp as its form shows it; its lengths are `lengths_of`."""
    return {
        "name": row.name,
        "kind": row.kind,
        "watts": plain(row.watts),
        "ppf": plain(row.ppf_umol_s),
        "ppf_source": row.ppf_source,
        "beam": plain(row.beam_deg),
        **layout_values(row),
        "control": row.control,
        "dims": row.dims,
        "least": plain(row.least_percent),
        "step": plain(row.step_percent),
        "price": plain(row.price),
        "note": row.note,
    }


def lengths_of(row: LampModel) -> dict[str, float | None]:
    heights = {"min_height": row.min_height_cm, "max_height": row.max_height_cm}
    return layout_lengths(row) | heights


def read_lamp(form: Filled) -> LampWords:
    """A new lamp, or a stored one changed. Raises Refused."""
    lowest, highest = form[MIN_HEIGHT], form[MAX_HEIGHT]
    if lowest is not None and highest is not None and lowest > highest:
        form.wrong(MAX_HEIGHT, "The greatest height must not lie below the least.")
    words = LampWords(
        name=form[NAME],
        kind=form[KIND],
        beam_deg=form[BEAM],
        watts=form[WATTS],
        ppf_umol_s=form[PPF],
        ppf_source=form[PPF_SOURCE],
        layout=read_layout(form),
        min_height_cm=lowest,
        max_height_cm=highest,
        control=form[CONTROL],
        dims=form[DIMS],
        least_percent=form[LEAST],
        step_percent=form[STEP],
        price=form[PRICE],
        note=form[NOTE],
    )
    form.check()
    return words


def plain(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"
