"""Numbers, parameters, expressions and functions, as NISTIR 6556 section 3.3.2 has them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from cam.backplot.faults import BlockFault

MAX_PARAMETER = 5399
"""The highest parameter number (section 3.3.2.2)."""

WHOLE_TOL = 1e-4
"""How far a number that must be whole may be from a whole one (section 3.3.2.1)."""

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_FUNCTION = re.compile(r"[A-Z]+")
_OPERATOR = re.compile(r"\*\*|[-+*/]|MOD|AND|XOR|OR")
_STRENGTH = {"**": 3, "*": 2, "/": 2, "MOD": 2, "+": 1, "-": 1, "OR": 1, "XOR": 1, "AND": 1}


@dataclass(slots=True)
class _Open:
    """An unfinished ``#`` (no operands) or ``[``, with what was read since it opened."""

    at: int
    bracket: bool = True
    function: str = ""
    first: float | None = None
    operands: list[float] = field(default_factory=list)
    operators: list[str] = field(default_factory=list)


def read_value(text: str, *, at: int, parameters: Mapping[int, float]) -> tuple[float, int]:
    """Read a number, parameter, expression or function.

    Parameters
    ----------
    text
        A block without blanks, in capitals.
    at
        The index where the value starts.
    parameters
        Values by number; those that are not set are 0.

    Returns
    -------
    tuple of float and int
        The value, and the index after it.

    Raises
    ------
    BlockFault
        If the value is malformed or cannot be computed; ``column`` is an index into ``text``.

    Notes
    -----
    ``#`` binds tightest, then ``**``, then ``* / MOD``, then ``+ - OR XOR AND``; equal ones go from
    left to right (section 3.3.2.3). Nothing here recurses, so that no text can exhaust the stack.

    Examples
    --------
    >>> read_value("[2**3**2]", at=0, parameters={})
    (64.0, 9)
    >>> read_value("ATAN[1]/[1]Y", at=0, parameters={})
    (45.0, 11)
    """
    pending: list[_Open] = []
    while True:
        value, at = _read_operand(text, at=at, pending=pending)
        if value is None:
            continue
        while pending:
            top = pending[-1]
            if not top.bracket:
                pending.pop()
                value = _value_of(value, text=text, start=top.at, end=at, parameters=parameters)
                continue
            top.operands.append(value)
            operator = _OPERATOR.match(text, at)
            if operator:
                _reduce(top, strength=_STRENGTH[operator[0]], text=text, end=at)
                top.operators.append(operator[0])
                at = operator.end()
                break
            if at >= len(text) or text[at] != "]":
                raise _malformed(text, top.at, at, "an expression is not closed with ]")
            _reduce(top, strength=0, text=text, end=at)
            value, at = top.operands[0], at + 1
            if top.function == "ATAN" and top.first is None:
                if text[at : at + 2] != "/[":
                    raise _malformed(text, top.at, at, "ATAN takes two values, ATAN[a]/[b]")
                top.first, top.operands, at = value, [], at + 2
                break
            pending.pop()
            if top.function:
                value = _apply(top, value, text=text, end=at)
        else:
            return value, at


def read_parameter_number(text: str, *, at: int, parameters: Mapping[int, float]) -> tuple[int, int]:
    """Read what follows a ``#`` at index ``at - 1``: return the parameter's number and the index after it."""
    value, end = read_value(text, at=at, parameters=parameters)
    return _parameter_number(value, text=text, start=at - 1, end=end), end


def _read_operand(text: str, *, at: int, pending: list[_Open]) -> tuple[float | None, int]:
    """Read a number, or open a ``#``, a bracket or a function (then there is no value yet)."""
    number = NUMBER.match(text, at)
    if number:
        return float(number[0]), number.end()
    character = text[at : at + 1]
    if character == "#":
        pending.append(_Open(at, bracket=False))
        return None, at + 1
    if character == "[":
        pending.append(_Open(at))
        return None, at + 1
    word = _FUNCTION.match(text, at)
    if word and word[0] in _NAMES:
        if text[word.end() : word.end() + 1] != "[":
            raise _malformed(text, at, word.end(), f"{word[0]} is not followed by [")
        pending.append(_Open(at, function=word[0]))
        return None, word.end() + 1
    raise BlockFault(
        "number-malformed",
        f"a number is expected {_where(text, at)}",
        remedy="write digits with at most one point, with the sign before a number only; "
        "for the negative of a parameter or expression write [0 - ...]",
        column=at,
    )


