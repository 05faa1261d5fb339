"""Every sentence about a tank's light, worded once.

Pages, cards, feeds and JSON take their words from here, so that no two of them can differ.
`unit` is the reader's unit of length, "cm" or "in".
"""

from collections.abc import Sequence
from datetime import date
from typing import Literal

from server.account.account import Account, AnimalLight, Basis, Glance
from server.dose import unchanged
from server.surveys.verdict import Verdict
from server.wording import figures

MOST_NAMED = 3

# The headline


Tense = Literal["is", "was", "would"]
"""Of light that hangs, that hung before, or that does not hang."""


def headline(animals: Sequence[AnimalLight], tense: Tense = "is") -> str:
    """How many of the animals are in range, and of how many it is not known.

    The parts add up to all animals.
    """
    if not animals:
        return "Nobody lives here yet. Place the tank's animals to see how they fare."
    if all(one.ppfd is None for one in animals):
        return "No light falls on the animals." if len(animals) > 1 else _of_one_dark(animals[0])
    if len(animals) == 1:
        return _of_one(animals[0], tense)
    found = tally(animals)
    whole = next((verdict for verdict, count in found.items() if count == len(animals)), None)
    if whole is not None:
        return _of_all(whole, len(animals), tense)
    return _parted(found, tense)


def tally(animals: Sequence[AnimalLight]) -> dict[Verdict, int]:
    """Animals by verdict, in the order they are told; verdicts that nobody has are left out."""
    counts = {verdict: sum(one.verdict is verdict for one in animals) for verdict in _TOLD}
    return {verdict: count for verdict, count in counts.items() if count}


_TOLD = (Verdict.IN_RANGE, Verdict.TOO_DIM, Verdict.TOO_BRIGHT, Verdict.NOT_KNOWN)


def _of_one(one: AnimalLight, tense: Tense) -> str:
    if one.verdict is Verdict.NOT_KNOWN:
        return f"Whether {one.name} {_be(1, tense)} in range is not known yet."
    return f"{one.name} {_be(1, tense)} {one.verdict}."


def _be(count: int, tense: Tense) -> str:
    one, many = {"is": ("is", "are"), "was": ("was", "were"), "would": ("would be",) * 2}[tense]
    return one if count == 1 else many


def _of_one_dark(one: AnimalLight) -> str:
    return f"No light falls on {one.name}."


def _of_all(verdict: Verdict, count: int, tense: Tense) -> str:
    everyone = "Both animals" if count == 2 else f"All {figures.in_words(count)} animals"
    if verdict is Verdict.NOT_KNOWN:
        whom = "the two animals" if count == 2 else f"the {figures.in_words(count)} animals"
        return f"Whether {whom} {_be(count, tense)} in range is not known yet."
    return f"{everyone} {_be(count, tense)} {verdict}."


def _parted(found: dict[Verdict, int], tense: Tense) -> str:
    """'Of four animals one is in range and one too dim; of two it is not known yet.'"""
    known = {verdict: count for verdict, count in found.items() if verdict is not Verdict.NOT_KNOWN}
    parts, said = [], ""
    for verdict, count in known.items():
        verb = _be(count, tense)
        parts.append(
            " ".join([figures.in_words(count), *([verb] if verb != said else []), verdict])
        )
        said = verb
    told = f"Of {figures.in_words(sum(found.values()))} animals {figures.listed(parts)}"
    unsure = found.get(Verdict.NOT_KNOWN, 0)
    return f"{told}; of {figures.in_words(unsure)} it is not known yet." if unsure else f"{told}."


def count_words(animals: Sequence[AnimalLight]) -> str:
    """The same in few words, for lists: '1 of 4 in range, 3 not known'."""
    if not animals:
        return "no animals yet"
    found = tally(animals)
    right = found.pop(Verdict.IN_RANGE, 0)
    first = f"{right} of {len(animals)} in range"
    return ", ".join([first, *(f"{count} {verdict}" for verdict, count in found.items())])


