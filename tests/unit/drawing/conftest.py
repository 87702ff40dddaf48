"""Drawings written through ezdxf, for the tests of the reader."""

from __future__ import annotations

from inspect import signature

import ezdxf
import pytest

from cam.drawing.read import read_drawing


@pytest.fixture
def read(tmp_path):
    """Return a function that draws with a function of the model space and its document, saves and reads."""

    def draw_and_read(draw, *, version="R2010", stated=4, binary=False, **how):
        document = ezdxf.new(version, units=stated)
        if stated is None or stated == 0:
            document.header["$INSUNITS"] = 0
        space = document.modelspace()
        wants_document = "document" in signature(draw).parameters
        draw(space, document=document) if wants_document else draw(space)
        path = tmp_path / "panel.dxf"
        document.saveas(path, fmt="bin" if binary else "asc")
        return read_drawing(path, **how)

    return draw_and_read


@pytest.fixture
def codes():
    """Return a function that lists the codes of a drawing's or a refusal's findings."""

    def list_codes(holder, severity=None):
        return [f.code for f in holder.findings if severity is None or f.severity == severity]

    return list_codes
