"""Progress: quick stages are silent, slow ones say their names on stderr."""

import time

import pytest

from cam.report import progress as module
from cam.report.progress import Progress


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    monkeypatch.setattr(module, "_PATIENCE_S", 0.02)


def test_a_slow_stage_says_its_name_once(capsys):
    with Progress() as progress:
        progress("sweeping")
        time.sleep(0.15)
        progress("judging")
    printed = capsys.readouterr()
    assert printed.err == "castcut: sweeping ...\n"
    assert printed.out == ""


def test_quick_stages_and_quiet_commands_say_nothing(capsys):
    with Progress() as progress:
        progress("sweeping")
    with Progress(quiet=True) as progress:
        progress("judging")
        time.sleep(0.1)
    assert capsys.readouterr().err == ""


def test_a_terminals_line_is_wiped_when_the_stage_ends(capsys, monkeypatch):
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    with Progress() as progress:
        progress("sweeping")
        time.sleep(0.15)
    assert capsys.readouterr().err == "castcut: sweeping ..." + "\r" + " " * 21 + "\r"


def test_a_failing_stage_leaves_no_timer_behind(capsys):
    with pytest.raises(ZeroDivisionError), Progress() as progress:
        progress("sweeping")
        raise ZeroDivisionError
    time.sleep(0.1)
    assert capsys.readouterr().err == ""
