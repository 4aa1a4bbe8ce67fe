"""The settings of a site: from TOML or JSON to typed tables, every fault in plain words."""

import difflib
import json
import re
import tomllib
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.settings import Settings
from geoplan.units import si_name

_WORDS = {
    "string_type": "text in quotes",
    "float_type": "a number, without quotes",
    "int_type": "a whole number, without quotes",
    "int_from_float": "a whole number",
    "bool_type": "true or false",
    "tuple_type": "a list in square brackets",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "finite_number": "a finite number",
    "missing": "a value",
}


def parsed_toml(data: bytes, place: Place, log: FaultLog) -> dict[str, Any] | None:
    """
    Return the tables of a TOML file.

    Parameters
    ----------
    data : bytes
        The file.
    place : Place
        Where faults are.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    dict or None
        ``None`` where it is no TOML; a fault says where.
    """
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        found = f"bytes that are no UTF-8 text (byte {error.start})"
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        found = f"text that is no TOML: {error}"
    log.refuse(place, found, "a TOML file", "Correct that line; text stands in quotes.")
    return None


def settings_from_rows(
    rows: list[tuple[str, str]], place: Place, log: FaultLog
) -> dict[str, Any] | None:
    """
    Return the tables that rows of key and value stand for.

    Parameters
    ----------
    rows : list of (str, str)
        Dotted keys and their values as TOML text.
    place : Place
        Where faults are.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    dict or None
        ``None`` where a row cannot be understood.

    Examples
    --------
    >>> settings_from_rows([("levels.low_m", "11.6")], Place("a.gpkg"), FaultLog())
    {'levels': {'low_m': 11.6}}
    """
    document: dict[str, Any] = {}
    is_whole = True
    for key, value in rows:
        try:
            _merge(document, tomllib.loads(f"{key} = {value}"))
        except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
            is_whole = False
            log.refuse(
                Place(place.file, "site", f"key {shown(key)}"),
                f"value {shown(value)} ({error})",
                "a value as TOML writes it, each key once",
                "Correct it; text stands in quotes.",
            )
    return document if is_whole else None


def checked_settings(document: dict[str, Any], place: Place, log: FaultLog) -> Settings | None:
    """
    Return settings as typed tables.

    Parameters
    ----------
    document : dict
        Tables as parsed; keys may end in ``_ft``, ``_in``, ``_ac`` or ``_cfs``.
    place : Place
        Where faults are.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    Settings or None
        ``None`` where any value cannot be used; there is a fault for each.
    """
    given: dict[tuple[str | int, ...], str] = {}
    si = _in_si(document, (), given, place, log)
    try:
        # Through JSON: lists become tuples and dates are read, yet no text becomes a number.
        return Settings.model_validate_json(json.dumps(si, default=str), strict=True)
    except ValidationError as error:
        faults = error.errors(include_url=False)
    except (RecursionError, ValueError) as error:
        log.refuse(
            place, f"settings that cannot be read ({error})", "plain tables", "Simplify them."
        )
        return None
    for fault in faults:
        if fault["type"] != "too_short" or not fault["input"]:
            _say(fault, si, given, place, log)
    return None


def _merge(into: dict[str, Any], more: dict[str, Any]) -> None:
    """Add tables to tables, refusing a key given twice."""
    for key, value in more.items():
        old = into.get(key)
        if isinstance(old, dict) and isinstance(value, dict):
            _merge(old, value)
        elif key in into:
            raise ValueError(f"{key} is given twice")
        else:
            into[key] = value


def _in_si(
    value: Any,
    path: tuple[str | int, ...],
    given: dict[tuple[str | int, ...], str],
    place: Place,
    log: FaultLog,
) -> Any:
    """Return tables with every key in SI, and remember how keys were written."""
    if isinstance(value, list):
        return [_in_si(part, (*path, at), given, place, log) for at, part in enumerate(value)]
    if not isinstance(value, dict):
        return value
    out: dict[str, Any] = {}
    for key, part in value.items():
        name, factor = si_name(key)
        if name in out:
            log.refuse(
                place,
                f"{_dotted((*path, key))} beside another unit of it",
                f"{name} once",
                "Delete one of them.",
            )
        given[*path, name] = key
        out[name] = _scaled(_in_si(part, (*path, name), given, place, log), factor)
    return out


def _scaled(value: Any, factor: float) -> Any:
    """Return numbers times a factor; anything else as it is, for validation to refuse."""
    if factor == 1.0 or isinstance(value, bool):
        return value
    if isinstance(value, list):
        return [_scaled(part, factor) for part in value]
    return value * factor if isinstance(value, int | float) else value


def _say(
    fault: Any,
    si: dict[str, Any],
    given: dict[tuple[str | int, ...], str],
    place: Place,
    log: FaultLog,
) -> None:
    """Note one thing that validation found, in plain words."""
    path = tuple(fault["loc"])
    written = tuple(
        given.get(path[: at + 1], part) if isinstance(part, str) else part
        for at, part in enumerate(path)
    )
    key, kind = _dotted(written), fault["type"]
    where = Place(place.file, feature=f"key {key}" if key else "")
    if kind == "missing":
        log.refuse(where, "nothing", f"{key}, which has no default", "Add it.")
    elif kind == "extra_forbidden":
        table = _table_keys(path[:-1])
        near = difflib.get_close_matches(str(path[-1]), table, 1, 0.6)
        meant = f"Is {near[0]!r} meant?" if near else "Delete it, or correct its name."
        expected = f"one of {', '.join(table)}"
        log.refuse(where, f"an unknown key {shown(written[-1])}", expected, meant)
    elif kind == "value_error":
        message = str(fault["ctx"]["error"])
        log.refuse(where, message, "settings that agree with each other", "Correct them.")
    else:
        words = _WORDS.get(kind) or _limit_words(str(fault["msg"]))
        value = _value_at(si, path)
        unit = " (in SI)" if written and path and written[-1] != path[-1] else ""
        log.refuse(where, f"{shown(value)}{unit}", words, "Correct the value.")


def _limit_words(message: str) -> str:
    """Return a limit that validation states, as what is expected."""
    text = re.sub(r"^(Input|Value|String|Tuple) should (be|have) ", "", message)
    return text.replace("a valid number", "a number").replace("after validation, ", "")


def _value_at(document: Any, path: tuple[str | int, ...]) -> Any:
    """Return the value that a path of keys leads to."""
    for part in path:
        try:
            document = document[part]
        except (LookupError, TypeError):
            return None
    return document


def _table_keys(path: tuple[str | int, ...]) -> list[str]:
    """Return the keys that a table may hold."""
    model: type[BaseModel] = Settings
    for part in path:
        if isinstance(part, int):
            continue
        kind = model.model_fields[part].annotation
        inner = [kind, *get_args(kind)]
        model = next(
            (one for one in inner if isinstance(one, type) and issubclass(one, BaseModel)), model
        )
    return list(model.model_fields)


def _dotted(path: tuple[str | int, ...]) -> str:
    """Return a path of keys as TOML writes it, tables of a list counted from 1."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text
