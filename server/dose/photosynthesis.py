"""Photosynthesis against light (P–E curves), and summed along a day.

Pm is the light-saturated rate, α the slope at no light, Ek = Pm/α the saturation point, R the
dark respiration. Rates are given as shares of Pm. Each curve is also integrated exactly along
a straight line of light, which makes the sum over a day exact.

A saturation point belongs to the curve it was fitted with: the same colony has another Ek
under another curve.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.dose.day import Course

FloatArray = NDArray[np.float64]


def tanh(ratio: ArrayLike) -> FloatArray:
    """P/Pm = tanh(E/Ek). Jassby & Platt 1976, Limnol Oceanogr 21:540–547."""
    return np.tanh(np.asarray(ratio, dtype=np.float64))


def webb(ratio: ArrayLike) -> FloatArray:
    """P/Pm = 1 − exp(−E/Ek). Webb, Newton & Starr 1974, Oecologia 17:281–291."""
    return -np.expm1(-np.asarray(ratio, dtype=np.float64))


def smith(ratio: ArrayLike) -> FloatArray:
    """P/Pm = x/√(1 + x²), x = E/Ek. Smith 1936."""
    x: FloatArray = np.asarray(ratio, dtype=np.float64)
    return np.divide(x, np.hypot(1.0, x))


def michaelis_menten(ratio: ArrayLike) -> FloatArray:
    """P/Pm = x/(1 + x), x = E/Ek."""
    x = np.asarray(ratio, dtype=np.float64)
    return x / (1 + x)


def _mean_tanh(start: FloatArray, end: FloatArray) -> FloatArray:
    # ∫tanh = ln cosh; ln cosh x = x − ln 2 + ln(1 + e^(−2x)) keeps large x exact.
    run = _safe(end - start)
    tail = np.log1p(np.exp(-2 * end)) - np.log1p(np.exp(-2 * start))
    return np.where(_short(start, end), _gauss(tanh, start, end), 1 + tail / run)


def _mean_webb(start: FloatArray, end: FloatArray) -> FloatArray:
    return 1 - _mean_decay(start, end)


def _mean_smith(start: FloatArray, end: FloatArray) -> FloatArray:
    # ∫x/√(1+x²) = √(1+x²); the difference of roots written as a sum cancels nothing.
    mean: FloatArray = (start + end) / (np.hypot(1.0, start) + np.hypot(1.0, end))
    return mean


def _mean_michaelis_menten(start: FloatArray, end: FloatArray) -> FloatArray:
    run = _safe(end - start)
    exact = 1 - np.log1p((end - start) / (1 + start)) / run
    return np.where(_short(start, end), _gauss(michaelis_menten, start, end), exact)


def _mean_decay(start: FloatArray, end: FloatArray) -> FloatArray:
    """Mean of e^(−x) along a line from start to end."""
    run = end - start
    return np.exp(-start) * np.where(run == 0, 1.0, -np.expm1(-run) / _safe(run, at=0.0))


def _short(start: FloatArray, end: FloatArray) -> NDArray[np.bool_]:
    """Lines so short that a difference of two logarithms would lose its digits."""
    return np.abs(end - start) < 1e-2


def _safe(run: FloatArray, at: float = 1e-2) -> FloatArray:
    return np.where(np.abs(run) <= at, 1.0, run)


def _gauss(
    curve: Callable[[ArrayLike], FloatArray], start: FloatArray, end: FloatArray
) -> FloatArray:
    """Mean along a short line by three-point Gauss quadrature (error below 1e-15 there)."""
    middle, half = (start + end) / 2, (end - start) / 2
    offset = np.sqrt(0.6) * half
    return (5 * curve(middle - offset) + 8 * curve(middle) + 5 * curve(middle + offset)) / 18


@dataclass(frozen=True, kw_only=True)
class PECurve:
    """A saturating P–E curve of E/Ek.

    `share(ratio)` is P/Pm; `mean_share(start, end)` its exact mean along a straight line of
    light; `ratio_for(share)` the E/Ek that gives a share of Pm below 1.
    """

    key: str
    name: str
    equation: str
    source: str
    share: Callable[[ArrayLike], FloatArray]
    mean_share: Callable[[FloatArray, FloatArray], FloatArray]
    ratio_for: Callable[[float], float]


TANH = PECurve(
    key="tanh",
    name="Hyperbolic tangent",
    equation="P = Pm · tanh(E / Ek)",
    source="Jassby & Platt 1976, Limnol Oceanogr 21:540–547",
    share=tanh,
    mean_share=_mean_tanh,
    ratio_for=lambda share: float(np.arctanh(share)),
)
WEBB = PECurve(
    key="webb",
    name="Exponential",
    equation="P = Pm · (1 − exp(−E / Ek))",
    source="Webb, Newton & Starr 1974, Oecologia 17:281–291",
    share=webb,
    mean_share=_mean_webb,
    ratio_for=lambda share: float(-np.log1p(-share)),
)
SMITH = PECurve(
    key="smith",
    name="Smith",
    equation="P = Pm · x / √(1 + x²), x = E / Ek",
    source="Smith 1936",
    share=smith,
    mean_share=_mean_smith,
    ratio_for=lambda share: float(share / np.sqrt(1 - share**2)),
)
MICHAELIS_MENTEN = PECurve(
    key="michaelis_menten",
    name="Rectangular hyperbola",
    equation="P = Pm · x / (1 + x), x = E / Ek",
    source="arithmetic of the rectangular hyperbola",
    share=michaelis_menten,
    mean_share=_mean_michaelis_menten,
    ratio_for=lambda share: share / (1 - share),
)

CURVES: dict[str, PECurve] = {curve.key: curve for curve in (TANH, WEBB, SMITH, MICHAELIS_MENTEN)}


def compensation_ppfd(curve: PECurve, *, saturation_ppfd: float, respiration_share: float) -> float:
    """Ec [µmol m⁻² s⁻¹], where photosynthesis pays for a respiration of R/Pm (0 ≤ R/Pm < 1)."""
    return saturation_ppfd * curve.ratio_for(respiration_share)


def hours_of_full_photosynthesis(
    one: Course, *, saturation_ppfd: float, curve: PECurve = TANH
) -> float:
    """Day's photosynthesis ∫P/Pm dt [h], as hours at the saturated rate; exact."""
    start, end = one.start_ppfd / saturation_ppfd, one.end_ppfd / saturation_ppfd
    return float(one.hours @ curve.mean_share(start, end))


