"""Reading tooling/ and posts/, a shop's own rows first, and finding a row by its name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TypeVar

from cam.errors import FileRefused, TableRefused
from cam.findings import NOWHERE, Finding, Origin, error
from cam.tables.annotations import suggest
from cam.tables.check import PlacedRow, find_row_faults, find_table_faults
from cam.tables.decode import decode, find_origin
from cam.tables.places import find_data_folder
from cam.tables.rows import Controller, Cutter, Machine, Material, SheetSize, Tables
from cam.tables.toml_file import TomlFile, read_toml

FORMAT = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _RowsFile:
    """A file of tooling/: any of the four kinds of rows, each an array of tables."""

    cutter: tuple[Cutter, ...] = ()
    material: tuple[Material, ...] = ()
    machine: tuple[Machine, ...] = ()
    sheet: tuple[SheetSize, ...] = ()


class _Named(Protocol):
    @property
    def name(self) -> str: ...


Row = TypeVar("Row", bound=_Named)


def read_tables(*, own: Sequence[Path] = ()) -> Tables:
    """Return all rows of tooling/ and posts/, and a shop's own.

    Parameters
    ----------
    own
        Files, or folders of ``.toml`` files, with rows of the shop's own. They come before
        castcut's, and earlier ones before later ones: of rows with one name the first stays.

    Raises
    ------
    FileRefused
        If a file or folder cannot be read.
    TableRefused
        With every fault found: the codes of :func:`cam.tables.decode.decode`, ``wrong-format``,
        ``doubled-row``, ``doubled-tool``, ``inconsistent-row`` and ``unknown-row``.

    Examples
    --------
    >>> find_cutter(read_tables(), name="o1-6-up").diameter_mm
    6.0
    """
    shipped = [
        read_toml(path, name=f"{kind}/{path.name}")
        for kind in ("tooling", "posts")
        for path in sorted(find_data_folder(kind).glob("*.toml"))
    ]
    faults: list[Finding] = []
    rows: dict[tuple[type, str], PlacedRow] = {}
    for files in (*(_read_own_files(place) for place in own), shipped):
        for key, placed in _read_rows(files, faults).items():
            rows.setdefault(key, placed)
    for placed in rows.values():
        faults += find_row_faults(placed)
    faults += find_table_faults(tuple(rows.values()))
    if faults:
        raise TableRefused(*faults)
    kept = [placed.row for placed in rows.values()]
    return Tables(
        cutters=tuple(row for row in kept if isinstance(row, Cutter)),
        materials=tuple(row for row in kept if isinstance(row, Material)),
        machines=tuple(row for row in kept if isinstance(row, Machine)),
        sheets=tuple(row for row in kept if isinstance(row, SheetSize)),
        controllers=tuple(row for row in kept if isinstance(row, Controller)),
    )


def find_cutter(tables: Tables, *, name: str, origin: Origin = NOWHERE) -> Cutter:
    """Return a cutter by name; ``origin`` says who asks. Raises TableRefused ``unknown-row``."""
    return _find(tables.cutters, name=name, kind="cutter", origin=origin)


def find_material(tables: Tables, *, name: str, origin: Origin = NOWHERE) -> Material:
    """Return a material by name. Raises TableRefused ``unknown-row``."""
    return _find(tables.materials, name=name, kind="material", origin=origin)


def find_machine(tables: Tables, *, name: str, origin: Origin = NOWHERE) -> Machine:
    """Return a machine by name. Raises TableRefused ``unknown-row``."""
    return _find(tables.machines, name=name, kind="machine", origin=origin)


def find_sheet(tables: Tables, *, name: str, origin: Origin = NOWHERE) -> SheetSize:
    """Return a sheet by name. Raises TableRefused ``unknown-row``."""
    return _find(tables.sheets, name=name, kind="sheet", origin=origin)


def find_controller(tables: Tables, *, name: str, origin: Origin = NOWHERE) -> Controller:
    """Return a controller by name. Raises TableRefused ``unknown-row``."""
    return _find(tables.controllers, name=name, kind="controller", origin=origin)


def read_format(file: TomlFile) -> list[Finding]:
    """Return the faults of a file's ``format`` key, which must be the one that castcut reads."""
    given = file.document.get("format")
    if type(given) is int and given == FORMAT:
        return []
    said = "does not say its format" if given is None else f"has format {given!r}"
    return [
        error(
            "wrong-format",
            f"the file {said}; castcut reads format {FORMAT}",
            remedy=f"put format = {FORMAT} at the top of the file",
            origin=find_origin(file, at=("format",)),
        )
    ]


def _find(rows: tuple[Row, ...], *, name: str, kind: str, origin: Origin) -> Row:
    for row in rows:
        if row.name == name:
            return row
    remedy = suggest(name, among=[row.name for row in rows])
    raise TableRefused(error("unknown-row", f"there is no {kind} {name!r}", remedy=remedy, origin=origin))


def _read_own_files(place: Path) -> list[TomlFile]:
    """Return the files of a place that the shop named: a file, or every ``.toml`` of a folder."""
    if not place.is_dir():
        return [read_toml(place)]
    paths = sorted(place.glob("*.toml"))
    if not paths:
        raise FileRefused(
            error(
                "no-tables-here",
                "the folder holds no .toml file",
                remedy="name the folder with the shop's own tables",
                origin=Origin(file=str(place)),
            )
        )
    return [read_toml(path) for path in paths]


def _read_rows(files: Sequence[TomlFile], faults: list[Finding]) -> dict[tuple[type, str], PlacedRow]:
    """Return the rows of files that belong together, by kind and name; among them none stands twice."""
    rows: dict[tuple[type, str], PlacedRow] = {}
    for file in files:
        try:
            placed_rows = _decode_rows(file)
        except TableRefused as refusal:
            faults += refusal.findings
            continue
        for placed in placed_rows:
            key = (type(placed.row), placed.row.name)
            if key in rows:
                faults.append(
                    error(
                        "doubled-row",
                        f"{placed.row.name!r} stands twice; first at {rows[key].origin}",
                        remedy="rename or remove one of the two",
                        origin=placed.origin,
                    )
                )
            rows.setdefault(key, placed)
    return rows


def _decode_rows(file: TomlFile) -> list[PlacedRow]:
    """Return the rows of one file: a controller's, or one of tooling/."""
    if "controller" in file.document:
        return [PlacedRow(row=decode(Controller, file), origin=find_origin(file, at=("name",)))]
    if faults := read_format(file):
        raise TableRefused(*faults)
    rows = decode(_RowsFile, file, other_keys=("format",))
    kinds: dict[str, Sequence[Cutter | Material | Machine | SheetSize]] = {
        "cutter": rows.cutter,
        "material": rows.material,
        "machine": rows.machine,
        "sheet": rows.sheet,
    }
    return [
        PlacedRow(row=row, origin=find_origin(file, at=(kind, index)))
        for kind, read in kinds.items()
        for index, row in enumerate(read)
    ]
