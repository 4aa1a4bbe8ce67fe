"""
A self-contained page round a folium map: no request leaves it, no user text is run by it.

folium compiles every text it is given as a template, so it is given none: it makes the frame of
the map, and everything else is one island of JSON that constant scripts show as text.
"""

import hashlib
import html
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import folium
from branca.element import CssLink, Element, Figure, JavascriptLink

from geoplan.errors import ExportError
from geoplan.exports.packed_text import packed
from geoplan.exports.page_files import page_asset, page_head, page_policy, policy_hash

#: Files of the map library, by the name that folium gives their link, with the SHA-256 that they
#: had when this page was checked.
_CARRIED = {
    "leaflet": (
        "leaflet.js",
        "5819285cec137b229c94e1ee5ad73e8b6b84345a4367d60f75fe477fe0fb7b03",
    ),
    "leaflet_css": (
        "leaflet.css",
        "90b693d86392a4779c861b28cf307e7e59c3fb35328c4d8b95f58f814d38c722",
    ),
}
#: Links that folium adds and this page does without.
_DROPPED = frozenset(
    {"jquery", "bootstrap", "awesome_markers", "bootstrap_css", "glyphicons_css"}
    | {"awesome_markers_font_css", "awesome_markers_css", "awesome_rotate_css"}
)
#: Our scripts, in the order in which they build on each other.
_SCRIPTS = (
    "geometry.js",
    "rest.js",
    "depth.js",
    "symbols.js",
    "things.js",
    "reasons.js",
    "panel.js",
    "levels.js",
    "plots.js",
    "find.js",
    "measure.js",
    "here.js",
    "play.js",
    "print.js",
    "tools.js",
    "effect.js",
    "whatif.js",
    "whatif_heading.js",
    "whatif_edit.js",
    "whatif_drag.js",
    "page.js",
)


@dataclass(frozen=True)
class PageParts:
    """
    Our own files that make a page.

    Attributes
    ----------
    folder : str
        Folder of the files, within the exports.
    scripts : tuple of str
        Scripts, in the order in which they build on each other.
    images : str
        Where images may come from, as a policy says it.
    """

    folder: str
    scripts: tuple[str, ...]
    images: str = "data:"


#: The map of a plan.
PLAN_MAP = PageParts("web_assets", _SCRIPTS)


class Raw(Element):
    """
    A text that goes into the page as it is; it is never compiled as a template.

    Parameters
    ----------
    text : str
        The text, safe where it is put.
    """

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def render(self, **_: Any) -> str:
        """
        Return the text.

        Parameters
        ----------
        **_ : Any
            What branca passes on; not used.

        Returns
        -------
        str
            The text as it was given.
        """
        return self._text


