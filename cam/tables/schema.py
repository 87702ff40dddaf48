"""A JSON schema of a controller's file, for editors that check and complete TOML."""

from __future__ import annotations

from dataclasses import MISSING, is_dataclass
from enum import StrEnum
from math import isfinite
from typing import Annotated, Any, get_args, get_origin

from cam.tables.annotations import field_key, table_fields, type_hints, without_none
from cam.tables.bounds import Bounds, OneOf
from cam.tables.rows import Controller

_TYPES = {str: "string", int: "integer", float: "number", bool: "boolean"}


def lay_controller_schema() -> dict[str, Any]:
    """Return the schema (JSON Schema 2020-12) of a file of posts/, from the row's own annotations.

    Notes
    -----
    What must hold between two keys is checked when the file is read, not here.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A controller, as castcut reads it",
        **_lay_object(Controller),
    }


def _lay_object(kind: type) -> dict[str, Any]:
    hints = type_hints(kind)
    properties, required = {}, []
    for field in table_fields(kind):
        key = field_key(field)
        if key is None:
            continue
        properties[key] = _lay_value(hints[field.name])
        if field.default is MISSING and field.default_factory is MISSING:
            required.append(key)
        elif field.default is not MISSING:
            properties[key]["default"] = str(field.default) if isinstance(field.default, StrEnum) else field.default
    return {"type": "object", "properties": properties, "required": required, "additionalProperties": False}


def _lay_value(hint: Any) -> dict[str, Any]:
    hint = without_none(hint)
    if get_origin(hint) is Annotated:
        inner, *bounds = get_args(hint)
        laid = _lay_value(inner)
        for bound in bounds:
            laid |= _lay_bound(bound)
        return laid
    if get_origin(hint) is tuple:
        return {"type": "array", "items": _lay_value(get_args(hint)[0])}
    if is_dataclass(hint) and isinstance(hint, type):
        return _lay_object(hint)
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return {"type": "string", "enum": [str(choice) for choice in hint]}
    return {"type": _TYPES[hint]}


def _lay_bound(bound: object) -> dict[str, Any]:
    if isinstance(bound, OneOf):
        return {"enum": list(bound.choices)}
    if isinstance(bound, Bounds):
        limits = {
            "minimum": bound.at_least,
            "maximum": bound.at_most,
            "exclusiveMinimum": bound.above,
        }
        return {name: value for name, value in limits.items() if isfinite(value)}
    return {"minLength": 1}
