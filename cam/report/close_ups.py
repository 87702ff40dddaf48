"""Enlarged windows on the picture: panels that are small on their sheet, findings, changed corners."""

from __future__ import annotations

from cam.geometry.measure import find_bounds_mm
from cam.report.flags import Flag
from cam.report.marks import draw_window_marks
from cam.report.markup import EMPTY, Markup, element, words
from cam.report.scene import PlacedCorner, Scene, View, draw_window, name_panel

_WINDOW_MM = 32.0
_MAX_CLOSE_UPS = 24
_MAX_PANELS = 12
_PANEL_MARGIN_MM = 15.0
# a panel that fills more of the view than this gains little from a window of its own
_LARGE_SHARE = 0.6


def lay_close_ups(scene: Scene, *, view: View, flags: tuple[Flag, ...]) -> Markup:
    """Return windows on small panels, on the places of findings, then on changed corners; empty if there are none.

    ``view`` is that of the whole picture.
    """
    panels = _lay_panels(scene, view=view)
    places: list[Flag | PlacedCorner] = [flag for flag in flags if flag.in_view]
    places += scene.corners
    if not places and not panels:
        return EMPTY
    content = [element("h2", words("Close-ups"), id="close-ups-title")]
    if panels:
        content.append(element("div", *panels, class_="panel-views"))
    if places:
        said = f"Each window below is {_WINDOW_MM:.0f} mm wide."
        if len(places) > _MAX_CLOSE_UPS:
            said += f" The first {_MAX_CLOSE_UPS} of {len(places)} places are shown."
        windows = [_lay_close_up(scene, place) for place in places[:_MAX_CLOSE_UPS]]
        content += [element("p", words(said)), element("div", *windows, class_="close-ups")]
    return element("section", *content, id="close-ups", aria_labelledby="close-ups-title")


def _lay_panels(scene: Scene, *, view: View) -> list[Markup]:
    figures: list[Markup] = []
    for number, (placement, region) in enumerate(zip(scene.layout.placements, scene.regions, strict=True), start=1):
        min_x, min_y, max_x, max_y = find_bounds_mm(region.outer)
        if max(max_x - min_x, max_y - min_y) > _LARGE_SHARE * 100.0 * view.unit_mm or len(figures) == _MAX_PANELS:
            continue
        window = View(
            min_x_mm=min_x - _PANEL_MARGIN_MM,
            min_y_mm=min_y - _PANEL_MARGIN_MM,
            max_x_mm=max_x + _PANEL_MARGIN_MM,
            max_y_mm=max_y + _PANEL_MARGIN_MM,
        )
        name, title = f"close-panel-{number}", f"Panel {name_panel(placement)}"
        size = f"{max_x - min_x:.2f} by {max_y - min_y:.2f} mm"
        marks = draw_window_marks(scene, view=window)
        drawing = _draw(scene, window=window, name=name, title=title, described=f"{title}, {size}", over=marks)
        caption = element("figcaption", words(f"{title}, {size}"))
        figures.append(element("figure", drawing, caption, id=name, class_="close-up"))
    return figures


def _lay_close_up(scene: Scene, place: Flag | PlacedCorner) -> Markup:
    if isinstance(place, Flag):
        assert place.place_mm is not None
        (x, y), name, back = place.place_mm, f"close-finding-{place.number}", f"finding-{place.number}"
        title = f"Finding {place.number}: {place.finding.code}"
    else:
        x, y, name, back = place.x_mm, place.y_mm, f"close-corner-{place.number}", f"corner-row-{place.number}"
        title = f"Corner C{place.number}: {place.corner.feature} of {place.panel}"
    half = _WINDOW_MM / 2.0
    window = View(min_x_mm=x - half, min_y_mm=y - half, max_x_mm=x + half, max_y_mm=y + half)
    described = f"{_WINDOW_MM:.0f} mm of the sheet round X {x:.2f}, Y {y:.2f} mm, the place ringed"
    ring = element("circle", cx=x, cy=-y, r=half / 6.0, class_="ring")
    drawing = _draw(scene, window=window, name=name, title=title, described=described, over=ring)
    caption = element("figcaption", element("a", words(title), href=f"#{back}"), words(f", at X {x:.2f}, Y {y:.2f} mm"))
    return element("figure", drawing, caption, id=name, class_="close-up")


def _draw(scene: Scene, *, window: View, name: str, title: str, described: str, over: Markup) -> Markup:
    return element(
        "svg",
        element("title", words(title), id=f"{name}-title"),
        element("desc", words(described), id=f"{name}-words"),
        draw_window(scene, view=window, name=f"{name}-kerf"),
        over,
        viewBox=window.box,
        role="img",
        aria_labelledby=f"{name}-title {name}-words",
    )
