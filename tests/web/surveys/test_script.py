"""The example on the help page works as it stands, and no file makes the address fail."""

import html
import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings

from server import places
from server.models import Member
from tests.conftest import Cast
from tests.surveys.table_files import Generated, hostile_bytes, tables
from tests.web.surveys.conftest import Scene

LONG = os.environ.get("UNDERLAMP_LONG") == "1"
FEW = settings(
    max_examples=1_500 if LONG else 40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def example() -> str:
    page = (places.TEMPLATES / "help" / "scripts.html").read_text(encoding="utf-8")
    found = re.search(r"<pre[^>]*><code>(.*?)</code>", page, re.S)
    assert found
    return html.unescape(found[1])


def test_the_example_has_at_most_twenty_lines_and_sends_a_file(
    live: str,
    scene: Scene,
    cast: Cast,
    token_of: Callable[[Member], dict[str, str]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    script = example()
    assert len(script.splitlines()) <= 20
    token = token_of(cast.ivo)["Authorization"].removeprefix("Bearer ")
    for name, value in (("CLUB", live), ("TOKEN", token), ("TANK", scene.tank)):
        script = re.sub(rf"^{name} = .*$", f"{name} = {value!r}", script, flags=re.M)
    (tmp_path / "readings.csv").write_text("x cm; y cm; depth cm; PPFD\n10,5; 20; 15; 120,5\n")
    monkeypatch.chdir(tmp_path)
    exec(compile(script, "example", "exec"), {})
    assert capsys.readouterr().out.startswith("201 ")


@FEW
@given(tables())
def test_every_generated_table_is_answered_with_each_row_named(
    client: TestClient,
    scene: Scene,
    cast: Cast,
    token_of: Callable[[Member], dict[str, str]],
    made: Generated,
) -> None:
    answer = client.post(
        f"/api/tanks/{scene.tank}/measurement-sessions",
        headers=token_of(cast.ivo),
        files={"file": ("a.csv", made.data, "text/csv")},
        data={"accept_partial": "true"},
    )
    body = answer.json()
    assert answer.status_code in (201, 422)
    if answer.status_code == 201:
        below = sum(n > made.header_line for n in made.content_lines)
        assert body["stored"] == len(body["readings"])
        if {one["row"] for one in body["refused"]} <= made.content_lines:
            assert body["stored"] + len(body["refused"]) == below
    else:
        assert body["refused"] and all(one["reason"] for one in body["refused"])


@FEW
@given(hostile_bytes)
def test_no_bytes_make_the_address_fail(
    client: TestClient,
    scene: Scene,
    cast: Cast,
    token_of: Callable[[Member], dict[str, str]],
    data: bytes,
) -> None:
    answer = client.post(
        f"/api/tanks/{scene.tank}/measurement-sessions",
        headers=token_of(cast.ivo),
        files={"file": ("a.csv", data, "text/csv")},
        data={"accept_partial": "true", "x_cm": "1", "y_cm": "1"},
    )
    assert answer.status_code in (201, 422)
