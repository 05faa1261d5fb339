"""What the pages of a tank's day say is to be done: one answer for the day and for its doses."""

from collections.abc import Sequence
from datetime import date

from server.account import sentences
from server.account import way as words
from server.db.accounts import Told
from server.dose.day import Course, longest_dark_hours
from server.dose.unchanged import unchanged
from server.dose.warnings import DARK_HOURS
from server.dose.way_now import WayNow
from server.web.day.animal_dose import AnimalDose


def do_words(
    doses: Sequence[AnimalDose],
    lamp: Course,
    changed_on: date | None,
    today: date,
    *,
    way: WayNow | None,
    jumped: Sequence[tuple[str, float]],
    told: Told,
) -> str:
    """A way under way speaks first: what it asks for is already the answer to the rest.

    Where nothing of the day is to be done, the account's next step is said and no second opinion.
    """
    if way is not None:
        return words.next_words(way, today)
    if jumped:
        return words.REACH_SLOWLY
    dim = [one for one in doses if one.low in ("dark", "low") and not one.shade]
    if dim:
        names = ", ".join(one.name for one in dim[:3])
        return (
            f"Give more light to {names}: below the published low-light threshold of "
            "1.2–1.9 mol m⁻² d⁻¹."
        )
    if longest_dark_hours(lamp) < DARK_HOURS:
        return "Give the tank a dark night of at least 8 hours."
    if not told.account.next_step.startswith(sentences.LEAVE_IT):
        return told.account.next_step
    if changed_on is not None and today >= unchanged(changed_on=changed_on, today=today).judge_from:
        return "Left alone long enough to be judged: measure again, and compare with last time."
    return "Leave it alone: it can be judged only after months."
