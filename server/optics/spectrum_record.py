"""A spectrum as plain data, for forms, files and JSON; and read from a two-column table.

The record is one of
    {"shape": "ready", "key": "royal_blue"}
    {"shape": "gaussian", "peak_nm": 450, "width_nm": 20}
    {"shape": "phosphor_white", "blue_share": 0.26, "phosphor_nm": 558, "phosphor_width_nm": 156}
    {"shape": "table", "wavelength_nm": [...], "power": [...]}
    {"shape": "mix", "parts": [{"share": 0.6, "spectrum": {...}}, ...]}
"""

import math
import re
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from server.optics.broken_file import BrokenFile, number
from server.optics.spectrum import Spectrum, blend, from_table
from server.optics.spectrum_shapes import gaussian, phosphor_white, ready

Floats = NDArray[np.float64]

MAX_ROWS = 2000
MAX_PARTS = 20
MAX_DEPTH = 3
TABLE_LIMITS_NM = (200.0, 2500.0)
SHAPES = ("ready", "gaussian", "phosphor_white", "table", "mix")


def spectrum_from(record: object, *, name: str = "", depth: int = 0) -> Spectrum:
    """The spectrum a record stands for. Raises ValueError that says what would be right."""
    if not isinstance(record, Mapping):
        raise ValueError('a spectrum is an object such as {"shape": "ready", "key": "royal_blue"}')
    shape = record.get("shape")
    if shape == "ready":
        _only(record, "key")
        return _named(ready(str(record.get("key"))), name)
    if shape == "gaussian":
        _only(record, "peak_nm", "width_nm")
        return gaussian(
            peak_nm=_number(record, "peak_nm"), width_nm=_number(record, "width_nm"), name=name
        )
    if shape == "phosphor_white":
        _only(record, "blue_share", "phosphor_nm", "phosphor_width_nm")
        return phosphor_white(
            blue_share=_number(record, "blue_share"),
            phosphor_nm=_number(record, "phosphor_nm", 558.0),
            phosphor_width_nm=_number(record, "phosphor_width_nm", 156.0),
            name=name,
        )
    if shape == "table":
        _only(record, "wavelength_nm", "power")
        return from_table(
            _numbers(record, "wavelength_nm"), _numbers(record, "power"), name=name or "measured"
        )
    if shape == "mix":
        _only(record, "parts")
        return _mix(record.get("parts"), name, depth)
    raise ValueError(f"shape should be one of {', '.join(SHAPES)}, not {str(shape)[:40]!r}")


def table_record(text: str, *, photons: bool = False) -> dict[str, object]:
    """The record of a two-column table: wavelength in nm, then power (or photons) per nm.

    One pair a line, separated by tab, semicolon, comma or blanks; decimal point or comma; lines
    before the first pair of numbers, and lines starting with #, are passed over. photons: the
    second column counts photons, not energy. Raises BrokenFile naming the line.
    """
    nm: list[float] = []
    level: list[float] = []
    for line, words in _pairs(text):
        wavelength = number(words[0], line, "the wavelength")
        value = number(words[1], line, "the value")
        _check_row(line, wavelength, value, nm)
        nm.append(wavelength)
        level.append(value / wavelength if photons else value)
    if len(nm) < 2:
        raise BrokenFile(None, "at least two lines of wavelength and value are needed")
    if len(nm) > MAX_ROWS:
        raise BrokenFile(None, f"at most {MAX_ROWS} lines, not {len(nm)}")
    top = max(level)
    if top <= 0:
        raise BrokenFile(None, "every value is zero")
    if nm[0] >= 700 or nm[-1] <= 400:
        raise BrokenFile(None, "no wavelength lies between 400 and 700 nm; are they in nanometres?")
    record: dict[str, object] = {
        "shape": "table",
        "wavelength_nm": nm,
        "power": [round(v / top, 6) for v in level],
    }
    try:
        spectrum_from(record)
    except ValueError as wrong:
        raise BrokenFile(None, str(wrong)) from None
    return record


def _check_row(line: int, wavelength: float, value: float, before: list[float]) -> None:
    low, high = TABLE_LIMITS_NM
    if not low <= wavelength <= high:
        raise BrokenFile(
            line, f"the wavelength should lie between {low:g} and {high:g} nm, found {wavelength:g}"
        )
    if before and wavelength <= before[-1]:
        raise BrokenFile(line, f"wavelengths must rise, but {wavelength:g} follows {before[-1]:g}")
    if value < 0:
        raise BrokenFile(line, f"the value is negative: {value:g}")


def _pairs(text: str) -> list[tuple[int, list[str]]]:
    """Lines with their first two words; a heading before the first numbers is left out."""
    found: list[tuple[int, list[str]]] = []
    for line, raw in enumerate(text.lstrip("\ufeff").splitlines(), 1):
        if not raw.strip() or raw.lstrip().startswith("#"):
            continue
        words = _words(raw.strip())
        if not found and not _is_number(words[0]):
            continue
        if len(words) < 2:
            raise BrokenFile(line, "a wavelength and a value are needed, separated by a tab or ;")
        found.append((line, words))
    return found


def _words(line: str) -> list[str]:
    """Split at tab or semicolon, else at blanks, else at a comma that is no decimal comma."""
    for separator in (r"\s*[\t;]\s*", r"\s+", r"\s*,\s*"):
        words = [word.rstrip(",") for word in re.split(separator, line) if word]
        if len(words) >= 2:
            return words
    return [line]


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text.replace(",", ".")))
    except ValueError:
        return False


def _mix(parts: object, name: str, depth: int) -> Spectrum:
    if not isinstance(parts, list | tuple) or not 1 <= len(parts) <= MAX_PARTS:
        raise ValueError(f"parts should be a list of 1 to {MAX_PARTS} spectra with their shares")
    if depth >= MAX_DEPTH:
        raise ValueError("a mix may hold mixes only to a small depth")
    mixed = []
    for part in parts:
        if not isinstance(part, Mapping):
            raise ValueError('each part is an object with "share" and "spectrum"')
        _only(part, "share", "spectrum", shape=False)
        mixed.append((spectrum_from(part.get("spectrum"), depth=depth + 1), _number(part, "share")))
    return blend(mixed, name=name or "mix")


def _named(spectrum: Spectrum, name: str) -> Spectrum:
    return Spectrum(name=name, power=spectrum.power) if name else spectrum


def _only(record: Mapping[str, object], *known: str, shape: bool = True) -> None:
    strange = set(record) - set(known) - ({"shape"} if shape else set())
    if strange:
        raise ValueError(f"unknown field {sorted(map(str, strange))[0]!r} in the spectrum")


def _number(record: Mapping[str, object], key: str, absent: float | None = None) -> float:
    value = record.get(key, absent)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{key} should be a number")
    return float(value)


def _numbers(record: Mapping[str, object], key: str) -> Floats:
    values = record.get(key)
    if not isinstance(values, list | tuple) or not 2 <= len(values) <= MAX_ROWS:
        raise ValueError(f"{key} should be a list of 2 to {MAX_ROWS} numbers")
    good = all(
        isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v) for v in values
    )
    if not good:
        raise ValueError(f"{key} should hold finite numbers only")
    return np.array(values, dtype=np.float64)
