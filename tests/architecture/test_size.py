"""Modules and functions stay small enough to be read at one sitting."""

import ast
from pathlib import Path

import pytest

from tests.architecture.source_tree import code_lines, source_files

MODULE_MOST = 300
FUNCTION_MOST = 45


@pytest.mark.parametrize("path", source_files(), ids=lambda path: path.name)
def test_module_and_its_functions_are_short(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    lines = code_lines(text)
    assert len(lines) <= MODULE_MOST, f"{path} has {len(lines)} lines of code"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            inside = range(node.lineno, (node.end_lineno or node.lineno) + 1)
            count = len(lines.intersection(inside))
            assert count <= FUNCTION_MOST, f"{path}: {node.name} has {count} lines of code"


def test_lines_of_code_leave_out_words_about_it() -> None:
    text = '"""Module."""\n\n# why\ndef f():\n    """Words."""\n    return (\n        1\n    )\n'
    assert code_lines(text) == {4, 6, 7, 8}
