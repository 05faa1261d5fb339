"""Every published figure shown for a group of animals stands in the table it was taken from.

Source of the table: shared reference of published Ek and Ec values, each row with its own paper
(tests/published/coral_ek_ec_published.csv).
"""

import csv
import re
from pathlib import Path

import pytest

from server.dose.groups import GROUPS, Published

TABLE = Path(__file__).parent.parent / "published" / "coral_ek_ec_published.csv"
KINDS = {"saturation": {"Ek", "saturating irradiance"}, "compensation": {"Ec"}}


def _rows() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _spread(row: dict[str, str]) -> tuple[float, float] | None:
    """The middle half or the 95 % interval that a row states; `<320` is a bound from above."""
    bound = re.match(r"<(\d+)", row["range_or_error"])
    if bound:
        return 0.0, float(bound[1])
    found = re.search(r"(?:IQR|95 % CI) (\d+)-(\d+)", row["range_or_error"])
    return None if found is None else (float(found[1]), float(found[2]))


def _stated() -> list[tuple[str, Published]]:
    return [
        (group.key, figure)
        for group in GROUPS
        for figure in group.published
        if figure.quantity in KINDS
    ]


def test_there_are_figures_to_compare() -> None:
    names = {figure.animal.split()[0] for _, figure in _stated()}
    assert {"Acropora", "Pocillopora", "Porites", "Tridacna"} <= names


@pytest.mark.parametrize(
    ("group", "figure"), _stated(), ids=lambda one: getattr(one, "animal", one)
)
def test_a_saturation_or_compensation_figure_is_that_of_its_paper(
    group: str, figure: Published
) -> None:
    """A band runs from the lowest to the highest end that the table's rows of the animal state."""
    taxon = figure.animal.split(",")[0].split()[0]
    spreads = [
        spread
        for row in _rows()
        if taxon in row["taxon"] and row["quantity"] in KINDS[figure.quantity]
        for spread in [_spread(row)]
        if spread is not None
    ]
    if not spreads:
        pytest.fail(f"no row of the table speaks of {figure.animal} ({group})")
    told = (figure.low_ppfd, figure.high_ppfd)
    pooled = (min(low for low, _ in spreads), max(high for _, high in spreads))
    assert told == pooled or told in spreads
