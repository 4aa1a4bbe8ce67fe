"""Our own files that go into a page, and the policy by which a browser runs those and no others."""

import base64
import hashlib
import re
from importlib.resources import files


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
