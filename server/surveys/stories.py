"""What may be wrong with a tank: every suspect is a story, with a chance before any reading.

A story says how the light would be if it were true, and how far the numbers of the plan may be
off besides. "As planned" is one of them. What is told here is only the prior; `weighing` compares
how probable each makes the readings.

Chances before any reading are our judgement, argued from what lamps, lenses and glass can do; no
published source was found for any of them.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.surveys.plan import Plan
from server.surveys.response import WINGS_DEG, Answers, log_sum_over_lamps

Floats = NDArray[np.float64]


class Kind(StrEnum):
    """What a story is about."""

    PLANNED = "planned"
    LAMP = "lamp"
    LENS = "lens"
    PLACE = "place"
    LEAN = "lean"
    WALL = "wall"
    SENSOR = "sensor"


# --- chances before any reading -------------------------------------------------------------

LAMP_OUT = 0.02
"""One lamp: not lit though it should be. A dead driver or a plug; seen at once by an eye that
looks, but plans also hold lamps that were taken down."""
LAMP_WEAK = 0.03
"""One lamp: another power than said, a dead channel, salt on the lens, years of age."""
LAMP_STRONG = 0.006
"""One lamp: more light than said. Only a slip on the control does that."""
ALL_WEAK, ALL_STRONG = 0.06, 0.02
"""All lamps together: another setting than said, or a light that is sold under a larger figure."""
WALL_GROWN = 0.04
"""One wall: grown over. Some keepers clean the front only, and film is not seen from outside."""
ALL_GROWN = 0.01
HUNG_ELSEWHERE = 0.08
"""All lamps on their rail elsewhere than said: a tape measure taken from another edge."""
ONE_ELSEWHERE = 0.01
LEANING = 0.05
ONE_LEANING = 0.01
OTHER_LENS = 0.04
"""All lamps of another lens than a plain beam: two wings, as panels for wide tanks have."""
ONE_OTHER_LENS = 0.003
METER_OFF = 0.05
"""One of several meters: further off than it says, by a factor left out or a sensor not clean. Of
a single meter that cannot be told from lamps that give another light."""

# --- what each would do -----------------------------------------------------------------------

WEAK = ((0.78, 0.25), (0.58, 0.35), (0.38, 0.25), (0.18, 0.15))
"""Shares of its light that a weak lamp gives, each with how likely it is among weak lamps."""
STRONG = ((1.35, 0.6), (1.8, 0.4))
BETWEEN = 0.14  # ln output about each of these
LOST = ((0.35, 0.3), (0.65, 0.4), (0.90, 0.3))
"""Shares of a wall's returned light that growth takes: light passes the film twice, so growth
that passes half takes three quarters."""
LOST_BETWEEN = 0.12
HUNG_CM = 3.5  # sideways, one standard deviation along each side
HUNG_HIGHER_CM = 2.5
LEAN_DEG = 7.0
DIP = 0.15
ALL_LOG = (float(np.log(0.5)), float(np.log(1.9)))
METER_SIZE = 0.25  # ln factor of a meter that is off
ALL_SIZE = 0.35  # ln output about these
ROUGH_LENS = 0.03  # a lens with wings is not known to the shape told in `changed.wings`
GONE = -30.0  # ln output of a lamp that is out


@dataclass(frozen=True, kw_only=True)
class Story:
    """One suspect.

    lamp, side, meter: whom it is about, None for all lamps, no wall, no meter. variant: which of
    several forms. prior: chance before any reading. log_output: ln output of each lamp against
    the plan. lost: share of returned light lost by each wall named. who: the lamps that hang
    elsewhere or lean. aside: their (x, y, height [cm], lean to the right, lean to the back [°])
    about which the light is taken as a straight line. wings: lamps whose lens has two wings.
    sizes: standard deviations that differ from those of the plain belief, by column. rough: least
    remainder, where the story itself is only roughly known.
    """

    kind: Kind
    prior: float
    lamp: int | None = None
    side: str | None = None
    meter: str | None = None
    variant: str = ""
    log_output: tuple[float, ...] = ()
    lost: Mapping[str, float] = field(default_factory=dict)
    who: tuple[int, ...] = ()
    aside: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0, 0.0)
    wings: tuple[int, ...] = ()
    sizes: Mapping[str, float] = field(default_factory=dict)
    rough: float = 0.0
    beside: tuple["Subject", ...] = ()

    @property
    def subject(self) -> "Subject":
        """What a finding would name."""
        return self.kind, self.lamp, self.meter if self.side is None else self.side

    @property
    def subjects(self) -> tuple["Subject", ...]:
        """The same, with those of the stories told together with this one."""
        return self.subject, *self.beside

    def and_(self, other: "Story") -> "Story":
        """Both at once."""
        outputs = [s.log_output for s in (self, other) if s.log_output]
        return replace(
            self,
            prior=self.prior * other.prior,
            variant=f"{self.variant}+{other.kind}{other.lamp}{other.side}{other.variant}",
            log_output=tuple(np.sum(outputs, axis=0)) if outputs else (),
            lost={**self.lost, **other.lost},
            who=self.who or other.who,
            aside=self.aside if self.who else other.aside,
            wings=self.wings or other.wings,
            meter=self.meter if other.meter is None else other.meter,
            rough=max(self.rough, other.rough),
            sizes={**self.sizes, **other.sizes},
            beside=(*self.beside, *other.subjects),
        )


Subject = tuple[Kind, int | None, str | None]
"""What a finding names: kind, lamp, wall or meter."""


MOVES = ("x", "y", "height", "lean x", "lean y")
"""Columns of lamps that hang elsewhere, in the order of `Story.aside`."""


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """The light and what it answers to at some places, if one story is true.

    log_plan (n,), per_unit (n, p) with names, by_beam (5, n) at shifts_deg.
    """

    names: tuple[str, ...]
    log_plan: Floats
    per_unit: Floats
    shifts_deg: Floats
    by_beam: Floats
    beam_deg: float | None

    def log_at(self, shifts_deg: Floats) -> Floats:
        """ln PPFD with the beam shifted, shape (shifts, n)."""
        return self.log_plan + self._beam(shifts_deg)

    def beam_slope(self, shifts_deg: Floats) -> Floats:
        """d ln PPFD per degree of beam at each shift, shape (shifts, n)."""
        return self._beam(shifts_deg + 0.5) - self._beam(shifts_deg - 0.5)

    def _beam(self, shifts_deg: Floats) -> Floats:
        weights = _beam_weights(self.beam_deg, tuple(self.shifts_deg), tuple(shifts_deg))
        return np.asarray(weights @ self.by_beam, dtype=np.float64)


def view(story: Story, answers: Answers, *, straight: bool = True) -> View:
    """What one story makes of the rows read off at some places.

    straight: carried back in a straight line to where the lamps are said to hang, from which
    corrections count; else taken where the story has them.
    """
    light = answers.row("light")
    told = light + _told(story, answers)
    total = log_sum_over_lamps(told)
    share = np.exp(told - total)
    moves = _moves(story, answers, share)
    columns = {"output": np.ones(total.size)}
    if len(share) > 1:
        columns |= {f"lamp {n}": row for n, row in enumerate(share)}
    columns["absorption"] = (share * answers.row("absorption")).sum(axis=0)
    columns["rise"] = (share * answers.row("height")).sum(axis=0)
    columns |= moves
    for side in answers.response.sides:
        returned = answers.row(f"wall {side}")
        left = 1 - story.lost.get(side, 0.0) * returned
        columns[f"wall {side}"] = -(share * returned / left).sum(axis=0)
    if story.wings:
        columns["dip"] = (share * answers.row("dip"))[list(story.wings)].sum(axis=0)
    back = sum((moves[n] * d for n, d in zip(MOVES, story.aside, strict=True) if moves), 0.0)
    by_beam, shifts, beam = _beams(story, answers, told, total)
    return View(
        names=tuple(columns),
        log_plan=answers.log_plan + total - log_sum_over_lamps(light) - (back if straight else 0.0),
        per_unit=np.stack(list(columns.values()), axis=1),
        shifts_deg=shifts,
        by_beam=by_beam,
        beam_deg=beam,
    )


def change(story: Story, answers: Answers) -> Floats:
    """What a story does to ln PPFD of all lamps together, taken where it is, (n,)."""
    light = answers.row("light")
    told = log_sum_over_lamps(light + _told(story, answers))
    return np.asarray(told - log_sum_over_lamps(light))


def _told(story: Story, answers: Answers) -> Floats:
    """ln of each lamp's light against the plan's, (lamps, n)."""
    change = np.zeros_like(answers.row("light"))
    if story.log_output:
        change += np.array(story.log_output)[:, None]
    for side, lost in story.lost.items():
        change += np.log1p(-lost * answers.row(f"wall {side}"))
    for name, d in zip(MOVES, story.aside, strict=True):
        if d and story.who:
            who = list(story.who)
            change[who] += (d * answers.row(name) + d**2 * answers.row(f"{name}²"))[who]
    if story.wings:
        change[list(story.wings)] += answers.stack("wing")[2][list(story.wings)]
    return change


def _moves(story: Story, answers: Answers, share: Floats) -> dict[str, Floats]:
    """Slopes of what the lamps that hang elsewhere would do, at the place they are taken at."""
    if not story.who:
        return {}
    who = list(story.who)
    found = {}
    for name, d in zip(MOVES, story.aside, strict=True):
        slope = answers.row(name) + 2 * d * answers.row(f"{name}²")
        found[name] = (share * slope)[who].sum(axis=0)
    return found


def _beams(
    story: Story, answers: Answers, told: Floats, total: Floats
) -> tuple[Floats, Floats, float | None]:
    """ln PPFD over the five beams or wings, their shifts, and the beam they count from."""
    beams = answers.stack("beam").copy()
    beam = answers.response.plan.beam_deg
    shifts = answers.response.shifts_deg
    if story.wings:
        who = list(story.wings)
        wings = answers.stack("wing")
        beams[:, who] = (wings - wings[2])[:, who]
        beam, shifts = None, np.array(WINGS_DEG) - WINGS_DEG[2]
    return log_sum_over_lamps(told + beams) - total, shifts, beam


# --- the stories of a plan ----------------------------------------------------------------------


def stories(plan: Plan) -> tuple[Story, ...]:
    """Every suspect of a plan, "as planned" first with what chance the others leave."""
    found = (*_of_lamps(plan), *_of_walls(plan), *_of_places(plan), *_of_lenses(plan))
    rest = max(1.0 - sum(story.prior for story in found), 0.3)
    return (Story(kind=Kind.PLANNED, prior=rest), *found)


def of_meters(keys: Iterable[str]) -> tuple[Story, ...]:
    """One story for each of several meters; none for a single one."""
    told = sorted(set(keys))
    if len(told) < 2:
        return ()
    return tuple(
        Story(kind=Kind.SENSOR, meter=key, prior=METER_OFF / len(told), variant=key) for key in told
    )


def _of_lamps(plan: Plan) -> Iterator[Story]:
    lamps = len(plan.lamps)
    for log, chance in zip(ALL_LOG, (ALL_WEAK, ALL_STRONG), strict=True):
        yield Story(
            kind=Kind.LAMP,
            prior=chance,
            variant=f"{np.exp(log):.2f}",
            log_output=(log,) * lamps,
            sizes={"output": ALL_SIZE},
        )
    if lamps < 2:
        return

    def one(lamp: int, log: float, prior: float) -> Story:
        outputs = tuple(log if n == lamp else 0.0 for n in range(lamps))
        return Story(
            kind=Kind.LAMP,
            lamp=lamp,
            prior=prior,
            variant=f"{np.exp(log):.2f}",
            log_output=outputs,
            sizes={f"lamp {lamp}": BETWEEN},
        )

    for lamp in range(lamps):
        yield one(lamp, GONE, LAMP_OUT)
        for share, chance in WEAK:
            yield one(lamp, float(np.log(share)), LAMP_WEAK * chance)
        for share, chance in STRONG:
            yield one(lamp, float(np.log(share)), LAMP_STRONG * chance)


def _of_walls(plan: Plan) -> Iterator[Story]:
    sides = tuple(s for s in ("left", "right", "front", "back") if _clear(plan, s))
    groups: list[tuple[tuple[str, ...], float]] = [((side,), WALL_GROWN) for side in sides]
    if len(sides) > 1:
        groups.append((sides, ALL_GROWN))
    for group, prior in groups:
        for lost, chance in LOST:
            yield Story(
                kind=Kind.WALL,
                side=group[0] if len(group) == 1 else "every",
                prior=prior * chance,
                variant=f"{lost:.2f}",
                lost=dict.fromkeys(group, lost),
                sizes={f"wall {side}": LOST_BETWEEN for side in group},
            )


def _clear(plan: Plan, side: str) -> bool:
    return bool(getattr(plan.tank.walls, side) == "clear")


def _of_places(plan: Plan) -> Iterator[Story]:
    hung = {"x": HUNG_CM, "y": HUNG_CM, "height": HUNG_HIGHER_CM}
    lean = {"lean x": LEAN_DEG, "lean y": LEAN_DEG}
    for who, lamp in _whom(plan):
        alone = lamp is not None
        yield Story(
            kind=Kind.PLACE,
            lamp=lamp,
            who=who,
            prior=ONE_ELSEWHERE if alone else HUNG_ELSEWHERE,
            sizes=hung,
        )
        prior = ONE_LEANING if alone else LEANING
        yield Story(kind=Kind.LEAN, lamp=lamp, who=who, prior=prior, sizes=lean)


def _of_lenses(plan: Plan) -> Iterator[Story]:
    for who, lamp in _whom(plan):
        prior = OTHER_LENS if lamp is None else ONE_OTHER_LENS
        yield Story(
            kind=Kind.LENS,
            lamp=lamp,
            wings=who,
            prior=prior,
            sizes={"dip": DIP},
            rough=ROUGH_LENS,
        )


def _whom(plan: Plan) -> Iterator[tuple[tuple[int, ...], int | None]]:
    """All lamps together, then each alone where there are several."""
    lamps = tuple(range(len(plan.lamps)))
    yield lamps, None
    if len(lamps) > 1:
        for lamp in lamps:
            yield (lamp,), lamp


@lru_cache(maxsize=256)
def _beam_weights(
    beam_deg: float | None, known_deg: tuple[float, ...], shifts_deg: tuple[float, ...]
) -> Floats:
    """Weights of the five beams known at each shift, (shifts, 5)."""
    known, shifts = np.array(known_deg), np.array(shifts_deg)
    if beam_deg is None:
        return _lagrange(known, shifts)
    return _lagrange(_lens(beam_deg + known), _lens(beam_deg + shifts))


def _lens(beam_deg: Floats) -> Floats:
    """ln m of a beam, m as in I = I₀ cosᵐ θ: what ln PPFD is smoothest in."""
    half = np.radians(np.clip(beam_deg, 2.0, 179.0) / 2)
    return np.asarray(np.log(np.log(0.5) / np.log(np.cos(half))), dtype=np.float64)


def _lagrange(nodes: Floats, at: Floats) -> Floats:
    """Weights of Lagrange's polynomial, shape (at, nodes); the end values are kept beyond."""
    at = np.clip(at, nodes.min(), nodes.max())
    same = np.eye(nodes.size, dtype=bool)
    gaps = np.where(same, 1.0, nodes[:, None] - nodes[None, :])
    away = at[:, None, None] - nodes[None, None, :]
    return np.asarray(np.where(same, 1.0, away / gaps).prod(axis=2), dtype=np.float64)
