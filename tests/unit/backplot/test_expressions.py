import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cam.backplot.expressions import read_value
from cam.backplot.faults import BlockFault


def value(text, parameters=None):
    found, end = read_value(text, at=0, parameters=parameters or {})
    assert end == len(text)
    return found


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # NISTIR 6556 section 3.3.2.3: the document's example of precedence and grouping
        ("[2.0/3*1.5-5.5/11.0]", 0.5),
        ("[2**3**2]", 64.0),
        ("[1+ACOS[0]-[#3**[4.0/2]]]", 91.0),  # the document's own expression, with #3 unset
        # section 3.3.2.4
        ("FIX[2.8]", 2.0),
        ("FIX[-2.8]", -3.0),
        ("FUP[2.8]", 3.0),
        ("FUP[-2.8]", -2.0),
        ("ROUND[-0.5]", -1.0),
        ("ATAN[-1]/[-1]", -135.0),
        ("SQRT[SQRT[16]]", 2.0),
        ("[[0-7]MOD3]", 2.0),
        ("[7MOD[0-3]]", 1.0),
        ("[0**0]", 1.0),
        ("[[0-2]**3]", -8.0),
        ("[2**[0-1]]", 0.5),
    ],
)
def test_values_of_the_document(text, expected):
    assert value(text) == pytest.approx(expected, abs=1e-12)


def test_a_parameter_binds_tightest():
    # section 3.3.2.2: #1+2 in brackets is the value of parameter 1, and 2 more
    assert value("[#1+2]", {1: 10.0, 3: 99.0}) == 12.0
    assert value("#[1+2]", {1: 10.0, 3: 99.0}) == 99.0
    assert value("##1", {1: 3.0, 3: 99.0}) == 99.0


def test_a_value_ends_where_it_ends():
    assert read_value("1.5Y2", at=0, parameters={}) == (1.5, 3)
    assert read_value("#1=2", at=0, parameters={1: 7.0}) == (7.0, 2)


@pytest.mark.parametrize("depth", [100, 20_000])
def test_depth_does_not_matter(depth):
    assert value("[" * depth + "1" + "]" * depth) == 1.0
    assert value("#" * depth + "1", {1: 1.0}) == 1.0
    assert value("SQRT[" * depth + "1" + "]" * depth) == 1.0
    with pytest.raises(BlockFault):
        value("[" * depth)


SIGNS = {"+": "+", "-": "-", "*": "*", "/": "/", "**": "**"}


def write(tree) -> tuple[str, float | None]:
    """Return a tree of operations as text, and its value by Python's own arithmetic (None: it has none)."""
    if isinstance(tree, float):
        return (f"{tree:.4f}", round(tree, 4))
    left, operator, right = tree
    (first, one), (second, two) = write(left), write(right)
    text = f"[{first}{operator}{second}]"
    if one is None or two is None or (operator == "/" and two == 0.0):
        return text, None
    return text, {"+": one + two, "-": one - two, "*": one * two, "/": one / two if two else 0.0}[operator]


NUMBERS = st.floats(min_value=-1e4, max_value=1e4, allow_nan=False)
TREES = st.recursive(NUMBERS, lambda inner: st.tuples(inner, st.sampled_from("+-*/"), inner), max_leaves=12)


@settings(max_examples=200, deadline=None)
@given(TREES)
def test_bracketed_arithmetic_is_that_of_python(tree):
    text, expected = write(tree)
    if expected is None or not math.isfinite(expected):
        with pytest.raises(BlockFault):
            value(text)
    else:
        assert value(text) == expected


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(["+", "-", "*"]), st.integers(1, 99)), min_size=1, max_size=8), st.integers(0, 9)
)
def test_flat_arithmetic_has_the_precedence_of_python(terms, first):
    text = f"{first}" + "".join(f"{operator}{number}" for operator, number in terms)
    assert value(f"[{text}]") == eval(text)
