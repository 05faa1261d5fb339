"""A way says who would stand outside the range it should get, in the account's own words."""

from fastapi.testclient import TestClient

from server.db.engine import Database
from server.models import Animal
from tests.web.acclimation.conftest import form_of, keep_plan
from tests.web.day.conftest import Reef


def _wants(club: Database, animal_id: int, low: float, high: float) -> None:
    with club.write() as db:
        animal = db.get_one(Animal, animal_id)
        animal.low_ppfd, animal.high_ppfd = low, high
        db.add(animal)


def test_those_outside_at_the_end_are_named_with_what_they_want(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    _wants(club, dated.bright, 5, 20)
    _wants(club, dated.shaded, 900, 1500)
    address = f"/tanks/{dated.tank}/acclimation"
    typed = form_of(ivo.get(f"{address}?setup={brighter}").text)
    page = ivo.post(address, data=typed | {"do": "show"}).text
    assert "At the end: Plate coral gets " in page and "above its 5–20" in page
    keep_plan(ivo, dated.tank, brighter)
    page = ivo.get(address).text
    assert "With this step: Plate coral gets " in page and "below its 900–1500" in page


def test_nothing_is_said_of_what_is_not_known_for_sure(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    for animal in (dated.bright, dated.shaded):
        _wants(club, animal, 1, 2000)
    keep_plan(ivo, dated.tank, brighter)
    page = ivo.get(f"/tanks/{dated.tank}/acclimation").text
    assert "With this step" not in page and "At the end" not in page
