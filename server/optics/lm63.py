"""Reading LM-63 photometric files: 1986, 1991, 1995, 2002 and 2019.

ANSI/IES LM-63-2002 and LM-63-19, and the earlier ones. A first line names the version (none in
1986), [KEYWORD] lines follow, TILT= ends them, then one free stream of numbers. Candela values are
multiplied by the candela multiplier, the ballast factor, and (to 1995) the ballast-lamp
photometric factor, whose place later holds numbers of other meaning. Types B and A are turned
into type C by their geometry as remembered; no copy of the standard's own drawing was at hand.
"""

import re
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from server.optics.broken_file import BrokenFile, number, rising, whole
from server.optics.photometric_file import MAX_ANGLES, PhotometricFile, table_of, unfolded
from server.optics.photometry import IntensityTable

Floats = NDArray[np.float64]

_VERSIONS = {
    "IESNA91": "LM-63-1991",
    "IESNA:LM-63-1995": "LM-63-1995",
    "IESNA:LM-63-2002": "LM-63-2002",
    "IES:LM-63-2019": "LM-63-2019",
}
_WITH_PHOTOMETRIC_FACTOR = ("LM-63-1986", "LM-63-1991", "LM-63-1995")
_WANTED_2002 = ("TEST", "TESTLAB", "ISSUEDATE", "MANUFAC")
_CM_PER_UNIT = {1: 30.48, 2: 100.0}
TYPES = {1: "C", 2: "B", 3: "A"}


def looks_like_lm63(text: str) -> bool:
    """Whether the text begins as a version of the standard does or has a TILT= line."""
    start = text.lstrip("\ufeff \t\r\n").upper()
    return start.startswith(("IESNA", "IES:")) or bool(re.search(r"(?mi)^\s*TILT\s*=", text))


def read_lm63(text: str) -> PhotometricFile:
    """The lamp in an LM-63 file. Raises BrokenFile naming the line."""
    lines = text.lstrip("\ufeff").splitlines()
    standard, start = _version(lines)
    tilt_at = _tilt_line(lines)
    keywords = _keywords(lines[start:tilt_at])
    notes = _keyword_notes(standard, keywords)
    stream = _Stream(_tokens(lines, tilt_at + 1), last_line=len(lines))
    tilt, tilt_note = _tilt(lines[tilt_at], stream)
    head = _Head.read(stream, standard)
    grid = _angles_and_candela(stream, head, head.factor * tilt)
    table = _TO_TYPE_C[head.type_letter](grid)
    return PhotometricFile(
        standard=standard,
        title=_title(keywords, lines[start:tilt_at]),
        table=table,
        lamp_lm=None if head.lumens < 0 else head.lamps * head.lumens,
        watts=head.watts if head.watts > 0 else None,
        opening_cm=head.opening_cm,
        notes=(*notes, *tilt_note, *head.notes),
    )


@dataclass
class _Stream:
    """Numbers in reading order, each with its line."""

    tokens: list[tuple[int, str]]
    last_line: int
    at: int = 0

    @property
    def line(self) -> int:
        """Line of the number read last."""
        return self.tokens[max(self.at - 1, 0)][0] if self.tokens else self.last_line

    def next(self, what: str) -> float:
        if self.at >= len(self.tokens):
            raise BrokenFile(self.last_line, f"the file ends before {what}")
        line, text = self.tokens[self.at]
        self.at += 1
        return number(text, line, what)

    def whole(self, what: str, *, low: int, high: int) -> int:
        value = self.next(what)
        return whole(value, self.line, what, low=low, high=high)

    def many(self, count: int, what: str) -> tuple[Floats, list[int]]:
        """So many numbers and the line of each."""
        values, lines = np.empty(count), []
        for k in range(count):
            values[k] = self.next(f"{what} {k + 1} of {count}")
            lines.append(self.line)
        return values, lines


@dataclass
class _Head:
    """The thirteen numbers before the angles."""

    lamps: int
    lumens: float
    factor: float
    verticals: int
    horizontals: int
    type_letter: str
    opening_cm: tuple[float, float, float]
    watts: float
    notes: list[str] = field(default_factory=list)

    @classmethod
    def read(cls, stream: _Stream, standard: str) -> "_Head":
        lamps = stream.whole("the number of lamps", low=1, high=100_000)
        lumens = stream.next("the lumens per lamp")
        if lumens <= 0 and lumens != -1:
            raise BrokenFile(
                stream.line, f"lumens per lamp should be above 0, or -1 for absolute: {lumens:g}"
            )
        multiplier = _above_zero(stream, "the candela multiplier")
        verticals = stream.whole("the number of vertical angles", low=2, high=MAX_ANGLES)
        horizontals = stream.whole("the number of horizontal angles", low=1, high=MAX_ANGLES)
        letter = TYPES[stream.whole("the photometric type (1 C, 2 B, 3 A)", low=1, high=3)]
        unit = stream.whole("the unit of length (1 feet, 2 metres)", low=1, high=2)
        width, length, height = (
            abs(stream.next(f"the luminous {side}")) * _CM_PER_UNIT[unit]
            for side in ("width", "length", "height")
        )
        ballast = _above_zero(stream, "the ballast factor")
        twelfth = stream.next("the field after the ballast factor")
        head = cls(
            lamps=lamps,
            lumens=lumens,
            factor=multiplier * ballast,
            verticals=verticals,
            horizontals=horizontals,
            type_letter=letter,
            opening_cm=(length, width, height),
            watts=stream.next("the input watts"),
        )
        head._take_photometric_factor(twelfth, standard, stream.line)
        head._tell_type()
        return head

    def _take_photometric_factor(self, value: float, standard: str, line: int) -> None:
        """To 1995 the twelfth field multiplies; from 2002 it is for the future or a code."""
        if standard not in _WITH_PHOTOMETRIC_FACTOR:
            return
        if value <= 0:
            raise BrokenFile(
                line, f"the ballast-lamp photometric factor should be above 0: {value:g}"
            )
        self.factor *= value

    def _tell_type(self) -> None:
        if self.type_letter != "C":
            self.notes.append(
                f"Type {self.type_letter} photometry was turned into type C; which way its planes "
                "lie is taken from memory of the standard, so check the beam's long direction."
            )


