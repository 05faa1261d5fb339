"""Would a broken thing have shown? How far the readings taken could tell each suspect.

If a suspect were true the readings would differ from the plan by δ. With K the covariance of the
readings as planned (output, beam, water and errors all unknown), the log odds for a true suspect
grow by δᵀK⁻¹δ/2 on average (the divergence of two normals with one covariance; Kullback & Leibler
1951, from memory). A suspect is proven once that outweighs the odds against it with nine to one.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.optics.tank import Tank
from server.surveys import matern, stories
from server.surveys.combinations import field, linear
from server.surveys.plan import Plan
from server.surveys.posterior import Case
from server.surveys.priors import Surprise
from server.surveys.response import Answers
from server.surveys.stories import Kind, Story
from server.surveys.weighing import Whole

Floats = NDArray[np.float64]

PROVEN = 12.0
"""δᵀK⁻¹δ that turns one chance in fifty into nine in ten: 2 (ln 50 + ln 9)."""

CORNER = 0.33  # share of length and width that a corner's rock shades

CORNERS = ((0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0))

USUAL = (Surprise(remainder=0.015, range_cm=30.0, reading=0.045, weight=1.0),)


@dataclass(frozen=True, kw_only=True, eq=False)
class Proof:
    """What each suspect would have shown so far, and what one more reading would add.

    must: which of them have to have shown before it is enough: what is broken altogether, not
    what is a little off, (suspects,). shown: δᵀK⁻¹δ of the readings taken, (suspects,). added:
    what a reading at each candidate adds to it, (suspects, candidates). wanted: what each would
    do to ln PPFD where the light is wanted, (suspects, places).
    """

    suspects: tuple[str, ...]
    must: NDArray[np.bool_]
    shown: Floats
    added: Floats
    wanted: Floats

    @property
    def share(self) -> Floats:
        """How much of what it takes has been shown, 0–1, (suspects,)."""
        return np.minimum(self.shown / PROVEN, 1.0)

    @property
    def gained(self) -> Floats:
        """Mean over the suspects of what each candidate adds to that share, (candidates,)."""
        if not self.suspects:
            return np.zeros(self.added.shape[1])
        after = np.minimum((self.shown[:, None] + self.added) / PROVEN, 1.0)
        return np.asarray((after - self.share[:, None]).mean(axis=0))


def proof(found: Whole, here: Answers, wanted: Answers) -> Proof:
    """What readings would show of every suspect of the plan, and what candidates would add."""
    evidence = found.evidence
    plan = here.response.plan
    suspects = tuple(_suspects(plan))
    planned = stories.stories(plan)[0]
    case = Case.of(planned, evidence, found.priors, USUAL)
    grid = case.grid.part(np.array([len(case.grid.state) // 2]))  # a rough plan, no shift
    seen = stories.view(planned, here)
    read, there = (_shown(suspects, answers) for answers in (evidence.answers, here))
    kinds = (*(story.kind.value for story in suspects), *("shade",) * len(CORNERS))
    noise = float(grid.reading[0]) ** 2
    own = linear(grid, case.view, case.view)[0]
    own = own + field(grid, evidence.gap_cm)[0] + evidence.shared
    own[np.diag_indices(evidence.count)] += noise + evidence.own_variance
    across = linear(grid, seen, case.view)[0]
    across = across + field(grid, matern.distances(here.points, evidence.places))[0]
    alone = np.diag(linear(grid, seen, seen)[0]) + grid.remainder[0] ** 2 + noise + 1e-3
    solved = np.linalg.solve(own, np.concatenate([read.T, across.T], axis=1))
    by_suspect, by_place = solved[:, : len(kinds)], solved[:, len(kinds) :]
    left = np.maximum(alone - np.einsum("cn,nc->c", across, by_place), 1e-6)
    return Proof(
        suspects=kinds,
        must=np.array([*(_broken(story) for story in suspects), *(True,) * len(CORNERS)]),
        shown=np.einsum("sn,ns->s", read, by_suspect),
        added=(there - (across @ by_suspect).T) ** 2 / left,
        wanted=_shown(suspects, wanted),
    )


def _suspects(plan: Plan) -> Sequence[Story]:
    """One form of each suspect: what a member would want to hear of before the arm is dry."""
    every = stories.stories(plan)
    lamps = [s for s in every if s.lamp is not None and s.variant in ("0.00", "0.58")]
    walls = [s for s in every if s.kind is Kind.WALL and s.variant == "0.65" and s.side != "every"]
    lenses = [s for s in every if s.kind is Kind.LENS and s.lamp is None]
    who = tuple(range(len(plan.lamps)))
    aside = stories.HUNG_CM
    places = [
        Story(kind=Kind.PLACE, prior=1.0, who=who, aside=(aside * dx, aside * dy, 0.0, 0.0, 0.0))
        for dx, dy in ((1, 0), (0, 1))
    ]
    return (*lamps, *walls, *lenses, *places)


def _broken(story: Story) -> bool:
    """A lamp that is out, a grown wall, another lens; not a weak lamp or lamps a little aside."""
    return story.kind in (Kind.WALL, Kind.LENS) or story.variant == "0.00"


def _shown(suspects: Sequence[Story], answers: Answers) -> Floats:
    """How each suspect would change ln PPFD at some places, (suspects, n); shaded corners last."""
    rows = [stories.change(story, answers) for story in suspects]
    return np.array([*rows, *_corners(answers.response.plan.tank, answers.points)])


def _corners(tank: Tank, points: Floats) -> Floats:
    """Half the light gone in each corner, below the topmost third: where rock is piled, (4, n)."""
    x, y = points[:, 0] / tank.length_cm, points[:, 1] / tank.width_cm
    low = points[:, 2] > tank.depth_cm / 3
    inside = [
        low & (np.abs(x - right) < CORNER) & (np.abs(y - back) < CORNER) for right, back in CORNERS
    ]
    return np.where(inside, np.log(0.5), 0.0)
