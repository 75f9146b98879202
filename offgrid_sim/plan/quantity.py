"""How one value of a plan is declared: default, limits, plausible range, meaning and origin.

Limits are what is physically possible and are enforced; the plausible range is what a sceptic
would try and is used by sensitivity studies; the origin is printed in ``check`` and the report.
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

COMMON_PRACTICE = "common practice, no source"


class PlanModel(BaseModel):
    """Base of everything the user writes: frozen, keyword only, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)


def quantity(
    default: Any,
    doc: str,
    *,
    limits: tuple[float, float] | None = None,
    likely: tuple[float, float] | None = None,
    origin: str = COMMON_PRACTICE,
) -> Any:
    """Declare a plan value. ``default`` is ``...`` where the user must give it."""
    extra: dict[str, Any] = {"origin": origin}
    if likely is not None:
        extra["likely"] = list(likely)
    low, high = limits if limits is not None else (None, None)
    return Field(default, ge=low, le=high, description=doc, json_schema_extra=extra)
