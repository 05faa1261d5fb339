"""Ids in addresses: no larger than what either database can hold."""

from typing import Annotated

from fastapi import Path

Id = Annotated[int, Path(ge=1, le=2**31 - 1)]
