"""One drawing in two sizes: for a desk and for a phone. Nothing is shrunk."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")
WIDE, NARROW = 720.0, 340.0


@dataclass(frozen=True)
class Both(Generic[T]):
    """The same chart for a desk and for a phone."""

    wide: T
    narrow: T


def both(draw: Callable[[float], T], *, wide: float = WIDE, narrow: float = NARROW) -> Both[T]:
    """Draws a chart twice; `draw` takes the width in SVG units."""
    return Both(draw(wide), draw(narrow))
