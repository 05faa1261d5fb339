"""What a calculator's request will cost, judged by its address and sizes before it is begun.

Rough on purpose: it only has to tell milliseconds from seconds. Measured on one core of a
small server (`tests/benchmarks/costly.py` prints estimate and truth side by side).
"""

import json
import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl

CHEAP_S = 0.05
"""Below this a request is answered where it arrives."""

_BASE_S = {
    "spread": 0.1,
    "mounting-height": 1.0,
    "shimmer": 0.06,
    "photometric-file": 0.1,
    "measured-map": 0.1,
    "spectrum": 0.01,
    "day": 0.01,
    "dose": 0.01,
    "light-units": 0.01,
    "watts": 0.01,
}
_VERDICT = re.compile(r"/tanks/\d+/verdict")
_VERDICT_S = 0.15
_PIECE_AND_CELL_S = 1e-7
_READING_AND_PLACE_S = 2.5e-6
_PIECES = {"point": 1, "tube": 10, "square": 10}
_HEIGHTS = 30  # that the mounting calculator tries
_PLANES_OF_A_PAGE = 4
_BIGGEST = 1e9


def is_verdict(path: str) -> bool:
    return _VERDICT.fullmatch(path) is not None


def estimated_s(method: str, path: str, query: bytes, body: bytes) -> float | None:
    """Seconds of one core that an answer will take; None where nothing costly is asked."""
    if method == "GET" and is_verdict(path):
        return _VERDICT_S
    room, _, name = path.removeprefix("/").partition("/")
    if name not in _BASE_S or room not in ("api", "calculators"):
        return None
    if room == "api":
        return _of_json(name, body) if method == "POST" else 0.0
    return _BASE_S[name] + _of_page(name, dict(parse_qsl(query.decode("latin-1"))))


def _of_json(name: str, body: bytes) -> float:
    try:
        told = json.loads(body)
    except (ValueError, RecursionError):
        return 0.0  # it will be refused
    if not isinstance(told, dict):
        return 0.0
    light = _PIECE_AND_CELL_S * _pieces(told) * _cells(name, told)
    map_s = _READING_AND_PLACE_S * _length(told, "readings") * _length(told, "at")
    return _BASE_S[name] + light * (_HEIGHTS if name == "mounting-height" else 1) + map_s


def _pieces(told: Mapping[str, Any]) -> float:
    emitters = told.get("emitters")
    if not isinstance(emitters, list):
        return 0.0
    shapes = (one.get("shape") for one in emitters if isinstance(one, dict))
    return sum(_PIECES.get(shape, 1) for shape in shapes if isinstance(shape, str))


def _cells(name: str, told: Mapping[str, Any]) -> float:
    tank, target = told.get("tank"), told.get("target")
    if not isinstance(tank, dict):
        return 1.0
    asked = target if name == "mounting-height" and isinstance(target, dict) else told
    sides = _number(tank.get("length_cm"), 100) * _number(tank.get("width_cm"), 50)
    planes = max(1, _length(asked, "depths_cm"))
    return planes * sides / _number(told.get("cell_cm"), 2.0) ** 2


def _of_page(name: str, typed: Mapping[str, str]) -> float:
    if name not in ("spread", "mounting-height"):
        return 0.0
    sides = _number(typed.get("length"), 120) * _number(typed.get("width"), 50)
    cells = _PLANES_OF_A_PAGE * sides / _number(typed.get("cell"), 2.0) ** 2
    pieces = _number(typed.get("lamps"), 2) * _PIECES.get(typed.get("shape", "square"), 1)
    return cells * pieces * _PIECE_AND_CELL_S * (_HEIGHTS if name == "mounting-height" else 1)


def _length(told: Mapping[str, Any], name: str) -> int:
    found = told.get(name)
    return len(found) if isinstance(found, list) else 0


def _number(value: object, otherwise: float) -> float:
    """A typed size, kept away from nought and infinity; the calculator itself refuses those."""
    try:
        number = float(str(value).replace(",", ".")) if value is not None else otherwise
    except ValueError:
        return otherwise
    return min(max(number, 0.1), _BIGGEST) if number == number else otherwise
