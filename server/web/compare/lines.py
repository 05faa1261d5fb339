"""The table of a comparison: one line per figure, one cell per setup."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from server.account import sentences
from server.account.account import AnimalLight
from server.comparing.side_by_side import AtDepth, Figures, Hanging, Side
from server.db.comparisons import SetupRows
from server.dose.unchanged import in_words
from server.web import filters
from server.web.compare.form import Wanted

NONE = "–"
NO_DAY = "no day set"


@dataclass(frozen=True, kw_only=True)
class Line:
    """One row of the table; differs: whether the setups differ in it."""

    name: str
    unit: str
    cells: tuple[str, ...]
    differs: bool


@dataclass(frozen=True, kw_only=True)
class Sided:
    """A setup's rows with its side and its light as known best; `measured_words` says how."""

    rows: SetupRows
    side: Side
    measured_words: str
    animals: tuple[AnimalLight, ...] = ()


def lines(
    sided: Sequence[Sided],
    found: Sequence[Figures],
    asked: Wanted,
    depths_cm: Sequence[float],
    unit: str,
    currency: str,
) -> tuple[Line, ...]:
    """Every figure of every setup; the light once for each depth."""
    if not sided:
        return ()
    heads = _heads(f"{asked.low_ppfd:g}–{asked.high_ppfd:g}", depths_cm, unit, currency)
    columns = [_cells(one, figure, unit) for one, figure in zip(sided, found, strict=True)]
    return tuple(
        Line(name=name, unit=sign, cells=cells, differs=len(set(cells)) > 1)
        for (name, sign), cells in zip(heads, zip(*columns, strict=True), strict=True)
    )


def _heads(
    range_words: str, depths_cm: Sequence[float], unit: str, currency: str
) -> tuple[tuple[str, str], ...]:
    light: list[tuple[str, str]] = []
    for depth_cm in depths_cm:
        down = f"{filters.length(depth_cm, unit)} down" if len(depths_cm) > 1 else ""
        light += [
            (f"Mean PPFD {down}".strip(), "µmol m⁻² s⁻¹"),
            (f"Uniformity {down}".strip(), "least over mean"),
            (f"Share at {range_words} {down}".strip(), "of all cells of the depth"),
            (f"Dose of the mean {down}".strip(), "mol m⁻² d⁻¹"),
        ]
    return (
        ("Known from", ""),
        *light,
        ("Lit, of these at full", "h"),
        ("Animals in range", ""),
        ("Lamps", ""),
        ("Height above the water", ""),
        ("Power", ""),
        ("Beam angle", ""),
        ("Watts as run", "W"),
        ("Photons into the water per joule", "µmol J⁻¹"),
        ("Photons that miss the water", ""),
        ("Electricity a year", currency),
        ("Shimmer left", ""),
        ("Blue, green, red", "% of photons"),
        ("Unchanged for", ""),
    )


def _cells(one: Sided, figure: Figures, unit: str) -> tuple[str, ...]:
    """One setup's column, in the order of the heads."""
    light = [cell for at in figure.at for cell in _light(one, at)]
    hours = f"{filters.number(figure.lit_hours, 1)}, {filters.number(figure.full_hours, 1)}"
    return (
        one.measured_words,
        *light,
        hours if one.rows.day_set else NO_DAY,
        sentences.count_words(one.animals),
        *_lamps(one, unit),
        *_running(one, figure),
    )


def _light(one: Sided, at: AtDepth | None) -> tuple[str, ...]:
    if at is None:
        return ("no water there", NONE, NONE, NONE)
    return (
        _mean(at),
        filters.number(at.uniformity, 2),
        filters.percent(at.share_in_range),
        filters.number(at.dli_mol_m2_d, 1) if one.rows.day_set else NO_DAY,
    )


def _lamps(one: Sided, unit: str) -> tuple[str, ...]:
    lamps = one.side.lamps
    return (
        _each(lamps, lambda lamp: lamp.name),
        _each(lamps, lambda lamp: filters.length(lamp.height_cm, unit)),
        _each(lamps, lambda lamp: filters.percent(lamp.power)),
        _each(lamps, lambda lamp: f"{lamp.beam_deg:.0f}°"),
    )


def _running(one: Sided, figure: Figures) -> tuple[str, ...]:
    lit = bool(one.side.lamps)
    money = filters.number(figure.money_per_year)
    return (
        filters.number(figure.watts) if lit else NONE,
        _or_none(figure.umol_per_joule_into_water, 2),
        filters.percent(1 - figure.share_into_water) if lit else NONE,
        money if one.rows.day_set else NO_DAY,
        NONE if figure.shimmer is None else filters.percent(figure.shimmer),
        _bands(figure) if lit else NONE,
        _unchanged(one.rows),
    )


def _mean(at: AtDepth) -> str:
    plain = filters.ppfd(at.mean_ppfd)
    if at.half_width is None:
        return plain
    return f"{plain} ± {filters.ppfd(at.half_width * at.mean_ppfd)}"


def _each(lamps: Sequence[Hanging], write: Callable[[Hanging], str]) -> str:
    """What each lamp has, said once where all have the same."""
    words = [write(lamp) for lamp in lamps]
    if not words:
        return NONE
    if len(set(words)) == 1:
        return words[0] if len(words) == 1 else f"{len(words)} × {words[0]}"
    return ", ".join(words)


def _or_none(value: float | None, digits: int) -> str:
    return NONE if value is None else filters.number(value, digits)


def _bands(figure: Figures) -> str:
    shares = (figure.blue_share, figure.green_share, figure.red_share)
    return ", ".join(filters.number(100 * share) for share in shares)


def _unchanged(rows: SetupRows) -> str:
    if rows.setup.state == "plan":
        return "not hung yet"
    return "changed since" if rows.days_unchanged is None else in_words(rows.days_unchanged)
