"""Things that make a tank's light jump although nothing on the lamps was changed.

How much each one is was found in no published source. The shares below are our judgement, said
so wherever they are used; a reading before and one after would tell.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from server.dose.used_to import SETTLED_DAYS

BASIS = "our judgement, no published source; readings before and after would tell"


@dataclass(frozen=True, kw_only=True)
class Jump:
    """A jump in light.

    share: of the whole light that was left before it (0–1); None where the keeper says it.
    after_days: days [d] since the last time before which it is too small to speak of.
    """

    key: str
    what: str
    share: float | None = None
    after_days: int = 0


JUMPS: Mapping[str, Jump] = {
    one.key: one
    for one in (
        Jump(key="power_cut", what="The power was out"),
        Jump(key="failure", what="A lamp had failed"),
        Jump(key="pane", what="A salted pane was wiped", share=0.8, after_days=60),
        Jump(key="lens", what="A salted lens was wiped", share=0.85, after_days=90),
        Jump(key="carbon", what="Fresh carbon cleared the water", share=0.85, after_days=35),
        Jump(key="tubes", what="New tubes", share=0.8, after_days=120),
        Jump(key="burner", what="A new burner", share=0.75, after_days=120),
    )
}
"""By key; those that are chores carry the chore's key."""


def of_chore(chore: str, *, last_on: date | None, on: date) -> Jump | None:
    """The jump that a chore done on a day means, None where it is none or too soon for one."""
    jump = JUMPS.get(chore)
    if jump is None or jump.share is None:
        return None
    long_ago = last_on is None or (on - last_on).days >= jump.after_days
    return jump if long_ago else None


def dim_from(*, last_on: date | None, on: date) -> date:
    """Since when the light counts as dimmed: dirt and age come slowly, so for three weeks."""
    earliest = on - timedelta(days=SETTLED_DAYS)
    return earliest if last_on is None else min(max(last_on, earliest), on - timedelta(days=1))
