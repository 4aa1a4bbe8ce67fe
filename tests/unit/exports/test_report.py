"""The report: whole, tagged, the same every time, and what a site says stays text."""

import csv
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
import shapely

from geoplan.exports import cover_sheet, report
from geoplan.exports.report import as_html, as_pdf, record
from geoplan.exports.report.as_pdf import pdf_of
from geoplan.exports.report.content import Grid, Heading, Report, Text
from geoplan.exports.report.drawing import plan_drawing
from geoplan.exports.report.paper import paper_for
from tests.unit.exports import small_plan as small

#: What a regulator asks for, and the section that answers.
ASKED = (
    "Summary",
    "Site, survey and datum",
    "Plan drawings",
    "Raft schedule",
    "Surface cover",
    "Effect on what flows through",
    "Storage, conveyance and loose rafts",
    "Moorings, for the engineer to check and sign",
    "Launching and safety",
    "Monitoring and upkeep",
    "Consents",
    "Assumptions and defaults",
    "Uncertainty",
    "Audit",
    "Provenance",
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("report")
    for module in (as_pdf, as_html):
        module.write(small.plan(), small.site(), out, small.audit())
    cover_sheet.write(small.plan(), small.site(), out, small.audit())
    return out


def pdf_text(path: Path) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext")
    shown = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, check=True
    )
    return shown.stdout.decode()


def test_every_section_is_there() -> None:
    blocks = report.report_of(small.plan(), small.site(), small.audit()).blocks
    sections = tuple(b.text for b in blocks if isinstance(b, Heading) and b.level == 1)
    assert sections == ASKED


def test_the_same_bytes_every_time(folder: Path) -> None:
    again = report.report_of(small.plan(), small.site(), small.audit())
    assert pdf_of(again) == (folder / "report.pdf").read_bytes()


def test_it_is_tagged_and_has_a_title(folder: Path) -> None:
    if shutil.which("pdfinfo") is None:
        pytest.skip("no pdfinfo")
    said = subprocess.run(
        ["pdfinfo", str(folder / "report.pdf")], capture_output=True, check=True
    ).stdout.decode()
    assert re.search(r"Tagged:\s+yes", said)
    assert re.search(r"Title:\s+\S", said)
    metadata = (folder / "report.pdf").read_bytes()
    assert b"pdfuaid" in metadata  # says that it conforms to PDF/UA; typst refuses where not


