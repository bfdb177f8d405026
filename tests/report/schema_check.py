"""A small check of values against our published JSON schemas: the keywords that these use, and no others."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import tapwear.report

FOLDER = Path(tapwear.report.__file__).parent / "schema"
TYPES: dict[str, type | tuple[type, ...]] = {
    "object": dict,
    "array": list,
    "string": str,
    "boolean": bool,
    "integer": int,
    "number": (int, float),
    "null": type(None),
}
KNOWN = {
    "$schema", "$id", "$defs", "$ref", "title", "description", "type", "required", "properties",
    "additionalProperties", "items", "enum", "const", "format", "minimum", "maximum", "allOf",
}  # fmt: skip


def schema(name: str) -> dict[str, Any]:
    """One of the published schemas, e.g. `due-1.json`."""
    found: dict[str, Any] = json.loads((FOLDER / name).read_text(encoding="utf-8"))
    return found


def faults(value: Any, name: str) -> list[str]:
    """Everything about the value that the schema of that name does not allow, each with its place."""
    return _faults(value, schema(name), schema(name), "")


def _faults(value: Any, rule: dict[str, Any], whole: dict[str, Any], at: str) -> list[str]:
    assert set(rule) <= KNOWN, f"keywords unknown to this check: {set(rule) - KNOWN}"
    found: list[str] = []
    if "$ref" in rule:
        file, _, path = rule["$ref"].partition("#")
        home = schema(file) if file else whole
        target = home
        for step in filter(None, path.split("/")):
            target = target[step]
        found += _faults(value, target, home, at)
    for part in rule.get("allOf", ()):
        found += _faults(value, part, whole, at)
    if "const" in rule and value != rule["const"]:
        found.append(f"{at}: {value!r} is not {rule['const']!r}")
    if "enum" in rule and value not in rule["enum"]:
        found.append(f"{at}: {value!r} is none of {rule['enum']}")
    kinds = rule.get("type", list(TYPES))
    kinds = kinds if isinstance(kinds, list) else [kinds]
    if not any(_is(value, kind) for kind in kinds):
        return [*found, f"{at}: {value!r} is no {' or '.join(kinds)}"]
    if isinstance(value, str) and rule.get("format") == "date":
        try:
            date.fromisoformat(value)
        except ValueError:
            found.append(f"{at}: {value!r} is no date")
    if isinstance(value, int | float) and not rule.get("minimum", value) <= value <= rule.get("maximum", value):
        found.append(f"{at}: {value!r} is out of range")
    if isinstance(value, dict):
        found += [f"{at}: {name} is missing" for name in rule.get("required", ()) if name not in value]
        for name, item in value.items():
            inner = rule.get("properties", {}).get(name, rule.get("additionalProperties", {}))
            found += _faults(item, inner, whole, f"{at}/{name}")
    if isinstance(value, list):
        for i, item in enumerate(value):
            found += _faults(item, rule.get("items", {}), whole, f"{at}/{i}")
    return found


def _is(value: Any, kind: str) -> bool:
    return isinstance(value, TYPES[kind]) and (kind == "boolean" or not isinstance(value, bool))
