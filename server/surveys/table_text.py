"""Bytes of an upload to text, or a plain reason why it is no table.

People send what their meter, phone or spreadsheet wrote: UTF-8 with or without a mark in
front, UTF-16 from a spreadsheet's "Unicode text", Latin-1 from an old program. Whatever is
not text at all is named for what it is, so that the member knows what to save instead.
"""

import re
from dataclasses import dataclass

MAX_BYTES = 8 * 1024 * 1024  # 50,000 rows with long notes fit; a film does not
MAX_ROWS = 50_000
MAX_COLUMNS = 200
MAX_LINE_CHARACTERS = 32 * 1024

_LINE_END = re.compile(r"\r\n|\n|\r")
# Control characters no table holds. Form feed and tab are harmless.
_CONTROL = re.compile("[\x01-\x08\x0b\x0e-\x1f]")

_KNOWN_BEGINNINGS: tuple[tuple[bytes, str], ...] = (
    (b"\x1f\x8b", "a gzip archive; unpack it and send the table inside"),
    (b"PK\x03\x04", "a zip archive or a spreadsheet workbook; save the sheet as CSV"),
    (b"PK\x05\x06", "an empty zip archive; save the sheet as CSV"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet workbook; save the sheet as CSV"),
    (b"MZ", "a program, not a table"),
    (b"\x7fELF", "a program, not a table"),
    (b"%PDF", "a PDF; copy the table out of it or save it as CSV"),
    (b"\x89PNG", "a picture, not a table"),
    (b"\xff\xd8\xff", "a picture, not a table"),
    (b"GIF8", "a picture, not a table"),
    (b"BZh", "a packed archive; unpack it and send the table inside"),
    (b"\xfd7zXZ", "a packed archive; unpack it and send the table inside"),
    (b"SQLite format 3", "a database, not a table"),
)


class NotATable(ValueError):
    """The whole file is refused. `str(error)` is a sentence a member can act on.

    `row` is the line of the file the trouble was seen on (1 when it is the whole file).
    """

    def __init__(self, reason: str, *, row: int = 1, too_large: bool = False) -> None:
        super().__init__(reason)
        self.row = row
        self.too_large = too_large


@dataclass(frozen=True)
class PlainText:
    """Decoded text cut into lines (without their ends), and the encoding found."""

    lines: tuple[str, ...]
    encoding: str


def plain_text(data: bytes | str) -> PlainText:
    """Decode an upload (bytes) or pasted text (str). Raises NotATable with the reason."""
    if isinstance(data, str):
        if len(data) > MAX_BYTES:
            raise _too_large(len(data))
        return PlainText(lines=_lines(data.removeprefix("\ufeff")), encoding="text")
    if len(data) > MAX_BYTES:
        raise _too_large(len(data))
    _refuse_known_kinds(data)
    text, encoding = _decoded(data)
    return PlainText(lines=_lines(text), encoding=encoding)


def _too_large(size: int) -> NotATable:
    return NotATable(
        f"The file is {size / 1024 / 1024:.1f} MB; the limit is {MAX_BYTES // 1024 // 1024} MB. "
        "Send it in parts.",
        too_large=True,
    )


def _refuse_known_kinds(data: bytes) -> None:
    for beginning, name in _KNOWN_BEGINNINGS:
        # "MZ" may also begin an honest header, so a program must hold a NUL as well.
        if data.startswith(beginning) and (len(beginning) > 2 or b"\0" in data[:512]):
            raise NotATable(f"This is {name}.")
    if data.startswith(b"\x1f\x8b"):
        raise NotATable("This is a gzip archive; unpack it and send the table inside.")


def _decoded(data: bytes) -> tuple[str, str]:
    if data.startswith(b"\xef\xbb\xbf"):
        return _strict(data[3:], "utf-8", "UTF-8")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _strict(data, "utf-16", "UTF-16")
    unmarked = _unmarked_utf16(data)
    if unmarked:
        return _strict(data, unmarked, "UTF-16")
    if b"\0" in data:
        raise NotATable("The file holds NUL bytes, so it is not a table of text.")
    try:
        return data.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        return _latin(data), "Latin-1"


def _strict(data: bytes, codec: str, name: str) -> tuple[str, str]:
    try:
        return data.decode(codec), name
    except UnicodeDecodeError:
        raise NotATable(
            f"The file says it is {name} but is damaged; save it again as UTF-8."
        ) from None


def _unmarked_utf16(data: bytes) -> str | None:
    """Western UTF-16 without its mark has a NUL at every second place."""
    start = data[:400]
    if len(start) < 4 or len(data) % 2:
        return None
    pairs = len(start) // 2
    if start[1::2].count(0) > 0.7 * pairs and start[::2].count(0) == 0:
        return "utf-16-le"
    if start[::2].count(0) > 0.7 * pairs and start[1::2].count(0) == 0:
        return "utf-16-be"
    return None


def _latin(data: bytes) -> str:
    """Windows' form of Latin-1 where it can be read so (it differs by quotation marks only)."""
    try:
        return data.decode("cp1252")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _lines(text: str) -> tuple[str, ...]:
    if "\0" in text:
        raise NotATable("The file holds NUL characters, so it is not a table of text.")
    lines = _LINE_END.split(text)
    while lines and not lines[-1]:
        lines.pop()
    for number, line in enumerate(lines, start=1):
        if len(line) > MAX_LINE_CHARACTERS:
            raise NotATable(
                f"Line {number} has {len(line):,} characters; a row of readings has a few dozen "
                f"and the limit is {MAX_LINE_CHARACTERS:,}.",
                row=number,
            )
        if _CONTROL.search(line):
            raise NotATable(
                f"Line {number} holds control characters, so this is not a table of text.",
                row=number,
            )
    if not lines:
        raise NotATable("The file is empty. It needs a header line and at least one reading.")
    return tuple(lines)
