"""The steps of every PPFD chart, the same on all pages so that charts can be compared."""

from server.drawing.tank_view import Levels

PPFD = Levels(
    # Ends of common practice's ranges for groups of animals, one step below and two above.
    tints=(50, 75, 150, 200, 350, 500),
    lines=(10, 25, 100, 125, 250, 300, 425, 600, 700, 1000, 1500, 2000),
)
AMONG_ROCKS = Levels(tints=PPFD.tints, lines=(250, 300, 425, 700, 1000, 1500, 2000))
"""Shade bends every line around every rock: the fine steps of dim light would crowd a chart."""
_ROUND = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)


def zone(low_ppfd: float, high_ppfd: float) -> Levels:
    """Below, within and above one range."""
    return Levels(
        tints=(low_ppfd, high_ppfd),
        words=((low_ppfd, f"{low_ppfd:.4g}"), (high_ppfd, f"{high_ppfd:.4g}")),
        scheme="zone",
    )


def change(most_ppfd: float) -> Levels:
    """Signed steps for a difference of at most so much: less, about the same, more."""
    outer = max((step for step in _ROUND if step <= 0.75 * most_ppfd), default=1)
    inner = max((step for step in _ROUND if step <= outer / 2), default=0.5)
    tints = (-outer, -inner, inner, outer)
    lines = (-2 * outer, -4 * outer, 0, 2 * outer, 4 * outer)
    return Levels(
        tints=tints,
        lines=lines,
        words=tuple((level, signed(level)) for level in (*tints, *lines)),
        scheme="change",
    )


def signed(value: float) -> str:
    """+50, −20, 0, with a true minus."""
    words = f"{abs(value):.4g}"
    return words if value == 0 else f"+{words}" if value > 0 else f"−{words}"
