"""
Everything that is written: one module for each file of a plan folder.

Each module has ``write(plan, site, folder, audit)``; the audit is ``None`` for a file that does not
state the verdict. One of ``IN_PARTS`` has ``write_part`` as well. Nothing heavy is imported here;
whoever writes a plan imports the modules one by one.
"""

#: File written, and the module that writes it, in the order of writing.
EXPORTS: tuple[tuple[str, str], ...] = (
    ("plan.gpkg", "geoplan.exports.gis_files"),
    ("plan.json", "geoplan.exports.plan_json"),
    ("certificate.tif", "geoplan.exports.certificates"),
    ("map.html", "geoplan.exports.web_map"),
    ("cover.csv", "geoplan.exports.cover_sheet"),
    ("effect.csv", "geoplan.exports.effect_sheet"),
    ("allocation.csv", "geoplan.exports.allocation_sheet"),
    ("district.html", "geoplan.exports.district_page"),
    ("logistics.csv", "geoplan.exports.logistics_sheet"),
    ("rafts_afloat.csv", "geoplan.exports.raft_sheet"),
    ("launch.csv", "geoplan.exports.launch_sheet"),
    ("moorings.csv", "geoplan.exports.mooring_sheet"),
    ("materials.csv", "geoplan.exports.material_sheet"),
    ("setting_out.csv", "geoplan.exports.setting_out"),
    ("setting_out.gpx", "geoplan.exports.handheld_file"),
    ("setting_out.dxf", "geoplan.exports.drawing_file"),
    ("stage_area_volume.csv", "geoplan.exports.stage_table"),
    ("level_history.csv", "geoplan.exports.level_history"),
    ("levels.html", "geoplan.exports.level_page"),
    ("inspection.html", "geoplan.exports.inspection"),
    ("report.pdf", "geoplan.exports.report.as_pdf"),
    ("report.html", "geoplan.exports.report.as_html"),
    ("inspection.csv", "geoplan.exports.inspection_table"),
)

#: Files that state the verdict; every other is written before there is one.
WITH_VERDICT = frozenset(
    {"plan.gpkg", "plan.json", "map.html", "district.html", "report.pdf", "report.html"}
)

#: The plan of record: written first, judged, and given the verdict.
RECORD = "plan.gpkg"

#: Files that need what only the whole plan tells, such as the days of the crew; every other that
#: states no verdict is written water body by water body, while the next are planned.
NEEDS_ALL = frozenset({"logistics.csv", "launch.csv"})

#: Files that may be written in parts, side by side.
IN_PARTS = frozenset({"map.html"})
