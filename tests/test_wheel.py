"""The wheel carries everything: installed by itself, far from the checkout, every page answers."""

import json
import os
import subprocess
import sys
import venv
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.walking import is_page, walk

CHECKOUT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of the programs of an empty environment that holds the wheel and what it needs."""
    folder = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "-w", str(folder)]
    subprocess.run([*pip, str(CHECKOUT)], check=True, timeout=300)
    (wheel,) = folder.glob("underlamp-*.whl")
    environment = folder / "environment"
    venv.create(environment, with_pip=True)
    python = environment / "bin" / "python"
    subprocess.run(
        [str(python), "-m", "pip", "install", "--quiet", str(wheel)], check=True, timeout=600
    )
    return environment / "bin"


@pytest.fixture(scope="module")
def told(installed: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict]:
    """What `underlamp demo --print-json` says, started in an empty folder."""
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    started = subprocess.Popen(
        [str(installed / "underlamp"), "demo", "--port", "0", "--print-json"],
        cwd=elsewhere,
        env=kept,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert started.stdout is not None
    try:
        yield json.loads(started.stdout.readline())
    finally:
        started.terminate()
        started.wait(timeout=30)
        started.stdout.close()


def test_the_demo_club_runs_from_the_wheel_and_every_page_answers(told: dict) -> None:
    for person in (None, *told["members"][:2]):
        cookies = signed_in(told["url"], person) if person else {}
        found = walk(told["url"], cookies=cookies)
        wrong = {a: r.status_code for a, r in found.items() if r.status_code not in (200, 303)}
        assert not wrong
        assert sum(is_page(answer) for answer in found.values()) > (5 if person is None else 20)


def test_the_wheel_hands_out_style_seed_and_api(told: dict) -> None:
    page = httpx.get(told["url"]).text
    style = page.split('rel="stylesheet" href="')[1].split('"')[0]
    assert httpx.get(told["url"] + style).status_code == 200
    member = next(one for one in told["members"] if one["role"] == "member")
    headers = {"Authorization": f"Bearer {member['token']}"}
    assert len(httpx.get(told["url"] + "/api/tanks", headers=headers).json()) > 3
    roles = [one["role"] for one in told["members"]]
    assert roles.count("member") >= 2 and "steward" in roles


def test_the_commands_help_from_the_wheel(installed: Path) -> None:
    helped = subprocess.run(
        [str(installed / "underlamp"), "--help"], check=True, capture_output=True, text=True
    )
    assert "UNDERLAMP_DATA" in helped.stdout


def signed_in(address: str, person: dict[str, str]) -> dict[str, str]:
    """Cookies after signing in through the form."""
    typed = {"email": person["email"], "password": person["password"], "next": "/"}
    answer = httpx.post(f"{address}/sign-in", data=typed, headers={"Origin": address})
    assert answer.status_code == 303
    return dict(answer.cookies)


def test_the_licence_travels_inside_the_package(installed: Path) -> None:
    (folder,) = (installed.parent / "lib").glob("python*/site-packages/underlamp-*.dist-info")
    (licence,) = folder.rglob("LICENSE")
    assert licence.read_text().startswith("MIT License")
    metadata = (folder / "METADATA").read_text()
    assert "License-Expression: MIT" in metadata and "License-File:" in metadata
