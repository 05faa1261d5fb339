"""The table of who gets what, alike on every page that has one."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.account import sentences
from server.account.account import AnimalLight
from server.drawing import gauge
from server.web.animal_marks import MARKS
from server.wording import figures


@dataclass(frozen=True, kw_only=True)
class AnimalRow:
    """One line of who gets what."""

    letter: str
    name: str
    place: str
    gets: str
    spread: str
    wants: str
    was: str
    verdict: str
    words: str
    gauge: gauge.Gauge


def animal_rows(
    animals: Sequence[AnimalLight], unit: str, was: Sequence[AnimalLight] = ()
) -> tuple[AnimalRow, ...]:
    """Every animal; all gauges of the table on one scale. was: as the light hangs now."""
    scale = _scale(animals)
    before = was or (None,) * len(animals)
    return tuple(_row(one, unit, scale, then) for one, then in zip(animals, before, strict=True))


def _scale(animals: Sequence[AnimalLight]) -> tuple[float, float]:
    ends = [
        end
        for one in animals
        for end in (one.low, one.high, one.low_wanted, one.high_wanted)
        if end is not None
    ]
    every = [max(end, 5.0) for end in ends] or [50.0, 500.0]
    return min(every) * 0.75, max(every) * 1.33


def _row(
    one: AnimalLight, unit: str, scale: tuple[float, float], then: AnimalLight | None
) -> AnimalRow:
    return AnimalRow(
        letter=one.letter,
        name=one.name,
        place=sentences.place_words((one.x_cm, one.y_cm, one.depth_cm), unit),
        gets=sentences.gets_words(one),
        spread=sentences.spread_words(one),
        wants=sentences.wants_words(one),
        was="" if then is None or then.ppfd is None else figures.ppfd(then.ppfd),
        verdict=MARKS[one.verdict],
        words=sentences.verdict_words(one),
        gauge=_gauge(one, scale),
    )


def _gauge(one: AnimalLight, scale: tuple[float, float]) -> gauge.Gauge:
    interval = None
    if one.low is not None and one.high is not None:
        interval = (max(one.low, scale[0]), one.high)
    return gauge.gauge(
        value=one.ppfd,
        wanted=(max(one.low_wanted, scale[0]), one.high_wanted),
        interval=interval,
        verdict=MARKS[one.verdict],
        scale_range=scale,
    )
