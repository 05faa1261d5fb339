"""The one reader of forms: what it takes, what it says, and how a refused form comes back."""

from dataclasses import dataclass, field
from datetime import date

import pytest
from fastapi.testclient import TestClient
from starlette.datastructures import FormData, QueryParams

from server.web.fields import choice, clock, day, length, line, maybe, number, tick, whole
from server.web.forms import Filled, Form, Refused
from server.web.page import environment

NAME = line("name", "Name", most=10, missing="Give it a name.")
WATTS = number("watts", "Watts", (1, 2000), like="150", unit="W", start="150", hint="On the plate.")
COUNT = whole("count", "How many", (1, 8), like="2")
DEPTH = length("depth", "Depth", (2, 300), like_cm=30, start="30", start_in="12")
PPF = maybe(number("ppf", "Flux", (0.1, 100), like="50"))
FLOOR = choice("floor", "Floor", (("bare", "bare glass"), ("sand", "sand")), start="sand")
COVER = tick("cover", "A cover")
ON = day("on", "On", earliest=date(2000, 1, 1), latest=date(2030, 1, 1))
AT = clock("at", "At", like="10:00")
FORM = Form(NAME, WATTS, COUNT, DEPTH, PPF, FLOOR, COVER, ON, AT)


@dataclass(frozen=True)
class Asked:
    """As much of a request as a form reads."""

    form: FormData = field(default_factory=FormData)
    unit: str = "cm"
    query: QueryParams = field(default_factory=QueryParams)


def typed(unit: str = "cm", **values: str) -> Filled:
    return FORM.typed(Asked(FormData(values), unit))


def drawn(form: Filled, words: str) -> str:
    source = '{% from "_form.html" import field, fields, needed_note, problems %}' + words
    return environment.from_string(source).render(form=form)


@pytest.mark.parametrize(
    ("text", "value"), [("150", 150.0), ("12,5", 12.5), (" 12.5 ", 12.5), ("2000", 2000.0)]
)
def test_a_number_is_read_with_comma_or_point(text: str, value: float) -> None:
    form = typed(watts=text)
    assert form[WATTS] == value and not form.errors


@pytest.mark.parametrize("text", ["", "many", "nan", "inf", "1.2.3", "0.9", "2000.1", "-5"])
def test_a_number_outside_its_limits_is_named_and_reading_goes_on(text: str) -> None:
    form = typed(watts=text, count="2.5")
    assert form[WATTS] == 1 and form[COUNT] == 1
    assert set(form.errors) == {"watts", "count"}
    with pytest.raises(Refused) as refused:
        form.check()
    assert refused.value.form.text("watts") == text


@pytest.mark.parametrize(
    "text", ["2026-12-01", "1.12.2026", "01.12.2026", "1/12/2026", "1. 12. 2026"]
)
def test_one_day_is_read_however_it_is_written(text: str) -> None:
    assert typed(on=text)[ON] == date(2026, 12, 1)


@pytest.mark.parametrize("text", ["", "soon", "31.2.2026", "2031-01-01", "1999-12-31", "12.2026"])
def test_what_is_no_day_or_too_far_is_refused(text: str) -> None:
    form = typed(on=text)
    _ = form[ON]
    assert "on" in form.errors


def test_a_date_field_shows_a_typed_day_as_browsers_want_it() -> None:
    assert typed(on="1.12.2026").at("on").value == "2026-12-01"
    assert typed(on="soon").at("on").value == "soon"


@pytest.mark.parametrize(("text", "hour"), [("8:00", 8.0), ("20.30", 20.5), ("8 pm", 20.0)])
def test_a_time_of_day(text: str, hour: float) -> None:
    assert typed(at=text)[AT] == hour


def test_a_length_is_read_in_the_readers_unit() -> None:
    assert typed("cm", depth="30")[DEPTH] == 30
    assert typed("in", depth="10")[DEPTH] == pytest.approx(25.4)
    form = typed("in", depth="200")  # 508 cm
    assert form[DEPTH] == 2 and "from 0.8 to 118.1 in" in form.errors["depth"]


