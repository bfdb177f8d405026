"""Holds entries against the fields of their table before they are written, since table models do not validate."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from tapwear.errors import UsageError
from tapwear.visits.fields import FieldSpec, TableSpec
from tapwear.visits.types import Below
from tapwear.visits.values import Unfit, in_range, parser_for


def checked(table: TableSpec, values: Mapping[str, Any], *, all_required: bool = True) -> dict[str, Any]:
    """The values that were given (not None), each within the limits of its field and among its choices.

    Raises UsageError naming the field, what was found and what to do. `all_required` False lets required fields
    be absent, for changes.
    """
    known = {field.name: field for field in table.fields}
    given = {name: value for name, value in values.items() if value is not None}
    for name, value in given.items():
        if name not in known:
            raise UsageError(f"{name} is no field of {table.name}; its fields are {', '.join(known)}.")
        _check(known[name], value)
    for field in table.fields:
        if all_required and field.required and given.get(field.name) in (None, ""):
            raise UsageError(f"{field.name} is needed: {field.help}.")
    return given


def _check(field: FieldSpec, value: Any) -> None:
    if field.choices and value not in ("", *field.choices):
        raise UsageError(
            f"{field.name}: {value!r} is none of the known words; write one of {', '.join(field.choices)}."
        )
    if field.kind in ("position", "positions") and value != "":
        try:
            parser_for(field)(str(value))
        except Unfit as unfit:
            raise UsageError(f"{field.name}: {unfit.found}; {unfit.remedy}.") from None
    if field.kind not in ("count", "number", "gas"):
        return
    figure = value.limit if isinstance(value, Below) else value
    if isinstance(figure, bool) or not isinstance(figure, int | float) or not math.isfinite(figure):
        raise UsageError(f"{field.name}: {value!r} is not a number; {field.help}.")
    try:
        in_range(field, figure)
    except Unfit as unfit:
        raise UsageError(f"{field.name}: {unfit.found}; {unfit.remedy}.") from None
