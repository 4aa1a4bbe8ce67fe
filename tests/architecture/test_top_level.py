"""The repository's top level holds what a newcomer expects and nothing else."""

import fnmatch
from pathlib import Path

AGREED = {
    "DEVELOPERS.md", "LICENSE", "README.md", "docs", "geoplan", "pyproject.toml", "sample_sites",
    "tests",
}  # fmt: skip


def test_top_level_holds_exactly_what_is_agreed(repository: Path) -> None:
    rules = (repository / ".gitignore").read_text(encoding="utf-8").split()
    there = {
        path.name
        for path in repository.iterdir()
        if not path.name.startswith(".")
        and not any(fnmatch.fnmatch(path.name, rule.rstrip("/")) for rule in rules)
    }
    assert there == AGREED
