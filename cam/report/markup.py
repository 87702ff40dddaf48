"""HTML and SVG as text: elements, escaped words, numbers, tables."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import NewType

Markup = NewType("Markup", str)

EMPTY = Markup("")
_VOID = frozenset({"meta", "link", "br", "hr", "input", "col"})


def words(text: str) -> Markup:
    """Return plain text escaped for the inside of an element.

    Examples
    --------
    >>> words("5 < 6 & rising")
    '5 &lt; 6 &amp; rising'
    """
    return Markup(escape(text, quote=False))


def join(parts: Iterable[Markup], *, by: str = "\n") -> Markup:
    """Return pieces of markup one after the other."""
    return Markup(by.join(part for part in parts if part))


def element(name: str, /, *content: Markup, **attributes: str | float | bool | None) -> Markup:
    """Return an element with its attributes in the order given.

    A trailing underscore in an attribute's name is dropped (``class_``), others become hyphens; True
    gives an attribute without a value, None and False give none.

    Examples
    --------
    >>> element("path", d="M0 0H5", class_="rapid", stroke_width=2.0)
    '<path d="M0 0H5" class="rapid" stroke-width="2"/>'
    >>> element("p", words("a & b"), hidden=True)
    '<p hidden>a &amp; b</p>'
    """
    opening = name
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        opening += f" {key.rstrip('_').replace('_', '-')}"
        if value is not True:
            opening += f'="{escape(value if isinstance(value, str) else format_number(value), quote=True)}"'
    if name in _VOID:
        return Markup(f"<{opening}>")
    if not content and name in {"path", "use", "circle", "rect", "line", "stop"}:
        return Markup(f"<{opening}/>")
    return Markup(f"<{opening}>{''.join(content)}</{name}>")


def format_number(value: float, *, decimals: int = 3) -> str:
    """Return a number with fixed decimals, without trailing zeros, exponent or negative zero.

    Examples
    --------
    >>> format_number(12.5), format_number(-0.0001), format_number(1e6)
    ('12.5', '0', '1000000')
    """
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def lay_table(
    *,
    caption: str,
    headings: Iterable[str],
    rows: Iterable[tuple[Markup, ...]],
    row_ids: Iterable[str] | None = None,
    numeric: frozenset[int] = frozenset(),
    class_: str | None = None,
) -> Markup:
    """Return a table with a caption and column headings, inside a box that scrolls sideways.

    Parameters
    ----------
    caption
        Said by screen readers as the table's name and shown above it.
    headings, rows
        One heading a column; the first cell of every row is the row's heading.
    row_ids
        One id a row, for links.
    numeric
        Columns, from 0, whose cells line up on the right.
    """
    heads = [_cell("th", words(text), at in numeric, scope="col") for at, text in enumerate(headings)]
    body = []
    ids: Iterable[str | None] = row_ids if row_ids is not None else iter(lambda: None, "")
    for row, row_id in zip(rows, ids, strict=False):
        cells = [
            _cell("th" if at == 0 else "td", cell, at in numeric, scope="row" if at == 0 else None)
            for at, cell in enumerate(row)
        ]
        body.append(element("tr", *cells, id=row_id))
    table = element(
        "table",
        element("caption", words(caption)),
        element("thead", element("tr", *heads)),
        element("tbody", join(body)),
        class_=class_,
    )
    return element("div", table, class_="scroll", tabindex="0", role="region", aria_label=caption)


def _cell(name: str, content: Markup, numeric: bool, *, scope: str | None) -> Markup:
    return element(name, content, scope=scope, class_="n" if numeric else None)
