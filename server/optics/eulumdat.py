"""Reading EULUMDAT photometric files (Stockmar 1990, 1998): one value a line, in a fixed order.

Intensities are candela per 1000 lumens of the bare lamps; they are turned into candela here. A
negative number of lamps marks an absolute measurement. Of several sets of lamps the first counts.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.optics.broken_file import BrokenFile, number, rising, whole
from server.optics.photometric_file import MAX_ANGLES, PhotometricFile, table_of, unfolded

Floats = NDArray[np.float64]

_SETS_AT = 26
_PER_SET = 6
_RATIOS = 10


def looks_like_eulumdat(text: str) -> bool:
    """Whether the third line is a symmetry 0–4 and the second a type 0–3, as the format has it."""
    lines = [line.strip() for line in text.lstrip("\ufeff").splitlines()[:3]]
    return (
        len(lines) == 3
        and lines[1] in ("0", "1", "2", "3")
        and lines[2] in ("0", "1", "2", "3", "4")
    )


def read_eulumdat(text: str) -> PhotometricFile:
    """The lamp in an EULUMDAT file. Raises BrokenFile naming the line."""
    sheet = _Sheet(text.lstrip("\ufeff").splitlines())
    shape = _Shape.read(sheet)
    lamps = _Lamps.read(sheet)
    first_angle = _SETS_AT + _PER_SET * lamps.sets + _RATIOS + 1
    planes, theta, rows = _intensities(sheet, shape, first_angle)
    line = first_angle + shape.planes + shape.angles
    phi, full = _full_circle(shape.symmetry, planes, rows, first_angle)
    factor = sheet.number(24, "the conversion factor")
    if factor <= 0:
        raise BrokenFile(24, f"the conversion factor should be above 0, found {factor:g}")
    table = table_of(theta, phi, full * factor * lamps.lumens / 1000, line)
    file = PhotometricFile(
        standard="EULUMDAT",
        title=" · ".join(t for t in (sheet.text(1), sheet.text(9)) if t)[:200],
        table=table,
        lamp_lm=None if lamps.absolute else lamps.lumens,
        watts=lamps.watts if lamps.watts > 0 else None,
        opening_cm=_opening_cm(sheet),
        notes=(),
    )
    return _with_notes(file, sheet, lamps)


@dataclass
class _Sheet:
    """The lines of the file, counted from 1."""

    lines: list[str]

    def text(self, line: int) -> str:
        if line > len(self.lines):
            raise BrokenFile(len(self.lines) or 1, f"the file ends before line {line}")
        return self.lines[line - 1].strip()

    def number(self, line: int, what: str) -> float:
        if line > len(self.lines):
            raise BrokenFile(len(self.lines) or 1, f"the file ends before {what} (line {line})")
        return number(self.lines[line - 1], line, what)

    def whole(self, line: int, what: str, *, low: int, high: int) -> int:
        return whole(self.number(line, what), line, what, low=low, high=high)

    def many(self, first: int, count: int, what: str) -> Floats:
        return np.array(
            [self.number(first + k, f"{what} {k + 1} of {count}") for k in range(count)]
        )


@dataclass
class _Shape:
    """Symmetry and the counts of planes and angles."""

    symmetry: int
    planes: int
    angles: int

    @classmethod
    def read(cls, sheet: _Sheet) -> "_Shape":
        sheet.whole(2, "the type indicator", low=0, high=3)
        symmetry = sheet.whole(3, "the symmetry indicator", low=0, high=4)
        planes = sheet.whole(4, "the number of C planes", low=1, high=MAX_ANGLES)
        sheet.number(5, "the step between C planes")
        angles = sheet.whole(6, "the number of G angles", low=2, high=MAX_ANGLES)
        sheet.number(7, "the step between G angles")
        part = {2: 2, 3: 2, 4: 4}.get(symmetry, 1)
        if planes % part:
            raise BrokenFile(
                4, f"symmetry {symmetry} needs a multiple of {part} C planes, not {planes}"
            )
        return cls(symmetry, planes, angles)

    @property
    def stored(self) -> int:
        """Planes whose values stand in the file."""
        return {
            0: self.planes,
            1: 1,
            2: self.planes // 2 + 1,
            3: self.planes // 2 + 1,
            4: self.planes // 4 + 1,
        }[self.symmetry]


@dataclass
class _Lamps:
    """The first set of lamps."""

    sets: int
    lumens: float
    watts: float
    absolute: bool

    @classmethod
    def read(cls, sheet: _Sheet) -> "_Lamps":
        sets = sheet.whole(_SETS_AT, "the number of lamp sets", low=1, high=20)
        count_line = _SETS_AT + 1
        count = sheet.whole(count_line, "the number of lamps", low=-100_000, high=100_000)
        lumens = sheet.number(count_line + 2, "the lumens of the lamps")
        if count == 0:
            raise BrokenFile(count_line, "the number of lamps should not be 0")
        if lumens <= 0:
            raise BrokenFile(
                count_line + 2, f"the lumens of the lamps should be above 0, found {lumens:g}"
            )
        watts = sheet.number(count_line + 5, "the watts of the lamps")
        return cls(sets, lumens, watts, count < 0)


def _intensities(sheet: _Sheet, shape: _Shape, first_angle: int) -> tuple[Floats, Floats, Floats]:
    """C angles listed, G angles, and the stored planes' values (plane, angle)."""
    planes = sheet.many(first_angle, shape.planes, "C angle")
    rising(planes, [first_angle + k for k in range(shape.planes)], "C angles")
    g_line = first_angle + shape.planes
    theta = sheet.many(g_line, shape.angles, "G angle")
    rising(theta, [g_line + k for k in range(shape.angles)], "G angles")
    if theta[0] < 0 or theta[-1] > 180:
        raise BrokenFile(g_line, "G angles should lie within 0 and 180")
    count = shape.stored * shape.angles
    first_value = g_line + shape.angles
    values = sheet.many(first_value, count, "intensity")
    if np.any(values < 0):
        worst = int(np.argmax(values < 0))
        raise BrokenFile(first_value + worst, f"an intensity is negative: {values[worst]:g}")
    _no_more(sheet, first_value + count, shape)
    return planes, theta, values.reshape(shape.stored, shape.angles)


