"""Numbers as people and spreadsheets write them, with their units, to exact decimals.

A mark between digits is a decimal mark or a thousands mark. Mostly its surroundings say which
("12,5", "1.234,5", "0,125"). One shape does not: one to three digits, a mark, three digits
("1,234"). That shape is settled once for the whole file by all its other numbers, and where
they do not settle it the cell is refused rather than read wrongly by a factor of a thousand.
"""

import re
from collections.abc import Iterable
from decimal import Context, Decimal
from typing import Literal

DecimalMark = Literal[".", ","]

EXACT = Context(prec=60)
_PLAIN = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?")
_SPACES = " \t\u00a0\u2007\u2009\u202f"
_INVISIBLE = {ord(c): None for c in "\u200b\u200c\u200d\u2060\ufeff"} | {0x2212: "-"}
_BODY = re.compile(
    rf"(?P<sign>[+-]?)\s*(?P<digits>[0-9](?:[0-9.,'’{_SPACES}]*[0-9])?[.,]?|[.,][0-9]+)"
    r"(?:[eE](?P<exponent>[+-]?[0-9]{1,3}))?(?P<unit>.*)",
    re.DOTALL,
)
_GROUPED_BY_SPACE = re.compile(rf"[0-9]{{1,3}}(?:[{_SPACES}'’][0-9]{{3}})+(?:[.,][0-9]*)?")
_SPACE_MARKS = re.compile(rf"[{_SPACES}'’]")
_UNDECIDED = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")
_SIMPLE = re.compile(r"-?([0-9]+)([.,])([0-9]+)")


class NotANumber(ValueError):
    """The cell holds no number; `str(error)` says what it holds."""


def number(text: str, decimal: DecimalMark | None) -> tuple[Decimal, str]:
    """Value and unit of one cell, e.g. `"1.234,5 mm"` -> (Decimal("1234.5"), "mm").

    `decimal` settles the undecided shape; None means the file did not settle it.
    Raises NotANumber.
    """
    pointed = text.replace(",", ".") if decimal == "," and "." not in text else text
    if decimal == "." or pointed is not text:
        if _PLAIN.fullmatch(pointed):
            return Decimal(pointed), ""
    elif text.isdigit() and text.isascii():
        return Decimal(text), ""
    cell = text.translate(_INVISIBLE).strip().removeprefix("'").strip()
    if not cell:
        raise NotANumber("is empty")
    match = _BODY.fullmatch(cell)
    if not match:
        raise NotANumber(f"“{shown(text)}” is not a number")
    digits = _canonical(match["digits"], decimal, text, bool(match["exponent"]))
    power = f"E{match['exponent']}" if match["exponent"] else ""
    return Decimal(f"{match['sign']}{digits}{power}"), match["unit"].strip()


def _canonical(digits: str, decimal: DecimalMark | None, text: str, has_exponent: bool) -> str:
    """Digits with at most one point, thousands marks taken out."""
    if _SPACE_MARKS.search(digits):
        if not _GROUPED_BY_SPACE.fullmatch(digits):
            raise NotANumber(f"“{shown(text)}” is not one number")
        digits = _SPACE_MARKS.sub("", digits)
        return digits.replace(",", ".")  # what is left can only be the decimal mark
    marks = re.sub(r"[0-9]", "", digits)
    if not marks:
        return digits
    if len(set(marks)) == 2:
        return _two_marks(digits, marks, text)
    if len(marks) > 1:
        return _groups(digits, marks[0], text)
    if _UNDECIDED.fullmatch(digits) and not has_exponent:
        if decimal is None:
            point, thousand = digits.replace(",", "."), re.sub("[.,]", "", digits)
            raise NotANumber(
                f"“{shown(text)}” can be read as {point} or as {thousand}; "
                "say which decimal mark the file uses"
            )
        if marks != decimal:
            return digits.replace(marks, "")
    return digits.replace(",", ".")


def _two_marks(digits: str, marks: str, text: str) -> str:
    decimal = marks[-1]
    whole, _, part = digits.rpartition(decimal)
    if decimal in whole:
        raise NotANumber(f"“{shown(text)}” is not a number")
    return f"{_groups(whole, marks[0], text)}.{part}"


def _groups(digits: str, mark: str, text: str) -> str:
    first, *rest = digits.split(mark)
    if not 1 <= len(first) <= 3 or first.startswith("0") or any(len(g) != 3 for g in rest):
        raise NotANumber(f"“{shown(text)}” is not a number")
    return digits.replace(mark, "")


def shown(text: str, length: int = 40) -> str:
    """A cell as an error message quotes it: one line, not endless."""
    line = " ".join(text.split())
    return line if len(line) <= length else line[: length - 1] + "…"


def decimal_mark(
    cells: Iterable[str], *, thousands_absurd: Iterable[str] = (), delimiter: str = ","
) -> DecimalMark | None:
    """The file's decimal mark, or None when its numbers contradict each other.

    `thousands_absurd` are cells in which a value of a thousand and more cannot be meant
    (a place in the tank in cm): there even the undecided shape is evidence.
    """
    sure: set[str] = set()
    undecided: set[str] = set()
    for cell in cells:
        if "," in cell or "." in cell:
            _sort_evidence(cell, sure, undecided)
    for cell in thousands_absurd:
        match = _UNDECIDED.search(cell) if "," in cell or "." in cell else None
        if match:
            sure.add("," if "," in match[0] else ".")
    if len(sure) == 1:
        return "," if "," in sure else "."
    if sure or len(undecided) == 2:
        return None
    # No evidence. A comma between semicolons is the decimal mark of the countries that put
    # semicolons there; elsewhere the comma is taken for a thousands mark.
    return "," if undecided == {","} and delimiter == ";" else "."


def _sort_evidence(cell: str, sure: set[str], undecided: set[str]) -> None:
    simple = _SIMPLE.fullmatch(cell)
    if simple:
        could_be_thousands = len(simple[3]) == 3 and len(simple[1]) <= 3 and simple[1][0] != "0"
        (undecided if could_be_thousands else sure).add(simple[2])
        return
    match = _BODY.match(cell.translate(_INVISIBLE).strip())
    digits = match["digits"] if match else ""
    marks = re.sub(r"[^.,]", "", digits)
    if not marks:
        return
    if len(set(marks)) == 2:
        sure.add(marks[-1])
    elif len(marks) > 1:
        sure.add("." if marks[0] == "," else ",")
    elif _SPACE_MARKS.search(digits) or not _UNDECIDED.fullmatch(digits):
        sure.add(marks)
    else:
        undecided.add(marks)