def _version(lines: list[str]) -> tuple[str, int]:
    """The standard's name and where the keyword lines begin."""
    first = next((k for k, line in enumerate(lines) if line.strip()), None)
    if first is None:
        raise BrokenFile(1, "the file is empty")
    word = lines[first].strip().upper()
    if word in _VERSIONS:
        return _VERSIONS[word], first + 1
    if word.startswith(("IESNA", "IES:")):
        known = ", ".join(_VERSIONS)
        raise BrokenFile(first + 1, f"unknown version {word[:40]!r}; known are {known}")
    return "LM-63-1986", 0


def _tilt_line(lines: list[str]) -> int:
    for k, line in enumerate(lines):
        if re.match(r"\s*TILT\s*=", line, re.IGNORECASE):
            return k
    raise BrokenFile(len(lines) or 1, "there is no TILT= line before the numbers")


def _keywords(lines: list[str]) -> dict[str, str]:
    """[KEYWORD] text, with [MORE] joined to the one before."""
    found: dict[str, str] = {}
    last = ""
    for line in lines:
        match = re.match(r"\s*\[([^\]]+)\]\s*(.*)", line)
        if not match:
            continue
        key, text = match.group(1).strip().upper(), match.group(2).strip()
        if key == "MORE" and last:
            found[last] = f"{found[last]} {text}".strip()
        else:
            found.setdefault(key, text)
            last = key
    return found


def _keyword_notes(standard: str, keywords: dict[str, str]) -> list[str]:
    if standard not in ("LM-63-2002", "LM-63-2019"):
        return []
    missing = [f"[{key}]" for key in _WANTED_2002 if key not in keywords]
    if not missing:
        return []
    return [f"The standard wants {', '.join(missing)}, which the file does not have."]


def _title(keywords: dict[str, str], lines: list[str]) -> str:
    parts = [keywords[key] for key in ("MANUFAC", "LUMCAT", "LUMINAIRE") if keywords.get(key)]
    plain = [line.strip() for line in lines if line.strip() and not line.strip().startswith("[")]
    return " · ".join(parts or plain[:1])[:200]


def _tokens(lines: list[str], start: int) -> list[tuple[int, str]]:
    """Words of the number part, split at blanks and commas, with their line numbers from 1."""
    return [
        (k + 1, word)
        for k, line in enumerate(lines[start:], start)
        for word in re.split(r"[\s,\x1a]+", line)
        if word
    ]


def _tilt(line: str, stream: _Stream) -> tuple[float, list[str]]:
    """Factor of a lamp hung level, and a note where the tilt table lies elsewhere."""
    value = line.split("=", 1)[1].strip()
    if value.upper() == "NONE":
        return 1.0, []
    if value.upper() != "INCLUDE":
        return 1.0, [
            f"The tilt table is in another file ({value[:60]}); the lamp is taken as hung level, "
            "where it is normally 1."
        ]
    stream.whole("the lamp-to-luminaire geometry (1, 2 or 3)", low=1, high=3)
    count = stream.whole("the number of tilt angles", low=1, high=MAX_ANGLES)
    angles, lines = stream.many(count, "tilt angle")
    rising(angles, lines, "tilt angles")
    factors, _ = stream.many(count, "tilt factor")
    return float(np.interp(0.0, angles, factors)), []


def _above_zero(stream: _Stream, what: str) -> float:
    value = stream.next(what)
    if value <= 0:
        raise BrokenFile(stream.line, f"{what} should be above 0, found {value:g}")
    return value


@dataclass
class _Grid:
    """Angles and candela (horizontal, vertical) as the file has them, and where they stand."""

    theta: Floats
    planes: Floats
    rows: Floats
    theta_line: int
    planes_line: int
    last_line: int


