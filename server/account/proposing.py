"""The one change that would help most, in the account's terms, or in words why there is none."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from server.account import sentences
from server.account.ability import SPLASH_CAUTION, Hang, Hanging, splashed
from server.account.account import Proposal
from server.account.adviser import Advice, best_change
from server.account.change import Change, Kind
from server.account.known_light import KnownLight
from server.dose.warnings import DARK_HOURS
from server.surveys.plan import Animal
from server.surveys.verdict import Judged, Verdict
from server.wording import figures

MOST_LIT_HOURS = 24.0 - DARK_HOURS

GO_UP_SLOWLY = (
    "That gives some animals more light than they are used to. Go up slowly, over weeks: plan the "
    "way up with the tank's day."
)
MESH_CAUTION = (
    "Keep a mesh clear of the burner and of hot glass, fasten it so that it cannot fall into the "
    "water, and use one that cannot burn."
)
OVERHEAD_CAUTION = (
    "Before a lamp is hung or moved: switch it off and unplug it, keep hands dry, and hang it "
    "from rated hardware with a second line."
)


def proposed(
    light: KnownLight,
    animals: Sequence[Animal],
    hanging: Sequence[Hanging],
    *,
    unit: str = "cm",
    floor: str = "sand",
    lit_hours: float | None = None,
) -> Proposal | str:
    """A proposal, or in words why there is none; empty where nobody lives.

    light: from no readings too; then measuring comes first. hanging: one for each lamp of the
    plan. unit: the reader's, of lengths. floor: what an animal would be set on. lit_hours: of
    the day that runs, None where it is not known.
    """
    advice = best_change(light.map, animals, hanging)
    if advice is None:
        return ""
    told = _Told(advice=advice, light=light, unit=unit, floor=floor)
    if advice.change is not None:
        return told.proposal(advice.change)
    if lit_hours is not None and lit_hours > MOST_LIT_HOURS:
        return told.shorter_day(lit_hours)
    return told.why_none()


def change_proposed(
    light: KnownLight, animals: Sequence[Animal], hanging: Sequence[Hanging]
) -> Change | None:
    """The change itself, to be tried on a chart; None where there is none."""
    best = best_change(light.map, animals, hanging)
    return best.change if best is not None else None


@dataclass(frozen=True, kw_only=True, eq=False)
class _Told:
    """What the sentences are made from."""

    advice: Advice
    light: KnownLight
    unit: str
    floor: str

    @property
    def lamps(self) -> list[str]:
        return [lamp.name for lamp in self.light.map.plan.lamps]

    def proposal(self, change: Change) -> Proposal:
        before, after = _ends(change, self.unit, self.floor)
        return self._made(
            change,
            ordered(change, self.advice.now, self.lamps, self.unit, self.floor),
            ends=(before, after),
        )

    def shorter_day(self, lit_hours: float) -> Proposal:
        """The light is right and the day too long."""
        change = Change(kind=Kind.HOURS, lit_hours=(lit_hours, MOST_LIT_HOURS))
        before, after = (f"{_level(hours / 100)} hours" for hours in change.lit_hours)
        order = (
            f"Shorten the day from {before} of light to {after}, as animals need about "
            f"{figures.number(DARK_HOURS)} hours of dark (common practice, no published source)"
        )
        return self._made(change, order, ends=(before, after))

    def _made(self, change: Change, order: str, *, ends: tuple[str, str]) -> Proposal:
        before, after = (share(judged) for judged in (self.advice.now, self.advice.then))
        words = [f"{order}." if self.light.measured else self._by_the_plan(order)]
        if after > before:
            words.append(sentences.chances_words(before, after))
        words += [pair_words(self.advice)] if self.advice.pair else []
        return Proposal(
            words=" ".join(words),
            before=ends[0],
            after=ends[1],
            chance_before=before,
            chance_after=after,
            measure_first=not self.light.measured,
            order=order,
            cautions=cautions(change, brighter=self.advice.brighter),
            brighter=self.advice.brighter,
            change=change,
        )

    def _by_the_plan(self, order: str) -> str:
        lower = f"{order[:1].lower()}{order[1:]}"
        return f"{sentences.MEASURE_FIRST} By the plan the best would be: {lower}."

    def why_none(self) -> str:
        if self.advice.pair is not None:
            return pair_words(self.advice)
        verdicts = {one.verdict for one in self.advice.now}
        if verdicts == {Verdict.IN_RANGE}:
            return sentences.LEAVE_IT
        if not self.light.measured:
            return f"{sentences.MEASURE_FIRST} By the plan no single change would help clearly."
        if Verdict.NOT_KNOWN in verdicts:
            return f"{sentences.LEAVE_IT} No single change would make it clearly surer."
        return "No single change of the lamps, or of who lives where, would help clearly."


def share(judged: Sequence[Judged]) -> float:
    """Expected share of animals in their range."""
    return sum(one.chance_in_range for one in judged) / max(len(judged), 1)


def pair_words(advice: Advice) -> str:
    """That two animals cannot both be served; empty where that is not so."""
    if advice.pair is None:
        return ""
    a, b = (advice.now[n].animal.name for n in advice.pair)
    return (
        f"{a} and {b} cannot share this tank as it is: no single change that was tried gives both "
        "the light they need, though each alone could have it."
    )


def cautions(change: Change, *, brighter: bool) -> tuple[str, ...]:
    """What must be said beside a change; brighter: than some animal is used to."""
    told = [GO_UP_SLOWLY] if brighter else []
    if change.kind in (Kind.HEIGHT, Kind.LAMP_PLACE, Kind.ADD, Kind.TAKE_AWAY):
        told.append(OVERHEAD_CAUTION)
    if change.kind is Kind.MESH:
        told.append(MESH_CAUTION)
    touched = [after for _, after in change.touched] + [h for h in [change.new] if h is not None]
    if change.kind is not Kind.POWER and any(splashed(hang.height_cm) for hang in touched):
        told.append(SPLASH_CAUTION)
    return tuple(told)


# Orders


def ordered(
    change: Change, now: Sequence[Judged], lamps: Sequence[str], unit: str, floor: str = "sand"
) -> str:
    """A change as an order, without a stop at its end."""
    if change.kind is Kind.ANIMAL_PLACE:
        assert change.animal is not None
        return f"Move {now[change.animal].animal.name} to {_place(change.place, unit, floor)}"
    words: dict[Kind, Callable[[Change, Sequence[str], str], str]] = {
        Kind.POWER: _turn,
        Kind.HEIGHT: _lift,
        Kind.LAMP_PLACE: _shift,
        Kind.MESH: _mesh,
        Kind.TAKE_AWAY: _take,
        Kind.ADD: _add,
    }
    return words[change.kind](change, lamps, unit)


def _turn(change: Change, lamps: Sequence[str], unit: str) -> str:
    pairs = change.touched
    way = "down" if pairs[0][1].power < pairs[0][0].power else "up"
    ends = [(_level(a.power), _level(b.power)) for a, b in pairs]
    if len(set(ends)) == 1:
        return f"Turn {_lamps(change, lamps)} {way} from {ends[0][0]} to {ends[0][1]} %"
    each = figures.listed(
        [f"{lamps[n]} to {b}" for n, (_, b) in zip(change.lamps, ends, strict=True)]
    )
    return f"Turn the lamps {way} together: {each} %"


def _lift(change: Change, lamps: Sequence[str], unit: str) -> str:
    pairs = change.touched
    up = pairs[0][1].height_cm - pairs[0][0].height_cm
    way = "Raise" if up > 0 else "Lower"
    ends = {(a.height_cm, b.height_cm) for a, b in pairs}
    if len(ends) == 1:
        ((a, b),) = ends
        start, end = figures.length(a, unit), figures.length(b, unit)
        return f"{way} {_lamps(change, lamps)} from {start} to {end} above the water"
    return f"{way} {_lamps(change, lamps)} by {figures.length(abs(up), unit)}"


def _shift(change: Change, lamps: Sequence[str], unit: str) -> str:
    ((_, hang),) = change.touched
    return f"Move {lamps[change.lamps[0]]} so that its middle is {_over(hang, unit)}"


def _over(hang: Hang, unit: str) -> str:
    """'30 cm from the left wall and 12 cm from the front', as one stands before the tank."""
    x, y = (figures.length(one, unit) for one in (hang.x_cm, hang.y_cm))
    return f"{x} from the left wall and {y} from the front"


def _mesh(change: Change, lamps: Sequence[str], unit: str) -> str:
    lets = figures.percent(change.mesh)
    return f"Hang a mesh that lets {lets} of the light through under {lamps[change.lamps[0]]}"


def _take(change: Change, lamps: Sequence[str], unit: str) -> str:
    return f"Take {lamps[change.lamps[0]]} away"


def _add(change: Change, lamps: Sequence[str], unit: str) -> str:
    new = change.after[-1]
    return (
        f"Add a lamp like {lamps[change.lamps[0]]}, its middle {_over(new, unit)}, "
        f"{figures.length(new.height_cm, unit)} above the water, at {_level(new.power)} %"
    )


def _place(place: tuple[float, float, float], unit: str, floor: str) -> str:
    """'30 right, 12 cm back, on the sand', as one stands before the tank."""
    x, y = figures.length_number(place[0], unit), figures.length(place[1], unit)
    return f"{x} right, {y} back, on the {floor}"


def _lamps(change: Change, lamps: Sequence[str]) -> str:
    if len(change.lamps) == len(lamps) and len(lamps) > 1:
        return "all lamps"
    return figures.listed([lamps[n] for n in change.lamps])


def _level(power: float) -> str:
    return figures.number(100 * power, 1).removesuffix(".0")


# Before and after


def _ends(change: Change, unit: str, floor: str) -> tuple[str, str]:
    """The thing changed, before and after, with units."""
    if change.kind is Kind.ANIMAL_PLACE:
        return sentences.place_words(change.stood, unit), _place(change.place, unit, floor)
    if change.kind is Kind.MESH:
        return "no mesh", f"a mesh that lets {figures.percent(change.mesh)} through"
    if change.kind in (Kind.ADD, Kind.TAKE_AWAY):
        return _lamps_in(change.before), _lamps_in(change.after)
    before, after = (
        figures.listed(list(dict.fromkeys(_value(change.kind, hang, unit) for hang in ends)))
        for ends in zip(*change.touched, strict=True)
    )
    return before, after


def _value(kind: Kind, hang: Hang, unit: str) -> str:
    if kind is Kind.POWER:
        return f"{_level(hang.power)} %"
    if kind is Kind.HEIGHT:
        return f"{figures.length(hang.height_cm, unit)} above the water"
    return _over(hang, unit)


def _lamps_in(hangs: Sequence[Hang]) -> str:
    return figures.count(len(hangs), "lamp")
