"""What every table of ``site.toml`` is made of."""

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]


def default(value: Any, source: str, **limits: Any) -> Any:
    """
    Return a field with a default and the source that the plan prints beside it.

    Parameters
    ----------
    value : Any
        The default.
    source : str
        Where it comes from, or *judgement*.
    **limits : Any
        Limits of the field, as pydantic names them.

    Returns
    -------
    Any
        The field.
    """
    return Field(default=value, json_schema_extra={"source": source}, **limits)


class Table(BaseModel):
    """One table of ``site.toml``; unknown keys are refused, so that no typing error is lost."""

    model_config = ConfigDict(frozen=True, extra="forbid")
