"""
What the columns of each layer mean: names, units, limits, and what is required.

Names are matched without regard to case; a unit other than SI in the last part of the name is
converted here, once.
"""

import difflib
import math
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geoplan.readers.fault_log import FaultLog, shown
from geoplan.readers.layer import Layer
from geoplan.units import si_name

FloatArray = NDArray[np.float64]

LONGEST_ID = 80
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_YES = {"true", "yes", "1", "t", "y"}
_NO = {"false", "no", "0", "f", "n"}


@dataclass(frozen=True)
class Column:
    """
    A column that a layer may have.

    Attributes
    ----------
    name : str
        Its name in SI.
    kind : str
        ``number``, ``text``, ``flag`` or ``time``.
    least, most : float
        Limits of a number, in the unit of its name [any].
    is_required : bool
        Whether the layer is of no use without it.
    """

    name: str
    kind: str = "number"
    least: float = -math.inf
    most: float = math.inf
    is_required: bool = False


def _positive(*names: str) -> tuple[Column, ...]:
    """Return columns of numbers that are never negative."""
    return tuple(Column(name, least=0.0) for name in names)


def _text(*names: str) -> tuple[Column, ...]:
    """Return columns of text."""
    return tuple(Column(name, "text") for name in names)


def _identity(name: str) -> Column:
    """Return a column of names that the layer cannot do without."""
    return Column(name, "text", is_required=True)


COLUMNS: dict[str, tuple[Column, ...]] = {
    "water": (
        Column("water_id", "text"),
        *_text("name"),
        Column("level_m"),
        Column("low_m"),
        Column("normal_m"),
        Column("high_m"),
        Column("max_cover_pct", least=0.0, most=100.0),
        Column("min_cover_pct", least=0.0, most=100.0),
        *_positive("mobilisation_cost"),
        *_text("ward", "wanted"),
    ),
    "inflows": (
        _identity("inflow_id"),
        *_positive("flow_l_s", "peak_flow_l_s", "pipe_diameter_m", "catchment_ha"),
        Column("runoff_coefficient", least=0.0, most=1.0),
        *_positive("tn_mg_l", "tp_mg_l", "tss_mg_l", "ecoli_per_100ml"),
    ),
    "outlets": (_identity("outlet_id"), *_positive("width_m"), Column("sill_m")),
    "soundings": (
        Column("depth_m"),
        Column("bed_m"),
        *_positive("sigma_m"),
        Column("time", "time"),
    ),
    "contours": (Column("bed_m"), Column("depth_m")),
    "shade": (
        Column("height_m", least=0.0, is_required=True),
        *_positive("crown_radius_m", "base_m"),
        Column("deciduous", "flag"),
    ),
    "launches": (
        _identity("launch_id"),
        *_positive("slope_pct", "carry_m"),
        *_text("surface", "vehicle"),
    ),
    "keep_clear": (*_positive("buffer_m"), *_text("reason")),
    "marks": (_identity("mark_id"),),
    "rafts": _text("raft_id"),
    "fixes": (
        *_text("raft_id", "item"),
        *_positive("sigma_m"),
        Column("level_m"),
        Column("freeboard_m"),
        *_text("condition", "remarks"),
        Column("time", "time"),
    ),
    "levels": (Column("time", "time", is_required=True), Column("level_m", is_required=True)),
}
#: Formats whose files can hold a name for each feature and nothing else.
_NAME_ONLY = (".kml", ".gpx")


def tidied(layer: Layer, log: FaultLog) -> Layer:
    """
    Return a layer with its known columns under their SI names.

    Parameters
    ----------
    layer : Layer
        As read.
    log : FaultLog
        Takes required columns that are missing, names that look mis-spelt, values that are no
        numbers or outside their limits.

    Returns
    -------
    Layer
        Numbers are floats in SI with NaN for none; text is text, empty for none.
    """
    known = {column.name: column for column in COLUMNS[layer.name]}
    found: dict[str, tuple[str, float, list[Any]]] = {}
    unknown = []
    for name, values in layer.columns.items():
        si, factor = si_name(name.strip().lower())
        if si not in known:
            unknown.append(name)
        elif si in found:
            log.refuse(
                layer.place(),
                f"two columns for one quantity: {shown(found[si][0])} and {shown(name)}",
                f"one column {si}",
                "Delete one of them.",
            )
        else:
            found[si] = (name, factor, values)
    _name_as_identity(layer, known, found, log)
    _say_unknown(layer, known, found, unknown, log)
    columns = {
        si: _column_values(layer, known[si], name, factor, values, log)
        for si, (name, factor, values) in found.items()
    }
    return layer.with_columns(columns)


