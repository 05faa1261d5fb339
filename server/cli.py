"""The `underlamp` command: demo, serve, backup, restore, check, rehearse, move."""

import argparse
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from server import settings
from server.db import backup, folder_lock, rehearsal
from server.db.demo import club as demo_club
from server.db.unwilling import Unwilling
from server.web import running

_DESCRIPTION = "The light over a reef club's tanks: planned, measured and shared."


def main(arguments: list[str] | None = None) -> int:
    """Runs one command; gives the exit code."""
    os.umask(0o077)  # a club's files are its own: no other user of the machine reads them
    chosen = parser().parse_args(arguments)
    command: Callable[[argparse.Namespace], str | None] = chosen.command
    try:
        words = command(chosen)
    except (Unwilling, settings.Unusable) as reason:
        print(reason, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 130
    except OSError as reason:
        print(f"{reason.filename or 'This machine'}: {reason.strerror or reason}.", file=sys.stderr)
        return 1
    if words:
        print(words)
    return 0


def parser() -> argparse.ArgumentParser:
    top = argparse.ArgumentParser(
        prog="underlamp",
        description=_DESCRIPTION,
        epilog="Settings, from the environment:\n\n" + settings.settings_help(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    commands = top.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _add_demo(commands)
    _add_serve(commands)
    _add_backup(commands)
    _add_restore(commands)
    _add_check(commands)
    _add_rehearse(commands)
    _add_move(commands)
    return top


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) < 65536):
        raise argparse.ArgumentTypeError("must be a number from 0 to 65535")
    return int(text)


_Commands = argparse._SubParsersAction  # argparse gives the class no public name


def _add_demo(commands: "_Commands[argparse.ArgumentParser]") -> None:
    words = "make a demo club and serve it on this machine"
    demo = commands.add_parser("demo", help=words, description=words)
    demo.add_argument(
        "--port", type=_port, default=8000, help="port (default 8000; 0: any free one)"
    )
    demo.add_argument("--data", type=Path, help="folder for the club (default: a fresh one)")
    demo.add_argument(
        "--print-json", action="store_true", help="print one line of JSON with the sign-ins first"
    )
    demo.set_defaults(command=_demo)


def _add_serve(commands: "_Commands[argparse.ArgumentParser]") -> None:
    words = "serve a real club; the first start prints a one-time link to set it up"
    serve = commands.add_parser("serve", help=words, description=words)
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on")
    serve.add_argument("--port", type=_port, default=8000, help="port (default 8000)")
    serve.add_argument("--data", type=Path, help="folder of the club")
    serve.set_defaults(command=_serve)


def _add_backup(commands: "_Commands[argparse.ArgumentParser]") -> None:
    words = "write one consistent file, also while the server runs"
    backup = commands.add_parser("backup", help=words, description=words)
    backup.add_argument("file", type=Path, help="file to write")
    backup.add_argument("--data", type=Path, help="folder of the club")
    backup.set_defaults(command=_backup)


def _add_restore(commands: "_Commands[argparse.ArgumentParser]") -> None:
    words = "bring a club back from a backup file; stop the server first"
    restore = commands.add_parser("restore", help=words, description=words)
    restore.add_argument("file", type=Path, help="file that `underlamp backup` wrote")
    restore.add_argument("--data", type=Path, help="folder of the club")
    restore.add_argument(
        "--replace", action="store_true", help="replace the club that is there (it is set aside)"
    )
    restore.set_defaults(command=_restore)


def _add_check(commands: "_Commands[argparse.ArgumentParser]") -> None:
    words = "say whether the database is whole and its schema current"
    check = commands.add_parser("check", help=words, description=words)
    check.add_argument("--data", type=Path, help="folder of the club")
    check.set_defaults(command=_check)


def _add_rehearse(commands: "_Commands[argparse.ArgumentParser]") -> None:
    words = "restore a backup into an empty folder, look at it, and throw it away again"
    rehearse = commands.add_parser("rehearse", help=words, description=words)
    rehearse.add_argument("file", type=Path, nargs="?", help="a backup (default: a fresh one)")
    rehearse.add_argument("--data", type=Path, help="folder of the club")
    rehearse.set_defaults(command=_rehearse)


def _add_move(commands: "_Commands[argparse.ArgumentParser]") -> None:
    words = "carry the club between SQLite and PostgreSQL; stop the server first"
    move = commands.add_parser("move", help=words, description=words)
    move.add_argument("to", help="postgresql://… of an empty database, or an empty folder")
    move.add_argument("--data", type=Path, help="folder of the club")
    move.set_defaults(command=_move)


def _demo(chosen: argparse.Namespace) -> None:
    folder = chosen.data or Path(tempfile.mkdtemp(prefix="underlamp-demo-"))
    # A demo club lives in its own folder, whatever database the environment names.
    made = settings.read(data=folder, database_url=None)
    with folder_lock.held(made.data, by="demo"):
        if not chosen.print_json:  # that option promises its line first
            print("Making the demo club; this takes a few seconds.", flush=True)
        people = demo_club.open_or_fill(made)
        running.run_demo(made, people, port=chosen.port, print_json=chosen.print_json)


def _serve(chosen: argparse.Namespace) -> None:
    made = _settings(chosen)
    with backup.served(made):
        running.run_club(made, host=chosen.host, port=chosen.port)


def _backup(chosen: argparse.Namespace) -> str:
    return backup.backup(_settings(chosen), chosen.file)


def _restore(chosen: argparse.Namespace) -> str:
    return backup.restore(_settings(chosen), chosen.file, replace=chosen.replace)


def _check(chosen: argparse.Namespace) -> str:
    return backup.check(_settings(chosen))


def _rehearse(chosen: argparse.Namespace) -> str:
    return rehearsal.rehearse(_settings(chosen), chosen.file)


def _move(chosen: argparse.Namespace) -> str:
    return backup.move(_settings(chosen), chosen.to)


def _settings(chosen: argparse.Namespace) -> settings.Settings:
    return settings.read(**({"data": chosen.data} if chosen.data else {}))
