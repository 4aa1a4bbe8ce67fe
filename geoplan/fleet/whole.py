"""A plan folder appears whole or not at all, and never in place of something else."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from geoplan.errors import PlanFileError


def refuse_foreign_folder(out: Path) -> None:
    """
    Refuse to write where something lies that is not a plan.

    Parameters
    ----------
    out : Path
        Where a plan folder is to be written.

    Raises
    ------
    PlanFileError
        If it is a file, or a folder with files but no ``plan.json``.
    """
    if out.is_file():
        raise PlanFileError(f"{out} is a file; name a folder to write the plan to")
    if out.is_dir() and any(out.iterdir()) and not (out / "plan.json").is_file():
        raise PlanFileError(
            f"{out} holds files but no plan; nothing was written. Name an empty or new folder."
        )


@contextmanager
def whole_or_nothing(out: Path) -> Iterator[Path]:
    """
    Yield a temporary folder that takes the place of another only when all went well.

    Parameters
    ----------
    out : Path
        Folder to be replaced.

    Yields
    ------
    Path
        Empty folder beside it.
    """
    out.parent.mkdir(parents=True, exist_ok=True)
    part = out.parent / f".{out.name}.part"
    earlier = out.parent / f".{out.name}.earlier"
    if earlier.exists() and not out.exists():
        earlier.rename(out)  # a run was killed between the two renames below
    for left_over in (part, earlier):
        shutil.rmtree(left_over, ignore_errors=True)
    part.mkdir()
    try:
        yield part
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    if out.exists():
        out.rename(earlier)
    part.rename(out)
    shutil.rmtree(earlier, ignore_errors=True)
