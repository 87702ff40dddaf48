import os

import pytest

from cam.backplot import read
from cam.backplot.read import read_program
from cam.errors import FileRefused


def refusal(path):
    with pytest.raises(FileRefused) as raised:
        read_program(path)
    (finding,) = raised.value.findings
    assert finding.origin.file == str(path)
    assert finding.remedy
    assert raised.value.exit_code == 2
    return finding


def test_a_program_is_read_with_its_line_ends(tmp_path):
    path = tmp_path / "a.ngc"
    path.write_bytes("G0 X1 (Fläche)\r\nM2\r\n".encode())
    assert read_program(path) == "G0 X1 (Fläche)\r\nM2\r\n"


def test_comments_in_an_old_encoding(tmp_path):
    path = tmp_path / "a.ngc"
    path.write_bytes("(Fläche)\nM2\n".encode("latin-1"))
    assert read_program(path) == "(Fläche)\nM2\n"


def test_no_such_file(tmp_path):
    assert refusal(tmp_path / "none.ngc").code == "no-such-file"


def test_a_folder(tmp_path):
    assert refusal(tmp_path).code == "not-a-file"


@pytest.mark.parametrize("content", [b"", b"\n \r\n\t"])
def test_an_empty_file(tmp_path, content):
    path = tmp_path / "a.ngc"
    path.write_bytes(content)
    assert refusal(path).code == "empty-file"


@pytest.mark.parametrize(
    ("content", "line"),
    [(b"\x89PNG\r\n\x1a\n\x00\x00", 2), ("G0 X1\n".encode("utf-16"), 1), (b"G0\nG1\x00\n", 2), (b"\x1bE", 1)],
)
def test_what_is_no_text(tmp_path, content, line):
    path = tmp_path / "a.ngc"
    path.write_bytes(content)
    finding = refusal(path)
    assert (finding.code, finding.origin.line) == ("not-a-program", line)


def test_a_file_too_large(tmp_path, monkeypatch):
    monkeypatch.setattr(read, "MAX_PROGRAM_BYTES", 10)
    path = tmp_path / "a.ngc"
    path.write_bytes(b"G0 X1\n" * 2)
    assert refusal(path).code == "file-too-large"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read(tmp_path):
    path = tmp_path / "a.ngc"
    path.write_bytes(b"M2\n")
    path.chmod(0)
    assert refusal(path).code == "unreadable-file"


def test_a_name_that_no_file_can_have(tmp_path):
    assert refusal(tmp_path / ("n" * 5000)).code == "unreadable-file"
