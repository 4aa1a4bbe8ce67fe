"""Our own files that go into a page, and the policy by which a browser runs those and no others."""

import base64
import hashlib
import html
import re
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path

from geoplan.errors import writing

#: Of a page of text and drawings, which runs and loads nothing.
PLAIN_POLICY = "default-src 'none'; style-src 'unsafe-inline'"


def page_asset(folder: str, name: str) -> str:
    """
    Return one of our own files.

    Parameters
    ----------
    folder : str
        Folder of the file, within the exports.
    name : str
        Name of the file.

    Returns
    -------
    str
        Its text; a script's without the comments and indents of its source.
    """
    text = (files("geoplan.exports") / folder / name).read_text("utf-8")
    if not name.endswith(".js"):
        return text
    return re.sub(r"(?m)^[ \t]+", "", re.sub(r"(?ms)^[ \t]*/\*.*?\*/[ \t]*\n", "", text))


def page_policy(scripts: tuple[str, ...], styles: tuple[str, ...], images: str) -> str:
    """
    Return the policy that lets a page run its own scripts and styles, and nothing else.

    Parameters
    ----------
    scripts, styles : tuple of str
        Texts of the page's own.
    images : str
        Where images may come from, as a policy says it.

    Returns
    -------
    str
        A content security policy.
    """
    return "; ".join(
        [
            "default-src 'none'",
            f"script-src {' '.join(map(policy_hash, scripts))}",
            f"style-src {' '.join(map(policy_hash, styles))}",
            f"img-src {images}",
            "connect-src 'none'",
            "form-action 'none'",
            "base-uri 'none'",
        ]
    )


def page_head(title: str, *styles: str, policy: str = PLAIN_POLICY) -> str:
    """
    Return the beginning of a page, up to its body.

    Parameters
    ----------
    title : str
        Any text; escaped here.
    *styles : str
        Styles of the page's own.
    policy : str
        What the page may load and run; nothing at all unless told.

    Returns
    -------
    str
        Lines from the type of document to the end of its head.

    Examples
    --------
    >>> page_head("Levels <of> a pond").splitlines()[-2:]
    ['<title>Levels &lt;of&gt; a pond</title>', '</head>']
    """
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{html.escape(title)}</title>",
            *(f"<style>{style}</style>" for style in styles),
            "</head>",
        ]
    )


def write_page(path: Path, lines: Iterable[str]) -> None:
    """
    Write a page line by line, as they are made: that of a large district is never held whole.

    Parameters
    ----------
    path : Path
        File to write.
    lines : iterable of str
        Its lines, without their ends.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    with writing(path), path.open("w", encoding="utf-8", newline="") as file:
        file.writelines(f"{line}\n" for line in lines)


def policy_hash(text: str) -> str:
    """
    Return the hash by which a policy knows an inline script or style.

    Parameters
    ----------
    text : str
        Its text.

    Returns
    -------
    str
        SHA-256 in base 64, quoted as a policy has it.

    Examples
    --------
    >>> policy_hash("")
    "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"
    """
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
