"""From numbers to SVG units: straight and logarithmic scales, round ticks."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
"""The steps people count in; a tick step is one of these times a power of ten."""


def finite(*, name: str, values: Iterable[float]) -> None:
    """Refuse what cannot be drawn. Raises ValueError naming the argument."""
    for value in values:
        if not math.isfinite(value):
            raise ValueError(f"{name} must be finite to be drawn, got {value}")


@dataclass(frozen=True, kw_only=True)
class Scale:
    """A map from values to SVG units.

    low, high: the values at the two ends; start, end: where these stand [SVG units].
    logarithmic: equal ratios take equal room (needs low > 0).
    """

    low: float
    high: float
    start: float
    end: float
    logarithmic: bool = False

    def __post_init__(self) -> None:
        finite(name="scale", values=(self.low, self.high, self.start, self.end))
        if self.high <= self.low:
            raise ValueError(f"a scale needs low < high, got {self.low} and {self.high}")
        if self.logarithmic and self.low <= 0:
            raise ValueError(f"a logarithmic scale starts above 0, got {self.low}")

    def at(self, value: float) -> float:
        """Where a value stands [SVG units], to 0.1. Values outside are held at the nearer end."""
        finite(name="value", values=(value,))
        return round(self.start + (self.end - self.start) * self.share(value), 1)

    def share(self, value: float) -> float:
        """How far along a value is, 0 to 1."""
        held = min(max(value, self.low), self.high)
        if self.logarithmic:
            return math.log(held / self.low) / math.log(self.high / self.low)
        return (held - self.low) / (self.high - self.low)


def tick_step(*, span: float, most: int) -> float:
    """The smallest round step that cuts a span into at most `most` parts."""
    finite(name="span", values=(span,))
    if span <= 0 or most < 1:
        raise ValueError(f"ticks need a span above 0 and room for one, got {span} and {most}")
    power = 10.0 ** math.floor(math.log10(span / most))
    wanted = span / most / power
    return next((s for s in STEPS if s >= wanted * (1 - 1e-9)), STEPS[-1]) * power


def ticks(*, low: float, high: float, most: int) -> tuple[float, ...]:
    """Round values from low to high, ends included when they are round themselves."""
    step = tick_step(span=high - low, most=most)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return tuple(round(n * step, 10) for n in range(first, last + 1))


def plain(value: float) -> str:
    """A tick's words: 20, 2.5, −10 (with a real minus sign)."""
    finite(name="tick", values=(value,))
    return f"{value:.6g}".replace("-", "−")
