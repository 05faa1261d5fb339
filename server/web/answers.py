"""What JSON addresses take and give: strict questions, and answers read off domain results.

An answer names its keys once; `of("efficacy", "typical")` says where in the domain's result a
value stands when it is not called the same there.
"""

from typing import Annotated, Any

from pydantic import AliasPath, BaseModel, BeforeValidator, ConfigDict, Field


class Answer(BaseModel):
    """Keys of an answer; FastAPI fills them from the attributes of what a route returns."""

    model_config = ConfigDict(extra="forbid", from_attributes=True)


def of(*path: str, **told: Any) -> Any:
    """A key whose value stands at this path of attributes in the result."""
    return Field(validation_alias=AliasPath(*path), **told)


def _listed(values: Any) -> Any:
    return values.tolist() if hasattr(values, "tolist") else values


Listed = Annotated[list[float], BeforeValidator(_listed)]
"""A row of numbers; the domain has it as an array."""

Rows = Annotated[list[list[float]], BeforeValidator(_listed)]
"""A table of numbers; the domain has it as an array."""
