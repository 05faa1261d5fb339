"""Lux per µmol m⁻² s⁻¹ under the lamps on record, for tables that were read in lux."""

from collections.abc import Sequence

from server.db.light import Hung


def lux_per_ppfd(hung: Sequence[Hung]) -> float | None:
    """The lamps' factors weighted by their photons at the powers set; None without light.

    Water takes away red light and little else that the eye weighs, so the factor under water is
    up to a tenth lower; the page says that it is an estimate.
    """
    photons = [one.stated.lamp.ppf_umol_s * one.row.power for one in hung]
    total = sum(photons)
    if total <= 0:
        return None
    factors = [one.stated.lamp.spectrum(one.levels or None).lux_per_ppfd for one in hung]
    weighted = sum(p * f for p, f in zip(photons, factors, strict=True))
    return float(f"{weighted / total:.4g}")
