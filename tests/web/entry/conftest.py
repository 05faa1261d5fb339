"""The same tank as the tests of sessions use, with a session begun by the tank."""

import pytest
from fastapi.testclient import TestClient

from tests.web.surveys.conftest import Scene, scene

__all__ = ["scene"]


@pytest.fixture
def session(ivo: TestClient, scene: Scene) -> int:
    answer = ivo.post(
        f"/tanks/{scene.tank}/sessions/new", data={"way": "entry", "taken_on": "2026-11-20"}
    )
    assert answer.status_code == 303
    return int(answer.headers["location"].split("/")[2])
