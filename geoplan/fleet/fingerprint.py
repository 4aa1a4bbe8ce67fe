"""
One key for one piece of work: the hash of everything that its result depends on.

Pickles of equal data may differ in their bytes; here values are walked and hashed as what they
are, so that the same input has the same key in every process and on every day.
"""

import datetime as dt
import hashlib
import platform
import struct
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from typing import Any

import numpy as np
import shapely
from pydantic import BaseModel
from shapely.geometry.base import BaseGeometry

_LIBRARIES = ("numpy", "scipy", "numba", "shapely", "pyproj", "pvlib")


def fingerprint(*values: Any) -> str:
    """
    Return the SHA-256 of values, by what they are and not by where they lie in memory.

    Parameters
    ----------
    *values : Any
        Numbers, texts, arrays, geometries, dataclasses, settings, and what is made of them.

    Returns
    -------
    str
        64 hexadecimal digits.

    Raises
    ------
    TypeError
        If something in it has no bytes that stand for it.

    Examples
    --------
    >>> fingerprint(1.0, "a") == fingerprint(1.0, "a"), fingerprint(1.0) == fingerprint(1)
    (True, False)
    >>> fingerprint({"a": 1, "b": 2}) == fingerprint({"b": 2, "a": 1})
    True
    """
    digest = hashlib.sha256()
    for value in values:
        _feed(digest, value)
    return digest.hexdigest()


def _feed(digest: Any, value: Any) -> None:
    """Add a value to a hash: its kind, its length, its bytes."""
    parts = _named_parts(value)
    if parts is not None:
        _feed_parts(digest, type(value).__name__, parts)
    elif isinstance(value, tuple | list):
        _add(digest, b"sequence", str(len(value)).encode())
        for part in value:
            _feed(digest, part)
    else:
        _add(digest, type(value).__name__.encode(), _bytes_of(value))


def _named_parts(value: Any) -> Mapping[str, Any] | None:
    """Return the named parts that a value is made of, where it is."""
    if isinstance(value, BaseModel):
        return {name: getattr(value, name) for name in type(value).model_fields}
    if is_dataclass(value):
        return {part.name: getattr(value, part.name) for part in fields(value)}
    return dict(sorted(value.items())) if isinstance(value, Mapping) else None


def _bytes_of(value: Any) -> bytes:
    """Return the bytes that stand for a value without parts."""
    if isinstance(value, np.ndarray):
        return f"{value.dtype.str}{value.shape}".encode() + np.ascontiguousarray(value).tobytes()
    if isinstance(value, BaseGeometry):
        return bytes(shapely.to_wkb(value, output_dimension=2))
    if isinstance(value, float):
        return struct.pack("<d", value)
    if value is None or isinstance(value, str | int | bytes):
        return str(value).encode()
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat().encode()
    raise TypeError(f"no bytes stand for {type(value).__name__}")


def _feed_parts(digest: Any, kind: str, parts: Mapping[str, Any]) -> None:
    """Add the named parts of a value."""
    _add(digest, b"parts", f"{kind} {len(parts)}".encode())
    for name, part in parts.items():
        _add(digest, b"name", str(name).encode())
        _feed(digest, part)


def _add(digest: Any, kind: bytes, data: bytes) -> None:
    """Add bytes with their kind and length, so that no two values run into each other."""
    digest.update(kind + struct.pack("<q", len(data)) + data)


@cache
def program() -> str:
    """
    Return the hash of the program itself and of the libraries that its numbers depend on.

    Returns
    -------
    str
        64 hexadecimal digits; another version of anything gives others.
    """
    digest = hashlib.sha256(platform.python_version().encode())
    for name in _LIBRARIES:
        digest.update(f"{name} {version(name)}\n".encode())
    _feed_folder(digest, files("geoplan"))
    return digest.hexdigest()


def _feed_folder(digest: Any, folder: Any) -> None:
    """Add every module below a folder."""
    for part in sorted(folder.iterdir(), key=lambda part: str(part.name)):
        if part.is_dir() and part.name != "__pycache__":
            _feed_folder(digest, part)
        elif part.name.endswith(".py"):
            _add(digest, part.name.encode(), part.read_bytes())
