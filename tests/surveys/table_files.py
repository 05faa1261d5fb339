"""Generated tables of readings for the fuzz tests: honest ones, and ones gone wrong."""

from dataclasses import dataclass

from hypothesis import strategies as st

HEADINGS = {
    "x": ["x", "x_cm", "X [cm]", "left", "links (cm)", "Gauche", "distance from left"],
    "y": ["y", "y_cm", "Y (cm)", "front", "vorne", "devant", "from the front, cm"],
    "depth": ["depth", "depth_cm", "Tiefe [cm]", "Profondeur", "z", "depth below surface"],
    "light": ["ppfd", "PAR", "PAR (µmol/m²/s)", "Licht", "reading", "Messwert", "Lumière"],
}
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"]

ugly_cells = st.one_of(
    st.sampled_from(
        ["", " ", "n/a", "#DIV/0!", "nan", "inf", "-inf", "1e999", "-5", "1,2,3", "12..5", "--1",
         "1.234", "1,234", "12 kg", "0x10", "１２", "½", "99999999", "<5", "~120", "=1+1", "'12",
         "1_000", "True", "120 µmol/m²/s", "12\"", "10 cm", "3 ft", "\u202212", "1e3", "é" * 50]
    ),
    st.text(st.characters(codec="latin-1", exclude_characters="\r\n\0\"",
                          exclude_categories=["Cc"]), max_size=12),
    st.floats(0, 2000, allow_nan=False).map(lambda v: f"{v:.3f}"),
)  # fmt: skip


@dataclass(frozen=True)
class Generated:
    """A file and what an honest count of its lines is."""

    data: bytes
    delimiter: str
    header_line: int
    content_lines: frozenset[int]


@st.composite
def tables(draw: st.DrawFn) -> Generated:
    """A table with titles, blank lines, spoilt cells, totals and trailing delimiters."""
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    decimal = draw(st.sampled_from([".", ","])) if delimiter != "," else "."
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    order = draw(st.permutations(["x", "y", "depth", "light"]))
    lines = [draw(st.sampled_from(["", "Tank by the window", "Date: today"]))] * draw(
        st.integers(0, 2)
    )
    lines.append(delimiter.join(draw(st.sampled_from(HEADINGS[role])) for role in order))
    header_line = len(lines)
    tail = delimiter * draw(st.integers(0, 3))
    for _ in range(draw(st.integers(1, 12))):
        lines.append(draw(_rows(delimiter, decimal)) + tail)
    if draw(st.booleans()):
        lines.append(delimiter.join(["Average", "", "", "120"]))
    encoding = draw(st.sampled_from(ENCODINGS))
    text = end.join(lines) + draw(st.sampled_from(["", end, end * 3]))
    blank = delimiter + " \t\u00a0"
    content = {n for n, line in enumerate(lines, start=1) if line.strip(blank)}
    return Generated(
        text.encode(encoding, errors="replace"), delimiter, header_line, frozenset(content)
    )


@st.composite
def _rows(draw: st.DrawFn, delimiter: str, decimal: str) -> str:
    kind = draw(st.integers(0, 9))
    if kind == 0:
        return draw(st.sampled_from(["", delimiter * 3, "  "]))
    number = st.decimals(0, 200, places=2).map(lambda d: str(d).replace(".", decimal))
    cells = [draw(number) for _ in range(4)]
    if kind < 4:
        spoilt = draw(ugly_cells).replace(delimiter, " ")
        cells[draw(st.integers(0, 3))] = spoilt
    if kind == 4:
        cells = cells[: draw(st.integers(1, 3))]
    if kind == 5:
        cells.append(draw(ugly_cells).replace(delimiter, " "))
    return delimiter.join(cells)


hostile_bytes = st.one_of(
    st.binary(max_size=400),
    st.text(max_size=300).map(lambda t: t.encode("utf-8", errors="replace")),
    st.lists(
        st.sampled_from(
            [b"x,y,depth,ppfd\n", b"1,2,3,4\n", b"\xff\xfe", b"\0", b'"', b"\r", b"\x1f\x8b", b"PK",
             b"depth 20 cm\n", b"y\\x;10;20\n", b"10;1;2\n", b"time;par\n", b"2026-01-01 10:00;5\n",
             b"x;y;10 cm;20 cm\n", b";;;;\n", b"\xe4\xb5\n", b"sep=;\n", b"\t", b"-1e999,",
             b"a" * 40, b"\xef\xbb\xbf", b"\xf0\x9f\x90\xa0", b"total;;5\n"]
        ),
        max_size=25,
    ).map(b"".join),
)  # fmt: skip
