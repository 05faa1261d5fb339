"""The lock files name every library that pyproject asks for, at an allowed version, with hashes."""

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent
PIN = re.compile(r"^(?P<name>[a-z0-9.\-]+)==(?P<version>[^\s;\\]+)", re.MULTILINE)


def _asked(*extras: str) -> list[Requirement]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    words = list(project["dependencies"])
    for extra in extras:
        words += project["optional-dependencies"][extra]
    return [Requirement(one) for one in words]


def _pins(file: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for match in PIN.finditer((ROOT / file).read_text()):
        found.setdefault(canonicalize_name(match["name"]), []).append(match["version"])
    return found


@pytest.mark.parametrize(
    ("file", "extras"), [("server/locked.txt", ()), ("tests/locked.txt", ("test", "postgresql"))]
)
def test_a_lock_file_pins_what_is_asked_for(file: str, extras: tuple[str, ...]) -> None:
    pins = _pins(file)
    for asked in _asked(*extras):
        versions = pins.get(canonicalize_name(asked.name), [])
        assert versions, f"{asked.name} is not in {file}; make the lock anew (DEVELOPERS.md)"
        assert all(asked.specifier.contains(one) for one in versions), (asked, versions)


@pytest.mark.parametrize("file", ["server/locked.txt", "tests/locked.txt"])
def test_every_pin_has_a_hash_and_no_address(file: str) -> None:
    text = (ROOT / file).read_text()
    blocks = re.split(r"\n(?=[a-z0-9])", text)
    assert len(blocks) > 20
    assert all("--hash=sha256:" in block for block in blocks)
    assert "://" not in text


def test_every_path_that_ci_names_is_there() -> None:
    named = re.findall(r"\btests/[\w/.]+", (ROOT / ".ci" / "run").read_text())
    assert len(named) > 5
    assert [one for one in named if not (ROOT / one).exists()] == []