def numbers(layer: Layer, name: str) -> FloatArray:
    """
    Return a column of numbers of a tidied layer.

    Parameters
    ----------
    layer : Layer
        From ``tidied``.
    name : str
        SI name of the column.

    Returns
    -------
    ndarray of float, shape (n,)
        NaN where there is none [unit of the name].
    """
    return np.array(layer.columns.get(name, [math.nan] * len(layer)), dtype=np.float64)


def number_or_none(layer: Layer, name: str, index: int) -> float | None:
    """
    Return one number of a tidied layer.

    Parameters
    ----------
    layer : Layer
        From ``tidied``.
    name : str
        SI name of the column.
    index : int
        Position of the row.

    Returns
    -------
    float or None
        ``None`` where there is none [unit of the name].
    """
    value = layer.columns[name][index] if name in layer.columns else math.nan
    return None if math.isnan(value) else float(value)


def text_of(layer: Layer, name: str, index: int) -> str:
    """
    Return one text of a tidied layer.

    Parameters
    ----------
    layer : Layer
        From ``tidied``.
    name : str
        Name of the column.
    index : int
        Position of the row.

    Returns
    -------
    str
        Empty where there is none.
    """
    return str(layer.columns[name][index]) if name in layer.columns else ""


def text_number(value: Any) -> float:
    """
    Return a cell as a number, read as strictly as a person would want.

    Parameters
    ----------
    value : Any
        Number or text.

    Returns
    -------
    float
        NaN where it is no number with a decimal point, or not finite [any].

    Examples
    --------
    >>> text_number("4.5"), text_number("4,5"), text_number("1_0")
    (4.5, nan, nan)
    """
    if isinstance(value, str):
        value = value.strip()
        value = float(value) if _NUMBER.fullmatch(value) else math.nan
    if isinstance(value, bool) or not isinstance(value, int | float):
        return math.nan
    try:
        number = float(value)
    except OverflowError:
        return math.nan
    return number if math.isfinite(number) else math.nan


def clean_text(value: Any) -> str:
    r"""
    Return a cell as text without control characters.

    Parameters
    ----------
    value : Any
        Text, number or ``None``.

    Returns
    -------
    str
        A whole number keeps no decimal point, so that 7.0 from one format is 7 from another.

    Examples
    --------
    >>> clean_text(7.0), clean_text("a\x07b")
    ('7', 'ab')
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        value = int(value)
    return "".join(part for part in str(value) if part.isprintable()).strip()


def _name_as_identity(
    layer: Layer,
    known: dict[str, Column],
    found: dict[str, tuple[str, float, list[Any]]],
    log: FaultLog,
) -> None:
    """Let the name of a feature stand for its identity where the format has room for no more."""
    wanted = [name for name, column in known.items() if name.endswith("_id")]
    by_name = {name.lower(): values for name, values in layer.columns.items()}
    if layer.file_format not in _NAME_ONLY or not wanted or wanted[0] in found:
        return
    if any(clean_text(value) for value in by_name.get("name", [])):
        found[wanted[0]] = ("name", 1.0, by_name["name"])
        log.remark(
            layer.place(),
            f"no column {wanted[0]}",
            f"a column {wanted[0]}",
            "The name of each feature is taken for it.",
        )


def _say_unknown(
    layer: Layer,
    known: dict[str, Column],
    found: dict[str, tuple[str, float, list[Any]]],
    unknown: list[str],
    log: FaultLog,
) -> None:
    """Name required columns that are missing, and ignored ones that look mis-spelt."""
    for column in known.values():
        if column.is_required and column.name not in found:
            present = ", ".join(shown(name) for name in layer.columns) or "none"
            log.refuse(
                layer.place(),
                f"no column {column.name} (columns: {present})",
                f"a column {column.name}",
                f"Add it, or rename the column that holds it.{_ten_letters(layer)}",
            )
    missing = [name for name in known if name not in found]
    for name in unknown:
        plain = si_name(name.strip().lower())[0]
        near = difflib.get_close_matches(plain, missing, 1, 0.75)
        cut = [long for long in missing if len(plain) == 10 and long.startswith(plain)]
        if near or cut:
            log.remark(
                layer.place(),
                f"an unknown column {shown(name)}",
                f"the column {(cut or near)[0]}, if that is meant",
                f"It is ignored: correct the name.{_ten_letters(layer)}",
            )


def _ten_letters(layer: Layer) -> str:
    """Return the word of advice that users of Shapefiles need."""
    if layer.file_format != ".shp":
        return ""
    return " A Shapefile cuts names to 10 letters: use a GeoPackage."


def _column_values(
    layer: Layer, column: Column, name: str, factor: float, values: list[Any], log: FaultLog
) -> list[Any]:
    """Return a column's values in SI, with a fault for each that cannot be."""
    if column.kind == "number":
        return _number_values(layer, column, name, factor, values, log)
    if column.kind == "flag":
        return [_flag(layer, index, name, value, log) for index, value in enumerate(values)]
    cleaned = [clean_text(value) for value in values]
    places = [layer.place(i) for i, text in enumerate(cleaned) if len(text) > LONGEST_ID]
    log.refuse_rows(
        places, lambda _: f"a {name} of over {LONGEST_ID} letters", "a shorter text", "Shorten it."
    )
    if column.kind == "text":
        odd = [
            index
            for index, value in enumerate(values)
            if isinstance(value, str) and value.strip() != cleaned[index]
        ]
        for index in odd[:3]:
            log.remark(
                layer.place(index),
                f"control characters in {name} {shown(values[index])}",
                "plain text",
                "They are left out.",
            )
    return cleaned


