"""Texts of a site are shown on the district's page and in its table, and never obeyed."""

import csv
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

from geoplan.district import Allocation, LimitUse, Logistics, Visit, WaterShare
from geoplan.exports import allocation_sheet, district_page, district_table, logistics_sheet
from geoplan.plan import Plan, WaterFailure
from tests.unit.exports import small_plan

HOSTILE = "=1+1</title><script>alert(1)</script>"


def small() -> tuple[Plan, object]:
    plan, site = small_plan.plan(), small_plan.site()
    share = WaterShare(
        HOSTILE, HOSTILE, "may", ((HOSTILE, 2),), 19.2, 4.0, 900.0, 2.0, 2.5, 3.0, 0.4, HOSTILE,
        9.0, 56.0,
    )  # fmt: skip
    none = replace(
        share, water_id="b", counts=(), worth=0.0, most_worth=0.0, longitude_deg=9.01, why="no room"
    )
    limits = (LimitUse(HOSTILE, "stock", None, 2.0, 2.0, 0.4),)
    visit = Visit(1, 1, 0.05, 1, HOSTILE, ((HOSTILE, 2),), 1200.0, 0.05, 4.0)
    made = replace(
        plan,
        allocation=Allocation("g", 2.0, 2.0, 2.5, (share, none), limits),
        logistics=Logistics((visit,), 2400.0, 2400.0, 1),
        failures=(WaterFailure("c", HOSTILE),),
    )
    return made, site


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.seen.append(tag)


def test_hostile_names_are_text(tmp_path: Path) -> None:
    plan, site = small()
    district_page.write(plan, site, tmp_path, None)  # type: ignore[arg-type]
    page = (tmp_path / "district.html").read_text(encoding="utf-8")
    tags = Tags()
    tags.feed(page)
    assert tags.seen.count("script") == 1  # our own
    assert tags.seen.count("circle") == 3  # room and what it gets, and a ring for none
    assert "alert(1)" in page


def test_tables_hold_no_formula(tmp_path: Path) -> None:
    plan, site = small()
    for module in (allocation_sheet, logistics_sheet):
        module.write(plan, site, tmp_path, None)  # type: ignore[arg-type]
        with (tmp_path / module.FILE_NAME).open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.reader(file))
        assert len(rows) > 1
        assert len({len(row) for row in rows}) == 1
        assert not any(cell.startswith("=") for row in rows for cell in row)


def test_a_lone_water_body_has_headers_and_words(tmp_path: Path) -> None:
    plan, site = small_plan.plan(), small_plan.site()
    for module in (allocation_sheet, logistics_sheet, district_page):
        module.write(plan, site, tmp_path, None)
    assert (tmp_path / "allocation.csv").read_bytes().count(b"\r\n") == 1
    assert (tmp_path / "logistics.csv").read_bytes().count(b"\r\n") == 1
    assert "nothing was shared out" in (tmp_path / "district.html").read_text(encoding="utf-8")


def test_what_was_not_measured_is_relative_and_never_grams(tmp_path: Path) -> None:
    plan, site = small()
    assert plan.allocation is not None
    measured, assumed = plan.allocation.shares
    shares = (measured, replace(assumed, is_relative=True))
    unit = "g TN a day kept from the outlet"
    made = replace(plan, allocation=replace(plan.allocation, unit=unit, shares=shares))
    for module in (allocation_sheet, district_page):
        module.write(made, site, tmp_path, None)  # type: ignore[arg-type]
    with (tmp_path / "allocation.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    column = next(name for name, text in rows[0].items() if text == unit)
    assert [row[column] for row in rows] == [unit, "relative", "relative", "relative"]
    page = (tmp_path / "district.html").read_text(encoding="utf-8")
    assert (
        page.count(f">{unit}<") == page.count(unit) == 1
    )  # of the water body that was measured, and of no sum with others
    assert page.count(">relative<") == 1
    assert "no sum with it is in grams" in page
    measured_alone = replace(plan.allocation, unit=unit, shares=(measured,))
    district_page.write(replace(plan, allocation=measured_alone), site, tmp_path, None)  # type: ignore[arg-type]
    page = (tmp_path / "district.html").read_text(encoding="utf-8")
    assert "relative" not in page.partition("<script>")[0].partition("</style>")[2]
    assert page.count(unit) > 1


def test_worths_are_told_without_an_exponent_and_never_above_what_they_are() -> None:
    for value in (987654.0, 1234.5, 0.999, 0.0123456, -0.5551):
        text = district_table.figure(value)
        assert "e" not in text
        assert float(text) <= value
        assert float(text) >= value - 0.01 * abs(value)  # three digits count


def test_rows_say_what_fails_and_lead_to_the_page_of_the_water_body(tmp_path: Path) -> None:
    plan, site = small()
    assert plan.allocation is not None
    share = replace(plan.allocation.shares[1], water_id="lower")
    made = replace(plan, allocation=replace(plan.allocation, shares=(share,)))
    district_page.write(made, site, tmp_path, small_plan.audit())  # type: ignore[arg-type]
    page = (tmp_path / "district.html").read_text(encoding="utf-8")
    assert 'href="map.html#water=lower"' in page
    assert "1 check fails: bank of raft" in page
    assert "is 1.2 m, limit 2 m" in page
    assert "<td>0.5</td>" in page  # what the site allows to be covered
