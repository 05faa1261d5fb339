"""Golden sentences over a grid of verdicts, and counts that always add up."""

import itertools
import re
from datetime import date

import pytest

from server.account import sentences
from server.account.account import AnimalLight
from server.account.reckoning import letter
from server.surveys.verdict import Verdict

D, R, B, N = Verdict.TOO_DIM, Verdict.IN_RANGE, Verdict.TOO_BRIGHT, Verdict.NOT_KNOWN
NUMBERS = ("none", "one", "two", "three", "four", "five", "six", "seven")
ANY_NUMBER = rf"\b({'|'.join(NUMBERS)})\b"


def animals(*verdicts: Verdict, lit: bool = True) -> tuple[AnimalLight, ...]:
    ppfd = {D: 40.0, R: 150.0, B: 412.0, N: 205.0}
    return tuple(
        AnimalLight(
            key=n, letter="abcdefgh"[n], name=f"Animal {n}", x_cm=10, y_cm=12.5, depth_cm=30,
            ppfd=ppfd[one] if lit else None, low=ppfd[one] * 0.9 if lit else None,
            high=ppfd[one] * 1.1 if lit else None, low_wanted=100, high_wanted=200, verdict=one,
            chance_dim=float(one is D), chance_in_range=float(one is R),
            chance_bright=float(one is B),
        )
        for n, one in enumerate(verdicts)
    )  # fmt: skip


@pytest.mark.parametrize(
    ("verdicts", "says"),
    [
        ((), "Nobody lives here yet. Place the tank's animals to see how they fare."),
        ((R,), "Animal 0 is in range."),
        ((D,), "Animal 0 is too dim."),
        ((B,), "Animal 0 is too bright."),
        ((N,), "Whether Animal 0 is in range is not known yet."),
        ((R, R), "Both animals are in range."),
        ((D, D), "Both animals are too dim."),
        ((N, N), "Whether the two animals are in range is not known yet."),
        ((R, N), "Of two animals one is in range; of one it is not known yet."),
        ((R, D), "Of two animals one is in range and one too dim."),
        ((R, N, N, N), "Of four animals one is in range; of three it is not known yet."),
        ((R, R, R), "All three animals are in range."),
        ((B, B, B), "All three animals are too bright."),
        ((N, N, N, N), "Whether the four animals are in range is not known yet."),
        ((R, R, D), "Of three animals two are in range and one is too dim."),
        ((R, D, D), "Of three animals one is in range and two are too dim."),
        ((R, R, D, D), "Of four animals two are in range and two too dim."),
        ((D, B), "Of two animals one is too dim and one too bright."),
        (
            (R, D, B, N),
            "Of four animals one is in range, one too dim and one too bright; "
            "of one it is not known yet.",
        ),
        (
            (R, R, D, B, B),
            "Of five animals two are in range, one is too dim and two are too bright.",
        ),
    ],
)
def test_headlines(verdicts: tuple[Verdict, ...], says: str) -> None:
    assert sentences.headline(animals(*verdicts)) == says


@pytest.mark.parametrize(
    ("verdicts", "says"),
    [
        ((R,), "Animal 0 would be in range."),
        ((N,), "Whether Animal 0 would be in range is not known yet."),
        ((R, R), "Both animals would be in range."),
        ((R, R, D), "Of three animals two would be in range and one too dim."),
        ((N, N, N), "Whether the three animals would be in range is not known yet."),
    ],
)
def test_headlines_of_light_that_does_not_hang(verdicts: tuple[Verdict, ...], says: str) -> None:
    assert sentences.headline(animals(*verdicts), "would") == says


def test_without_light_the_headline_says_so() -> None:
    assert sentences.headline(animals(N, lit=False)) == "No light falls on Animal 0."
    assert sentences.headline(animals(N, N, lit=False)) == "No light falls on the animals."


