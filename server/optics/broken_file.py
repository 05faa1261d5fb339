"""How a file of numbers is refused: by its line, and by what would be right there."""

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class BrokenFile(ValueError):
    """A file that cannot be read: `line` (the first is 1, None for the whole) and what is wrong."""

    def __init__(self, line: int | None, problem: str) -> None:
        self.line = line
        self.problem = problem
        super().__init__(problem if line is None else f"line {line}: {problem}")


def number(text: str, line: int, what: str) -> float:
    """A finite number, decimal point or comma. Raises BrokenFile naming line and field."""
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        found = repr(text.strip()) if text.strip() else "nothing"
        raise BrokenFile(line, f"{what} should be a number, found {found}") from None
    if not math.isfinite(value):
        raise BrokenFile(line, f"{what} should be a finite number, found {text.strip()!r}")
    return value


def whole(value: float, line: int, what: str, *, low: int, high: int) -> int:
    """A whole number within limits. Raises BrokenFile naming line and field."""
    if value != int(value) or not low <= value <= high:
        raise BrokenFile(line, f"{what} should be a whole number {low} to {high}, found {value:g}")
    return int(value)


def rising(angles: Floats, lines: list[int], what: str) -> None:
    """Raises BrokenFile at the first angle that does not rise."""
    for k in range(1, angles.size):
        if angles[k] <= angles[k - 1]:
            raise BrokenFile(
                lines[k], f"{what} must rise, but {angles[k]:g} follows {angles[k - 1]:g}"
            )
