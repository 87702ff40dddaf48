import pytest

from cam.backplot.packed import column_of, message_of
from cam.backplot.words import read_block


def read(text, parameters=None):
    return read_block(text, line=1, parameters=parameters or {})


def test_a_block_keeps_every_word():
    block = read("N10 G1 G91 M3 X1 Y-2.5 F#1", {1: 300.0})
    assert block.fault is None
    assert [word.value for word in block.g] == [1.0, 91.0]
    assert [word.value for word in block.m] == [3.0]
    assert {letter: word.value for letter, word in block.words.items()} == {"X": 1.0, "Y": -2.5, "F": 300.0}


def test_settings_are_read_with_the_old_values():
    # NISTIR 6556 section 3.3.3: #3=6 #3=#3... the value of #3 in the line is that before the line
    block = read("#3=15 X#3 #4=[#3+1]", {3: 6.0})
    assert block.settings == {3: 15.0, 4: 7.0}
    assert block.words["X"].value == 6.0


def test_of_repeated_settings_the_last_holds():
    assert read("#3=15 #3=6").settings == {3: 6.0}  # section 3.3.5


def test_what_stood_before_a_fault_is_kept():
    block = read("G1 X5 Y1.2.3 Z9")
    assert block.fault is not None and block.fault.code == "number-malformed"
    assert block.words.keys() == {"X", "Y"}


@pytest.mark.parametrize(
    ("text", "index", "column"),
    [("G0X1", 2, 3), ("  G 0\tX 1", 2, 7), ("(a (b) X", 0, 1), ("(one) G0 (two) X1", 3, 10), ("X", 9, 2), ("", 0, 1)],
)
def test_columns_count_what_was_left_out(text, index, column):
    assert column_of(text, index=index) == column


@pytest.mark.parametrize(
    ("comment", "message"), [("MSG,hello", "hello"), (" m s g ,  hi ", "  hi "), ("MSG hello", None), ("a MSG,b", None)]
)
def test_messages(comment, message):
    assert message_of(comment) == message


def test_digits_of_other_scripts_are_no_digits():
    assert read("X\u0663").fault.code == "unknown-character"
    assert read("X\u00b2").fault.code == "unknown-character"
