"""Whole drawings: well-formed, escaped, small, and saying what they show."""

import gzip
from dataclasses import replace
from datetime import date
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest

from server.drawing import axes, gauge, legend, line_chart, polar, strip, tank_view
from server.drawing.marks import text_width
from server.web.help import patterns
from server.web.page import environment

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '</title><script>alert("1")</script>&\'<'


def render(template: str, chart: object, name: str = "one") -> str:
    module = environment.get_template(f"drawing/{template}.svg").module
    return str(getattr(module, template)(chart, name))


def tree(words: str) -> ElementTree.Element:
    return ElementTree.fromstring(words)


def views() -> list[tuple[str, str, object]]:
    made = patterns.patterns()
    return [
        ("plan", "tank_view", made.plan),
        ("plan narrow", "tank_view", made.plan_narrow),
        ("front", "tank_view", made.front),
        ("front narrow", "tank_view", made.front_narrow),
        ("change", "tank_view", made.change),
        ("zone", "tank_view", made.zone),
        ("day", "line_chart", made.day),
        ("spectrum", "line_chart", made.spectrum),
        ("drift", "line_chart", made.drift),
        ("rose", "polar", made.rose),
        ("strip", "strip", made.strip),
        ("legend", "legend", made.legend),
    ]


@pytest.mark.parametrize(("template", "chart"), [pytest.param(t, c, id=n) for n, t, c in views()])
def test_a_drawing_is_well_formed_named_and_small(template: str, chart: object) -> None:
    words = render(template, chart)
    root = tree(words)
    assert root.get("role") == "img"
    ids = {element.get("id") for element in root.iter() if element.get("id")}
    assert set((root.get("aria-labelledby") or "").split()) <= ids
    assert len(list(root.iter())) < 2000
    assert len(gzip.compress(words.encode())) < 25_000
    assert "style=" not in words
    assert "nan" not in words


@pytest.mark.parametrize(("template", "chart"), [pytest.param(t, c, id=n) for n, t, c in views()])
def test_a_name_that_is_markup_stays_a_name(template: str, chart: object) -> None:
    root = tree(render(template, replace(chart, title=HOSTILE)))  # type: ignore[type-var]  # one of several frozen classes
    assert root.find(f"{SVG}title").text == HOSTILE  # type: ignore[union-attr]  # its absence fails the test as well
    assert not list(root.iter(f"{SVG}script"))


def small_plan(**more: object) -> tank_view.TankView:
    arguments: dict[str, object] = {
        "length": 60,
        "width": 30,
        "per_cm": 4,
        "unit": axes.CENTIMETRES,
        "levels": tank_view.Levels(tints=(100, 200)),
        "title": "t",
        "description": "d",
        "axis_words": "cm",
    }
    values = np.linspace(50, 250, 30)[None, :] * np.ones((15, 1))
    return tank_view.plan(values, **{**arguments, **more})  # type: ignore[arg-type]  # a test's shorthand


def test_the_front_of_a_plan_is_below_and_the_left_wall_left() -> None:
    thing = tank_view.Thing(across=15, along=6, letter="a", verdict="within")
    view = small_plan(things=[thing])
    mark = view.marks[0].mark
    assert mark.x == view.box.left + 15 * 4
    assert mark.y == view.box.bottom - 6 * 4


def test_the_first_row_of_a_plan_is_its_front() -> None:
    values = np.full((15, 30), 50.0)
    values[:3] = 150
    view = tank_view.plan(
        values, length=60, width=30, per_cm=4, unit=axes.CENTIMETRES,
        levels=tank_view.Levels(tints=(100,)), title="", description="", axis_words="",
    )  # fmt: skip
    (line,) = view.drawn.lines
    assert float(line.d.split(" ")[1].split("l")[0].split("q")[0]) > view.box.top + 80


def test_the_views_of_one_tank_line_up() -> None:
    made = patterns.patterns()
    assert made.plan.box.left == made.front.box.left
    assert made.plan.box.width == made.front.box.width
    assert [t.at for t in made.plan.x_axis.ticks] == [t.at for t in made.front.x_axis.ticks]


def test_a_lamp_hangs_at_its_true_height_over_the_water() -> None:
    front = patterns.patterns().front
    shape = front.overheads[0]
    assert front.box.top - shape.body.bottom == pytest.approx(22 * 6.0, abs=0.1)
    assert front.dimension is not None
    assert front.dimension.words.lines == ("22 cm",)


def test_a_narrow_drawing_has_the_same_letters_not_smaller_ones() -> None:
    made = patterns.patterns()
    assert made.plan_narrow.width <= 330
    numbers = [t.at for t in made.plan_narrow.x_axis.ticks]
    widest = max(text_width([t.words]) for t in made.plan_narrow.x_axis.ticks)
    assert min(b - a for a, b in pairwise(numbers)) > widest


def test_words_of_marks_and_soundings_do_not_print_over_each_other() -> None:
    points = [tank_view.Point(across=20 + n, along=15, words=f"{200 + n}") for n in range(8)]
    things = [
        tank_view.Thing(
            across=30 + 3 * n, along=20, letter="a", verdict="below", words=("too dim",)
        )
        for n in range(4)
    ]
    view = small_plan(points=points, things=things)
    boxes = []
    for words in [s.words for s in view.soundings] + [m.words for m in view.marks]:
        if words:
            width = text_width(words.lines)
            left = words.x - width * {"start": 0, "middle": 0.5, "end": 1}[words.anchor]
            boxes.append((left, words.y - 10, left + width, words.y))
    assert len(boxes) >= 3
    for n, a in enumerate(boxes):
        for b in boxes[n + 1 :]:
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_a_measured_number_is_upright_and_a_computed_one_is_not() -> None:
    points = [
        tank_view.Point(across=10, along=15, words="213"),
        tank_view.Point(across=40, along=15, words="200", measured=False),
    ]
    found = {
        text.text: text.get("class")
        for text in tree(render("tank_view", small_plan(points=points))).iter(f"{SVG}text")
    }
    assert found["213"] == "sounding"
    assert found["200"] == "computed"