def _no_more(sheet: _Sheet, line: int, shape: _Shape) -> None:
    for k in range(line, len(sheet.lines) + 1):
        if sheet.text(k).strip("\x1a"):
            raise BrokenFile(
                k,
                f"there are more values than symmetry {shape.symmetry} with {shape.planes} planes "
                f"of {shape.angles} angles has",
            )


def _full_circle(symmetry: int, planes: Floats, rows: Floats, line: int) -> tuple[Floats, Floats]:
    """Stored planes at their own angles, then mirrored round as the symmetry says."""
    if symmetry == 1:
        return np.zeros(1), rows
    if symmetry == 0:
        return unfolded(planes, rows, ())
    if symmetry == 3:
        return unfolded(_from(planes, 270.0, rows.shape[0], 90.0, line), rows, (180.0,))
    last = 180.0 if symmetry == 2 else 90.0
    mirrors = (0.0,) if symmetry == 2 else (0.0, 180.0)
    return unfolded(_from(planes, 0.0, rows.shape[0], last, line), rows, mirrors)


def _from(planes: Floats, first: float, count: int, last: float, line: int) -> Floats:
    """So many of the listed planes, round the circle from `first`, ending at `last`."""
    starts = np.flatnonzero(np.isclose(planes, first))
    if starts.size == 0:
        raise BrokenFile(line, f"the C angles have no plane at {first:g}, which symmetry needs")
    chosen = planes[(int(starts[0]) + np.arange(count)) % planes.size]
    if not np.isclose(chosen[-1], last):
        raise BrokenFile(
            line, f"the stored planes should end at C{last:g}, but end at C{chosen[-1]:g}"
        )
    return chosen


def _opening_cm(sheet: _Sheet) -> tuple[float, float, float]:
    """Luminous length, width (0: the length is a diameter) and height, from millimetres."""
    length = sheet.number(16, "the luminous length") / 10
    width = sheet.number(17, "the luminous width") / 10
    height = max(sheet.number(line, "a luminous height") for line in range(18, 22)) / 10
    return length, width or length, height


def _with_notes(file: PhotometricFile, sheet: _Sheet, lamps: _Lamps) -> PhotometricFile:
    """Says where the file's own statements and its intensities disagree."""
    notes = []
    stated = sheet.number(23, "the light output ratio") / 100
    ratio = file.light_output_ratio
    if ratio is not None and stated > 0 and abs(ratio / stated - 1) > 0.02:
        notes.append(
            f"The intensities add up to {100 * ratio:.1f} % of the lamps' lumens, but the file "
            f"states {100 * stated:.1f} %."
        )
    down = sheet.number(22, "the downward flux share") / 100
    if down > 0 and abs(file.table.share_down - down) > 0.03:
        notes.append(
            f"The intensities send {100 * file.table.share_down:.0f} % downwards, but the file "
            f"states {100 * down:.0f} %."
        )
    if sheet.number(25, "the tilt during measurement") != 0:
        notes.append("The lamp was measured tilted; it is taken as hung level.")
    if lamps.sets > 1:
        notes.append(f"The file lists {lamps.sets} sets of lamps; the first was taken.")
    return PhotometricFile(
        standard=file.standard,
        title=file.title,
        table=file.table,
        lamp_lm=file.lamp_lm,
        watts=file.watts,
        opening_cm=file.opening_cm,
        notes=tuple(notes),
    )