def test_a_stored_length_does_not_creep_at_every_saving() -> None:
    stored = 33.3
    shown = FORM.showing(unit="in", lengths={"depth": stored}).text("depth")
    again = FORM.typed(Asked(FormData({"depth": shown}), "in"), lengths={"depth": stored})
    assert float(shown) * 2.54 != stored and again[DEPTH] == stored


def test_what_may_stay_empty_is_none_then() -> None:
    assert typed()[PPF] is None and typed(ppf="50")[PPF] == 50
    assert typed()[FLOOR] == "sand" and typed(floor="bare")[FLOOR] == "bare"
    assert typed(cover="yes")[COVER] and not typed()[COVER]
    form = typed(floor="lava", ppf="500")
    _ = form[FLOOR], form[PPF]
    assert set(form.errors) == {"floor", "ppf"}


def test_an_empty_address_shows_the_worked_example_and_a_fuller_one_does_not() -> None:
    empty = FORM.in_address(Asked())
    assert (empty.text("watts"), empty.text("depth")) == ("150", "30")
    assert FORM.in_address(Asked(unit="in")).text("depth") == "12"
    some = FORM.in_address(Asked(query=QueryParams("ppf=7")))
    assert (some.text("watts"), some.text("ppf")) == ("", "7")
    filled = FORM.in_address(Asked(query=QueryParams("ppf=7")), fill=True)
    assert (filled.text("watts"), filled.text("ppf")) == ("150", "7")


def test_one_form_of_several_on_a_page_leaves_the_others_as_they_were() -> None:
    form = FORM.typed(Asked(FormData({"watts": ""})), beside={"name": "Long", "watts": "150"})
    assert (form.text("name"), form.text("watts")) == ("Long", "")


def test_the_summary_names_each_field_and_leads_to_it_in_the_order_of_the_page() -> None:
    form = typed(watts="9999")
    form.wrong("form", "The club has no meter.")
    _ = form[WATTS], form[NAME]
    told = drawn(form, "{{ problems(form) }}")
    places = [told.index(one) for one in ("The club has no meter", "Name: Give", "Watts: This")]
    assert places == sorted(places)
    assert '<a href="#watts">' in told and '<a href="#form">' not in told


def test_a_field_carries_its_value_error_unit_and_hint() -> None:
    form = typed(watts="9999")
    _ = form[WATTS]
    told = drawn(form, '{{ field(form, "watts") }}')
    for part in ('value="9999"', 'id="watts-wrong"', "On the plate.", '"watts-unit">W<'):
        assert part in told
    assert 'aria-describedby="watts-wrong watts-hint watts-unit"' in told
    assert 'aria-invalid="true"' in told


def test_what_must_be_filled_in_is_marked_for_eye_and_ear_and_nothing_else_is() -> None:
    told = drawn(typed(), '{{ field(form, "watts") }}')
    assert " required" in told and 'aria-hidden="true"> *<' in told
    for name in ("ppf", "floor", "cover"):
        assert "required" not in drawn(typed(), f'{{{{ field(form, "{name}") }}}}')
    assert "are needed" in drawn(typed(), "{{ needed_note(form) }}")


def test_a_hostile_value_comes_back_harmless() -> None:
    told = drawn(typed(name='"><script>alert(1)</script>'), '{{ field(form, "name") }}')
    assert "<script>" not in told and "&lt;script&gt;" in told


def test_a_refused_page_is_a_422_titled_as_an_error_with_what_was_typed(mara: TestClient) -> None:
    sent = {"name": "Reef", "time_zone": "Moon/Sea", "currency": "EUR", "price_per_kwh": "0,31"}
    answer = mara.post("/steward/club", data=sent)
    assert answer.status_code == 422
    assert "<title>Error: The club · Underlamp</title>" in answer.text
    assert 'value="0,31"' in answer.text and 'href="#time_zone"' in answer.text
