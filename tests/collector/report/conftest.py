from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

# A browser that calls nobody: no sandbox since tests may run as root, no updates, no syncing.
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


def chromium() -> str | None:
    """Where the browser is; None where there is none."""
    usual = "/usr/bin/chromium" if Path("/usr/bin/chromium").exists() else None
    return os.environ.get("READYPAIR_CHROMIUM") or usual or shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium; where there is none, the test is skipped, but never in CI."""
    path = chromium()
    if path is None:
        reason = "no Chromium: install one or name it in READYPAIR_CHROMIUM"
        pytest.fail(reason) if os.environ.get("CI") else pytest.skip(reason)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()
