"""The list of calculators leads to pages that open."""

import re

from fastapi.testclient import TestClient

from server.web.app import ROUTERS
from server.web.calculators.listed import CALCULATORS


def test_every_calculator_on_the_list_opens_for_a_visitor(client: TestClient) -> None:
    listed = re.findall(r'href="(/calculators/[a-z-]+)"', client.get("/calculators").text)
    assert len(listed) >= 7
    for address in listed:
        assert client.get(address).status_code == 200, address


def test_no_open_calculator_is_left_off_the_list() -> None:
    known = {one.address for one in CALCULATORS}
    pages = {route.path for router in ROUTERS for route in router.routes}  # type: ignore[attr-defined] # routes of ours
    assert {path for path in pages if path.startswith("/calculators/")} == known
