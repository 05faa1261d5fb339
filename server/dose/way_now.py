"""Where a tank's way stands on a day: one value for every page, card, feed and address."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from server.dose.ladder import Setting

State = Literal["due", "waiting", "held"]
"""due: a step may be set today, once somebody looked. waiting: the next step's day has not come.
held: something was pale; no step until the keeper carries on."""


@dataclass(frozen=True, kw_only=True)
class WayStep:
    """One step: when it is due, what is then set (shares of the goal), when it was set."""

    number: int
    due_on: date
    setting: Setting
    done_on: date | None = None


@dataclass(frozen=True, kw_only=True)
class WayNow:
    """A way that is under way, on a day.

    `steps`: all of them in order; `coming`: the first one not set yet; `held_since`: since when
    it holds. What is typed into a control at a step is the goal's power times its
    `setting.power`; until a step is answered, what hangs is the one before it.
    """

    state: State
    steps: tuple[WayStep, ...]
    coming: WayStep
    held_since: date | None

    @property
    def of(self) -> int:
        """How many steps there are."""
        return len(self.steps)

    @property
    def next_on(self) -> date | None:
        """The day of the next step; None while the way is held."""
        return None if self.state == "held" else self.coming.due_on

    @property
    def set_now(self) -> WayStep | None:
        """The step that is set: the last one done; None before the first."""
        return next((step for step in reversed(self.steps) if step.done_on is not None), None)

    @property
    def leads_down(self) -> bool:
        """Whether it is a way down: its steps begin brighter than the goal."""
        return any(step.setting.power > 1 or step.setting.raised_cm < 0 for step in self.steps)


def way_now(
    steps: Sequence[WayStep], *, today: date, held_since: date | None = None
) -> WayNow | None:
    """Where a way stands; None when every step is set."""
    coming = next((step for step in steps if step.done_on is None), None)
    if coming is None:
        return None
    state: State = "due" if coming.due_on <= today else "waiting"
    return WayNow(
        state="held" if held_since is not None else state,
        steps=tuple(steps),
        coming=coming,
        held_since=held_since,
    )


def days_late(way: WayNow, today: date) -> int:
    """For how many days [d] the coming step has been due; 0 when it is not."""
    return max((today - way.coming.due_on).days, 0) if way.state == "due" else 0
