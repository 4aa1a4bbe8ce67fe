"""Rows of like things by column: thousands of rafts and posts then pack into far less."""

from collections.abc import Sequence
from typing import Any

#: Parts of a water body that come in thousands.
_MANY = ("rafts", "posts", "routes")


def by_column(record: dict[str, Any]) -> dict[str, Any]:
    """
    Return a record of the map with its many rows turned into columns.

    Parameters
    ----------
    record : dict of str to Any
        What ``map_record`` gave.

    Returns
    -------
    dict of str to Any
        The same; what a row does not have is None in its column.
    """
    waters = [water | {name: _columns(water[name]) for name in _MANY} for water in record["waters"]]
    return record | {"waters": waters}


def _columns(rows: Sequence[dict[str, Any]]) -> dict[str, list[Any]]:
    """
    Return the values of each key.

    Examples
    --------
    >>> _columns([{"a": 1}, {"a": 2, "b": 3}])
    {'a': [1, 2], 'b': [None, 3]}
    """
    keys = list(dict.fromkeys(key for row in rows for key in row))
    return {key: [row.get(key) for row in rows] for key in keys}
