"""Every code that castcut can say has a page, and every page a code."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import cam

ROOT = Path(cam.__file__).parent
PAGES = sorted((ROOT / "explanations").glob("*.md"))
CODE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)+")
MAKERS = {"error", "warning", "note", "Finding"}


def _strings() -> tuple[set[str], set[str]]:
    """Return the codes given to findings as literals, and all strings that look like a code."""
    given: set[str] = set()
    strings: set[str] = set()
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and CODE.fullmatch(node.value):
                strings.add(node.value)
            if isinstance(node, ast.Call):
                maker = getattr(node.func, "id", getattr(node.func, "attr", ""))
                code = [k.value for k in node.keywords if k.arg == "code"]
                code += node.args[:1] if maker in MAKERS else []
                given |= {c.value for c in code if isinstance(c, ast.Constant) and isinstance(c.value, str)}
    return given, strings


def test_every_code_has_a_page() -> None:
    given, _ = _strings()
    assert len(given) > 100
    assert sorted(given - {page.stem for page in PAGES}) == []


def test_every_page_has_a_code() -> None:
    _, strings = _strings()
    assert PAGES
    assert [page.stem for page in PAGES if page.stem not in strings] == []


def test_every_page_opens_with_its_code() -> None:
    for page in PAGES:
        first, _, rest = page.read_text(encoding="utf-8").partition("\n")
        assert first == f"# {page.stem}"
        assert len(rest.split()) > 20, page.stem
