"""Progress on stderr: a stage that takes longer than a second says its name."""

from __future__ import annotations

import sys
from threading import Timer
from types import TracebackType
from typing import Self

_PATIENCE_S = 1.0


class Progress:
    """Call it with the name of each stage as it begins; a stage that ends within a second stays silent.

    On a terminal the line is wiped when the stage ends; elsewhere it stays.
    """

    def __init__(self, *, quiet: bool = False) -> None:
        self._quiet = quiet
        self._timer: Timer | None = None
        self._shown = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self._end()

    def __call__(self, stage: str) -> None:
        """Begin a stage."""
        self._end()
        if not self._quiet:
            self._timer = Timer(_PATIENCE_S, self._show, args=(stage,))
            self._timer.daemon = True
            self._timer.start()

    def _show(self, stage: str) -> None:
        self._shown = f"castcut: {stage} ..."
        sys.stderr.write(self._shown + ("" if sys.stderr.isatty() else "\n"))
        sys.stderr.flush()

    def _end(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer.join()
            self._timer = None
        if self._shown and sys.stderr.isatty():
            sys.stderr.write("\r" + " " * len(self._shown) + "\r")
            sys.stderr.flush()
        self._shown = ""
