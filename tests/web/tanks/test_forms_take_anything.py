"""Whatever is typed into the three forms, they answer with a value or with words, never a fault."""

from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as some
from starlette.datastructures import FormData

from server.db.light import lamp_of
from server.db.members import now
from server.models import LampChannel, LampModel, Member, Tank
from server.optics import tank as glass
from server.web.tanks import animal_form, form, light_form
from server.web.tanks.typed import Refused

TODAY = date(2026, 11, 25)
TANK = Tank(
    id=1, owner_id=1, name="Lagoon", length_cm=90, width_cm=45, depth_cm=45, created_at=now()
)
LAMP = LampModel(id=7, name="Flat", kind="led_panel", beam_deg=110, watts=90, created_at=now())
STATED = {7: lamp_of(LAMP, [LampChannel(lamp_model_id=7, name="blue", share=1.0)])}
MEMBERS = some.sampled_from(
    [Member(name="Ivo", length_unit=unit, created_at=now()) for unit in ("cm", "in")]
)
TYPED = some.one_of(
    some.text(max_size=30),
    some.sampled_from(
        ["", "45", "45,5", "-1", "0", "1e309", "NaN", "yes", "7", "2026-02-30", "١٢"]
    ),
    some.floats().map(str),
    some.dates().map(str),
)


def filled(names: tuple[str, ...]) -> some.SearchStrategy[FormData]:
    return some.dictionaries(some.sampled_from(names), TYPED).map(FormData)


@settings(max_examples=300, deadline=None)
@given(filled(tuple(form.EMPTY)), MEMBERS)
def test_a_tanks_form(typed: FormData, who: Member) -> None:
    words = form.read_tank(typed, who)
    if isinstance(words, Refused):
        assert words.errors and all(words.errors.values())
    else:
        low, high = glass.LIMITS["length_cm"]
        assert low <= words.length_cm <= high and words.name


LAMP_FIELDS = tuple(
    f"lamp-0-{name}" for name in ("model", "x", "y", "height", "power", "turned", "channel-0")
)


@settings(max_examples=300, deadline=None)
@given(filled(("since", "reason", "name", "state", *LAMP_FIELDS)), MEMBERS)
def test_the_form_of_a_light(typed: FormData, who: Member) -> None:
    found = light_form.read_light(
        FormData([*typed.multi_items(), ("lamps", "1")]), who, TANK,
        shelf=[LAMP], stated=STATED, was=[], today=TODAY, asks_why=True,
    )  # fmt: skip
    if isinstance(found, Refused):
        assert found.errors and all(found.errors.values())
    else:
        assert found.since <= TODAY and 0 <= found.lamps[0].power <= 1


@settings(max_examples=300, deadline=None)
@given(filled(tuple(animal_form.empty(TODAY))), MEMBERS)
def test_an_animals_form(typed: FormData, who: Member) -> None:
    words = animal_form.read_animal(typed, who, TANK, today=TODAY)
    if isinstance(words, Refused):
        assert words.errors and all(words.errors.values())
    else:
        assert words.low_ppfd < words.high_ppfd and words.depth_cm <= TANK.depth_cm
