"""TOML files: places of keys, and what is refused when reading."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from cam.errors import FileRefused, Refusal, TableRefused
from cam.tables.toml_file import find_key_lines, find_line, parse_toml, read_toml

TEXT = '''title = "a" # one
"quoted key" = 2
a.b = 3

text = """
[not a section]
not_a_key = 1
""" # closed
other = "plain"
[corners]
radius_mm = 5.0
[[panel]]
name = "one"
at_mm = [
  1.0,
  2.0,
]
  [[panel.cut]]
  x = 1
  [[panel.cut]]
  x = 2
[[panel]] # two
name = "two"
[panel.edge]
kind = "shown"
  [[panel.cut]]
  x = 3
'''


def test_lines_of_keys() -> None:
    lines = find_key_lines(TEXT)
    assert lines == {
        ("title",): 1,
        ("quoted key",): 2,
        ("a", "b"): 3,
        ("text",): 5,
        ("other",): 9,
        ("corners",): 10,
        ("corners", "radius_mm"): 11,
        ("panel", 0): 12,
        ("panel", 0, "name"): 13,
        ("panel", 0, "at_mm"): 14,
        ("panel", 0, "cut", 0): 18,
        ("panel", 0, "cut", 0, "x"): 19,
        ("panel", 0, "cut", 1): 20,
        ("panel", 0, "cut", 1, "x"): 21,
        ("panel", 1): 22,
        ("panel", 1, "name"): 23,
        ("panel", 1, "edge"): 24,
        ("panel", 1, "edge", "kind"): 25,
        ("panel", 1, "cut", 0): 26,
        ("panel", 1, "cut", 0, "x"): 27,
    }


def test_every_key_with_a_line_is_a_key_of_the_document() -> None:
    document = parse_toml(TEXT.encode(), name="a").document
    paths = find_key_lines(TEXT)
    assert len(paths) == 20
    for path in paths:
        value: Any = document
        for step in path:
            value = value[step]


def test_nearest_known_line() -> None:
    lines = {("panel", 0): 3, ("panel", 0, "at_mm"): 5}
    assert find_line(lines, at=("panel", 0, "at_mm", 1)) == 5
    assert find_line(lines, at=("panel", 0, "name")) == 3
    assert find_line(lines, at=("title",)) is None


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        (b"a = \n", 1, 5),
        (b"a = 1\nb = 'x\n", 2, 7),
        (b"a = 1\na = 2\n", 2, 6),
        (b"a = [1,\n\n", 1, 8),
        (b"a = 1\n\xff\xfe = 2", 2, 1),
        (b"\x89PNG\r\n\x1a\n", 1, 1),
    ],
)
def test_broken_text_is_refused_at_its_place(text: bytes, line: int, column: int) -> None:
    with pytest.raises(TableRefused) as caught:
        parse_toml(text, name="a.toml")
    (finding,) = caught.value.findings
    assert (finding.code, finding.origin.file) == ("broken-toml", "a.toml")
    assert (finding.origin.line, finding.origin.column) == (line, column)


def test_a_byte_order_mark_is_passed_over() -> None:
    assert parse_toml(b"\xef\xbb\xbfa = 1", name="a").document == {"a": 1}


def code_of(path: Path) -> str:
    with pytest.raises(Refusal) as caught:
        read_toml(path)
    assert isinstance(caught.value, FileRefused)
    assert caught.value.exit_code == 2
    assert caught.value.findings[0].origin.file == str(path)
    return caught.value.findings[0].code


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    assert code_of(tmp_path / "none.toml") == "no-such-file"
    assert code_of(tmp_path) == "not-a-file"
    (tmp_path / "a.toml").write_text("a = 1")
    assert code_of(tmp_path / "a.toml" / "b.toml") == "unreadable-file"
    loop = tmp_path / "loop.toml"
    loop.symlink_to(loop)
    assert code_of(loop) == "unreadable-file"
