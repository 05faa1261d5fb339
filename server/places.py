"""Where the page files stand: beside `server` in a checkout, inside it in the wheel."""

from pathlib import Path

_SERVER = Path(__file__).resolve().parent
_CARRIED = _SERVER / "_carried"
_HOME = _CARRIED if _CARRIED.is_dir() else _SERVER.parent

TEMPLATES = _HOME / "templates"
STATIC = _HOME / "static"
SEED = _HOME / "seed"
MIGRATIONS = _SERVER / "db" / "migrations"
