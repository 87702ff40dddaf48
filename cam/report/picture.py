"""The picture of a cut with its legend."""

from __future__ import annotations

from cam.findings import Severity
from cam.report.clamps import draw_hatch, draw_swatch
from cam.report.flags import Flag, draw_flags, draw_shape
from cam.report.marks import draw_marks
from cam.report.markup import EMPTY, Markup, element, join, words
from cam.report.scene import Scene, View, draw_scene, style_strokes
from cam.report.strokes import Motion, Stroke

_MOTION_WORDS = {
    Motion.RAPID: "rapid move",
    Motion.ABOVE: "feed move above the sheet",
    Motion.DOWN: "feed move going down (ramp or plunge)",
    Motion.UP: "feed move coming up",
}
_SHAPE_WORDS = {Severity.ERROR: "error", Severity.WARNING: "warning", Severity.NOTE: "note"}


def lay_picture(scene: Scene, *, flags: tuple[Flag, ...], view: View, described: str) -> Markup:
    """Return the figure: the sheet from above, how large it is shown, and the legend.

    Parameters
    ----------
    scene, flags, view
        What to draw, and the part of the sheet's frame to show.
    described
        What the picture shows, in a sentence, for those who do not see it.
    """
    picture = element(
        "svg",
        element("title", words("The sheet seen from above, as the program cuts it"), id="sheet-title"),
        element("desc", words(described), id="sheet-words"),
        *([draw_hatch(unit_mm=view.unit_mm)] if scene.keep_outs else []),
        draw_scene(scene),
        draw_marks(scene, view=view),
        draw_flags(flags, view=view),
        viewBox=view.box,
        role="img",
        aria_labelledby="sheet-title sheet-words",
        xmlns="http://www.w3.org/2000/svg",
    )
    desk = element(
        "div", picture, class_="desk", tabindex="0", role="region", aria_label="Picture, scrolls when enlarged"
    )
    return element(
        "figure",
        desk,
        element("div", _lay_sizes(), lay_legend(scene, flags=flags), class_="controls"),
        class_="board",
    )


def _lay_sizes() -> Markup:
    choices = []
    for times, label in ((1, "whole sheet"), (2, "2 times"), (4, "4 times")):
        button = element("input", type="radio", name="size", id=f"size-{times}", checked=times == 1)
        choices.append(element("label", button, words(f" {label}")))
    return element("fieldset", element("legend", words("Size of the picture")), *choices, class_="sizes")


def lay_legend(scene: Scene, *, flags: tuple[Flag, ...]) -> Markup:
    """Return the legend; each kind of path has a box that shows or hides it."""
    keys = [
        _switch_key(style.split()[-1], _on_ground(stroke, style), name_stroke(stroke))
        for stroke, style in style_strokes(scene.strokes)
    ]
    kerf = element("path", d="M8 10H52", class_="kerf kerf-through", stroke_width=12.0)
    keys.append(_switch_key("kerf", kerf, "kerf through the sheet, true width"))
    part = element("path", d="M8 10H52", class_="kerf kerf-part", stroke_width=12.0)
    rungs = element("path", d="M8 10H52", class_="kerf kerf-rungs", stroke_width=8.4)
    keys.append(_plain_key(join((part, rungs)), "kerf that leaves material beneath, true width"))
    keys.append(_plain_key(element("rect", x=6.0, y=2.0, width=46.0, height=16.0, class_="panel"), "panel"))
    keys.append(_plain_key(element("rect", x=6.0, y=2.0, width=46.0, height=16.0, class_="sheet"), "rest of the sheet"))
    keys.append(_plain_key(element("path", d="M4 10H56", class_="edge"), "wanted edge of a panel"))
    if any(placement.panel.recesses for placement in scene.layout.placements):
        keys.append(
            _plain_key(element("path", d="M4 4H56V16H4Z", class_="recess"), "wanted edge of a recess or groove")
        )
    if scene.bridges:
        bow = element("path", d="M20 3V17L40 3V17Z", class_="bridge")
        keys.append(_plain_key(bow, f"bridge kept ({len(scene.bridges)})"))
    if scene.corners:
        ring = element("circle", cx=30.0, cy=10.0, r=7.0, class_="corner")
        keys.append(_plain_key(ring, f"corner opened to the rule's radius, C1 to C{len(scene.corners)}"))
    if scene.keep_outs:
        keys.append(_plain_key(draw_swatch(), f"clamp, screw or stop to keep out of ({len(scene.keep_outs)})"))
    for severity in Severity:
        if any(flag.finding.severity is severity for flag in flags):
            shape = element("g", draw_shape(severity, x=30.0, y=10.0, size=6.0), class_=severity)
            keys.append(_plain_key(shape, f"finding: {_SHAPE_WORDS[severity]}"))
    return element("fieldset", element("legend", words("Legend")), element("div", *keys, class_="keys"))


def name_stroke(stroke: Stroke) -> str:
    """Return what a stroke is, in words."""
    if stroke.motion is Motion.LEVEL:
        low, high = f"{stroke.min_z_mm:.2f}", f"{stroke.max_z_mm:.2f}"
        heights = f"{low} mm" if low == high else f"{low} to {high} mm"
        return f"level cut, {heights} above the bed"
    if stroke.motion is Motion.THROUGH:
        return f"cut at full depth, {max(0.0, -stroke.min_z_mm):.2f} mm into the bed"
    return _MOTION_WORDS[stroke.motion]


def _on_ground(stroke: Stroke, style: str) -> Markup:
    cutting = stroke.motion in {Motion.DOWN, Motion.UP, Motion.LEVEL, Motion.THROUGH}
    ground = element("path", d="M8 10H52", class_="kerf kerf-through", stroke_width=14.0) if cutting else EMPTY
    return join((ground, element("path", d="M4 10H56", class_=style)), by="")


def _swatch(drawing: Markup) -> Markup:
    return element("svg", drawing, class_="swatch", viewBox="0 0 60 20", aria_hidden="true")


def _switch_key(shown: str, drawing: Markup, text: str) -> Markup:
    """Return a line of the legend whose box shows or hides what it names (page.css does it)."""
    box = element("input", type="checkbox", id=f"show-{shown}", checked=True)
    return element("label", box, _swatch(drawing), element("span", words(text)))


def _plain_key(drawing: Markup, text: str) -> Markup:
    return element("div", _swatch(drawing), element("span", words(text)), class_="plain")
