"""The command: its help, the first start, backup and restore."""

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from server import cli
from server.db import backup, members
from server.db.engine import Database, open_database
from server.settings import Settings


def start(*arguments: str, env: dict[str, str] | None = None) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "server", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=os.environ | (env or {}),
    )


def stop(process: subprocess.Popen[str]) -> int:
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=20)
    return process.returncode


def test_help_lists_every_command_and_every_setting(capsys) -> None:
    with pytest.raises(SystemExit):
        cli.main(["--help"])
    words = capsys.readouterr().out
    for command in ("demo", "serve", "backup", "restore", "check"):
        assert re.search(rf"^    {command} +\S", words, re.M), f"{command} has no help"
    for name, field in Settings.model_fields.items():
        assert f"UNDERLAMP_{name.upper()}" in words and field.description in words


def test_the_demo_prints_one_line_of_json_first_and_answers(tmp_path: Path) -> None:
    process = start("demo", "--port", "0", "--data", str(tmp_path), "--print-json")
    try:
        told = json.loads(process.stdout.readline())
        assert httpx.get(told["url"] + "/healthz", timeout=60).json() == {"status": "ok"}
        roles = [person["role"] for person in told["members"]]
        assert roles.count("member") >= 2 and "steward" in roles
        person = next(p for p in told["members"] if p["role"] == "member")
        with httpx.Client(base_url=told["url"], timeout=60) as browser:
            typed = {"email": person["email"], "password": person["password"]}
            assert browser.post("/sign-in", data=typed).status_code == 303
        bearer = {"Authorization": f"Bearer {person['token']}"}
        assert httpx.get(told["url"] + "/api/meters", headers=bearer, timeout=60).status_code == 200
    finally:
        assert stop(process) in (0, -signal.SIGTERM)


def test_the_first_start_of_a_club_prints_a_link_that_works(tmp_path: Path) -> None:
    process = start("serve", "--port", "0", "--data", str(tmp_path))
    try:
        lines = [process.stdout.readline() for _ in range(2)]
        link = re.search(r"http://\S+/join/\S+", lines[1])
        assert link and httpx.get(link[0]).status_code == 200
    finally:
        stop(process)


def test_a_setting_that_cannot_be_read_stops_the_start() -> None:
    with pytest.raises(ValueError, match="smtp_port"):
        Settings(smtp_port=0)


def test_check_says_whole_or_why_not(settings: Settings, club: Database, capsys) -> None:
    assert cli.main(["check", "--data", str(settings.data)]) == 0
    assert "whole" in capsys.readouterr().out
    assert cli.main(["check", "--data", str(settings.data / "nowhere")]) == 1


def test_backup_and_restore_bring_everybody_back(
    settings: Settings, club: Database, tmp_path: Path
) -> None:
    copy = tmp_path / "club.backup"
    assert cli.main(["backup", str(copy), "--data", str(settings.data)]) == 0
    elsewhere = tmp_path / "elsewhere"
    assert cli.main(["restore", str(copy), "--data", str(elsewhere)]) == 0
    with open_database(data=elsewhere).read() as db:
        assert [person.name for person in members.all_members(db)] == ["Ivo", "Mara", "Tess"]


def test_restore_refuses_to_overwrite_a_club_unless_told(
    settings: Settings, club: Database, tmp_path: Path, capsys
) -> None:
    copy = tmp_path / "club.backup"
    backup.backup(settings, copy)
    club.close()
    assert cli.main(["restore", str(copy), "--data", str(settings.data)]) == 1
    assert "--replace" in capsys.readouterr().err
    assert cli.main(["restore", str(copy), "--data", str(settings.data), "--replace"]) == 0
    assert list(settings.data.glob("*.before-restore-*"))


def test_a_file_that_is_no_backup_is_refused(settings: Settings, tmp_path: Path, capsys) -> None:
    wrong = tmp_path / "notes.txt"
    wrong.write_text("not a database")
    assert cli.main(["restore", str(wrong), "--data", str(settings.data)]) == 1
    assert "not a whole" in capsys.readouterr().err
