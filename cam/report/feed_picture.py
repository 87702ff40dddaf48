"""The permitted window of speed and feed as a picture, every limit a line."""

from __future__ import annotations

from math import ceil, floor, log10

import numpy as np

from cam.report.markup import Markup, element, format_number, join, words
from cam.tables.feed_limits import FeedLimit, FeedWindow, Limit

WIDTH, HEIGHT = 760.0, 520.0
LEFT, RIGHT, TOP, BOTTOM = 78.0, 196.0, 58.0, 64.0
# stroke patterns tell the lines apart without colour
DASHES = {
    Limit.RUBBING: "9 3 2 3",
    Limit.OVERLOAD: "",
    Limit.MACHINE: "12 5",
    Limit.RUN: "3 3",
    Limit.POWER: "1 4",
}
_STYLE = """
svg{font:13px/1.3 system-ui,sans-serif;color-scheme:light dark;background:#fdfcf8;color:#222}
.grid{stroke:#d8d4c8;stroke-width:1}.axis{stroke:#222;stroke-width:1.5}
.may{fill:#8fc7a6;fill-opacity:.45}.limit{fill:none;stroke:#31414f;stroke-width:2}
.bound{stroke:#31414f;stroke-width:1;stroke-dasharray:2 6}.pick{fill:#b5451b;stroke:#fdfcf8;stroke-width:2}
text{fill:#222}.quiet{fill:#5a5a52}
@media (prefers-color-scheme:dark){svg{background:#181b1d;color:#eee}.grid{stroke:#3a3f42}.axis{stroke:#eee}
.may{fill:#3f8a63}.limit,.bound{stroke:#c9d4dc}.pick{fill:#ff9e6d;stroke:#181b1d}text{fill:#eee}.quiet{fill:#a9aaa4}}
"""


def draw_feed_window(window: FeedWindow, *, rpm: float | None, feed_mm_per_min: float | None, title: str) -> str:
    """Return an SVG of the window: speed to the right, feed upwards, each limit a line with its name.

    Parameters
    ----------
    rpm, feed_mm_per_min
        What was chosen, shown as a point; None where nothing could be.
    """
    plot = _Plot(window)
    parts = [
        element("style", Markup(_STYLE)),
        element("title", words(title)),
        element("desc", words(_say(window))),
        element("rect", width=WIDTH, height=HEIGHT, fill="none"),
        element("text", words(title), x=LEFT, y=26.0, font_size=16.0, font_weight="600"),
        element("text", words(_say_cut(window)), x=LEFT, y=45.0, class_="quiet"),
        plot.draw_grid(),
        plot.draw_permitted(),
        *(plot.draw_limit(limit) for limit in window.limits),
        *plot.draw_speed_bounds(),
        plot.draw_axes(),
        plot.draw_names(),
    ]
    if rpm is not None and feed_mm_per_min is not None:
        parts.append(plot.draw_choice(rpm, feed_mm_per_min))
    svg = element(
        "svg",
        join(parts),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {format_number(WIDTH)} {format_number(HEIGHT)}",
        role="img",
    )
    return f"{svg}\n"


def _say_cut(window: FeedWindow) -> str:
    width = "slot" if window.radial_mm is None else f"bite of {window.radial_mm:g} mm"
    return f"{width}, {window.depth_mm:g} mm deep, {window.material.title}, {window.machine.title}"


def _say(window: FeedWindow) -> str:
    return "; ".join(limit.text for limit in window.limits)