def out_of_range(animals: Sequence[AnimalLight]) -> str:
    """The first few animals that are too dim or too bright, with their numbers."""
    off = [one for one in animals if one.verdict in (Verdict.TOO_DIM, Verdict.TOO_BRIGHT)]
    told = [_off(one) for one in off[:MOST_NAMED]]
    more = len(off) - MOST_NAMED
    if more > 0:
        told.append(f"{figures.in_words(more)} more {'is' if more == 1 else 'are'} out of range")
    return f"{'; '.join(told)}." if told else ""


def _off(one: AnimalLight) -> str:
    way = "below" if one.verdict is Verdict.TOO_DIM else "above"
    return f"{one.name} gets {gets_words(one)}, {way} its {wants_words(one)}"


# One animal


def verdict_words(one: AnimalLight) -> str:
    """One of four: too dim, in range, too bright, not known."""
    return str(one.verdict)


def gets_words(one: AnimalLight) -> str:
    """Its light [µmol m⁻² s⁻¹] without false digits."""
    return "–" if one.ppfd is None else figures.ppfd(one.ppfd)


def spread_words(one: AnimalLight) -> str:
    """Half of the 80 % interval, as '± 12'; empty without light."""
    if one.low is None or one.high is None:
        return ""
    return f"± {figures.ppfd((one.high - one.low) / 2)}"


def wants_words(one: AnimalLight) -> str:
    """Its range as it was stated."""
    return range_words(one.low_wanted, one.high_wanted)


def range_words(low: float, high: float) -> str:
    """A range without false decimals: 5–60."""
    return "–".join(figures.number(value, 1).removesuffix(".0") for value in (low, high))


def place_words(at: Sequence[float], unit: str) -> str:
    """'34 right, 12 back, 14 cm deep', as one stands before the tank."""
    x, y = (figures.length_number(one, unit) for one in at[:2])
    return f"{x} right, {y} back, {figures.length(at[2], unit)} deep"


# How sure, and from what


def basis_words(basis: Basis) -> str:
    """In a word or two, for captions: as planned, as measured, as measured before."""
    return {
        "planned": "as planned",
        "measured": "as measured",
        "carried": "from readings under the same lamps before",
    }[basis]


def certainty(account: Glance) -> str:
    """How well the light is known, and what that rests on."""
    percent, readings = account.known_to_percent, account.readings
    return certainty_of(percent, account.basis, account.readings_on, readings)


def certainty_of(
    known_to_percent: int | None,
    basis: Basis,
    readings_on: Sequence[date] = (),
    readings: int = 0,
) -> str:
    """The same from its parts; empty without light."""
    if known_to_percent is None:
        return ""
    return f"Known to about {known_to_percent} %{_rests_on(basis, readings_on, readings)}"


def _rests_on(basis: Basis, readings_on: Sequence[date], readings: int) -> str:
    count = figures.count(readings, "reading")
    days = figures.listed([figures.day(one) for one in sorted(set(readings_on))])
    if basis == "planned":
        return (
            " only: this is the plan from the lamps' stated figures; "
            "nobody has measured this light yet."
        )
    if basis == "measured":
        return f", from {count} on {days}."
    return f", from {count} on {days} under the same lamps, carried over to how they hang now."


# How long


def stood_words(since: date, today: date) -> str:
    """How long a light has been the same: 'set today', 'unchanged for 5 weeks'."""
    days = (today - since).days
    if days < 1:
        return "set today"
    return f"unchanged for {unchanged.in_words(days)}"


# What to do


def proposal_words(account: Account) -> str:
    """The one change that would help most, or why there is none."""
    return account.proposal.words if account.proposal is not None else account.why_none


MEASURE_FIRST = "Measure before you change anything."
LEAVE_IT = "Leave it as it is."


def beside(account: Account, told: str) -> tuple[str, ...]:
    """Cautions that must stand beside what is told, where that is the proposal."""
    proposal = account.proposal
    return proposal.cautions if proposal is not None and proposal.words == told else ()


def chances_words(before: float, after: float) -> str:
    """What a change does to the expected share of animals in range."""
    return (
        f"On average the chance of being in range {_rises(before, after)} from "
        f"{figures.percent(before)} to {figures.percent(after)}."
    )


def _rises(before: float, after: float) -> str:
    return "rises" if after >= before else "falls"
