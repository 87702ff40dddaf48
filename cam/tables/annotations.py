"""What the annotations of a row's dataclass say: types, bounds, and the key of each field."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import Field, fields, is_dataclass
from difflib import get_close_matches
from enum import StrEnum
from functools import cache
from pathlib import Path
from types import NoneType, UnionType
from typing import Annotated, Any, Union, cast, get_args, get_origin, get_type_hints

from cam.findings import Finding, Origin, error
from cam.tables.bounds import Bounds, NotBlank, OneOf

WORDS = {str: "a text in quotes", int: "a whole number", float: "a number", bool: "true or false", Path: "a path"}


@cache
def type_hints(kind: type) -> dict[str, Any]:
    """Return the annotation of each field, bounds included."""
    return get_type_hints(kind, include_extras=True)


@cache
def table_fields(kind: type) -> tuple[Field[Any], ...]:
    """Return the fields of a dataclass."""
    return fields(kind)


def field_key(field: Field[Any]) -> str | None:
    """Return the TOML key of a dataclass field, None if no key sets it."""
    return cast("str | None", field.metadata.get("key", field.name))


def without_none(hint: Any) -> Any:
    """Return X for ``X | None``, and any other hint as it is."""
    if get_origin(hint) in (Union, UnionType):
        (hint,) = (kind for kind in get_args(hint) if kind is not NoneType)
    return hint


def describe(hint: Any) -> str:
    """Return what a field takes, in words.

    Examples
    --------
    >>> describe(float | None), describe(tuple[float, float])
    ('a number', 'an array of 2 values in [ ]')
    """
    hint = without_none(hint)
    if get_origin(hint) is Annotated:
        inner, *bounds = get_args(hint)
        return describe(inner) if isinstance(bounds[0], NotBlank) else f"{describe(inner)}, {bounds[0]}"
    if get_origin(hint) is tuple:
        return describe_array(get_args(hint))
    if is_dataclass(hint):
        return "a section"
    return f"one of {', '.join(hint)}" if issubclass(hint, StrEnum) else WORDS[hint]


def describe_array(kinds: tuple[Any, ...]) -> str:
    """Return what an array takes, in words."""
    if kinds[-1] is not Ellipsis:
        return f"an array of {len(kinds)} values in [ ]"
    return "an array of sections, each headed in double brackets" if is_dataclass(kinds[0]) else "an array in [ ]"


def suggest(name: str, *, among: Iterable[str]) -> str:
    """Return a remedy that names the nearest valid names, or all of them if none is near.

    Examples
    --------
    >>> suggest("shet", among=("sheet", "title"))
    'did you mean sheet?'
    >>> suggest("colour", among=("sheet", "title"))
    'valid names: sheet, title'
    """
    valid = tuple(among)
    near = get_close_matches(name, valid, n=3, cutoff=0.6)
    if near:
        return f"did you mean {' or '.join(near)}?"
    return f"valid names: {', '.join(valid)}" if valid else "no name is valid here"


def find_bound_faults(value: object, *, origin: Origin, shown: str = "") -> list[Finding]:
    """Return a finding for every number or text of a dataclass that lies outside its bounds.

    The same bounds hold for a value that came from a file and for one that a caller built;
    ``shown`` is the dotted path of the dataclass.
    """
    kind = cast(type, type(value))
    faults: list[Finding] = []
    for field in table_fields(kind):
        name = f"{shown}.{field_key(field) or field.name}".lstrip(".")
        _check(type_hints(kind)[field.name], getattr(value, field.name), origin, name, faults)
    return faults


def _check(hint: Any, value: object, origin: Origin, shown: str, faults: list[Finding]) -> None:
    if value is None:
        return
    hint = without_none(hint)
    if get_origin(hint) is Annotated:
        hint, *bounds = get_args(hint)
        faults += check_bounds(value, bounds, origin=Origin(file=origin.file, line=origin.line, key=shown))
    if is_dataclass(value):
        faults += find_bound_faults(value, origin=origin, shown=shown)
    elif isinstance(value, tuple):
        kinds = get_args(hint)
        for index, item in enumerate(value):
            kind = kinds[0] if kinds[-1] is Ellipsis else kinds[index]
            _check(kind, item, origin, f"{shown}[{index + 1}]", faults)


def check_bounds(value: object, bounds: Sequence[Any], *, origin: Origin) -> list[Finding]:
    """Return a finding for each bound that a number or text does not keep."""
    return [
        error("out-of-range", f"{origin.key} is {value!r}; it must be {bound}", remedy="correct it", origin=origin)
        for bound in bounds
        if (isinstance(bound, Bounds) and isinstance(value, int | float) and not bound.admits(value))
        or (isinstance(bound, NotBlank | OneOf) and isinstance(value, str) and not bound.admits(value))
    ]
