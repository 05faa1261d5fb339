"""What a lamp's page says of the club's own measurements of it."""

from dataclasses import dataclass

from server.comparing.pooled import Pooled
from server.db.lamp_knowledge import Knowledge, Told
from server.drawing.gauge import Gauge, gauge
from server.web import filters


@dataclass(frozen=True, kw_only=True)
class MeasuredLine:
    """One measurement of the lamp, with its provenance."""

    tank_id: int
    tank: str
    member: str
    day: str
    readings: str
    output: str
    gauge: Gauge
    beam: str
    off: bool


@dataclass(frozen=True, kw_only=True)
class MeasuredView:
    answer: str
    beam: str
    disagreement: str
    lines: tuple[MeasuredLine, ...]


def measured_view(known: Knowledge | None, *, stated_ppf_umol_s: float) -> MeasuredView | None:
    """None where nobody measured the lamp in a tank shown to the club."""
    if known is None:
        return None
    ends = [one.factor for one in known.told]
    reach = (
        min(0.5, min(one.low for one in ends)) * 0.95,
        max(1.5, max(one.high for one in ends)) * 1.05,
    )
    return MeasuredView(
        answer=_answer(known, stated_ppf_umol_s),
        beam=_beam(known.beam),
        disagreement=_disagreement(known),
        lines=tuple(
            _line(one, reach, off=number == known.output.farthest)
            for number, one in enumerate(known.told)
        ),
    )


def _answer(known: Knowledge, stated: float) -> str:
    output = known.output
    tanks = len({one.tank.id for one in known.told})
    return (
        f"In {filters.count(tanks, 'tank')} of the club it gave "
        f"{filters.percent(output.value)} of what is stated: "
        f"{filters.ppfd(output.value * stated)} µmol s⁻¹, "
        f"between {filters.ppfd(output.low * stated)} and {filters.ppfd(output.high * stated)} "
        "four times in five. Plans use that."
    )


def _beam(beam: Pooled | None) -> str:
    if beam is None:
        return ""
    return (
        f"Its beam measured {filters.percent(beam.value)} of the stated angle "
        f"({filters.percent(beam.low)} to {filters.percent(beam.high)})."
    )


def _disagreement(known: Knowledge) -> str:
    output = known.output
    if not output.disagree or output.farthest is None:
        return ""
    far = known.told[output.farthest]
    return (
        f"The tanks disagree more than their own doubt allows; {far.tank.name} "
        f"({filters.percent(far.factor.value)}) is farthest off. The interval is widened by that, "
        "and nothing is left out. An aged lamp, salt on its pane or a dirty sensor would do it."
    )


def _line(one: Told, reach: tuple[float, float], *, off: bool) -> MeasuredLine:
    factor, row = one.factor, one.row
    return MeasuredLine(
        tank_id=one.tank.id,
        tank=one.tank.name,
        member=one.member.name if one.member else "a former member",
        day=filters.day(row.measured_on),
        readings=filters.count(row.readings, "reading"),
        output=(
            f"{filters.percent(factor.value)} "
            f"({filters.number(100 * factor.low)}–{filters.percent(factor.high)})"
        ),
        gauge=gauge(
            value=factor.value,
            wanted=None,
            interval=(factor.low, factor.high),
            scale_range=reach,
        ),
        beam="not told" if row.beam_deg is None else f"{filters.number(row.beam_deg)}°",
        off=off,
    )
