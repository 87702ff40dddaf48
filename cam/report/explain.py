"""The pages that explain finding and refusal codes."""

from __future__ import annotations

from difflib import get_close_matches
from importlib.resources import files

from cam.errors import TableRefused
from cam.findings import error


def find_codes() -> tuple[str, ...]:
    """Return every code that has a page, in alphabetical order."""
    folder = files("cam").joinpath("explanations")
    return tuple(sorted(page.name.removesuffix(".md") for page in folder.iterdir() if page.name.endswith(".md")))


def read_explanation(code: str) -> str:
    """Return the page of a code.

    Raises
    ------
    TableRefused
        If no code has that name, with the nearest ones.
    """
    codes = find_codes()
    if code not in codes:
        near = get_close_matches(code.lower().replace("_", "-").replace(" ", "-"), codes, n=3, cutoff=0.5)
        remedy = f"did you mean {' or '.join(near)}?" if near else "castcut explain, without a code, lists all of them"
        raise TableRefused(error("unknown-code", f"there is no finding with the code {code!r}", remedy=remedy))
    return files("cam").joinpath("explanations", f"{code}.md").read_text(encoding="utf-8").strip()
