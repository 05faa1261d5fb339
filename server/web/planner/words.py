"""What the plan page says in sentences: the answer, what to do, how sure, what changed."""

from collections.abc import Sequence

from server.account import reckoning, sentences
from server.account.account import AnimalLight
from server.account.cuts import Floats
from server.web import chart_levels, filters
from server.web.planner.form import WhatIf
from server.web.planner.look import Seen, Subject


def sure(of: Subject, seen: Seen, asked: WhatIf) -> str:
    """How sure all this is, and from what."""
    if not asked.changed:
        return sentences.certainty(of.told.account)
    if seen.light is None:
        return ""
    percent = reckoning.known_to(seen.light, seen.animals)
    light = seen.light
    return sentences.certainty_of(percent, light.basis, light.readings_on, light.readings)


def answer(of: Subject, seen: Seen, asked: WhatIf) -> str:
    """The headline: how many of the animals are in range."""
    hangs = of.is_current and not asked.changed
    return sentences.headline(seen.animals, "is" if hangs else "would")


def to_do(of: Subject, seen: Seen, asked: WhatIf) -> str:
    """The account's proposal; of light that does not hang, what it would do to the chances."""
    account = of.told.account
    if not of.hung or not account.animals:
        return ""
    if not asked.changed:
        return sentences.proposal_words(account)
    return sentences.chances_words(_chance(account.animals), _chance(seen.animals))


def _chance(animals: Sequence[AnimalLight]) -> float:
    return sum(one.chance_in_range for one in animals) / len(animals)


def focus_words(asked: WhatIf) -> str:
    if asked.focus is None:
        return ""
    one = asked.focus
    wants = f"{filters.ppfd(one.low_ppfd)}–{filters.ppfd(one.high_ppfd)}"
    return f"The clear area is where {one.name} would get its {wants} µmol m⁻² s⁻¹."


def change_words(difference: Floats, asked: WhatIf) -> str:
    low, high = round(float(difference.min())), round(float(difference.max()))
    depth = filters.length(asked.depth_cm, asked.unit)
    if max(abs(low), abs(high)) < 2:
        return f"At {depth} nothing would change by as much as 2 µmol m⁻² s⁻¹."
    return (
        f"At {depth} the light would change by {chart_levels.signed(low)} to "
        f"{chart_levels.signed(high)} µmol m⁻² s⁻¹ against how it hangs now."
    )
