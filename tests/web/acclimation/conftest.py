"""The reef of the day pages, with a brighter plan to reach."""

import re
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from server.db import tanks
from server.db.engine import Database
from tests.web.day.conftest import TODAY, Calendar, Reef, calendar, dated, reef

__all__ = ["Calendar", "Reef", "calendar", "dated", "reef"]


@pytest.fixture
def brighter(club: Database, dated: Reef) -> int:
    """A plan of the same lamp at twice its power, not hung yet; gives its id."""
    with club.write() as db:
        lamps = [tanks.place_of(lamp) for lamp in tanks.lamps_of(db, dated.setup)]
        plan = tanks.save_setup(
            db,
            tank_id=dated.tank,
            lamps=[replace(lamps[0], power=0.6)],
            since=TODAY,
            reason="",
            name="Bright",
            state="plan",
        )
    return plan.id or 0


def form_of(page: str) -> dict[str, str]:
    """What a browser would send of the form of a way up, as it stands."""
    typed = {
        found[1]: found[2]
        for found in re.finditer(
            r'<input id="([^"]+)" name="[^"]+" type="(?:text|date)" value="([^"]*)"', page
        )
    }
    for found in re.finditer(r'<select id="([^"]+)".*?</select>', page, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', found[0])
        first = re.search(r'value="([^"]*)"', found[0])
        assert first is not None
        typed[found[1]] = chosen[1] if chosen else first[1]
    for found in re.finditer(r'<input type="checkbox" id="([^"]+)"[^>]* checked', page):
        typed[found[1]] = "yes"
    return typed


def keep_plan(ivo: TestClient, tank: int, setup: int, **changes: str) -> None:
    """Plans and keeps a way up to a setup."""
    typed = form_of(ivo.get(f"/tanks/{tank}/acclimation?setup={setup}").text) | changes
    answer = ivo.post(f"/tanks/{tank}/acclimation", data=typed | {"do": "save"})
    assert answer.status_code == 303, answer.text