def _angles_and_candela(stream: _Stream, head: _Head, factor: float) -> _Grid:
    theta, theta_lines = stream.many(head.verticals, "vertical angle")
    rising(theta, theta_lines, "vertical angles")
    planes, plane_lines = stream.many(head.horizontals, "horizontal angle")
    rising(planes, plane_lines, "horizontal angles")
    values, value_lines = stream.many(head.verticals * head.horizontals, "candela value")
    if np.any(values < 0):
        worst = int(np.argmax(values < 0))
        raise BrokenFile(value_lines[worst], f"a candela value is negative: {values[worst]:g}")
    if stream.at < len(stream.tokens):
        raise BrokenFile(
            stream.tokens[stream.at][0],
            f"there are more numbers than {head.horizontals} planes of {head.verticals} angles",
        )
    rows = values.reshape(head.horizontals, head.verticals) * factor
    return _Grid(theta, planes, rows, theta_lines[-1], plane_lines[-1], stream.line)


def _type_c(grid: _Grid) -> IntensityTable:
    """Planes round the vertical, unfolded by the symmetry their last angle states."""
    first, last = float(grid.theta[0]), float(grid.theta[-1])
    if first not in (0, 90) or last not in (90, 180):
        raise BrokenFile(
            grid.theta_line,
            f"vertical angles should run from 0 or 90 to 90 or 180, not {first:g} to {last:g}",
        )
    phi, full = _full_circle(grid)
    return table_of(grid.theta, phi, full, grid.last_line)


_MIRRORS: dict[tuple[float, float], tuple[float, ...]] = {
    (0.0, 90.0): (0.0, 180.0),
    (0.0, 180.0): (0.0,),
    (90.0, 270.0): (180.0,),
    (0.0, 360.0): (),
}
"""First and last plane stored -> mirrors that give the rest."""


def _full_circle(grid: _Grid) -> tuple[Floats, Floats]:
    if grid.planes.size == 1:
        return np.zeros(1), grid.rows
    ends = float(grid.planes[0]), float(grid.planes[-1])
    if ends not in _MIRRORS:
        raise BrokenFile(
            grid.planes_line,
            "horizontal angles should be one, or run 0–90, 0–180, 90–270 or 0–360, not "
            f"{ends[0]:g} to {ends[1]:g}",
        )
    return unfolded(grid.planes, grid.rows, _MIRRORS[ends])


def _type_b(grid: _Grid) -> IntensityTable:
    """Planes turn round the lamp's length: the horizontal angle is the tilt towards it."""
    _check_a_and_b(grid)
    across, along, down = _DIRECTIONS
    return _on_type_c(grid, np.arctan2(across, down), np.arcsin(np.clip(along, -1, 1)))


def _type_a(grid: _Grid) -> IntensityTable:
    """Planes turn round the axis across the lamp: the vertical angle is the tilt towards it."""
    _check_a_and_b(grid)
    across, along, down = _DIRECTIONS
    return _on_type_c(grid, np.arcsin(np.clip(across, -1, 1)), np.arctan2(along, down))


def _check_a_and_b(grid: _Grid) -> None:
    for angles, line, what in (
        (grid.theta, grid.theta_line, "vertical"),
        (grid.planes, grid.planes_line, "horizontal"),
    ):
        if angles.size < 2 or angles[0] not in (-90, 0) or angles[-1] != 90:
            raise BrokenFile(
                line,
                f"{what} angles of types A and B should run from -90 or 0 to 90, not "
                f"{angles[0]:g} to {angles[-1]:g}",
            )


_DOWN_DEG, _ROUND_DEG = np.arange(0.0, 90.1, 2.5), np.arange(0.0, 360.0, 5.0)


def _directions() -> tuple[Floats, Floats, Floats]:
    """Parts across the lamp (C0), along it (C90) and down of each direction, (round, down)."""
    t, c = np.radians(_DOWN_DEG)[None, :], np.radians(_ROUND_DEG)[:, None]
    return np.sin(t) * np.cos(c), np.sin(t) * np.sin(c), np.cos(t) * np.ones_like(c)


_DIRECTIONS = _directions()


def _on_type_c(grid: _Grid, vertical: Floats, horizontal: Floats) -> IntensityTable:
    """The file's values on a grid of type C, 2.5° × 5°; a table that starts at 0 is mirrored."""
    i, s = _bracket(grid.theta, np.degrees(vertical))
    j, t = _bracket(grid.planes, np.degrees(horizontal))
    near = grid.rows[j, i] * (1 - s) + grid.rows[j, i + 1] * s
    far = grid.rows[j + 1, i] * (1 - s) + grid.rows[j + 1, i + 1] * s
    return table_of(_DOWN_DEG, _ROUND_DEG, near * (1 - t) + far * t, grid.last_line)


def _bracket(angles: Floats, at: Floats) -> tuple[NDArray[np.intp], Floats]:
    """Interval each angle lies in and how far along it."""
    at = np.clip(np.abs(at) if angles[0] == 0 else at, angles[0], angles[-1])
    left = np.clip(np.searchsorted(angles, at, side="right") - 1, 0, angles.size - 2)
    return left, (at - angles[left]) / (angles[left + 1] - angles[left])


_TO_TYPE_C = {"C": _type_c, "B": _type_b, "A": _type_a}