@pytest.mark.parametrize("count", range(2, 8))
def test_counts_always_add_up(count: int) -> None:
    for verdicts in itertools.combinations_with_replacement((R, D, B, N), count):
        told = sentences.headline(animals(*verdicts))
        if told.startswith("Of "):
            whole, *parts = (
                NUMBERS.index(w) for w in re.findall(rf"\b({'|'.join(NUMBERS)})\b", told)
            )
            assert whole == count == sum(parts), told
        else:
            assert len(set(verdicts)) == 1
            assert "Both" in told or NUMBERS[count] in told or "the two" in told
        assert " none " not in told


@pytest.mark.parametrize(
    ("verdicts", "says"),
    [
        ((), "no animals yet"),
        ((R,), "1 of 1 in range"),
        ((R, N, N, N), "1 of 4 in range, 3 not known"),
        ((D, B, N), "0 of 3 in range, 1 too dim, 1 too bright, 1 not known"),
    ],
)
def test_counts_for_lists(verdicts: tuple[Verdict, ...], says: str) -> None:
    assert sentences.count_words(animals(*verdicts)) == says


def test_those_out_of_range_are_named_with_their_numbers() -> None:
    assert sentences.out_of_range(animals(R, N)) == ""
    assert sentences.out_of_range(animals(D, B)) == (
        "Animal 0 gets 40, below its 100–200; Animal 1 gets 412, above its 100–200."
    )
    assert sentences.out_of_range(animals(D, D, D, D)).endswith("; one more is out of range.")
    assert sentences.out_of_range(animals(D, D, D, D, B)).endswith("; two more are out of range.")


def test_one_animal_in_words() -> None:
    (one,) = animals(N)
    assert sentences.verdict_words(one) == "not known"
    assert sentences.gets_words(one) == "205" and sentences.spread_words(one) == "± 21"
    (dark,) = animals(N, lit=False)
    assert sentences.gets_words(dark) == "–" and sentences.spread_words(dark) == ""


@pytest.mark.parametrize(
    ("low", "high", "says"), [(5, 60, "5–60"), (7.5, 350, "7.5–350"), (0, 50, "0–50")]
)
def test_ranges_without_false_decimals(low: float, high: float, says: str) -> None:
    assert sentences.range_words(low, high) == says


def test_how_sure_and_from_what() -> None:
    june, july = date(2026, 6, 1), date(2026, 7, 2)
    assert sentences.certainty_of(44, "planned") == (
        "Known to about 44 % only: this is the plan from the lamps' stated figures; "
        "nobody has measured this light yet."
    )
    assert sentences.certainty_of(3, "measured", (june, july), 24) == (
        "Known to about 3 %, from 24 readings on 1 June 2026 and 2 July 2026."
    )
    assert sentences.certainty_of(7, "carried", (june,), 1) == (
        "Known to about 7 %, from 1 reading on 1 June 2026 under the same lamps, carried over to "
        "how they hang now."
    )
    assert sentences.certainty_of(None, "planned") == ""


@pytest.mark.parametrize(
    ("days", "says"),
    [
        (-3, "set today"),
        (0, "set today"),
        (1, "unchanged for 1 day"),
        (13, "unchanged for 13 days"),
        (36, "unchanged for 5 weeks"),
        (61, "unchanged for 2 months"),
    ],
)
def test_how_long_it_has_stood(days: int, says: str) -> None:
    today = date(2026, 11, 25)
    assert sentences.stood_words(date.fromordinal(today.toordinal() - days), today) == says


def test_places_in_either_unit() -> None:
    assert sentences.place_words((30, 12.5, 20), "cm") == "30 right, 12.5 back, 20 cm deep"
    assert sentences.place_words((25.4, 5.08, 50.8), "in") == "10 right, 2 back, 20 in deep"


def test_letters_go_on_after_z() -> None:
    assert [letter(n) for n in (0, 25, 26, 27, 701, 702)] == ["a", "z", "aa", "ab", "zz", "aaa"]
