"""Numbers to text: the one place where a value becomes digits."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal


def round_to(value: float, *, decimals: int) -> float:
    """Return a value rounded as :func:`format_number` writes it.

    Examples
    --------
    >>> round_to(-0.00004, decimals=4)
    0.0
    """
    rounded = float(Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN))
    return rounded + 0.0 if rounded else 0.0


def format_number(value: float, *, decimals: int) -> str:
    """Return a number with fixed decimals at most, no exponent, no ``-0``, no trailing zeros.

    Examples
    --------
    >>> format_number(1e-7, decimals=4), format_number(-12.5, decimals=4), format_number(3000.0, decimals=1)
    ('0', '-12.5', '3000')
    """
    text = f"{Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN):f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def clean_comment(text: str) -> str:
    """Return text that may stand in a comment: printable ASCII without parentheses.

    Examples
    --------
    >>> clean_comment("Küche (Ost)")
    'K?che [Ost]'
    """
    safe = text.replace("(", "[").replace(")", "]")
    return "".join(character if " " <= character <= "~" else "?" for character in safe)
