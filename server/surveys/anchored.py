"""The light of a likely story asked of the engine itself.

Suspects are compared on rows read off a lattice, which is quick and off by some percent where the
light has edges. Once a story is likely the engine is asked what the light would be if it were
true, at the numbers found so far, and the rows only carry it from there.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.surveys import changed, stories
from server.surveys.plan import Lamp, Plan, light_of
from server.surveys.response import MIDDLE_DIP, WINGS_DEG, Answers
from server.surveys.stories import Story

Floats = NDArray[np.float64]

STEPS = (1.0, 1.0, 1.0, 1.0, 1.0)  # to which places and leans are rounded, so tables are met again
WING_STEP_DEG, DIP_STEP = 3.0, 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class Anchor:
    """A story at the numbers found: wing_shift_deg from the middle of WINGS_DEG, and its dip."""

    story: Story
    wing_shift_deg: float = 0.0
    dip: float = MIDDLE_DIP

    def offset(self, answers: Answers) -> Floats:
        """What the engine says beyond the rows, in ln PPFD, (n,); nothing for rough answers."""
        if answers.rough or not len(answers.points):
            return np.zeros(len(answers.points))
        return np.log(np.maximum(self._light(answers), 1e-3)) - self._rows(answers)

    def _rows(self, answers: Answers) -> Floats:
        seen = stories.view(replace(self.story, sizes={}), answers, straight=False)
        log = seen.log_at(np.array([self.wing_shift_deg]))[0]
        if self.story.wings:
            log = log + seen.per_unit[:, seen.names.index("dip")] * (self.dip - MIDDLE_DIP)
        return np.asarray(log, dtype=np.float64)

    def _light(self, answers: Answers) -> Floats:
        """PPFD by the engine, (n,)."""
        story, plan = self.story, answers.response.plan
        if story.wings or any(story.aside):
            light = answers.kept(
                (
                    story.who,
                    story.aside,
                    story.wings,
                    self.wing_shift_deg,
                    self.dip,
                    story.log_output,
                ),
                lambda: _changed(plan, self).sensed(answers.points),
            )
        else:
            light = np.exp(answers.log_plan)
            for lamp, log in enumerate(story.log_output):
                if log:
                    light = light - (1 - np.exp(log)) * _of_lamp(answers, lamp)
        for side, lost in story.lost.items():
            light = light * (1 - lost * _returned(answers, side))
        return np.asarray(light, dtype=np.float64)


def anchor_at(story: Story, found: dict[str, float]) -> tuple[Story, Anchor]:
    """The story taken at the numbers found, by column, and its anchor there."""
    aside = tuple(
        float(step * round(found.get(name, 0.0) / step)) if story.who else 0.0
        for name, step in zip(stories.MOVES, STEPS, strict=True)
    )
    taken = replace(story, aside=aside)
    if not story.wings:
        return taken, Anchor(story=taken)
    shift = WING_STEP_DEG * round(found.get("beam", 0.0) / WING_STEP_DEG)
    span = WINGS_DEG[2] - WINGS_DEG[0]
    dip = DIP_STEP * round((MIDDLE_DIP + found.get("dip", 0.0)) / DIP_STEP)
    return taken, Anchor(
        story=taken,
        wing_shift_deg=float(np.clip(shift, -span, span)),
        dip=float(np.clip(dip, 0.1, 0.9)),
    )


def _changed(plan: Plan, anchor: Anchor) -> Plan:
    """The plan as the story has it, walls apart."""
    moved, story = lamps_as_told(plan, anchor), anchor.story
    if not story.log_output:
        return moved
    return changed.with_output(moved, tuple(float(np.exp(log)) for log in story.log_output))


def lamps_as_told(plan: Plan, anchor: Anchor) -> Plan:
    """The plan with lamps that hang elsewhere, lean or have other lenses; outputs as they are."""
    return replace(plan, lamps=tuple(_lamp(plan, n, anchor) for n in range(len(plan.lamps))))


def _lamp(plan: Plan, lamp: int, anchor: Anchor) -> Lamp:
    """One lamp where and as the story has it."""
    alone, story = replace(plan, lamps=(plan.lamps[lamp],)), anchor.story
    if lamp in story.who:
        right, back, up, lean_right, lean_back = story.aside
        alone = changed.with_height(changed.with_place(alone, right, back), up)
        if lean_right or lean_back:
            alone = changed.with_lean(alone, lean_right, lean_back)
    if lamp in story.wings:
        alone = changed.with_wings(alone, WINGS_DEG[2] + anchor.wing_shift_deg, anchor.dip)
    return alone.lamps[0]


def _of_lamp(answers: Answers, lamp: int) -> Floats:
    plan = answers.response.plan
    return answers.kept(
        ("lamp", lamp), lambda: light_of(plan, plan.lamps[lamp].emitters, answers.points)
    )


def _returned(answers: Answers, side: str) -> Floats:
    """Share of the light that one wall returned, by the engine, (n,)."""
    plan = answers.response.plan

    def share() -> Floats:
        dark = changed.with_wall(plan, side, "black").sensed(answers.points)
        return np.clip(1 - dark / np.maximum(np.exp(answers.log_plan), 1e-9), 0.0, 1.0)

    return answers.kept(("wall", side), share)
