"""The package as its rules see it: modules, their code, and what they document."""

import ast
import importlib
import inspect
import io
import pkgutil
import tokenize
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import geoplan

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "geoplan"

_NO_CODE = (
    tokenize.COMMENT,
    tokenize.NL,
    tokenize.NEWLINE,
    tokenize.INDENT,
    tokenize.DEDENT,
    tokenize.ENDMARKER,
    tokenize.ENCODING,
)
_DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)


def source_files() -> list[Path]:
    """Every module of the package."""
    return sorted(PACKAGE.rglob("*.py"))


def module_names() -> list[str]:
    """Dotted name of every module of the package but the command line."""
    walked = pkgutil.walk_packages(geoplan.__path__, "geoplan.")
    return sorted(info.name for info in walked if info.name != "geoplan.__main__")


def code_lines(text: str) -> set[int]:
    """Numbers of the lines that hold code: no blank lines, comments or docstrings."""
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type not in _NO_CODE:
            lines.update(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, _DOCUMENTED) and ast.get_docstring(node, clean=False) is not None:
            words = node.body[0]
            lines -= set(range(words.lineno, (words.end_lineno or words.lineno) + 1))
    return lines


def public_members(module: ModuleType) -> Iterator[tuple[str, Any]]:
    """Public functions and classes that a module defines, with their dotted names."""
    for name, member in vars(module).items():
        if name.startswith("_"):
            continue
        plain = getattr(member, "py_func", member)  # numba's dispatchers keep the function
        is_kind = inspect.isfunction(plain) or inspect.isclass(plain)
        if is_kind and plain.__module__ == module.__name__:
            yield f"{module.__name__}.{name}", plain


def all_public_members() -> list[tuple[str, Any]]:
    """Public functions and classes of the whole package."""
    return [
        member
        for name in module_names()
        for member in public_members(importlib.import_module(name))
    ]
