"""Readings written as a table that spreadsheets open and the reader reads back unchanged.

Rows follow RFC 4180: CRLF, quotation marks where a cell holds the delimiter, a quotation mark
or a line end. Text that a spreadsheet would run as a formula gets an apostrophe in front; the
reader takes it off again. Numbers stay numbers.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from decimal import Decimal

from server.surveys.table_cells import CM_PER, LUX_PER
from server.surveys.table_numbers import EXACT, DecimalMark

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\0", "'")


def number_text(value: float | Decimal, decimal: DecimalMark = ".") -> str:
    """A number that reads back as itself under either decimal mark.

    Exactly three decimals could be taken for a thousands group; a fourth settles it.
    """
    exact = value if isinstance(value, Decimal) else Decimal(repr(float(value)))
    text = format(exact, "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
        whole, point, part = text.partition(".")
        if point and len(part) == 3 and len(whole.lstrip("-")) <= 3:
            text += "0"
    return text.replace(".", decimal)


def length_text(cm: float, unit: str, decimal: DecimalMark = ".") -> str:
    """A length in `unit` ("cm", "mm", "m" or "in"), exact enough to come back to the same cm."""
    return number_text(EXACT.divide(Decimal(repr(float(cm))), CM_PER[unit]), decimal)


def light_text(
    ppfd: float, unit: str, decimal: DecimalMark = ".", *, lux_per_ppfd: float = 1.0
) -> str:
    """Light in µmol m⁻² s⁻¹ ("µmol") or lux ("lux", "klux", "fc") as text."""
    exact = Decimal(repr(float(ppfd)))
    if unit != "µmol":
        lux = EXACT.multiply(exact, Decimal(repr(float(lux_per_ppfd))))
        exact = EXACT.divide(lux, LUX_PER[unit])
    return number_text(exact, decimal)


def harmless(text: str) -> str:
    """Text no spreadsheet takes for a formula (OWASP ASVS 5.0.0, 1.2.10)."""
    return f"'{text}" if text.startswith(_FORMULA) else text


def csv_text(
    header: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    delimiter: str = ",",
    description: Sequence[str] = (),
) -> str:
    """A whole table; every cell is text already. `description` lines stand above the header,
    one cell each."""
    written = io.StringIO()
    writer = csv.writer(written, delimiter=delimiter, lineterminator="\r\n")
    for line in description:
        writer.writerow([harmless(" ".join(line.split()))])
    writer.writerow(header)
    writer.writerows(rows)
    return written.getvalue()
