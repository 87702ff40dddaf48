"""How thick a sheet may really be."""

from __future__ import annotations

from cam.tables.rows import Material


def find_thickness_range(material: Material, *, thickness_mm: float) -> tuple[float, float]:
    """Return the least and greatest thickness, mm, of a sheet sold as ``thickness_mm``.

    Notes
    -----
    Cast acrylic: plus or minus 0.4 mm + 0.1 t (ISO 7823-1).

    Examples
    --------
    >>> from cam.tables.read import find_material, read_tables
    >>> low, high = find_thickness_range(find_material(read_tables(), name="cast-acrylic"), thickness_mm=6.0)
    >>> round(low, 9), round(high, 9)
    (5.0, 7.0)
    """
    tol = material.thickness_tol_mm + material.thickness_tol_share * thickness_mm
    return thickness_mm - tol, thickness_mm + tol
