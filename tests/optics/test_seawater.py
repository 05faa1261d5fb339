"""Index of sea water against two published tables."""

import pytest

from server.optics.seawater import mean_refractive_index, refractive_index
from server.optics.spectrum_shapes import READY, ready
from tests.optics.published import rows

CHECKS = rows("refractive_index_check_values")
TABLE = rows("refractive_index_austin_halikas_table")


def test_the_equation_gives_its_own_worked_values() -> None:
    # Quan & Fry 1995, Applied Optics 34:3477, computed independently to six digits.
    for row in CHECKS:
        got = refractive_index(
            salinity=float(row["S"]),
            temperature_c=float(row["T"]),
            wavelength_nm=float(row["nm"]),
        )
        assert float(got) == pytest.approx(float(row["n_quan_fry"]), abs=1.1e-6), row
    assert len(CHECKS) >= 40


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["wavelength_nm"])
def test_the_equation_stays_near_the_table_of_austin_and_halikas(row: dict[str, str]) -> None:
    # Austin & Halikas 1976 as reprinted by Mobley 2010; largest difference known 5.8e-5.
    for column, listed in row.items():
        if column == "wavelength_nm":
            continue
        salinity, temperature = column.removeprefix("S").split("_T")
        got = refractive_index(
            salinity=float(salinity),
            temperature_c=float(temperature),
            wavelength_nm=float(row["wavelength_nm"]),
        )
        assert float(got) == pytest.approx(float(listed), abs=6e-5)


def test_even_light_meets_1_341_and_the_yellow_line_1_339() -> None:
    # Mean over 400–700 nm at S = 35, 25 °C: 1.340994 (computed from the same equation).
    assert mean_refractive_index(ready("even")) == pytest.approx(1.3408, abs=4e-4)
    yellow = refractive_index(salinity=35, temperature_c=25, wavelength_nm=589.26)
    assert float(yellow) == pytest.approx(1.338852, abs=1e-5)  # Millard & Seaver 1990, Table 2


@pytest.mark.parametrize("shape", READY, ids=[shape.key for shape in READY])
def test_every_lamp_meets_an_index_of_sea_water(shape: object) -> None:
    index = mean_refractive_index(shape.make())  # type: ignore[attr-defined] # one of READY
    assert 1.335 < index < 1.350


@pytest.mark.parametrize(
    "facts",
    [
        {"salinity": -1.0, "temperature_c": 25.0, "wavelength_nm": 500.0},
        {"salinity": 35.0, "temperature_c": 60.0, "wavelength_nm": 500.0},
        {"salinity": 35.0, "temperature_c": 25.0, "wavelength_nm": 200.0},
        {"salinity": float("nan"), "temperature_c": 25.0, "wavelength_nm": 500.0},
    ],
)
def test_water_outside_the_equations_range_is_refused(facts: dict[str, float]) -> None:
    with pytest.raises(ValueError):
        refractive_index(**facts)
