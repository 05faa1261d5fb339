"""Style and types are part of the one test command."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def run(*command: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    return "" if done.returncode == 0 else done.stdout[-4000:] + done.stderr[-2000:]


def test_ruff_finds_nothing() -> None:
    assert run("ruff", "check", ".") == ""


def test_ruff_would_format_nothing() -> None:
    assert run("ruff", "format", "--check", ".") == ""


def test_mypy_finds_nothing() -> None:
    assert run("mypy") == ""
