"""
Write ``validation.md``: every check against a value from outside the project.

Run as ``python docs/make_validation.py``. A check is a test with the marker ``published``, whose
argument is its source; a test fails where the page is not what this script writes.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_TOLERANCES = ("rel", "abs", "rtol", "atol", "max_relative_error")
_HEAD = """\
# Checks against the outside

Written by `docs/make_validation.py` from the tests; do not edit by hand.

Each row is a test whose expected value was published, follows from a closed form, or was found by
a second method. The source says what it is, and whether it was read or recalled. A tolerance is as
it stands in the test; *exact* means equality.

"""


@dataclass(frozen=True)
class PublishedCheck:
    """
    One test of a value from outside the project.

    Attributes
    ----------
    test : str
        Name of the test function.
    file : str
        File that holds it.
    what : str
        What is checked, in words.
    source : str
        Where the expected value comes from.
    tolerance : str
        How near it must be.
    """

    test: str
    file: str
    what: str
    source: str
    tolerance: str


def published_checks(path: Path) -> list[PublishedCheck]:
    """
    Return the checks of one file of tests.

    Parameters
    ----------
    path : Path
        File of tests.

    Returns
    -------
    list of PublishedCheck
        In the order of the file; the marker of the whole file counts for each test in it.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    whole_file = next((source for node in tree.body if (source := _file_source(node))), "")
    checks = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            own = next((s for mark in node.decorator_list if (s := _source(mark))), "")
            if own or whole_file:
                checks.append(
                    PublishedCheck(
                        node.name, path.name, _what(node), own or whole_file, _tolerance(node)
                    )
                )
    return checks


def _source(mark: ast.expr) -> str:
    """Return the argument of a ``published`` marker; empty for anything else."""
    if (
        isinstance(mark, ast.Call)
        and isinstance(mark.func, ast.Attribute)
        and mark.func.attr == "published"
        and mark.args
    ):
        try:
            return str(ast.literal_eval(mark.args[0])).strip()
        except ValueError:
            return ast.unparse(mark.args[0])
    return ""


def _file_source(node: ast.stmt) -> str:
    """Return the source of a marker given to the whole file as ``pytestmark``."""
    if not isinstance(node, ast.Assign):
        return ""
    names = [target.id for target in node.targets if isinstance(target, ast.Name)]
    if names != ["pytestmark"]:
        return ""
    marks = node.value.elts if isinstance(node.value, ast.List | ast.Tuple) else [node.value]
    return next((source for mark in marks if (source := _source(mark))), "")


def _what(node: ast.FunctionDef) -> str:
    """Return what a test checks: its name in words, and the first line of its docstring."""
    name = node.name.removeprefix("test_").replace("_", " ")
    words = (ast.get_docstring(node) or "").split("\n\n", maxsplit=1)[0].replace("\n", " ")
    return f"{name}: {words}" if words else name


def _tolerance(node: ast.FunctionDef) -> str:
    """Return the tolerances that stand in a test; *exact* where it compares by equality alone."""
    found = list(dict.fromkeys(_tolerances(node)))
    if found:
        return ", ".join(found)
    compared = [op for part in ast.walk(node) if isinstance(part, ast.Compare) for op in part.ops]
    weighed = [op for op in compared if not isinstance(op, ast.Is | ast.IsNot)]
    if weighed and all(isinstance(op, ast.Eq) for op in weighed):
        return "exact"
    return "see the test"


def _tolerances(node: ast.FunctionDef) -> Iterator[str]:
    """Yield each tolerance of a test as it is written."""
    for part in ast.walk(node):
        if isinstance(part, ast.Call):
            for keyword in part.keywords:
                if keyword.arg in _TOLERANCES:
                    yield f"{keyword.arg} {ast.unparse(keyword.value)}"
        elif (
            isinstance(part, ast.Compare)
            and isinstance(part.ops[0], ast.Lt | ast.LtE)
            and isinstance(part.comparators[0], ast.Constant)
            and ast.unparse(part.left).startswith(("abs(", "np.abs("))
        ):
            yield f"abs {ast.unparse(part.comparators[0])}"


def page(tests: Path) -> str:
    """
    Return the text of the page.

    Parameters
    ----------
    tests : Path
        Folder of all tests.

    Returns
    -------
    str
        Markdown, one table for each file of tests.
    """
    parts = [_HEAD]
    for path in sorted(tests.rglob("test_*.py")):
        checks = published_checks(path)
        if not checks:
            continue
        parts.append(f"## {path.relative_to(tests).as_posix()}\n\n")
        parts.append("| what | source | tolerance |\n|---|---|---|\n")
        parts += [
            f"| {_cell(check.what)} | {_cell(check.source)} | `{_cell(check.tolerance)}` |\n"
            for check in checks
        ]
        parts.append("\n")
    return "".join(parts).rstrip("\n") + "\n"


def _cell(text: str) -> str:
    """Return text that stays in one cell of a table and is no markup."""
    flat = " ".join(text.split())
    for sign in ("\\", "|", "*", "<", "["):
        flat = flat.replace(sign, "\\" + sign if sign != "<" else "&lt;")
    return flat


if __name__ == "__main__":
    root = Path(__file__).resolve().parent
    (root / "validation.md").write_text(page(root.parent / "tests"), encoding="utf-8")
    print(f"wrote {root / 'validation.md'}")