def _where(text: str, at: int) -> str:
    return f"before {text[at : at + 8]!r}" if at < len(text) else "at the end of the line"


def _malformed(text: str, start: int, end: int, why: str) -> BlockFault:
    return BlockFault(
        "expression-malformed",
        f"{text[start : end + 8]}: {why}",
        remedy="close every [ with ], put an operator between values, and brackets after a function",
        column=start,
    )


def _impossible(text: str, start: int, end: int, why: str) -> BlockFault:
    return BlockFault(
        "arithmetic-impossible",
        f"{text[start:end]}: {why}",
        remedy="correct the expression or the parameters it uses",
        column=start,
    )


def _parameter_number(value: float, *, text: str, start: int, end: int) -> int:
    number = round(value)
    if abs(value - number) > WHOLE_TOL or not 1 <= number <= MAX_PARAMETER:
        raise BlockFault(
            "parameter-number-wrong",
            f"{text[start:end]}: there is no parameter {value:g}",
            remedy=f"use a whole number from 1 to {MAX_PARAMETER}",
            column=start,
        )
    return number


def _value_of(value: float, *, text: str, start: int, end: int, parameters: Mapping[int, float]) -> float:
    return parameters.get(_parameter_number(value, text=text, start=start, end=end), 0.0)


def _reduce(top: _Open, *, strength: int, text: str, end: int) -> None:
    """Carry out the waiting operators that bind at least as tightly as the next one."""
    while top.operators and _STRENGTH[top.operators[-1]] >= strength:
        operator = top.operators.pop()
        right, left = top.operands.pop(), top.operands.pop()
        try:
            result = _BINARY[operator](left, right)
        except ZeroDivisionError as zero:
            raise _impossible(text, top.at, end, f"{left:g} {operator} {right:g} divides by zero") from zero
        except (ValueError, OverflowError) as wrong:
            raise _impossible(text, top.at, end, f"{left:g} {operator} {right:g} has no value") from wrong
        if not math.isfinite(result):
            raise _impossible(text, top.at, end, f"{left:g} {operator} {right:g} has no value")
        top.operands.append(result)


def _apply(top: _Open, value: float, *, text: str, end: int) -> float:
    try:
        if top.first is not None:
            return math.degrees(math.atan2(top.first, value))
        result = _UNARY[top.function](value)
    except (ValueError, OverflowError) as wrong:
        raise _impossible(text, top.at, end, f"{top.function} of {value:g} has no value") from wrong
    if not math.isfinite(result):
        raise _impossible(text, top.at, end, f"{top.function} of {value:g} has no value")
    return result


def _modulo(left: float, right: float) -> float:
    """Never negative (as the reference interpreter computes it)."""
    return math.fmod(left, right) + (abs(right) if math.fmod(left, right) < 0.0 else 0.0) if right else left % right


def _power(left: float, right: float) -> float:
    if left < 0.0 and right != math.floor(right):
        raise ValueError("a negative number to a fractional power")
    return float(math.pow(left, right)) if left or right >= 0.0 else 1.0 / left


def _round_half_away(value: float) -> float:
    return math.copysign(math.floor(abs(value) + 0.5), value)


_BINARY: dict[str, Callable[[float, float], float]] = {
    "**": _power,
    "*": lambda left, right: left * right,
    "/": lambda left, right: left / right,
    "MOD": _modulo,
    "+": lambda left, right: left + right,
    "-": lambda left, right: left - right,
    "OR": lambda left, right: float(left != 0.0 or right != 0.0),
    "XOR": lambda left, right: float((left != 0.0) != (right != 0.0)),
    "AND": lambda left, right: float(left != 0.0 and right != 0.0),
}

_UNARY: dict[str, Callable[[float], float]] = {
    "ABS": abs,
    "ACOS": lambda value: math.degrees(math.acos(value)),
    "ASIN": lambda value: math.degrees(math.asin(value)),
    "COS": lambda value: math.cos(math.radians(value)),
    "EXP": math.exp,
    "FIX": lambda value: float(math.floor(value)),
    "FUP": lambda value: float(math.ceil(value)),
    "LN": math.log,
    "ROUND": _round_half_away,
    "SIN": lambda value: math.sin(math.radians(value)),
    "SQRT": math.sqrt,
    "TAN": lambda value: math.tan(math.radians(value)),
}

_NAMES = frozenset(_UNARY) | {"ATAN"}
