"""A new site folder: a commented site.toml and what to put beside it."""

from pathlib import Path

from geoplan.errors import ExportError

_TEMPLATE = """\
# A site for geoplan. Lengths in metres; heights above the vertical datum, positive up.
# A key may end in _ft, _in, _ac or _cfs instead; it is converted when read.
name = "{name}"
# crs = "EPSG:25832"          # of files that state none, and of plan.gpkg
# vertical_datum = "DVR90"    # name of the datum of every level and bed elevation

[levels]                      # take them from the site's own gauge or benchmark
low_m = 0.0                   # lowest level in an ordinary year
normal_m = 0.0                # level of the normal pool
high_m = 0.0                  # highest level in an ordinary year
# record = "levels.csv"       # instead: a record with columns time and level_m

[survey]
# date = 2026-05-14
# method = "pole and tape"
# sigma_m = 0.05              # one standard deviation of a sounding

[[raft]]                      # one table for each kind of raft in the yard
name = "four by two"
length_m = 4.0                # the longer side
width_m = 2.4
draft_m = 0.20                # fully planted and wet; or leave it out and add [raft.build]
root_depth_m = 0.8            # below the hull, when grown
# stock = 12                  # none given: as many as wanted
# cost = 450.0

# Everything below has a default; remove the # to change one.
# [cover]
# max_pct = 20.0              # of the normal pool
# also_at_m = [12.2]          # further levels at which cover is stated
# [clearances]
# root_m = 0.3                # roots to bed at low level
# bank_m = 2.0
# gap_m = 1.0
# outlet_m = 5.0
# [heading]
# along = "free"              # or "flow", "wind" (with from_deg in [wind]) or "bank"
# [report]
# water_temperature_c = 25.0  # warmest water, for the screening of oxygen
# [[report.credit]]           # your authority's table of credit by cover, row by row
# cover_pct = 10.0
# tn_pct = 0.0
# tp_pct = 0.0
# tss_pct = 0.0
# [bed]
# shear_strength_pa = 10000.0 # by a hand vane; posts and anchors stand in it
# lined = false               # true: nothing may pierce it
# [mooring]
# post = "steel pipe 88.9x5"
# [budget]
# limit = 20000.0

# Beside this file, as GeoJSON, GeoPackage, Shapefile, FlatGeobuf, KML, GML, GPX, DXF or CSV:
#   water      polygon, islands as holes (required): water_id, level_m
#   soundings  points: depth_m below the level of that day, or bed_m above the datum
#   inflows    points on the bank: inflow_id, flow_l_s, peak_flow_l_s, pipe_diameter_m
#   outlets    points or lines: outlet_id, width_m
#   launches   points or lines on the bank: launch_id
#   keep_clear anything: buffer_m, reason
#   marks      pegs on the bank: mark_id
# Then: geoplan check FOLDER
"""


def write_template(folder: Path) -> str:
    """
    Make a site folder with a commented ``site.toml``.

    Parameters
    ----------
    folder : Path
        New or empty folder.

    Returns
    -------
    str
        What to do next, for a person.

    Raises
    ------
    ExportError
        If the folder holds a ``site.toml`` already, or cannot be written.
    """
    target = folder / "site.toml"
    if target.exists():
        raise ExportError(f"{target} is there already; nothing was changed")
    name = "".join(c for c in folder.name if c.isprintable() and c not in '"\\') or "New site"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        target.write_text(_TEMPLATE.format(name=name), encoding="utf-8")
    except OSError as error:
        raise ExportError(f"{target} cannot be written: {error.strerror}") from error
    return f"made {target}: fill in levels and rafts, add the layers it names, then geoplan check"
