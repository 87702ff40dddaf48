"""Where castcut's own data lie: in the wheel, in the source tree, never in the working folder."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from cam.errors import FileRefused
from cam.tables.places import find_data_folder, pick_data_folder
from cam.tables.read import read_tables

ROOT = Path(__file__).parents[3]


def test_the_source_tree_has_all_three() -> None:
    assert find_data_folder("tooling") == ROOT / "tooling"
    assert find_data_folder("posts") == ROOT / "posts"
    assert find_data_folder("parts") == ROOT / "parts"


def test_the_working_folder_plays_no_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = read_tables()
    (tmp_path / "tooling").mkdir()
    monkeypatch.chdir(tmp_path)
    assert read_tables() == before


def test_the_wheel_carries_them_inside_the_package(tmp_path: Path) -> None:
    package = tmp_path / "site-packages" / "cam"
    (package / "data" / "tooling").mkdir(parents=True)
    (package.parent / "tooling").mkdir()  # another project's folder, which happens to lie there
    assert pick_data_folder(package, kind="tooling") == package / "data" / "tooling"


def test_pyproject_puts_them_where_they_are_looked_for() -> None:
    wheel = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["force-include"] == {kind: f"cam/data/{kind}" for kind in ("tooling", "posts", "parts")}


def test_an_installation_that_is_not_whole_is_refused(tmp_path: Path) -> None:
    (tmp_path / "cam").mkdir()
    with pytest.raises(FileRefused) as caught:
        pick_data_folder(tmp_path / "cam", kind="posts")
    assert caught.value.findings[0].code == "no-data-folder"
