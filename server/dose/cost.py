"""What the day costs: energy, money, and the price of light that reaches the water."""

from dataclasses import dataclass

from server.dose.day import HOURS, MOL_PER_UMOL_HOURS, Course

DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, kw_only=True)
class Load:
    """One lamp as it runs through the day.

    `levels` is its course in percent of the power set (0–100); `watts` and `ppf_umol_s` hold
    at the power set, `share_into_water` (0–1) of the photons cross the surface,
    `standby_watts` flow day and night.
    """

    levels: Course
    watts: float
    ppf_umol_s: float
    share_into_water: float
    standby_watts: float = 0.0


@dataclass(frozen=True, kw_only=True)
class RunningCost:
    """Energy [kWh], money [currency of the price] and light into the water [mol]."""

    kwh_per_day: float
    kwh_per_year: float
    money_per_year: float
    mol_per_day: float
    kwh_per_mol: float | None
    money_per_mol: float | None


def full_light_hours(levels: Course) -> float:
    """Hours at full power that use the same energy [h], for a course in percent."""
    return float(levels.hours @ (levels.start_ppfd + levels.end_ppfd) / 2 / 100)


def running_cost(loads: tuple[Load, ...], *, price_per_kwh: float) -> RunningCost:
    """Cost of a day's light; watts and photons are taken to follow the level in proportion.

    That is our assumption: dimmed LEDs are usually somewhat better than that. `None` per mol
    when no light reaches the water.
    """
    kwh = sum(_kwh(load) for load in loads)
    mol = sum(
        load.ppf_umol_s * load.share_into_water * full_light_hours(load.levels)
        for load in loads
    ) * MOL_PER_UMOL_HOURS  # fmt: skip
    return RunningCost(
        kwh_per_day=kwh,
        kwh_per_year=kwh * DAYS_PER_YEAR,
        money_per_year=kwh * DAYS_PER_YEAR * price_per_kwh,
        mol_per_day=mol,
        kwh_per_mol=kwh / mol if mol > 0 else None,
        money_per_mol=kwh * price_per_kwh / mol if mol > 0 else None,
    )


def _kwh(load: Load) -> float:
    return (load.watts * full_light_hours(load.levels) + load.standby_watts * HOURS) / 1000
