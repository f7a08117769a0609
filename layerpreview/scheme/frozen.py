"""What every model of the scheme shares."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Frozen(BaseModel):
    """A table of the file: its keys are the fields' aliases, others are refused, values do not change."""

    model_config = ConfigDict(frozen=True, extra="forbid")
