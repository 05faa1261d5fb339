"""Sentences about readings: where to measure next, and what changed since the last ones."""

from server.account.sentences import place_words
from server.surveys.drift import Drift, Story
from server.surveys.next_reading import NextReading
from server.web import filters


def next_words(following: NextReading, unit: str) -> str:
    at = (following.x_cm, following.y_cm, following.depth_cm)
    return f"Measure here next: {place_words(at, unit)}"


_CHANGED = {
    Story.OUTPUT: "The lamps are the likeliest cause: they age, and dust or salt settles on them",
    Story.WATER: "The water is the likeliest cause: it yellows, and fresh carbon clears it",
    Story.WALLS: "The walls are the likeliest cause: algae or salt on the glass",
}


def drift_words(change: Drift) -> str:
    """What the latest session shows against those before it."""
    size = abs(change.change_percent.value)
    low, high = sorted((change.change_percent.low, change.change_percent.high))
    between = f"between {_signed(low)} and {_signed(high)} %"
    if not change.real:
        return (
            "The latest readings agree with the earlier ones within their scatter "
            f"(a change {between}, {filters.percent(change.chance_real)} likely to be real)."
        )
    likeliest = next(story for story, _ in change.stories if story is not Story.NOTHING)
    way = "less" if change.change_percent.value < 0 else "more"
    sure_of_it = dict(change.stories)[likeliest]
    return (
        f"The light has changed since the earlier readings: about {size:.0f} % {way} "
        f"({between}). {_CHANGED[likeliest]} ({filters.percent(sure_of_it)} likely among the "
        "causes tried)."
    )


def _signed(value: float) -> str:
    return filters.number(value) if value < 0 else f"+{filters.number(value)}"
