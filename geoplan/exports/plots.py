"""
Plots of levels as SVG that stands in a page: no script, no font, no network.

Pure functions: the same numbers give the same text. Each plot says in words what it shows, for
those who do not see it; texts are escaped.
"""

import html
from collections.abc import Iterable, Sequence

import numpy as np

from geoplan.plan import PlacedRaft, RecordReplay, StageCurve
from geoplan.site import FloatArray, Levels
from geoplan.water.record import gaps, time_text

_WIDTH, _HEIGHT = 720.0, 360.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 64.0, 20.0, 44.0, 44.0
#: Columns in which a long line is drawn by its least and greatest value.
_COLUMNS = 700
_BLUE, _BROWN, _GREY, _GREEN = "#1f5f99", "#8a4b08", "#666666", "#2a7d2a"


def stage_plot(curve: StageCurve, levels: Levels, rafts: Sequence[PlacedRaft], title: str) -> str:
    """
    Return the plot of area and volume by level, with the bed under each planned raft.

    Parameters
    ----------
    curve : StageCurve
        Area and volume by level.
    levels : Levels
        Low, normal and high level.
    rafts : sequence of PlacedRaft
        Rafts of the plan; a planned one is marked at the highest bed under it that is relied on.
    title : str
        Any text.

    Returns
    -------
    str
        An ``svg`` element.
    """
    beds = [levels.low_m - raft.depth_low_m for raft in rafts if raft.status == "planned"]
    lowest, highest = float(curve.level_m[0]), float(curve.level_m[-1])
    area, volume = float(curve.area_m2.max()), float(curve.volume_m3.max())
    words = (
        f"Level from {lowest:.2f} to {highest:.2f} m. Area grows to {area:.0f} m² and volume to"
        f" {volume:.0f} m³. Low, normal and high level are {levels.low_m:.2f},"
        f" {levels.normal_m:.2f} and {levels.high_m:.2f} m."
    )
    if beds:
        words += (
            f" Beds under {len(beds)} rafts, as relied on, lie between {min(beds):.2f} and"
            f" {max(beds):.2f} m: least depths of {levels.low_m - max(beds):.2f} to"
            f" {levels.low_m - min(beds):.2f} m at low level."
        )
    up = _Axis(lowest, highest, _HEIGHT - _BOTTOM, _TOP)
    by_area = _Axis(0.0, max(area, 1e-9), _LEFT, _WIDTH - _RIGHT)
    by_volume = _Axis(0.0, max(volume, 1e-9), _LEFT, _WIDTH - _RIGHT)
    at_level = up.at(curve.level_m)
    parts = [
        *_level_lines(levels, up),
        *_ticks(by_area, _HEIGHT - _BOTTOM + 16.0, 16.0, "area [m²]", _BLUE),
        *_ticks(by_volume, _TOP - 6.0, -16.0, "volume [m³]", _BROWN),
        *_ticks_left(up, "level [m]"),
        _line(by_area.at(curve.area_m2), at_level, _BLUE),
        _line(by_volume.at(curve.volume_m3), at_level, _BROWN, dashed=True),
    ]
    for bed_m in sorted(beds):
        at = by_area.at(np.interp([bed_m], curve.level_m, curve.area_m2))[0]
        parts.append(
            f'<circle cx="{at:.1f}" cy="{up.at(np.array([bed_m]))[0]:.1f}" r="4" fill="none"'
            f' stroke="{_GREEN}" stroke-width="1.5"/>'
        )
    return _svg(title, words, parts)


def history_plot(replay: RecordReplay, levels: Levels, max_cover_pct: float, title: str) -> str:
    """
    Return the plot of a record: level above, percent covered below.

    Parameters
    ----------
    replay : RecordReplay
        Levels and cover at each reading.
    levels : Levels
        Low, normal and high level.
    max_cover_pct : float
        Most that may be covered of the normal pool [%].
    title : str
        Any text.

    Returns
    -------
    str
        An ``svg`` element; gaps of the record break the lines.
    """
    first, last = float(replay.time_s[0]), float(replay.time_s[-1])
    low, high = float(replay.level_m.min()), float(replay.level_m.max())
    most = float(replay.cover_pct.max())
    words = (
        f"{len(replay.time_s)} readings from {time_text(first)} to {time_text(last)}: level from"
        f" {low:.2f} to {high:.2f} m, below the low level for {replay.below_low_pct:.1f} % and"
        f" above the high level for {replay.above_high_pct:.1f} % of the time. Rafts cover from"
        f" {float(replay.cover_pct.min()):.2f} to {most:.2f} % of the water; {max_cover_pct:g} %"
        " of the normal pool is allowed."
    )
    along = _Axis(first, last, _LEFT, _WIDTH - _RIGHT)
    middle = _HEIGHT / 2.0
    up = _Axis(min(low, levels.low_m), max(high, levels.high_m), middle - 4.0, _TOP - 16.0)
    covered = _Axis(0.0, max(most, max_cover_pct) * 1.05, _HEIGHT - _BOTTOM, middle + 16.0)
    limit = covered.at(np.array([max_cover_pct]))[0]
    breaks = np.flatnonzero(gaps(replay.time_s)) + 1
    parts = [
        *_level_lines(levels, up),
        *_ticks_left(up, "level [m]", 3),
        *_ticks_left(covered, "cover [%]", 3),
        _across(limit, "stroke-dasharray", "2 3"),
        *_dates(along),
    ]
    for axis, values, colour in ((up, replay.level_m, _BLUE), (covered, replay.cover_pct, _GREEN)):
        for times, run in zip(
            np.split(replay.time_s, breaks), np.split(values, breaks), strict=True
        ):
            kept = _kept(run)
            parts.append(_line(along.at(times[kept]), axis.at(run[kept]), colour))
    return _svg(title, words, parts)