def test_figures_are_those_of_cover_csv(folder: Path) -> None:
    with (folder / "cover.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["water_id"] != "total"]
    text = pdf_text(folder / "report.pdf")
    assert len(rows) >= 6
    for row in rows:
        # A row of the report has level, height, raft and water area and cover in this order.
        area, water = (row[name] for name in ("raft_area_m2", "water_area_m2"))
        wanted = r"\s+".join(
            re.escape(part)
            for part in (
                row["level_name"], f"{float(row['level_m']):.2f}", area, water, row["cover_pct"],
            )
        )  # fmt: skip
        assert re.search(wanted, text), row


def test_hostile_names_are_text(folder: Path) -> None:
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "<img" not in page
    assert "default-src 'none'" in page
    text = pdf_text(folder / "report.pdf")
    assert "{{ 7*7 }}" in text
    assert "<img src=x" in text


def test_markup_of_the_setter_is_only_shown() -> None:
    text = "#panic() $x$ *a* _b_ [c] @d <e> \\ `f`"
    shown = pdf_of(Report("T", (Heading("H"), Text(text), Grid("c", ("a",), ((text,),), (False,)))))
    assert shown.startswith(b"%PDF")


def test_a_character_without_a_glyph_is_shown_by_its_number(tmp_path: Path) -> None:
    path = tmp_path / "r.pdf"
    path.write_bytes(pdf_of(Report("池", (Heading("H"), Text("池 and ≥ and ²")))))
    assert "[U+6C60] and ≥ and ²" in pdf_text(path)


def test_the_drawing_is_to_scale() -> None:
    """Two rafts are as far apart on paper as on the ground, over the scale."""
    plan, site = small.plan(), small.site()
    water = next(one for one in plan.waters if len(one.rafts) > 2)
    drawing = plan_drawing(water, site, plan.client_crs)
    scale = int(re.search(r"1:([\d,]+)", drawing.caption)[1].replace(",", ""))
    found = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', drawing.svg)
    assert float(found[1]) == pytest.approx(drawing.width_mm, abs=0.006)
    paths = re.findall(r'd="M([^Z"]+)Z" fill="#2f6b4a" stroke="#1d1d1d"', drawing.svg)
    centres = []
    for path in paths:
        numbers = [float(one) for one in re.findall(r"-?[\d.]+", path)]
        centres.append(
            shapely.Polygon(list(zip(numbers[::2], numbers[1::2], strict=True))).centroid
        )
    planned = [raft for raft in water.rafts if raft.status == "planned"]
    assert len(centres) == len(planned) >= 2
    ground = shapely.Point(planned[0].easting_m, planned[0].northing_m).distance(
        shapely.Point(planned[1].easting_m, planned[1].northing_m)
    )
    apart = centres[0].distance(centres[1])
    # The CRS of the plan has a scale of its own, up to 4 parts in ten thousand.
    assert apart * scale / 1000 == pytest.approx(ground, rel=1e-3, abs=0.01 * scale / 1000)


@pytest.mark.parametrize("size", [(30, 20), (400, 300), (900, 120), (5000, 7000)])
def test_paper_takes_the_largest_scale_that_fits(size: tuple[float, float]) -> None:
    paper = paper_for((0.0, 0.0, *size))
    assert paper.width_mm <= 154.0
    assert paper.height_mm <= 166.0
    assert size[0] * 1000 / paper.scale == pytest.approx(paper.width_mm)


def test_a_plan_without_an_audit_or_a_raft_still_reports(tmp_path: Path) -> None:
    plan = small.plan()
    bare = replace(
        plan, waters=tuple(replace(w, rafts=(), moorings=(), routes=()) for w in plan.waters)
    )
    for module in (as_pdf, as_html):
        module.write(bare, small.site(), tmp_path, None)
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "has not been audited" in page
    assert "No raft is planned." in page


def test_a_large_district_is_named_in_full_and_shown_in_part() -> None:
    plan, site = small.plan(), small.site()
    water, body = plan.waters[1], site.water_bodies[1]
    names = [f"pond {number:03d}" for number in range(60)]
    many = replace(plan, waters=tuple(replace(water, water_id=name) for name in names))
    bodies = tuple(replace(body, water_id=name) for name in names)
    blocks = report.report_of(many, replace(site, water_bodies=bodies), None).blocks
    tables = {block.caption: block.rows for block in blocks if isinstance(block, Grid)}
    summary = next(
        rows for caption, rows in tables.items() if caption.startswith("What is planned")
    )
    assert [row[0].split(" (")[0] for row in summary] == names
    cover = tables["Cover by water body and level"]
    assert {row[0].split(" (")[0] for row in cover} == set(names[:40])
    assert any(
        "the tables below show the first 40" in b.text for b in blocks if isinstance(b, Text)
    )
    assert not any("the tables below show" in b.text for b in
                   report.report_of(plan, site, None).blocks if isinstance(b, Text))  # fmt: skip


def test_failures_beyond_four_hundred_are_counted() -> None:
    passed = small.audit().findings
    failed = replace(next(one for one in passed if one.passed), passed=False)
    judged = replace(small.audit(), findings=(*passed, *(failed,) * 401))
    already = sum(not one.passed for one in passed)
    blocks = list(record.findings(judged))
    table = next(b for b in blocks if isinstance(b, Grid) and b.caption == "Checks that FAIL")
    assert len(table.rows) == 400
    words = [block.text for block in blocks if isinstance(block, Text)]
    assert f"{already + 1} more that FAIL stand in plan.gpkg, layer findings." in words
