"""What all tests share: where real data lies, where a browser is, and examples without chance."""

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import settings

# The same examples each time: a gate that fails by chance is no gate.
settings.register_profile("gate", derandomize=True, deadline=None, database=None)
settings.load_profile("gate")

_BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def _browser() -> Path | None:
    """The headless browser of this machine, where there is one."""
    found = next((path for name in _BROWSERS if (path := shutil.which(name))), None)
    return Path(found) if found else None


def _real_data() -> Path | None:
    """The folder with real open data, where it has been fetched."""
    named = os.environ.get("GEOPLAN_REAL_DATA")
    return Path(named) if named else None


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip what this machine cannot run; where a browser is required, its lack is a failure."""
    if item.get_closest_marker("real_data") and _real_data() is None:
        pytest.skip("GEOPLAN_REAL_DATA is not set")
    if item.get_closest_marker("browser") and _browser() is None:
        if os.environ.get("GEOPLAN_REQUIRE_BROWSER"):
            pytest.fail("a browser is required here, and none was found", pytrace=False)
        pytest.skip("no Chromium on this machine")


@pytest.fixture(scope="session")
def real_data() -> Path:
    """Folder with real open data; a folder that is named and not there is a failure."""
    folder = _real_data()
    if folder is None:
        pytest.skip("GEOPLAN_REAL_DATA is not set")
    if not folder.is_dir():
        pytest.fail(f"GEOPLAN_REAL_DATA names {folder}, which is no folder", pytrace=False)
    return folder


@pytest.fixture(scope="session")
def chromium() -> Path:
    """Headless browser's executable."""
    found = _browser()
    if found is None:
        pytest.skip("no Chromium on this machine")
    return found


@pytest.fixture(scope="session")
def repository() -> Path:
    """Root of the repository."""
    return Path(__file__).resolve().parent.parent
