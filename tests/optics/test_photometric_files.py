"""LM-63 and EULUMDAT readers: known files, every version and symmetry, and broken files."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.optics.broken_file import BrokenFile
from server.optics.photometric_file import PhotometricFile
from server.optics.photometric_reader import read_photometric_file
from tests.optics.published import FOLDER, rows

MADE = FOLDER / "synthetic_photometry"
EXPECTED = rows("synthetic_photometry/expected_values")


def read(text: str) -> PhotometricFile:
    return read_photometric_file(text.encode())


def lm63(
    *,
    first: str = "IESNA:LM-63-2002",
    tilt: str = "TILT=NONE",
    lumens: str = "1000",
    multiplier: str = "1",
    letter: int = 1,
    unit: int = 2,
    size: str = "0.1 0.2 0",
    ballast: str = "1",
    twelfth: str = "1",
    theta: tuple[float, ...] = (0, 30, 60, 90),
    planes: tuple[float, ...] = (0,),
    candela: tuple[tuple[float, ...], ...] = ((4, 3, 2, 0),),
) -> str:
    numbers = [
        f"1 {lumens} {multiplier} {len(theta)} {len(planes)} {letter} {unit} {size}",
        f"{ballast} {twelfth} 55",
        " ".join(map(str, theta)),
        " ".join(map(str, planes)),
        *(" ".join(map(str, row)) for row in candela),
    ]
    heads = [first] if first else []
    return "\n".join([*heads, "[TEST] made up", "[MANUFAC] nobody", tilt, *numbers]) + "\n"


def eulumdat(
    *,
    symmetry: int,
    planes: tuple[float, ...],
    theta: tuple[float, ...] = (0, 45, 90),
    values: tuple[tuple[float, ...], ...],
    lamps: int = 1,
    lumens: float = 2000,
    factor: float = 1,
    sets: int = 1,
) -> str:
    lines = ["nobody", 1, symmetry, len(planes), 0, len(theta), 0, "r", "made up", "1", "f", "d"]
    lines += [100, 50, 20, 80, 0, 0, 0, 0, 0, 100, 0, factor, 0, sets]
    lines += [lamps, "LED", lumens, 4000, 80, 20] * sets + [0.5] * 10
    lines += [*planes, *theta, *(value for row in values for value in row)]
    return "\r\n".join(str(line) for line in lines) + "\r\n"


@pytest.mark.parametrize("row", EXPECTED, ids=[row["file"] for row in EXPECTED])
def test_files_made_from_formulas_give_their_known_flux_and_beam(row: dict[str, str]) -> None:
    file = read_photometric_file((MADE / row["file"]).read_bytes())
    scale = 1.0
    if row["file"].endswith(".ldt"):
        assert file.lamp_lm is not None
        scale = 1000 / file.lamp_lm
    assert file.flux_lm * scale == pytest.approx(
        float(row["flux_piecewise_linear_exact"]), abs=2e-3
    )
    assert file.table.zonal_flux * scale == pytest.approx(
        float(row["flux_mean_of_ends_zonal"]), abs=2e-3
    )
    assert file.table.beam_deg() == pytest.approx(float(row["beam_angle_50pct_C0_deg"]), abs=2e-3)
    nadir = float(file.table.at(0.0, 0.0)) * scale
    assert nadir == pytest.approx(float(row["I_at_nadir_C0 (times multiplier)"]), abs=1e-3)


def test_a_quadrant_file_shines_all_round_as_its_formula_says() -> None:
    # I = (1000/π) cos θ (1 + 0.3 cos 2C), stored for C 0–90 only.
    for name, scale in (("quadrant_1000lm.ies", 1.0), ("quadrant_lamp2000_lorl100.ldt", 0.5)):
        table = read_photometric_file((MADE / name).read_bytes()).table
        for plane in (0, 45, 120, 195, 285, 345):
            exact = 1000 / np.pi * np.cos(np.pi / 6) * (1 + 0.3 * np.cos(np.radians(2 * plane)))
            assert float(table.at(30.0, plane)) * scale == pytest.approx(exact, abs=0.01)


def test_the_light_output_ratio_is_the_one_stated() -> None:
    file = read_photometric_file((MADE / "fwhm60_lamp2500_lorl80.ldt").read_bytes())
    assert file.light_output_ratio == pytest.approx(0.80, rel=3e-3)
    assert file.watts == 20.0 and file.notes == ()


@pytest.mark.parametrize(
    ("first", "standard"),
    [
        ("", "LM-63-1986"),
        ("IESNA91", "LM-63-1991"),
        ("IESNA:LM-63-1995", "LM-63-1995"),
        ("IESNA:LM-63-2002", "LM-63-2002"),
        ("IES:LM-63-2019", "LM-63-2019"),
    ],
)
def test_each_version_is_recognised_by_its_first_line(first: str, standard: str) -> None:
    file = read(lm63(first=first))
    assert file.standard == standard
    assert file.title.startswith("nobody") and file.watts == 55


def test_multiplier_and_ballast_factor_multiply_the_candela_once() -> None:
    plain, scaled = read(lm63()), read(lm63(multiplier="2.5", ballast="0.9"))
    assert scaled.flux_lm == pytest.approx(2.5 * 0.9 * plain.flux_lm)


@pytest.mark.parametrize(
    ("first", "counts"),
    [
        ("", True),
        ("IESNA91", True),
        ("IESNA:LM-63-1995", True),
        ("IESNA:LM-63-2002", False),
        ("IES:LM-63-2019", False),
    ],
)
def test_the_twelfth_field_multiplies_only_to_1995(first: str, counts: bool) -> None:
    # From 2002 it is "future use", in 2019 the code of how the file was made (such as 1.00010).
    changed, plain = read(lm63(first=first, twelfth="0.8")), read(lm63(first=first))
    assert changed.flux_lm == pytest.approx(plain.flux_lm * (0.8 if counts else 1.0))


def test_absolute_files_have_no_lamp_lumens() -> None:
    assert read(lm63(lumens="-1")).light_output_ratio is None
    assert read(lm63(lumens="1000")).lamp_lm == 1000


def test_lengths_come_in_feet_or_metres_and_round_openings_are_negative() -> None:
    assert read(lm63(unit=2, size="0.1 0.2 0.05")).opening_cm == pytest.approx((20, 10, 5))
    assert read(lm63(unit=1, size="-1 -1 0")).opening_cm == pytest.approx((30.48, 30.48, 0))


def test_a_tilt_table_counts_for_the_lamp_hung_level() -> None:
    text = lm63(tilt="TILT=INCLUDE\n1\n3\n0 45 90\n0.95 0.9 0.8")
    assert read(text).flux_lm == pytest.approx(0.95 * read(lm63()).flux_lm)
    elsewhere = read(lm63(tilt="TILT=other.tlt"))
    assert any("other.tlt" in note for note in elsewhere.notes)


def test_commas_and_odd_line_breaks_between_numbers_are_read() -> None:
    tidy = read(lm63())
    ragged = lm63().replace("4 3 2 0", "4,3\n2\n\n0 \x1a")
    assert read(ragged).flux_lm == pytest.approx(tidy.flux_lm)


@pytest.mark.parametrize(
    ("planes", "same_as"),
    [
        ((0, 45, 90), {45: (135, 225, 315), 90: (270,), 0: (180,)}),
        ((0, 60, 180), {60: (300,)}),
        ((90, 120, 270), {120: (60,), 270: (270,)}),
        ((0, 100, 360), {0: (360,)}),
    ],
)
def test_lm63_planes_unfold_by_the_angle_they_end_at(
    planes: tuple[int, ...], same_as: dict[int, tuple[int, ...]]
) -> None:
    candela = tuple((4.0, 3.0 + k, 2.0 + k, 0.0) for k in range(len(planes)))
    if planes[-1] == 360:
        candela = (*candela[:-1], candela[0])
    table = read(lm63(planes=planes, candela=candela)).table
    for row, plane in enumerate(planes):
        assert float(table.at(30, plane)) == pytest.approx(candela[row][1])
    for plane, mirrored in same_as.items():
        for image in mirrored:
            assert float(table.at(30, image)) == pytest.approx(float(table.at(30, plane)))


def planes_of(step: int) -> tuple[float, ...]:
    return tuple(float(angle) for angle in range(0, 360, step))


def test_eulumdat_symmetry_0_stores_every_plane() -> None:
    values = tuple((10.0, 5.0 + k, 0.0) for k in range(8))
    table = read(eulumdat(symmetry=0, planes=planes_of(45), values=values)).table
    assert [float(table.at(45, c)) for c in planes_of(45)] == pytest.approx(
        [2 * (5.0 + k) for k in range(8)]
    )


def test_eulumdat_symmetry_1_is_alike_all_round() -> None:
    table = read(eulumdat(symmetry=1, planes=planes_of(15), values=((10, 5, 0),))).table
    assert table.phi_deg.size == 1 and float(table.at(45, 77)) == pytest.approx(10)


def test_eulumdat_symmetry_2_mirrors_across_c0_c180() -> None:
    values = tuple((10.0, 5.0 + k, 0.0) for k in range(5))
    table = read(eulumdat(symmetry=2, planes=planes_of(45), values=values)).table
    assert float(table.at(45, 45)) == pytest.approx(12) == float(table.at(45, 315))
    assert float(table.at(45, 180)) == pytest.approx(18)


def test_eulumdat_symmetry_3_starts_at_c270_and_mirrors_across_c90_c270() -> None:
    values = tuple((10.0, 5.0 + k, 0.0) for k in range(5))  # C270, 315, 0, 45, 90
    table = read(eulumdat(symmetry=3, planes=planes_of(45), values=values)).table
    assert [float(table.at(45, c)) for c in (270, 315, 0, 45, 90)] == pytest.approx(
        [10, 12, 14, 16, 18]
    )
    assert [float(table.at(45, c)) for c in (225, 180, 135)] == pytest.approx([12, 14, 16])


def test_eulumdat_symmetry_4_stores_one_quarter() -> None:
    values = tuple((10.0, 5.0 + k, 0.0) for k in range(3))
    table = read(eulumdat(symmetry=4, planes=planes_of(45), values=values)).table
    assert [float(table.at(45, c)) for c in planes_of(45)] == pytest.approx(
        [10, 12, 14, 12, 10, 12, 14, 12]
    )


def test_eulumdat_factor_sets_and_absolute_lamps_count() -> None:
    plain = eulumdat(symmetry=1, planes=(0.0,), values=((10, 5, 0),))
    doubled = eulumdat(symmetry=1, planes=(0.0,), values=((10, 5, 0),), factor=2)
    assert read(doubled).flux_lm == pytest.approx(2 * read(plain).flux_lm)
    two = read(eulumdat(symmetry=1, planes=(0.0,), values=((10, 5, 0),), sets=2))
    assert any("2 sets" in note for note in two.notes)
    absolute = read(eulumdat(symmetry=1, planes=(0.0,), values=((10, 5, 0),), lamps=-1))
    assert absolute.lamp_lm is None


def test_eulumdat_says_when_its_own_statements_disagree() -> None:
    text = (MADE / "fwhm60_lamp2500_lorl80.ldt").read_text().splitlines()
    text[22] = "95"
    file = read("\n".join(text))
    assert any("95.0 %" in note for note in file.notes)


def test_eulumdat_reads_decimal_commas_and_latin_1() -> None:
    text = eulumdat(symmetry=1, planes=(0.0,), values=((10.5, 5.5, 0),))
    raw = text.replace("10.5", "10,5").replace("nobody", "Müller").encode("latin-1")
    file = read_photometric_file(raw)
    assert float(file.table.at(0, 0)) == pytest.approx(21.0)
    assert "Müller" in file.title


def cosine_by_length(letter: int) -> PhotometricFile:
    """A cosine source written in planes of type B or A: cos θ = cos V cos H in both."""
    angles = tuple(float(a) for a in range(-90, 91, 5))
    candela = tuple(
        tuple(100 * abs(np.cos(np.radians(v)) * np.cos(np.radians(h))) for v in angles)
        for h in angles
    )
    return read(lm63(letter=letter, theta=angles, planes=angles, candela=candela))


@pytest.mark.parametrize("letter", [2, 3])
def test_types_a_and_b_turn_into_the_same_cosine_source(letter: int) -> None:
    file = cosine_by_length(letter)
    assert file.flux_lm == pytest.approx(100 * np.pi, rel=5e-3)
    assert file.table.beam_deg(0) == pytest.approx(120, abs=0.5)
    assert file.table.beam_deg(90) == pytest.approx(120, abs=0.5)
    assert any("from memory" in note for note in file.notes)


def test_a_quarter_of_type_b_is_mirrored_and_its_horizontal_runs_along_the_lamp() -> None:
    angles = (0.0, 30.0, 60.0, 90.0)
    wide = ((9, 1, 0, 0), (8, 1, 0, 0), (6, 1, 0, 0), (0, 0, 0, 0))
    table = read(lm63(letter=2, theta=angles, planes=angles, candela=wide)).table
    assert float(table.at(60, 90)) == pytest.approx(6) == float(table.at(60, 270))
    assert float(table.at(30, 0)) == pytest.approx(1)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("hello\nworld\n", 1, "neither"),
        (lm63(first="IESNA:LM-63-2050"), 1, "unknown version"),
        (lm63().replace("TILT=NONE\n", ""), 8, "TILT="),
        (lm63(theta=(0, 60, 30, 90)), 7, "must rise"),
        (lm63(theta=(5, 30, 60, 90)), 7, "vertical angles should run"),
        (lm63(planes=(0, 50), candela=((4, 3, 2, 0),) * 2), 8, "horizontal angles"),
        (lm63(candela=((4, 3, "x", 0),)), 9, "candela value 3 of 4 should be a number, found 'x'"),
        (lm63(candela=((4, 3, "nan", 0),)), 9, "finite"),
        (lm63(candela=((4, -3, 2, 0),)), 9, "negative"),
        (lm63(candela=((4, 3, 2),)), 9, "ends before candela value 4 of 4"),
        (lm63(candela=((4, 3, 2, 0, 1),)), 9, "more numbers"),
        (lm63(candela=((0, 0, 0, 0),)), 9, "zero"),
        (lm63(letter=4), 5, "photometric type"),
        (lm63(unit=3), 5, "unit of length"),
        (lm63(multiplier="0"), 5, "multiplier should be above 0"),
        (lm63(lumens="0"), 5, "lumens per lamp"),
        (lm63(ballast="-1"), 6, "ballast factor should be above 0"),
        (lm63(letter=2, theta=(0, 45, 60, 80)), 7, "types A and B"),
    ],
)
def test_a_broken_lm63_file_is_refused_by_line_and_reason(text: str, line: int, words: str) -> None:
    with pytest.raises(BrokenFile) as refusal:
        read(text)
    assert refusal.value.line == line
    assert words in str(refusal.value)


GOOD = eulumdat(symmetry=4, planes=planes_of(90), values=((10, 5, 0), (9, 4, 0)))


def changed(line: int, value: str) -> str:
    lines = GOOD.splitlines()
    lines[line - 1] = value
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (changed(4, "6"), 4, "multiple of 4"),
        (changed(4, "four"), 4, "should be a number, found 'four'"),
        (changed(4, ""), 4, "found nothing"),
        (changed(6, "1"), 6, "G angles"),
        (changed(24, "0"), 24, "conversion factor"),
        (changed(27, "0"), 27, "number of lamps"),
        (changed(29, "-5"), 29, "lumens"),
        (changed(44, "5"), 43, "end at C90"),
        (changed(48, "0"), 48, "must rise"),
        (changed(51, "-1"), 51, "negative"),
        (changed(51, "inf"), 51, "finite"),
        (GOOD + "7\r\n", 56, "more values"),
        ("\n".join(GOOD.splitlines()[:-1]), 54, "ends before intensity 6 of 6"),
        ("\n".join(GOOD.splitlines()[:20]), 20, "ends before"),
    ],
)
def test_a_broken_eulumdat_file_is_refused_by_line_and_reason(
    text: str, line: int, words: str
) -> None:
    with pytest.raises(BrokenFile) as refusal:
        read(text)
    assert words in str(refusal.value)
    assert refusal.value.line == line


@pytest.mark.parametrize("raw", [b"", b"  \n ", b"\x00\x01\x02", b"a" * 2_000_000])
def test_what_is_no_text_or_too_big_is_refused_as_a_whole(raw: bytes) -> None:
    with pytest.raises(BrokenFile) as refusal:
        read_photometric_file(raw)
    assert refusal.value.line is None


@settings(max_examples=150, deadline=None)
@given(
    name=st.sampled_from([row["file"] for row in EXPECTED]),
    cut=st.integers(0, 120),
    word=st.sampled_from(["", "-1", "0", "1e999", "nan", "x", "361", "3 4", "1e12", "<script>"]),
)
def test_a_file_with_any_line_spoilt_is_read_or_refused_but_never_falls_over(
    name: str, cut: int, word: str
) -> None:
    lines = (MADE / name).read_text().splitlines()
    lines[cut % len(lines)] = word
    try:
        file = read("\n".join(lines))
    except BrokenFile as refusal:
        assert refusal.line is None or 1 <= refusal.line <= len(lines)
    else:
        assert np.isfinite(file.flux_lm) and file.flux_lm > 0
