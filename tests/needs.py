"""What some tests need from the machine, and how they go without it.

A test is skipped where such a thing is not installed. `scripts/check.sh` names in
HOOPWISE_HAS what it has seen to be there: then its absence is a failure, not a skip.
"""

import os
import shutil
from pathlib import Path
from typing import NoReturn

import pytest

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
MAC_BROWSERS = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
)


def browser_path() -> str | None:
    """An installed Chromium or Chrome, as `scripts/check.sh` looks for it."""
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    return found or next((path for path in MAC_BROWSERS if Path(path).exists()), None)


def go_without(what: str, why: str) -> NoReturn:
    """Skip the test, or fail where the thing was seen to be there."""
    if what in os.environ.get("HOOPWISE_HAS", "").split():
        pytest.fail(f"{why}, though it was seen to be installed")
    pytest.skip(why)