def test_each_verdict_has_a_shape_of_its_own() -> None:
    shapes = set()
    for verdict in ("below", "within", "above", "unknown"):
        thing = tank_view.Thing(across=30, along=15, letter="a", verdict=verdict)  # type: ignore[arg-type]  # each is one of the four
        root = tree(render("tank_view", small_plan(things=[thing])))
        mark = next(e for e in root.iter() if "mark-" in (e.get("class") or ""))
        shapes.add((mark.tag, "".join(c for c in mark.get("d", "") if c == "-" or c == "z")))
    assert len(shapes) == 4


def test_hatching_covers_what_is_in_doubt_and_only_that() -> None:
    doubt = np.full((15, 30), 0.1)
    assert small_plan(doubt=tank_view.Doubt(values=doubt)).hatches == ()
    doubt[:, 20:] = 0.9
    kinds = [one.kind for one in small_plan(doubt=tank_view.Doubt(values=doubt)).hatches]
    assert kinds == ["unsure", "unknown"]


def test_a_signed_level_carries_its_sign() -> None:
    words = {label.words for label in patterns.patterns().change.drawn.labels}
    assert {"+50", "−50"} <= words


def test_the_shaded_area_of_a_day_is_where_its_curve_is() -> None:
    day = patterns.patterns().day
    assert day.series[0].shade.startswith(f"M{day.box.left:.0f} ")
    (span,) = day.spans
    assert span.box.left == pytest.approx(day.box.left + 9.05 / 24 * day.box.width, abs=0.1)
    assert day.notes[0].lines == ("6.12 mol m⁻² d⁻¹",)


def test_nothing_but_zeros_still_makes_a_day() -> None:
    day = line_chart.day_curve(
        width=328, height=200, title="t", description="d", hours=[0, 24], values=[0, 0],
        y_name="PPFD", note="0 mol",
    )  # fmt: skip
    assert tree(render("line_chart", day)) is not None


@pytest.mark.parametrize("width", [280.0, 328.0, 680.0])
def test_every_word_of_a_day_stays_inside_its_drawing(width: float) -> None:
    day = patterns._day(width)
    for words in (*day.notes, *day.rule_words, *(s.words for s in day.spans if s.words)):
        room = text_width(words.lines)
        left = words.x - room * {"start": 0, "middle": 0.5, "end": 1}[words.anchor]
        assert left >= 0
        assert left + room <= day.width


def test_stretches_of_days_are_cut_at_the_ends_of_the_strip() -> None:
    made = patterns.patterns().strip
    first = made.stretches[0]
    assert first.begins_before and not first.ends_after
    assert first.box.left == made.left + 1
    per_day = (made.right - made.left) / 30
    assert first.box.width == pytest.approx(4 * per_day - 2, abs=0.2)


def test_a_month_is_named_where_its_name_has_room() -> None:
    def names(first: date) -> list[str]:
        made = strip.strip(
            width=760, title="", description="", first=first, last=date(2026, 12, 20), rows=(),
            stretches=(),
        )  # fmt: skip
        return [month.lines[0] for month in made.months]

    assert names(date(2026, 11, 23)) == ["November", "December"]
    assert names(date(2026, 11, 30)) == ["December"]


def test_a_strip_without_days_is_refused() -> None:
    with pytest.raises(ValueError, match="one day"):
        strip.strip(
            width=300, title="", description="", first=date(2026, 1, 2), last=date(2026, 1, 1),
            rows=(), stretches=(),
        )  # fmt: skip


def test_a_gauge_stands_where_its_value_is_on_the_shared_scale() -> None:
    made = gauge.gauge(value=100, wanted=(75, 150), verdict="within", scale_range=(10, 1000))
    assert made.value == pytest.approx(gauge.WIDTH / 2, abs=0.1)
    assert made.wanted is not None
    assert made.wanted.left < made.value < made.wanted.right


def test_a_legend_has_one_step_more_than_levels() -> None:
    made = legend.legend(patterns.LEVELS, width=320, title="PPFD")
    assert len(made.steps) == len(patterns.LEVELS.tints) + 1
    assert [edge.words for edge in made.edges] == ["50", "75", "150", "200", "350", "500"]


def test_a_rose_given_one_half_is_drawn_alike_on_both_sides() -> None:
    made = polar.polar(
        width=300, title="", description="", angles_deg=[0, 45, 90], values=[1, 0.5, 0]
    )
    half = 300 / 2 - polar.LETTERS
    assert made.height == pytest.approx(12 + half + polar.LETTERS)
    assert render("polar", made).count("<path") >= 6


def test_two_marks_at_one_place_are_both_to_be_seen() -> None:
    things = [
        tank_view.Thing(across=30, along=15, letter=letter, verdict="within") for letter in "abc"
    ]
    stood = [one.mark for one in small_plan(things=things).marks]
    for n, one in enumerate(stood):
        for other in stood[n + 1 :]:
            assert abs(one.x - other.x) > 12 or abs(one.y - other.y) > 12
    assert [bool(mark.leader) for mark in stood] == [False, True, True]
    root = tree(render("tank_view", small_plan(things=things)))
    assert sum(e.get("class") == "leader" for e in root.iter()) == 2