class OfflineFigure(Figure):
    """
    The page: what folium would fetch is put in, and anything it may not have is refused.

    Data and scripts are packed; a script runs only if the policy knows the hash of its text.

    Parameters
    ----------
    page_title : str
        Title; any text.
    record : dict of str to Any
        What the scripts show.
    parts : PageParts
        Files that make the page.
    """

    def __init__(
        self, page_title: str, record: dict[str, Any], parts: PageParts = PLAN_MAP
    ) -> None:
        super().__init__()
        self._page_title = page_title
        self._parts = parts
        scripts = "\n".join(page_asset(parts.folder, name) for name in parts.scripts)
        self.html.add_child(Raw(island(record)), name="island")
        self.script.add_child(Raw(scripts), name="scripts")

    def render(self, **kwargs: Any) -> str:
        """
        Return the page.

        Parameters
        ----------
        **kwargs : Any
            Passed on to folium.

        Returns
        -------
        str
            HTML with LF line ends.

        Raises
        ------
        ExportError
            If the map wants something from the network, or the map library is another one.
        """
        for child in self._children.values():
            child.render(**kwargs)
        self._refuse_network()
        frame = self.html._children
        map_html = "".join(part.render() for name, part in frame.items() if name != "island")
        before, after = page_asset(self._parts.folder, "page.html").split("<!-- map -->")
        scripts = (_carried("leaflet"), self.script.render(**kwargs))
        unpack = page_asset(PLAN_MAP.folder, "unpack.js")
        styles = (_carried("leaflet_css"), page_asset(self._parts.folder, "page.css"))
        title = html.escape(self._page_title)
        policy = page_policy((unpack, *scripts), styles, self._parts.images)
        return "\n".join(
            [
                page_head(self._page_title, *styles, policy=policy),
                f"<body>{before.replace('<!-- title -->', title)}{map_html.strip()}{after}",
                frame["island"].render(),
                *map(_packed_script, scripts),
                f"<script>{unpack}</script>",
                "</body>",
                "</html>",
                "",
            ]
        )

    def _refuse_network(self) -> None:
        """Refuse links that are not carried, and layers that would fetch tiles."""
        for name, part in self.header._children.items():
            is_link = isinstance(part, JavascriptLink | CssLink)
            if is_link and name not in _CARRIED and name not in _DROPPED:
                raise ExportError(f"the map asks for '{name}', which the page does not carry")
        for element in _descendants(self):
            if isinstance(element, folium.TileLayer):
                raise ExportError("the map has a layer of tiles, which no page can carry")


def _descendants(element: Any) -> Iterator[Any]:
    """Yield every element below one."""
    for child in element._children.values():
        yield child
        yield from _descendants(child)


def island(record: dict[str, Any], name: str = "plan") -> str:
    """
    Return a record as an island of data in a page.

    Parameters
    ----------
    record : dict of str to Any
        Plain data; texts may be anything.
    name : str
        By which scripts find it.

    Returns
    -------
    str
        Packed JSON, which no parser of HTML can take for anything else.
    """
    text = json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return f'<script type="text/plain" id="{name}">{packed(text)}</script>'


def with_survey(page: str, record: dict[str, Any]) -> str:
    """
    Return the map of a plan with what was surveyed, and the script that shows it.

    Parameters
    ----------
    page : str
        The map, as ``OfflineFigure`` renders it.
    record : dict of str to Any
        What the script shows.

    Returns
    -------
    str
        HTML whose policy lets that script run too.

    Raises
    ------
    ValueError
        If the page is not a map of a plan.
    """
    script = page_asset(PLAN_MAP.folder, "survey.js")
    policy = "content=\"default-src 'none'; script-src "
    last = f"<script>{page_asset(PLAN_MAP.folder, 'unpack.js')}</script>"
    if page.count(policy) != 1 or page.count(last) != 1:
        raise ValueError("it is no map of a plan")
    page = page.replace(policy, f"{policy}{policy_hash(script)} ")
    return page.replace(last, f"{island(record, 'survey')}\n{_packed_script(script)}\n{last}")


def _packed_script(script: str) -> str:
    """Return a script that the page unpacks before it runs."""
    return f'<script type="text/plain" class="packed">{packed(script)}</script>'


def _carried(name: str) -> str:
    """Return a file of the map library, checked against what it should be."""
    import xstatic.pkg.leaflet

    file_name, expected = _CARRIED[name]
    folder = Path(xstatic.pkg.leaflet.BASE_DIR)
    data = (folder / file_name).read_bytes()
    if hashlib.sha256(data).hexdigest() != expected:
        raise ExportError(
            f"{folder / file_name} is not the file this page was checked with; install"
            " XStatic-Leaflet 1.9.3.0 again"
        )
    text = data.decode("utf-8").replace("\r\n", "\n")
    if file_name.endswith(".css"):
        text = re.sub(r"url\(images/[\w.-]+\)", "none", text)  # of parts that no page here has
        # A rule that styles every drawing anew as a drag begins: the page lays a cover instead.
        return re.sub(r"(?:\.leaflet-dragging[^{}]*)\{[^}]*\}", "", text)
    return re.sub(r"//# sourceMappingURL=\S*", "", text)
