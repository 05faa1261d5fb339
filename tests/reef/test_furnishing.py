"""A tank's furnishing as text, as the engine takes it, and in tanks it was not made for."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.optics import tank as glass
from server.reef.furnishing import (
    EMPTY,
    Furnishing,
    Grown,
    Rock,
    Senseless,
    as_text,
    braces_of,
    fitted,
    from_text,
    over,
)

TANK = glass.Tank(length_cm=90, width_cm=45, depth_cm=50)
LEDGE = Rock(left_cm=10, right_cm=40, front_cm=20, back_cm=45, top_cm=18, bottom_cm=24, name="A")
ISLAND = Rock(left_cm=55, right_cm=80, front_cm=8, back_cm=30, top_cm=28)

boxes = st.tuples(*[st.floats(0, 40) for _ in range(3)], *[st.floats(0.5, 8) for _ in range(3)])


def _rock(box: tuple[float, ...]) -> Rock:
    x, y, top, long, wide, tall = box
    return Rock(
        left_cm=x, right_cm=x + long, front_cm=min(y, 36), back_cm=min(y, 36) + wide,
        top_cm=top, bottom_cm=top + tall,
    )  # fmt: skip


@given(st.lists(boxes, max_size=6), st.floats(0, 20), st.integers(0, 4), st.floats(0.02, 1))
def test_what_is_written_reads_back(
    rocks: list[tuple[float, ...]], rim_cm: float, braces: int, lid: float
) -> None:
    told = Furnishing(
        rocks=tuple(_rock(box) for box in rocks),
        rim_cm=rim_cm,
        braces=braces,
        brace_cm=6.5,
        lid=lid,
        grown={"back": Grown(share=0.4, since=date(2026, 5, 3))},
    )
    assert from_text(as_text(told)) == told


def test_a_plain_tank_is_stored_as_nothing() -> None:
    assert as_text(EMPTY) == "" and from_text("") == EMPTY


@pytest.mark.parametrize(
    "text",
    [
        "[]", "7", "{", '{"rocks":[{}]}', '{"rocks":[7]}', '{"lid":2}', '{"lid":NaN}', '{"more":1}',
        '{"rim_cm":-1}', '{"braces":1.5}', '{"grown":{"top":{"share":1,"since":"2026-01-01"}}}',
        '{"grown":{"left":{"share":0.5,"since":"soon"}}}', '{"lid":true}',
    ],
)  # fmt: skip
def test_text_that_is_no_furnishing_is_refused(text: str) -> None:
    with pytest.raises(Senseless):
        from_text(text)


def test_the_engine_gets_rocks_rim_braces_lid_and_growth() -> None:
    told = Furnishing(
        rocks=(LEDGE, ISLAND), rim_cm=2, braces=1, brace_cm=8, lid=0.85,
        grown={"back": Grown(share=0.5, since=date(2026, 5, 3))},
    )  # fmt: skip
    found = over(TANK, told)
    assert [rock.bottom_cm for rock in found.rocks] == [24, None]
    assert found.film == glass.Film(back=0.5) and found.lid == 0.85
    assert len(found.braces) == 5


def test_rim_and_braces_cover_what_they_measure_and_never_twice() -> None:
    told = Furnishing(rim_cm=3, braces=2, brace_cm=5)
    strips = braces_of(told, 90, 45)
    area = sum((one.right_cm - one.left_cm) * (one.back_cm - one.front_cm) for one in strips)
    rim = 90 * 45 - 84 * 39
    assert area == pytest.approx(rim + 2 * 5 * 39)
    middles = [(one.left_cm + one.right_cm) / 2 for one in strips[4:]]
    assert middles == pytest.approx([30, 60])


def test_braces_run_across_the_shorter_side() -> None:
    (strip,) = braces_of(Furnishing(braces=1, brace_cm=4), 40, 70)
    assert (strip.left_cm, strip.right_cm) == (0, 40)
    assert (strip.front_cm, strip.back_cm) == pytest.approx((33, 37))


def test_a_smaller_tank_keeps_what_still_fits() -> None:
    told = Furnishing(rocks=(LEDGE, ISLAND))
    small = replace(TANK, length_cm=50, width_cm=30)
    kept = fitted(told, small).rocks
    assert [rock.name for rock in kept] == ["A"]
    assert (kept[0].right_cm, kept[0].back_cm) == (40, 30)
    over(small, fitted(told, small))
