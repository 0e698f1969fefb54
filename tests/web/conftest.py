"""A browser for pages: the system's Chromium, driven through Playwright."""

import shutil

import pytest


@pytest.fixture(scope="module")
def browser():
    """Yield a headless Chromium; skip, with the reason, where there is none.

    For one module: while it is open an event loop runs, and other tests start their own.
    """
    api = pytest.importorskip("playwright.sync_api", reason="pages are opened through Playwright")
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        pytest.skip("no Chromium on this machine: pages are not opened (apt-get install -y chromium)")
    with api.sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield opened
        opened.close()
