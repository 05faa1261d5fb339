"""Whatever a file holds: an answer or a plain refusal, and every row is accounted for.

Quick by default; UNDERLAMP_LONG=1 runs 24,000 files.
"""

import math
import os

from hypothesis import HealthCheck, given, settings

from server.surveys.table import read
from server.surveys.table_text import NotATable
from server.surveys.understood import MAX_PPFD, ReadAs, Understood
from tests.surveys.table_files import Generated, hostile_bytes, tables

LONG = os.environ.get("UNDERLAMP_LONG") == "1"
MANY = settings(
    max_examples=12_000 if LONG else 150,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)


def lines_named(table: Understood) -> set[int]:
    """Every line of the file the result speaks of."""
    return {
        *table.header_rows,
        *(line for line, _ in table.above),
        *(row.row for row in table.rows),
        *(row.row for row in table.log),
        *(refusal.row for refusal in table.refused),
    }


def assert_honest(table: Understood) -> None:
    for row in table.rows:
        assert all(math.isfinite(v) for v in (row.x_cm, row.y_cm, row.depth_cm, row.ppfd))
        assert 0 <= row.ppfd <= MAX_PPFD
        assert min(row.x_cm, row.y_cm, row.depth_cm) >= 0
    for refusal in table.refused:
        assert refusal.reason and 1 <= refusal.row <= table.lines_in


@MANY
@given(tables())
def test_every_row_of_a_spoilt_table_is_stored_or_refused_with_a_reason(made: Generated) -> None:
    try:
        table = read(made.data, ReadAs(delimiter=made.delimiter))
    except NotATable as refusal:
        assert "latin" not in str(refusal)
        assert str(refusal)
        return
    assert_honest(table)
    assert lines_named(table) == set(made.content_lines)
    stored = [row.row for row in table.rows]
    refused = [refusal.row for refusal in table.refused]
    assert len(stored) == len(set(stored)) and not set(stored) & set(refused)
    below = {n for n in made.content_lines if n > made.header_line}
    assert len(stored) + len(refused) == len(below)


@MANY
@given(hostile_bytes)
def test_any_bytes_are_understood_or_refused_in_words(data: bytes) -> None:
    try:
        table = read(data, ReadAs(x_cm=1.0, y_cm=1.0))
    except NotATable as refusal:
        assert str(refusal).endswith((".", "?")) and refusal.row >= 1
        return
    assert_honest(table)
    if b'"' not in data:
        assert len(lines_named(table)) + table.blank_lines == table.lines_in
