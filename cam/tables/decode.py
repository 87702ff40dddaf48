"""TOML values to dataclasses, by their annotations; every fault with its dotted path.

A field takes the key of its own name, unless its metadata says otherwise: ``{"key": "panel"}``
names another key and ``{"key": None}`` means that no key sets it. Fields without a default are
required. Understood are ``str``, ``int``, ``float``, ``bool``, ``Path``, string enums, dataclasses,
``X | None``, ``tuple[X, ...]``, ``tuple[X, Y]`` and any of these with bounds
(:mod:`cam.tables.bounds`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, is_dataclass
from enum import StrEnum
from math import isfinite
from pathlib import Path
from typing import Annotated, Any, TypeVar, cast, get_args, get_origin

from cam.errors import TableRefused
from cam.findings import Finding, Origin, error
from cam.tables.annotations import (
    WORDS,
    check_bounds,
    describe,
    describe_array,
    field_key,
    suggest,
    table_fields,
    type_hints,
    without_none,
)
from cam.tables.toml_file import KeyPath, TomlFile, find_line

T = TypeVar("T")

_FAULTY = object()


@dataclass(frozen=True, slots=True)
class _Place:
    """Where in a file the decoder stands; ``shown`` is the dotted path as a person reads it."""

    file: TomlFile
    at: KeyPath = ()
    shown: str = ""

    def key(self, name: str) -> _Place:
        return _Place(self.file, (*self.at, name), f"{self.shown}.{name}" if self.shown else name)

    def item(self, index: int, value: object) -> _Place:
        """The place of an array's item, called by its name or else by its number, from 1."""
        name = value.get("name") if isinstance(value, Mapping) else None
        called = name if isinstance(name, str) else str(index + 1)
        return _Place(self.file, (*self.at, index), f"{self.shown}[{called}]")

    @property
    def origin(self) -> Origin:
        return Origin(file=self.file.name, line=find_line(self.file.lines, at=self.at), key=self.shown or None)


def decode(kind: type[T], file: TomlFile, *, other_keys: tuple[str, ...] = ()) -> T:
    """Return the dataclass that a TOML file describes.

    Parameters
    ----------
    kind
        A dataclass; nested ones are decoded too.
    file
        The file, read.
    other_keys
        Keys of the top level that the caller reads itself.

    Raises
    ------
    TableRefused
        With every fault of the file: ``unknown-key``, ``missing-key``, ``wrong-type``,
        ``unknown-choice`` or ``out-of-range``.
    """
    faults: list[Finding] = []
    value = _decode_table(kind, file.document, _Place(file), faults, other_keys=other_keys)
    if faults:
        raise TableRefused(*sorted(faults, key=lambda fault: fault.origin.line or 0))
    return cast(T, value)


def find_origin(file: TomlFile, *, at: KeyPath) -> Origin:
    """Return the place of a key, called as the decoder calls it."""
    place, value = _Place(file), cast(Any, file.document)
    for step in at:
        known = value is not None and (step in value if isinstance(value, Mapping) else isinstance(step, int))
        value = value[step] if known else None
        place = place.key(step) if isinstance(step, str) else place.item(step, value)
    return place.origin


def _decode_table(
    kind: type, raw: object, place: _Place, faults: list[Finding], *, other_keys: tuple[str, ...] = ()
) -> object:
    if not isinstance(raw, Mapping):
        return _refuse_type(raw, "a section", place, faults)
    keyed = {key: field for field in table_fields(kind) if (key := field_key(field)) is not None}
    before = len(faults)
    for key in raw:
        if key not in keyed and key not in other_keys:
            remedy = suggest(key, among=(*keyed, *other_keys))
            there = f"{place.shown} has" if place.shown else "this file has"
            faults.append(error("unknown-key", f"{there} no key {key!r}", remedy=remedy, origin=place.key(key).origin))
    values: dict[str, object] = {}
    for key, field in keyed.items():
        if key in raw:
            values[field.name] = _decode(type_hints(kind)[field.name], raw[key], place.key(key), faults)
        elif field.default is MISSING and field.default_factory is MISSING:
            faults.append(
                error(
                    "missing-key",
                    f"the key {place.key(key).shown} is missing",
                    remedy=f"add {key}: {describe(type_hints(kind)[field.name])}",
                    origin=place.key(key).origin,
                )
            )
    return kind(**values) if len(faults) == before else _FAULTY


def _decode(hint: Any, raw: object, place: _Place, faults: list[Finding]) -> object:
    if get_origin(hint) is Annotated:
        inner, *bounds = get_args(hint)
        value = _decode(inner, raw, place, faults)
        if value is not _FAULTY:
            faults += check_bounds(value, bounds, origin=place.origin)
        return value
    hint = without_none(hint)
    if get_origin(hint) is Annotated:
        return _decode(hint, raw, place, faults)
    if get_origin(hint) is tuple:
        return _decode_array(get_args(hint), raw, place, faults)
    if is_dataclass(hint):
        return _decode_table(cast(type, hint), raw, place, faults)
    if issubclass(hint, StrEnum):
        return _decode_choice(hint, raw, place, faults)
    return _decode_plain(hint, raw, place, faults)


def _decode_array(kinds: tuple[Any, ...], raw: object, place: _Place, faults: list[Finding]) -> object:
    repeated = len(kinds) == 2 and kinds[1] is Ellipsis
    if not isinstance(raw, list) or not (repeated or len(raw) == len(kinds)):
        return _refuse_type(raw, describe_array(kinds), place, faults)
    each = kinds[:1] * len(raw) if repeated else kinds
    return tuple(
        _decode(kind, item, place.item(index, item), faults)
        for index, (kind, item) in enumerate(zip(each, raw, strict=True))
    )


def _decode_choice(kind: type[StrEnum], raw: object, place: _Place, faults: list[Finding]) -> object:
    if not isinstance(raw, str):
        return _refuse_type(raw, WORDS[str], place, faults)
    choices = [str(member) for member in kind]
    if raw in choices:
        return kind(raw)
    faults.append(
        error(
            "unknown-choice",
            f"{place.shown} is {raw!r}; it is one of {', '.join(choices)}",
            remedy=suggest(raw, among=choices),
            origin=place.origin,
        )
    )
    return _FAULTY


def _decode_plain(kind: type, raw: object, place: _Place, faults: list[Finding]) -> object:
    # TOML's true is not a number, though Python's is.
    if kind is float and isinstance(raw, int | float) and not isinstance(raw, bool):
        return _finite(raw, place, faults)
    if kind is Path and isinstance(raw, str) and raw:
        return Path(raw)
    if kind is not Path and isinstance(raw, kind) and not (kind is int and isinstance(raw, bool)):
        return raw
    return _refuse_type(raw, WORDS[kind], place, faults)


def _finite(raw: float, place: _Place, faults: list[Finding]) -> object:
    try:
        value = float(raw)
    except OverflowError:
        value = float("inf")
    if isfinite(value):
        return value
    faults.append(
        error("out-of-range", f"{place.shown} is no finite number", remedy="give a finite number", origin=place.origin)
    )
    return _FAULTY


def _refuse_type(raw: object, wanted: str, place: _Place, faults: list[Finding]) -> object:
    shown = repr(raw) if isinstance(raw, str | int | float) else ("a section" if isinstance(raw, dict) else "an array")
    faults.append(
        error("wrong-type", f"{place.shown} is {shown}; it must be {wanted}", remedy="correct it", origin=place.origin)
    )
    return _FAULTY
