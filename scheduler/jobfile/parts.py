"""What every mapping of a job file has in common: all its faults are found at once."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from typing import Any, ClassVar, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    GetJsonSchemaHandler,
    ModelWrapValidatorHandler,
    ValidationError,
    model_validator,
)
from pydantic_core import InitErrorDetails, PydanticCustomError, core_schema


class Part(BaseModel):
    """A mapping of the job file: frozen, and a key it does not know is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    exactly_one: ClassVar[tuple[tuple[str, ...], ...]] = ()
    at_most_one: ClassVar[tuple[tuple[str, ...], ...]] = ()

    @classmethod
    def clashes(cls, given: Mapping[str, object]) -> dict[str, str]:
        """Return, by key, what is wrong between the keys as they are written."""
        del given
        return {}

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Add which keys exclude or replace each other."""
        written: dict[str, Any] = handler.resolve_ref_schema(handler(schema))
        rules: list[dict[str, Any]] = [
            {"oneOf": [{"required": [key]} for key in group]} for group in cls.exactly_one
        ]
        pairs = [pair for group in cls.at_most_one for pair in combinations(group, 2)]
        rules += [{"not": {"required": list(pair)}} for pair in pairs]
        return {**written, "allOf": rules} if rules else written

    @model_validator(mode="wrap")
    @classmethod
    def _all_faults(cls, given: object, handler: ModelWrapValidatorHandler[Self]) -> Self:
        """Check between keys even where a key is wrong in itself."""
        between = _between(cls, given) if isinstance(given, Mapping) else []
        try:
            whole = handler(given)
        except ValidationError as error:
            within = [_again(fault) for fault in error.errors(include_url=False)]
            raise ValidationError.from_exception_data(cls.__name__, between + within) from None
        if between:
            raise ValidationError.from_exception_data(cls.__name__, between)
        return whole


def _between(part: type[Part], given: Mapping[str, object]) -> list[InitErrorDetails]:
    found: list[InitErrorDetails] = []
    for group in part.exactly_one + part.at_most_one:
        there = [key for key in group if given.get(key) is not None]
        if len(there) > 1:
            found.append(_fault("clash", there[1], given, f"{there[0]} is given too; keep one"))
        elif not there and group in part.exactly_one:
            found.append(
                _fault("missing", " or ".join(group), given, f"give {' or '.join(group)}")
            )
    for key, want in part.clashes(given).items():
        kind = "missing" if given.get(key) is None else "clash"
        found.append(_fault(kind, key, given, want))
    return found


def _fault(kind: str, key: str, given: Mapping[str, object], want: str) -> InitErrorDetails:
    error = PydanticCustomError(kind, "{want}", {"want": want})
    return InitErrorDetails(type=error, loc=(key,), input=given.get(key))


def _again(fault: Mapping[str, object]) -> InitErrorDetails:
    """Return a fault of a part so that it can be raised once more, one level up."""
    given = fault.get("ctx")
    context = dict(given) if isinstance(given, Mapping) else {}
    want = context.get("want", str(fault["msg"]).removeprefix("Value error, "))
    context.pop("error", None)  # an exception, whose words stand in ``want``
    error = PydanticCustomError(str(fault["type"]), "{want}", {**context, "want": want})
    return InitErrorDetails(type=error, loc=fault["loc"], input=fault["input"])  # type: ignore[typeddict-item]