class _Axis:
    """From values to places on the drawing."""

    def __init__(self, least: float, most: float, start: float, end: float) -> None:
        self.least, self.most = least, most if most > least else least + 1.0
        self.start, self.end = start, end

    def at(self, values: FloatArray) -> FloatArray:
        """Return places along the axis."""
        share = (np.asarray(values, float) - self.least) / (self.most - self.least)
        return self.start + share * (self.end - self.start)

    def round_values(self, count: int) -> list[float]:
        """Return about as many round values within the axis."""
        raw = (self.most - self.least) / count
        power = 10.0 ** np.floor(np.log10(raw))
        step = power * next(step for step in (1.0, 2.0, 5.0, 10.0) if step * power >= raw * 0.999)
        first = np.ceil(self.least / step - 1e-9)
        last = np.floor(self.most / step + 1e-9)
        return [float(k * step) + 0.0 for k in np.arange(first, last + 1)]  # no -0


def _svg(title: str, words: str, parts: Iterable[str]) -> str:
    """Return the drawing with its title and its words."""
    safe_title, safe_words = html.escape(title), html.escape(words)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img"'
        f' aria-label="{safe_title}. {safe_words}" font-size="12" font-family="sans-serif">'
    )
    told = (f"<title>{safe_title}</title>", f"<desc>{safe_words}</desc>")
    return "\n".join([head, *told, *parts, "</svg>"])


def _line(across: FloatArray, down: FloatArray, colour: str, *, dashed: bool = False) -> str:
    """Return a line through points of the drawing."""
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(across, down, strict=True))
    dash = ' stroke-dasharray="6 3"' if dashed else ""
    return f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="1.5"{dash}/>'


def _text(across: float, down: float, words: str, anchor: str = "start", fill: str = "#222") -> str:
    """Return words on the drawing."""
    return (
        f'<text x="{across:.1f}" y="{down:.1f}" text-anchor="{anchor}" fill="{fill}">'
        f"{html.escape(words)}</text>"
    )


def _across(down: float, attribute: str, value: str) -> str:
    """Return a thin line across the drawing."""
    return (
        f'<path d="M{_LEFT:.1f} {down:.1f}H{_WIDTH - _RIGHT:.1f}" stroke="{_GREY}" fill="none"'
        f' {attribute}="{value}"/>'
    )


def _level_lines(levels: Levels, up: _Axis) -> list[str]:
    """Return a thin line for each of the three levels."""
    out = []
    for name, level_m in levels.named():
        at = up.at(np.array([level_m]))[0]
        out.append(_across(at, "stroke-width", "0.5"))
        out.append(_text(_WIDTH - _RIGHT, at - 2.0, name, "end", _GREY))
    return out


def _ticks_left(up: _Axis, label: str, count: int = 6) -> list[str]:
    """Return the numbers of an axis on the left, its label above it."""
    out = [_text(4.0, up.end - 6.0, label)]
    out += [
        _text(_LEFT - 6.0, up.at(np.array([value]))[0] + 4.0, f"{value:.6g}", "end")
        for value in up.round_values(count)
    ]
    return out


def _ticks(along: _Axis, down: float, farther: float, label: str, colour: str) -> list[str]:
    """Return the numbers of an axis from left to right, and its label farther up or down."""
    out = [_text(along.end, down + farther, label, "end", colour)]
    for value in along.round_values(5):
        at = along.at(np.array([value]))[0]
        out.append(_text(at, down, f"{value:.6g}", "middle", colour))
    return out


def _dates(along: _Axis) -> list[str]:
    """Return first, middle and last day of a record."""
    out = []
    for share, anchor in ((0.0, "start"), (0.5, "middle"), (1.0, "end")):
        day = np.floor((along.least + share * (along.most - along.least)) / 86400.0) * 86400.0
        across = along.start + share * (along.end - along.start)
        out.append(_text(across, _HEIGHT - _BOTTOM + 18.0, time_text(float(day)), anchor))
    return out


def _kept(values: FloatArray) -> list[int]:
    """Return the readings that a long line is drawn by: least and greatest of each column."""
    if len(values) <= 2 * _COLUMNS:
        return list(range(len(values)))
    kept: set[int] = {0, len(values) - 1}
    for part in np.array_split(np.arange(len(values)), _COLUMNS):
        kept.update((int(part[values[part].argmin()]), int(part[values[part].argmax()])))
    return sorted(kept)