class _Plot:
    """Scales from rpm and mm/min to the picture."""

    def __init__(self, window: FeedWindow) -> None:
        self.window = window
        by_name = {limit.limit: limit for limit in window.limits}
        self.low = by_name[Limit.RUBBING].feed_mm_per_min
        ceilings = [limit.feed_mm_per_min for limit in window.limits if limit.limit is not Limit.RUBBING]
        self.high = np.min(ceilings, axis=0)
        highest = float(by_name[Limit.OVERLOAD].feed_mm_per_min.max())
        self.step_feed = _choose_step(highest)
        self.top_feed = ceil(highest / self.step_feed) * self.step_feed
        self.step_rpm = _choose_step(float(window.rpm[-1]))
        self.first_rpm = floor(float(window.rpm[0]) / self.step_rpm) * self.step_rpm
        self.last_rpm = ceil(float(window.rpm[-1]) / self.step_rpm) * self.step_rpm

    def x(self, rpm: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (rpm - self.first_rpm) / (self.last_rpm - self.first_rpm)

    def y(self, feed: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * min(feed, self.top_feed) / self.top_feed

    def draw_grid(self) -> Markup:
        lines = []
        for feed in np.arange(0.0, self.top_feed + 1.0, self.step_feed).tolist():
            y = self.y(feed)
            lines.append(element("line", x1=LEFT, x2=WIDTH - RIGHT, y1=y, y2=y, class_="grid"))
            lines.append(element("text", words(f"{feed:.0f}"), x=LEFT - 8.0, y=y + 4.0, text_anchor="end"))
        for rpm in np.arange(self.first_rpm, self.last_rpm + 1.0, self.step_rpm).tolist():
            x = self.x(rpm)
            lines.append(element("line", x1=x, x2=x, y1=TOP, y2=HEIGHT - BOTTOM, class_="grid"))
            lines.append(element("text", words(f"{rpm:.0f}"), x=x, y=HEIGHT - BOTTOM + 20.0, text_anchor="middle"))
        return join(lines)

    def draw_axes(self) -> Markup:
        middle = (LEFT + WIDTH - RIGHT) / 2.0
        return join(
            (
                element("path", d=f"M{LEFT} {TOP}V{HEIGHT - BOTTOM}H{WIDTH - RIGHT}", class_="axis", fill="none"),
                element("text", words("spindle speed, rpm"), x=middle, y=HEIGHT - 18.0, text_anchor="middle"),
                element(
                    "text",
                    words("feed, mm/min"),
                    x=0.0,
                    y=0.0,
                    text_anchor="middle",
                    transform=f"translate(20 {format_number((TOP + HEIGHT - BOTTOM) / 2.0)}) rotate(-90)",
                ),
            )
        )

    def draw_permitted(self) -> Markup:
        rpm = self.window.rpm
        inside = (rpm >= self.window.min_rpm) & (rpm <= self.window.max_rpm)
        # the window's own ends belong to it, between two speeds of the lines as well
        at = np.unique(np.concatenate((rpm[inside], (self.window.min_rpm, self.window.max_rpm))))
        if self.window.min_rpm > self.window.max_rpm:
            return Markup("")
        low, high = np.interp(at, rpm, self.low), np.interp(at, rpm, self.high)
        may = high >= low
        if not may.any():
            return Markup("")
        upper = [(self.x(r), self.y(f)) for r, f in zip(at[may].tolist(), high[may].tolist(), strict=True)]
        lower = [(self.x(r), self.y(f)) for r, f in zip(at[may].tolist(), low[may].tolist(), strict=True)]
        return element("path", d=_trace([*upper, *reversed(lower)]) + "Z", class_="may")

    def draw_limit(self, limit: FeedLimit) -> Markup:
        rpm, feed = self.window.rpm, limit.feed_mm_per_min
        shown = feed <= self.top_feed
        if not shown.any():
            return Markup("")
        points = [(self.x(r), self.y(f)) for r, f in zip(rpm[shown].tolist(), feed[shown].tolist(), strict=True)]
        return element("path", d=_trace(points), class_="limit", stroke_dasharray=DASHES[limit.limit] or None)

    def draw_speed_bounds(self) -> list[Markup]:
        bounds = (("lowest", self.window.min_rpm), ("highest", self.window.max_rpm))
        return [
            join(
                (
                    element("line", x1=self.x(rpm), x2=self.x(rpm), y1=TOP, y2=HEIGHT - BOTTOM, class_="bound"),
                    element("text", words(f"{what} speed"), x=self.x(rpm) + 4.0, y=TOP + 12.0, class_="quiet"),
                )
            )
            for what, rpm in bounds
            if self.first_rpm <= rpm <= self.last_rpm
        ]

    def draw_names(self) -> Markup:
        x, parts = WIDTH - RIGHT + 14.0, []
        for row, limit in enumerate(self.window.limits):
            y = TOP + 18.0 + row * 46.0
            above = bool((limit.feed_mm_per_min > self.top_feed).all())
            dash = DASHES[limit.limit] or None
            parts.append(element("path", d=f"M{x} {y}H{x + 40.0}", class_="limit", stroke_dasharray=dash))
            parts.append(element("text", words(str(limit.limit)), x=x, y=y + 17.0))
            low, high = float(limit.feed_mm_per_min.min()), float(limit.feed_mm_per_min.max())
            said = f"{low:.0f} mm/min" if low == high else f"{low:.0f} to {high:.0f} mm/min"
            parts.append(
                element(
                    "text", words(said + (", above" if above else "")), x=x, y=y + 32.0, class_="quiet", font_size=11.0
                )
            )
        y = TOP + 18.0 + len(self.window.limits) * 46.0
        parts.append(element("rect", x=x, y=y - 8.0, width=40.0, height=14.0, class_="may"))
        parts.append(element("text", words("permitted"), x=x, y=y + 22.0))
        return join(parts)

    def draw_choice(self, rpm: float, feed: float) -> Markup:
        x, y = self.x(rpm), self.y(feed)
        said = f"{rpm:.0f} rpm, {feed:.0f} mm/min"
        right = x > (LEFT + WIDTH - RIGHT) / 2.0
        return join(
            (
                element("circle", cx=x, cy=y, r=6.0, class_="pick"),
                element(
                    "text",
                    words(said),
                    x=x - 12.0 if right else x + 12.0,
                    y=y - 10.0,
                    text_anchor="end" if right else "start",
                    font_weight="600",
                ),
            )
        )


def _trace(points: list[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{format_number(x, decimals=1)} {format_number(y, decimals=1)}" for x, y in points)


def _choose_step(highest: float) -> float:
    """Return a round step that divides an axis into 4 to 10 parts.

    Examples
    --------
    >>> _choose_step(24000.0), _choose_step(5800.0), _choose_step(900.0)
    (5000.0, 1000.0, 200.0)
    """
    size = 10.0 ** floor(log10(highest))
    return next(float(size * share) for share in (0.1, 0.2, 0.5, 1.0, 2.0) if highest / (size * share) <= 8.0)
