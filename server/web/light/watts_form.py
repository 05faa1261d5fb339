"""What a visitor types into the watts calculator; the address carries it."""

from dataclasses import dataclass
from typing import cast

from starlette.datastructures import QueryParams

from server.models import Member
from server.models.lamp import LAMP_KINDS
from server.optics.efficacy import WATTS_LIMITS
from server.optics.lamp import Kind
from server.web.light.light_form import typed_in
from server.web.tanks.typed import Refused, TypedIn

DEFAULTS = {"kind": "led_panel", "watts": "150", "ppf": "", "kind2": "", "watts2": ""}


@dataclass(frozen=True)
class WattsTyped:
    """A lamp by its watts; its stated flux, and a second lamp beside it, where typed."""

    kind: Kind
    watts: float
    ppf_umol_s: float | None
    second: tuple[Kind, float] | None
    values: dict[str, str]


def read_watts(query: QueryParams, who: Member | None) -> WattsTyped | Refused:
    """The watts calculator's address."""
    typed = typed_in(query, who, DEFAULTS)
    kind = cast(Kind, typed.choice("kind", LAMP_KINDS, otherwise="led_panel"))
    watts = _watts(typed, "watts", needed=True)
    ppf = typed.number("ppf", low=0.1, high=30_000, like="250", unit="µmol s⁻¹", needed=False)
    second_kind = typed.choice("kind2", LAMP_KINDS, otherwise="")
    second_watts = _watts(typed, "watts2", needed=bool(second_kind))
    if typed.errors or watts is None:
        return typed.refused()
    second = (cast(Kind, second_kind), second_watts) if second_kind and second_watts else None
    return WattsTyped(kind, watts, ppf, second, typed.values)


def _watts(typed: TypedIn, name: str, *, needed: bool) -> float | None:
    low, high = WATTS_LIMITS
    return typed.number(name, low=low, high=high, like="150", unit="W", needed=needed)
