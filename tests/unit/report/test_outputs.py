"""Writing together: all or nothing, nothing over a file unasked."""

from pathlib import Path

import pytest

from cam.errors import FileRefused
from cam.report.outputs import Output, check_folder, check_overwrite, write_outputs


def test_files_come_with_their_exact_bytes_and_nothing_else(tmp_path):
    outputs = [
        Output(path=tmp_path / "new" / "a.ngc", text="G0\r\nM2\r\n"),
        Output(path=tmp_path / "new" / "b", text="°"),
    ]
    assert write_outputs(outputs) == ()
    assert (tmp_path / "new" / "a.ngc").read_bytes() == b"G0\r\nM2\r\n"
    assert sorted(path.name for path in (tmp_path / "new").iterdir()) == ["a.ngc", "b"]


@pytest.mark.parametrize("bad", ["x" * 300, "taken", "file/below"])
def test_when_one_file_cannot_be_written_none_is(tmp_path, bad):
    (tmp_path / "taken").mkdir()
    (tmp_path / "file").write_text("old")
    old = tmp_path / "old.ngc"
    old.write_text("old")
    stale = tmp_path / "stale.ngc"
    stale.write_text("stale")
    outputs = [
        Output(path=old, text="new", belied_by=(stale,)),
        Output(path=tmp_path / "fresh" / "a", text="new"),
        Output(path=tmp_path / bad, text="new"),
    ]
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(FileRefused) as refused:
        write_outputs(outputs)
    assert refused.value.findings[0].code == "out-not-writable"
    assert sorted(tmp_path.rglob("*")) == before
    assert (old.read_text(), stale.read_text()) == ("old", "stale")


def test_every_file_in_the_way_is_named(tmp_path):
    for name in ("a", "b", "twin"):
        (tmp_path / name).write_text("old")
    outputs = [
        Output(path=tmp_path / "a", text=""),
        Output(path=tmp_path / "c", text="", belied_by=(tmp_path / "twin",)),
        Output(path=tmp_path / "b", text=""),
    ]
    with pytest.raises(FileRefused) as refused:
        check_overwrite(outputs)
    assert [finding.origin.file for finding in refused.value.findings] == [
        str(tmp_path / name) for name in ("a", "twin", "b")
    ]
    check_overwrite([Output(path=tmp_path / "c", text="")])


def test_a_folder_must_be_one_or_have_a_parent(tmp_path):
    check_folder(tmp_path)
    check_folder(tmp_path / "new")
    (tmp_path / "file").write_text("")
    for folder in (tmp_path / "no" / "parent", tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(FileRefused, match="nothing can be written here"):
            check_folder(folder)
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_folder_that_the_system_keeps_to_itself_is_refused():
    """procfs takes no folder from anyone, root included."""
    place = Path("/proc")
    if not (place / "self").exists():
        pytest.skip("this system has no procfs")
    with pytest.raises(FileRefused):
        write_outputs([Output(path=place / "castcut" / "a.ngc", text="M2\n")])