@dataclass(frozen=True, kw_only=True)
class Photoinhibition:
    """P = Ps · (1 − exp(−αE/Ps)) · exp(−βE/Ps): too much light lowers the rate again.

    Platt, Gallegos & Harrison 1980, J Mar Res 38:687–701. `ps` [any rate], `alpha`, `beta`
    [rate per µmol m⁻² s⁻¹]; `beta` = 0 is the exponential curve with Pm = Ps.
    """

    ps: float
    alpha: float
    beta: float

    def rate(self, ppfd: ArrayLike) -> FloatArray:
        """P [unit of ps] at `ppfd` [µmol m⁻² s⁻¹]."""
        light = np.asarray(ppfd, dtype=np.float64)
        decay = np.exp(-self.beta * light / self.ps)
        return self.ps * -np.expm1(-self.alpha * light / self.ps) * decay

    @property
    def best_rate(self) -> float:
        """Pmax = Ps · α/(α+β) · (β/(α+β))^(β/α) [unit of ps]."""
        if self.beta == 0:
            return self.ps
        both = self.alpha + self.beta
        left = math.pow(self.beta / both, self.beta / self.alpha)
        return self.ps * self.alpha / both * left

    @property
    def best_ppfd(self) -> float:
        """E at Pmax = (Ps/α) · ln((α+β)/β) [µmol m⁻² s⁻¹]; infinite without inhibition."""
        if self.beta == 0:
            return float("inf")
        return self.ps / self.alpha * float(np.log1p(self.alpha / self.beta))

    @property
    def saturation_ppfd(self) -> float:
        """Ek = Pmax/α [µmol m⁻² s⁻¹]."""
        return self.best_rate / self.alpha

    @property
    def inhibition_ppfd(self) -> float:
        """Ib = Ps/β [µmol m⁻² s⁻¹]; infinite without inhibition."""
        return float("inf") if self.beta == 0 else self.ps / self.beta


LEAST_BEST_RATIO = math.e
"""E at Pmax over Ek cannot fall below e: that is where β grows without bound."""


def inhibited(*, saturation_ppfd: float, best_ppfd: float) -> Photoinhibition:
    """The curve of Platt et al. 1980 with Pmax 1, by its saturation point and its best light.

    `best_ppfd` [µmol m⁻² s⁻¹] is E at Pmax, above e · Ek. Solves E/Ek = ln((1+b)/b) · (1+b) ·
    ((1+b)/b)^b for b = β/α by bisection; the ratio falls as b grows. Raises ValueError.
    """
    wanted = best_ppfd / saturation_ppfd
    if not wanted > LEAST_BEST_RATIO:
        raise ValueError("the best light lies above e times the saturation point")
    low, high = -30.0, 15.0
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (middle, high) if _best_ratio(math.exp(middle)) > wanted else (low, middle)
    share = math.exp((low + high) / 2)
    ps = (1 + share) * math.pow(1 + 1 / share, share)  # so that Pmax is 1
    return Photoinhibition(ps=ps, alpha=1 / saturation_ppfd, beta=share / saturation_ppfd)


def _best_ratio(share: float) -> float:
    """E at Pmax over Ek where β/α is `share`."""
    return math.log1p(1 / share) * (1 + share) * math.pow(1 + 1 / share, share)


def inhibited_hours(one: Course, curve: Photoinhibition) -> float:
    """Day's photosynthesis ∫P/Pmax dt [h] under photoinhibition; exact."""
    both = curve.alpha + curve.beta
    mean = _mean_of_decay(one, curve.beta / curve.ps) - _mean_of_decay(one, both / curve.ps)
    return float(one.hours @ (curve.ps * mean) / curve.best_rate)


def _mean_of_decay(one: Course, per_ppfd: float) -> FloatArray:
    return _mean_decay(one.start_ppfd * per_ppfd, one.end_ppfd * per_ppfd)
