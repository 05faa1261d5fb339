"""A calculator, described once: its form, the domain's function, its words, its JSON.

Pages, JSON addresses and their OpenAPI are made from these descriptions by `routes.py`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from fastapi.responses import Response

from server.web.ask import Asked, OpenAsk
from server.web.forms import Filled, Form

I = TypeVar("I")  # noqa: E741 - the input
R = TypeVar("R")


class Unanswerable(ValueError):
    """The domain has no answer to what was typed; names the field and says why."""

    def __init__(self, field: str, words: str) -> None:
        super().__init__(words)
        self.field = field


@dataclass(frozen=True, kw_only=True)
class Json:
    """A JSON address: a function of a strict question, and the keys of its answer."""

    path: str
    summary: str
    work: Callable[..., Any]
    answer: type


@dataclass(frozen=True, kw_only=True)
class Calculator(Generic[I, R]):
    """One calculator. The address of a page carries what was typed, unless a file is sent.

    read: from a form to the domain's input, or Refused. work: the domain's own function.
    show: the words and charts, with `answer`, `do` and `sure`. fill: what the address leaves out
    takes the worked example's value, field by field.
    """

    key: str
    name: str
    question: str
    asks: str
    button: str
    form: Form
    read: Callable[[Filled, Asked], I]
    work: Callable[[I], R]
    show: Callable[[I, R], object]
    json: Json | None = None
    fill: bool = False
    sends_a_file: bool = False

    @property
    def address(self) -> str:
        return f"/calculators/{self.key}"

    def page(self, ask: OpenAsk) -> Response:
        """The answer to what the address carries; an empty one shows the worked example."""
        if self.sends_a_file:
            return self._shown(ask, self.form.showing(unit=ask.unit))
        return self._answered(
            ask, self.form.in_address(ask, again=self._again(ask), fill=self.fill)
        )

    def send(self, ask: OpenAsk) -> Response:
        """The answer to a form that was sent with a file."""
        return self._answered(ask, self.form.typed(ask, again=self._again(ask)))

    def _answered(self, ask: Asked, form: Filled) -> Response:
        asked = self.read(form, ask)
        try:
            found = self.work(asked)
        except Unanswerable as no:
            raise form.refuse(no.field, str(no)) from no
        return self._shown(ask, form, self.show(asked, found))

    def _again(self, ask: Asked) -> Callable[[Filled], Response]:
        return lambda form: self._shown(ask, form)

    def _shown(self, ask: Asked, form: Filled, view: object = None) -> Response:
        template = f"calculators/{self.key.replace('-', '_')}.html"
        return ask.page(template, form=form, view=view, calculator=self)
