"""A systematic misfit between plan and readings, said in words and with its likely cause."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from server.surveys.estimate import Known, MeasuredMap
from server.surveys.findings import findings


class Finding(StrEnum):
    """What the readings have in common against the plan."""

    OUTPUT = "output"
    ONE_LAMP = "one lamp"
    WATER = "water"
    BEAM = "beam"
    WALL = "wall"
    SUSPECT = "suspect"
    NOTHING = "nothing"


@dataclass(frozen=True, kw_only=True)
class Explained:
    """One finding: what it is about, in which number, and a sentence."""

    finding: Finding
    number: Known | None
    words: str


def explained(found: MeasuredMap) -> tuple[Explained, ...]:
    """Everything the readings show against the plan with four chances in five or better."""
    if not found.used:
        return (_nothing("Nothing has been measured yet: this is the plan with its own doubt."),)
    told = (*_output(found), *_lamps(found), *_water(found), *_beam(found), *_walls(found))
    suspected = tuple(
        Explained(finding=Finding.SUSPECT, number=None, words=one.words) for one in findings(found)
    )
    return (*suspected, *told) or (
        _nothing("Readings and plan agree: nothing points to a lamp, the water or the walls."),
    )


def _nothing(words: str) -> Explained:
    return Explained(finding=Finding.NOTHING, number=None, words=words)


def _output(found: MeasuredMap) -> Iterator[Explained]:
    factor = found.fit.output_factor
    if factor.low <= 1.0 <= factor.high or abs(factor.value - 1) < 0.03:
        return
    way = "lower" if factor.value < 1 else "higher"
    percent = 100 * abs(factor.value - 1)
    yield Explained(
        finding=Finding.OUTPUT,
        number=factor,
        words=(
            f"The light is {percent:.0f} % {way} than planned by the same factor everywhere: the "
            "lamps give that much, or the sensor's factor is off."
        ),
    )


def _lamps(found: MeasuredMap) -> Iterator[Explained]:
    common = found.fit.output_factor
    if len(found.plan.lamps) < 2:
        return
    for lamp, factor in zip(found.plan.lamps, found.fit.lamp_factors, strict=True):
        apart = factor.value / common.value
        if abs(apart - 1) < 0.08 or not (factor.high < common.value or factor.low > common.value):
            continue
        way = "weaker" if apart < 1 else "stronger"
        yield Explained(
            finding=Finding.ONE_LAMP,
            number=factor,
            words=(
                f"{lamp.name[:1].upper()}{lamp.name[1:]} is {100 * abs(apart - 1):.0f} % {way} "
                "than the lamps together: dimmed otherwise, older, or its lens is dirty."
            ),
        )


def _water(found: MeasuredMap) -> Iterator[Explained]:
    water, stated = found.fit.absorption_per_m, found.plan.absorption_per_m
    if water.low > stated + 0.02:
        yield Explained(
            finding=Finding.WATER,
            number=water,
            words="Readings get lower with depth than planned: the water is more tinted.",
        )
    elif water.high < stated - 0.02:
        yield Explained(
            finding=Finding.WATER,
            number=water,
            words="Readings keep up better with depth than planned: the water is clearer.",
        )


def _beam(found: MeasuredMap) -> Iterator[Explained]:
    beam, stated = found.fit.beam_deg, found.plan.beam_deg
    if beam is None or stated is None:
        return
    if beam.high < stated:
        yield Explained(
            finding=Finding.BEAM,
            number=beam,
            words=(
                "Readings are low at the edges and high under the lamp: the beam is narrower "
                f"than stated, about {beam.value:.0f}° instead of {stated:.0f}°."
            ),
        )
    elif beam.low > stated:
        yield Explained(
            finding=Finding.BEAM,
            number=beam,
            words=(
                "Readings are high at the edges and low under the lamp: the beam is wider than "
                f"stated, about {beam.value:.0f}° instead of {stated:.0f}°."
            ),
        )


def _walls(found: MeasuredMap) -> Iterator[Explained]:
    for side, loss in found.fit.wall_loss.items():
        if loss.low > 0.05 and loss.value > 0.12:
            yield Explained(
                finding=Finding.WALL,
                number=loss,
                words=(
                    f"Readings are low along the {side} wall: it returns about "
                    f"{100 * min(loss.value, 1.0):.0f} % less than clean glass would; algae, "
                    "salt, or something in front of it."
                ),
            )
