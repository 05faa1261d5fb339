"""`kill -9` in the middle of writes and of migrations: nothing acknowledged is lost."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
LONG = os.environ.get("UNDERLAMP_LONG") == "1"


def rounds(what: str, folder: Path, count: int) -> dict[str, int]:
    command = [sys.executable, "-m", "tests.db.kill_rounds", what, str(folder), str(count), "7"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=1800)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    print(what, count, "rounds:", found)
    return found


def test_no_acknowledged_write_is_lost(tmp_path: Path) -> None:
    found = rounds("write", tmp_path, 1000 if LONG else 50)
    assert found["lost"] == 0
    assert found["acknowledged"] > 50


def test_a_kill_during_a_migration_leaves_the_old_schema_or_the_new(tmp_path: Path) -> None:
    found = rounds("migrate", tmp_path, 200 if LONG else 12)
    assert found["old"] > 0
