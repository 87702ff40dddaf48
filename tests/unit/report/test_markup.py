"""Markup: escaping, numbers, tables that parse."""

import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cam.report.markup import element, format_number, join, lay_table, words


@given(st.text(alphabet=st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cn", "Co")), max_size=40))
def test_any_text_survives_escaping(text):
    node = ET.fromstring(element("p", words(text), title=text))
    assert (node.text or "") == text
    assert node.get("title") == text


@given(st.floats(min_value=-1e7, max_value=1e7))
def test_numbers_have_neither_exponent_nor_negative_zero(value):
    text = format_number(value)
    assert float(text) == pytest.approx(value, abs=0.0005 + 1e-9)
    assert "e" not in text
    assert text != "-0"
    assert not ("." in text and text.endswith(("0", ".")))


def test_attributes_without_a_value_are_left_out():
    assert element("input", type="radio", checked=False, id=None) == '<input type="radio">'


def test_a_table_names_its_rows_and_columns():
    table = lay_table(
        caption="Two", headings=("Name", "Size"), rows=[(words("a"), words("1")), (words("b"), words("2"))],
        row_ids=("one", "two"), numeric=frozenset({1}),
    )  # fmt: skip
    root = ET.fromstring(table)
    assert root.find(".//caption").text == "Two"
    assert [node.get("scope") for node in root.iter("th")] == ["col", "col", "row", "row"]
    assert [node.get("id") for node in root.iter("tr")] == [None, "one", "two"]
    assert [node.text for node in root.iter() if node.get("class") == "n"] == ["Size", "1", "2"]


def test_joining_leaves_out_what_is_empty():
    assert join((words("a"), words(""), words("b"))) == "a\nb"
