"""The page: one file, well formed, offline, every finding at its place, the same bytes every time."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from cam.backplot.clock import time_trace
from cam.findings import Origin, error
from cam.geometry.measure import contains_point
from cam.report.flags import find_flags
from cam.report.marks import find_label_point
from cam.report.page import write_page
from cam.report.scene import View, find_scene, find_view
from cam.report.verdict import CornersAsCut, Deviation, Verdict
from cam.tables.job import Face, KeepOut

VOID = {"meta", "input", "br", "hr", "link"}


class Balance(HTMLParser):
    """Checks that every element is closed in order, and gathers ids, links and words."""

    def __init__(self):
        super().__init__()
        self.open, self.ids, self.links, self.tags, self.words = [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.take(tag, dict(attrs))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.take(tag, dict(attrs))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)

    def take(self, tag, attrs):
        self.tags.append((tag, attrs))
        if "id" in attrs:
            self.ids.append(attrs["id"])
        if "href" in attrs:
            self.links.append(attrs["href"])


def read_page(page: str) -> Balance:
    parser = Balance()
    parser.feed(page)
    assert parser.open == []
    return parser


@pytest.fixture(scope="module")
def arguments(trace, timing, layout, faulty, tables, machine, plan_rows):
    return {
        "title": "Kitchen <wall> & hob", "program": "kitchen.ngc", "trace": trace, "timing": timing, "layout": layout,
        "verdict": faulty, "tables": tables, "machine": machine, "plan_rows": plan_rows,
    }  # fmt: skip


@pytest.fixture(scope="module")
def page(arguments):
    return write_page(**arguments)


def find_row(page: str, row_id: str) -> str:
    return re.search(rf'<tr id="{row_id}">(.*?)</tr>', page, re.DOTALL)[1]


def test_the_page_is_well_formed_and_its_links_lead_somewhere(page):
    parser = read_page(page)
    assert len(set(parser.ids)) == len(parser.ids)
    assert parser.links
    assert all(link.startswith("#") and link[1:] in parser.ids for link in parser.links)
    for svg in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        ET.fromstring(svg)


def test_the_page_asks_for_nothing(page):
    parser = read_page(page)
    assert not {"script", "link", "img", "iframe", "object", "base"} & {tag for tag, _ in parser.tags}
    assert not any(key.startswith("on") or key == "src" for _, attrs in parser.tags for key in attrs)
    assert set(re.findall(r"https?://[^\"' )]*", page)) == {"http://www.w3.org/2000/svg"}
    assert "url(" not in page
    assert "@import" not in page
    assert "Content-Security-Policy" in page


def test_same_inputs_same_bytes(arguments, page):
    assert write_page(**arguments) == page


def test_no_folder_of_this_machine_is_named(page):
    assert "/home/nobody" not in page
    assert "hob wall.ngc" in page


def test_the_page_is_small(page, trace):
    assert len(page) < 60_000
    assert len(trace) > 150


def test_pictures_are_named_for_those_who_do_not_see_them(page):
    parser = read_page(page)
    shown = [attrs for tag, attrs in parser.tags if tag == "svg" and attrs.get("aria-hidden") != "true"]
    assert len(shown) > 4
    for attrs in shown:
        assert attrs["role"] == "img"
        assert all(each in parser.ids for each in attrs["aria-labelledby"].split())


def test_tables_have_captions_and_headings_and_the_levels_are_in_order(page):
    parser = read_page(page)
    tags = [tag for tag, _ in parser.tags]
    assert tags.count("table") == tags.count("caption") == 6
    assert tags.count("h1") == 1
    assert next(tag for tag in tags if tag in {"h1", "h2", "h3"}) == "h1"
    assert ("html", {"lang": "en"}) in parser.tags


def test_scrolling_boxes_can_be_reached_by_keyboard(page):
    boxes = [attrs for _, attrs in read_page(page).tags if attrs.get("class") in {"scroll", "desk"}]
    assert len(boxes) == 7
    assert all(attrs["tabindex"] == "0" and attrs["role"] == "region" and attrs["aria-label"] for attrs in boxes)


def test_words_from_outside_are_escaped(page):
    assert "<wall>" not in page
    assert "<below>" not in page
    assert "Kitchen &lt;wall&gt; &amp; hob" in page


def test_every_finding_is_in_the_table_and_every_place_in_the_picture(page, faulty):
    parser = read_page(page)
    codes = ["gouge-found", "rapid-in-material", "outside-travel", "tight-corner", "air-off"]
    for number, code in enumerate(codes, start=1):
        assert code in find_row(page, f"finding-{number}")
        assert (f"mark-{number}" in parser.ids) == (code != "air-off")
    assert len(faulty.findings) == len(codes)


def test_a_flag_points_at_its_place(page):
    svg = ET.fromstring(re.search(r"<svg[^>]*sheet-title.*?</svg>", page, re.DOTALL)[0])
    name = {"s": "http://www.w3.org/2000/svg"}
    spot = svg.find(".//s:g[@id='mark-1']/s:circle[@class='spot']", name)
    assert (float(spot.get("cx")), float(spot.get("cy"))) == (610.0, -24.0)  # y is turned over once
    leader = svg.find(".//s:g[@id='mark-1']/s:line", name)
    assert (leader.get("x1"), leader.get("y1")) == (spot.get("cx"), spot.get("cy"))


def test_the_verdict_is_said_with_greatest_deviation_and_bound(page, arguments, proven):
    words = " ".join("".join(read_page(page).words).split())
    assert "Not proven" in words
    assert (
        "Greatest deviation 0.120 mm: deepest gouge 0.120 mm, most material left on a finished wall 0.005 mm" in words
    )
    assert "each known to within 0.003 mm" in words
    assert "Do not run this program. Findings: 3 errors, 1 warning, 1 note." in words
    good = " ".join("".join(read_page(write_page(**{**arguments, "verdict": proven})).words).split())
    assert "Proven" in good
    assert "Greatest deviation 0.005 mm" in good
    assert "Not proven" not in good
    assert "Do not run" not in good


def test_kerf_is_drawn_at_the_cutters_width(page):
    widths = [attrs["stroke-width"] for _, attrs in read_page(page).tags if "kerf-through" in attrs.get("class", "")]
    assert widths[0] == "6"


def test_a_cutter_that_no_row_describes_is_drawn_as_a_line_and_said(arguments, tables):
    page = write_page(**{**arguments, "tables": replace(tables, cutters=())})
    assert "kerf-through kerf-unknown" in page
    assert "not in the table of cutters" in page


def test_kinds_of_paths_differ_by_more_than_colour(page):
    style = page[page.index("<style>") : page.index("</style>")]
    kinds = ("rapid", "above", "through", "up", "down")
    looks = set()
    for kind in kinds:
        rule = re.search(rf"^\.{kind} {{(.*)}}$", style, re.MULTILINE)[1]
        looks.add(re.sub(r"stroke: var\(--[a-z]+\);", "", rule))
    assert len(looks) == len(kinds)
    for kind in ("rapid move", "feed move above the sheet", "level cut, 3.20 mm above the bed", "cut at full depth"):
        assert kind in page


def test_legend_boxes_have_rules_that_hide_what_they_name(page):
    boxes = [attrs["id"] for _, attrs in read_page(page).tags if attrs.get("type") == "checkbox"]
    assert "show-rapid" in boxes
    for box in boxes:
        assert f"body:has(#{box}:not(:checked)) .scene .{box.removeprefix('show-')}" in page
        assert re.search(rf'class="[^"]*\b{box.removeprefix("show-")}', page)


def test_a_perfect_first_sheet_without_plan_or_corners_leaves_those_sections_out(arguments, layout, proven):
    placement = replace(layout.placements[0], panel=replace(layout.placements[0].panel, rounded=()))
    bare = replace(layout, placements=(placement,))
    page = write_page(**{**arguments, "layout": bare, "verdict": proven, "plan_rows": ()})
    parser = read_page(page)
    assert not {"plan", "corners", "close-ups"} & set(parser.ids)
    assert "Nothing was found" in page


def test_numbers_that_are_not_finite_do_not_reach_the_picture(arguments, faulty):
    odd = error("odd-place", "nowhere", remedy="none", origin=Origin(x_mm=float("nan"), y_mm=float("inf")))
    verdict = Verdict(
        findings=(odd,),
        deviation=Deviation(gouge_max_mm=float("inf"), uncut_max_mm=0.0, bound_mm=0.003),
        corners=CornersAsCut(count=0, rounded=0, min_radius_mm=float("inf")),
    )
    page = write_page(**{**arguments, "verdict": verdict})
    for svg in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        assert "nan" not in re.sub(r"<(title|desc).*?</\1>", "", svg)
        assert "inf" not in re.sub(r"<(title|desc).*?</\1>", "", svg)
    assert "Greatest deviation <strong>unknown</strong>" in page
    assert "mark-1" not in read_page(page).ids


def test_an_empty_trace_still_makes_a_page(arguments, empty_trace, machine):
    timing = time_trace(empty_trace, machine=machine)
    read_page(write_page(**{**arguments, "trace": empty_trace, "timing": timing}))


def test_flags_do_not_cover_each_other():
    view = View(min_x_mm=0.0, min_y_mm=0.0, max_x_mm=1000.0, max_y_mm=600.0)
    findings = tuple(
        error("gouge-found", "gouge", remedy="look", origin=Origin(x_mm=500.0 + i, y_mm=300.0)) for i in range(12)
    )
    flags = find_flags(findings, view=view)
    spots = np.array([flag.flag_mm for flag in flags])
    apart = np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1)) + 1e9 * np.eye(len(spots))
    assert apart.min() > 3.0 * view.unit_mm
    assert [flag.number for flag in flags] == list(range(1, 13))


def test_the_view_holds_the_sheet_and_moves_a_little_outside(layout, trace):
    view = find_view(layout, trace=trace)
    assert view.contains(0.0, 0.0)
    assert view.contains(1250.0, 650.0)
    far = replace(trace, end_mm=trace.end_mm + 1e6)
    assert find_view(layout, trace=far).max_x_mm < 1700.0


def test_marked_corners_lie_where_the_layout_puts_them(layout, trace, cutter):
    turned = replace(layout.placements[0], turn_deg=90.0, by_mm=(640.0, 20.0))
    scene = find_scene(trace, layout=replace(layout, placements=(turned,)), cutters=(cutter,), bed_z_mm=0.0)
    assert (scene.corners[0].x_mm, scene.corners[0].y_mm) == pytest.approx((640.0 - 420.0, 20.0 + 760.0))


def test_a_panel_that_lies_face_down_is_said_to(arguments, layout):
    down = replace(layout.placements[0], face=Face.DOWN, by_mm=(1225.0, 25.0))
    page = write_page(**{**arguments, "layout": replace(layout, placements=(down,))})
    assert page.count("hob wall, face down: cut mirrored") == 2
    scene = find_scene(
        arguments["trace"], layout=replace(layout, placements=(down,)), cutters=(), bed_z_mm=0.0
    )  # fmt: skip
    assert (scene.corners[0].x_mm, scene.corners[0].y_mm) == pytest.approx((1225.0 - 760.0, 445.0))


def test_clamps_are_hatched_named_and_listed(arguments):
    assert "keep-out" not in re.sub(r"<style>.*?</style>", "", write_page(**arguments), flags=re.DOTALL)
    clamp = KeepOut(at_mm=(40.0, 30.0), size_mm=(60.0, 20.0), height_mm=25.0, name="clamp A", turn_deg=90.0)
    page = write_page(**{**arguments, "keep_outs": (clamp,)})
    read_page(page)
    # turned by 90 degrees it reaches from 30 to 50 and from 0 to 60 mm
    box = re.search(r'<path d="([^"]*)" class="keep-out" fill="url\(#keep-out-hatch\)"', page)
    numbers = [float(each) for each in re.findall(r"-?[0-9.]+", box.group(1))]
    assert {30.0, 50.0, 0.0, 60.0} >= set(numbers)
    # one off the sheet's edge is in view, and so is its name
    off = replace(clamp, at_mm=(-150.0, 30.0))
    view = find_view(arguments["layout"], trace=arguments["trace"], keep_outs=(off,))
    assert view.min_x_mm < -160.0
    label = re.search(r'<text x="([-0-9.]+)"[^>]*>clamp A, 25', write_page(**{**arguments, "keep_outs": (off,)}))
    assert float(label.group(1)) > view.min_x_mm + 5.0 * view.unit_mm
    assert page.count('id="keep-out-hatch"') == 1
    assert ">clamp A, 25 mm high<" in page
    assert "clamp, screw or stop to keep out of (1)" in page
    assert "clamp A: 60 x 20 mm, 25 mm high above the bed, about (40, 30), turned 90 degrees" in page


def test_heights_are_said(arguments):
    page = write_page(**arguments)
    assert "on the bed" in page and "mm into the bed; up to" in page


def test_a_panels_name_stands_on_the_panel(layout, trace, cutter):
    scene = find_scene(trace, layout=layout, cutters=(cutter,), bed_z_mm=0.0)
    point = find_label_point(scene.regions[0])
    assert contains_point(scene.regions[0].outer, point)
    assert not any(contains_point(hole, point) for hole in scene.regions[0].holes)