def _number_values(
    layer: Layer, column: Column, name: str, factor: float, values: list[Any], log: FaultLog
) -> list[Any]:
    """Return a column of numbers in SI, NaN for none, with a fault for each that is none."""
    is_none = [
        value is None or (isinstance(value, float) and math.isnan(value)) or value == ""
        for value in values
    ]
    read = np.array(
        [
            math.nan if none else text_number(value)
            for value, none in zip(values, is_none, strict=True)
        ],
        dtype=np.float64,
    )
    bad = np.flatnonzero(np.isnan(read) & ~np.array(is_none, dtype=bool))
    log.refuse_rows(
        [layer.place(int(index)) for index in bad],
        lambda index: f"{name} {shown(values[bad[index]])}",
        "a finite number with a decimal point, and nothing else",
        "Correct the value; the unit belongs in the column's name.",
    )
    si = read * factor
    outside = np.flatnonzero((si < column.least) | (si > column.most))
    limits = f"at least {column.least:g}"
    if math.isfinite(column.most):
        limits = f"{column.least:g} to {column.most:g}"
    log.refuse_rows(
        [layer.place(int(index)) for index in outside],
        lambda index: f"{name} {shown(values[outside[index]])}",
        limits,
        "Correct the value, or its unit.",
    )
    out: list[Any] = si.tolist()
    return out


def _flag(layer: Layer, index: int, name: str, value: Any, log: FaultLog) -> bool:
    """Return yes or no."""
    text = clean_text(value).lower()
    if text in _YES:
        return True
    if text not in _NO and text:
        log.refuse(
            layer.place(index), f"{name} {shown(value)}", "true or false", "Correct the value."
        )
    return False


def identities(
    layer: Layer, name: str, log: FaultLog, seen: dict[str, int] | None = None
) -> list[str]:
    """
    Return the names of a layer's features, refusing empty ones and ones given twice.

    Parameters
    ----------
    layer : Layer
        From ``tidied``; parts of one feature carry the same name already told apart.
    name : str
        Column of the names.
    log : FaultLog
        Takes the faults.
    seen : dict of str to int or None
        Names in earlier pieces of the layer, with their rows; those of this one are added.

    Returns
    -------
    list of str
        One for each row.
    """
    seen = {} if seen is None else seen
    texts = [text_of(layer, name, index) for index in range(len(layer))]
    if name not in layer.columns:
        return texts
    for index, text in enumerate(texts):
        place = layer.place(index)
        if not text:
            log.refuse(place, f"no {name}", f"a {name}", "Give it a name.")
        elif text in seen:
            log.refuse(
                place,
                f"{name} {shown(text)}, which {layer.row_word} {seen[text]} has too",
                f"each {name} once",
                "Give each its own.",
            )
        else:
            seen[text] = int(layer.rows[index])
    return texts
