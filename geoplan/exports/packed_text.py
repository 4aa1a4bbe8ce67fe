"""Texts of a page, deflated so that a page with its map library stays small enough to be sent."""

import base64
import struct
import zlib


def packed(text: str) -> str:
    """
    Return a text as ``unpack.js`` reads it.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        Base 64 of the size in bytes, four of them and the lowest first, and the text in UTF-8 as a
        raw stream of RFC 1951.

    Examples
    --------
    >>> unpacked(packed("water ≥ 1 m"))
    'water ≥ 1 m'
    """
    data = text.encode()
    deflate = zlib.compressobj(6, zlib.DEFLATED, -zlib.MAX_WBITS, 9)
    stream = deflate.compress(data) + deflate.flush()
    return base64.b64encode(struct.pack("<I", len(data)) + stream).decode("ascii")


def unpacked(text: str) -> str:
    """
    Return a text that was packed.

    Parameters
    ----------
    text : str
        What ``packed`` gave.

    Returns
    -------
    str
        The text.
    """
    return zlib.decompress(base64.b64decode(text)[4:], -zlib.MAX_WBITS).decode()
