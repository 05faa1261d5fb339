"""A way up says who would stand outside the range it should get."""

from datetime import date

from server.models import Animal
from server.web.acclimation.view import beyond_words


def animal(number: int, name: str, low: float, high: float) -> Animal:
    return Animal(
        id=number, tank_id=1, name=name, group="soft", x_cm=1, y_cm=1, depth_cm=1,
        low_ppfd=low, high_ppfd=high, placed_on=date(2026, 1, 1),
    )  # fmt: skip


ANIMALS = [animal(1, "Mushrooms", 50, 120), animal(2, "Branch", 200, 350)]


def test_those_outside_are_named_with_what_they_want() -> None:
    words = beyond_words("At the end", [1, 2], [232, 180], ANIMALS)
    assert "too bright for Mushrooms (232, wants 50–120)" in words
    assert "too dim for Branch (180, wants 200–350)" in words


def test_nothing_is_said_when_all_are_in_range() -> None:
    assert beyond_words("At the end", [1, 2], [120, 200], ANIMALS) == ""


def test_an_animal_that_left_is_not_spoken_of() -> None:
    assert beyond_words("At the end", [3], [999], ANIMALS) == ""
