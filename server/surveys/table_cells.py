"""One cell to centimetres or to PPFD, with the reason when it cannot be."""

from decimal import Decimal

from server.surveys.table_numbers import EXACT, DecimalMark, NotANumber, number, shown
from server.surveys.table_words import length_unit, light_unit
from server.surveys.understood import MAX_LENGTH_CM, MAX_PPFD, ReadAs

CM_PER = {"cm": Decimal(1), "mm": Decimal("0.1"), "m": Decimal(100), "in": Decimal("2.54")}
# One foot-candle is one lumen per square foot: 10.7639... lux, exactly 1/0.09290304.
LUX_PER = {"lux": Decimal(1), "klux": Decimal(1000), "fc": 1 / Decimal("0.09290304")}

_SIDES = {
    "x": ("x", 0, "long"),
    "y": ("y", 1, "from front to back"),
    "depth": ("depth", 2, "deep"),
}


class Cells:
    """Reads the cells of one file under its decimal mark, units and limits."""

    def __init__(self, how: ReadAs, decimal: DecimalMark | None) -> None:
        self.how = how
        self.decimal = decimal
        lux = how.lux_per_ppfd
        self._lux_per_ppfd = Decimal(repr(lux)) if lux else None

    def length_cm(self, role: str, text: str, unit: str) -> float:
        """A place in the tank in cm. Raises NotANumber with the reason."""
        value, written = self._number(role, text)
        if written:
            named = length_unit(written)
            if named is None:
                raise NotANumber(f"{role} “{shown(text)}”: “{shown(written)}” is no unit of length")
            unit = named
        unit = unit or self.how.length_unit
        cm = float(value if unit == "cm" else EXACT.multiply(value, CM_PER[unit])) + 0.0
        self._refuse_outside(role, cm, text)
        return cm

    def ppfd(self, text: str, unit: str) -> float:
        """Light in µmol m⁻² s⁻¹ as typed. Raises NotANumber with the reason."""
        value, written = self._number("light", text)
        if written:
            named = light_unit(written)
            if named is None:
                raise NotANumber(f"light “{shown(text)}”: “{shown(written)}” is no unit of light")
            unit = named
        ppfd = float(value if unit in ("", "µmol") else self._from_lux(value, unit)) + 0.0  # no −0
        if ppfd < 0:
            raise NotANumber(f"light “{shown(text)}” is below zero")
        if ppfd > MAX_PPFD:
            raise NotANumber(
                f"light “{shown(text)}” is more than {MAX_PPFD:,.0f} µmol m⁻² s⁻¹, "
                "ten times the midday sun"
            )
        return ppfd

    def _number(self, role: str, text: str) -> tuple[Decimal, str]:
        try:
            return number(text, self.decimal)
        except NotANumber as refusal:
            raise NotANumber(f"{role} {refusal}") from None

    def _from_lux(self, value: Decimal, unit: str) -> Decimal:
        if self._lux_per_ppfd is None:
            raise NotANumber(
                "light is in lux; say how many lux make one µmol m⁻² s⁻¹ under this lamp"
            )
        return EXACT.divide(EXACT.multiply(value, LUX_PER[unit]), self._lux_per_ppfd)

    def _refuse_outside(self, role: str, cm: float, text: str) -> None:
        if 0 <= cm <= (self.how.tank_cm[_SIDES[role][1]] if self.how.tank_cm else MAX_LENGTH_CM):
            return
        name, side, word = _SIDES[role]
        if cm < 0:
            hint = "; depth counts down from the surface" if role == "depth" else ""
            raise NotANumber(f"{name} “{shown(text)}” is below zero{hint}")
        if self.how.tank_cm is None:
            raise NotANumber(f"{name} “{shown(text)}” is more than {MAX_LENGTH_CM:g} cm")
        limit = self.how.tank_cm[side]
        raise NotANumber(
            f"{name} “{shown(text)}” is {cm:g} cm, outside the tank: it is {limit:g} cm {word}"
        )
