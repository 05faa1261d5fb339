"""The table that the README says to upload by hand reads without a question."""

from server import places
from server.surveys.table import read


def test_the_seeds_table_reads_whole() -> None:
    table = read((places.SEED / "readings-to-upload.csv").read_bytes())
    assert table.refused == ()
    assert (table.delimiter, table.decimal) == (";", ",")
    assert len(table.rows) == 14
    assert table.rows[0].note
    assert table.remarks == ()
