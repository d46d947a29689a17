"""A browser for the tests: Debian's chromium without a window, and what a test asks of a page in it."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver import Chrome
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webelement import WebElement

WAIT_SECONDS = 60

_ARGUMENTS = (
    *("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-dev-shm-usage"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync", "--lang=en"),
)


def find_program(name: str) -> str:
    """Path of a program; without it the test is skipped, in continuous integration it fails."""
    found = shutil.which(name)
    if found is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(
            f"{name} is not on this machine: install it to test pages"
        )
    return str(found)


class Browser:
    """One browser, one page at a time."""

    def __init__(self, driver: Chrome, downloads: Path) -> None:
        self.driver = driver
        self.downloads = downloads

    def look(self, *, theme: str = "light", width: int = 1280, height: int = 900) -> None:
        """Choose the theme and the width of the page."""
        features = [{"name": "prefers-color-scheme", "value": theme}]
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 768}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        self.wait(
            lambda: self.script("return document.getAnimations().every((one) => one.playState !== 'running')"),
            "the colours to have changed",
        )

    def open(self, address: str) -> None:
        """Load a page anew and wait until it is there."""
        self.driver.get(address)
        self.wait(lambda: self.all("article, .books h1"), f"a page at {address}")

    def all(self, selector: str) -> list[WebElement]:
        """Every element that a CSS selector names."""
        return self.driver.find_elements(By.CSS_SELECTOR, selector)

    def one(self, selector: str) -> WebElement:
        """The one element that a CSS selector names, waited for."""
        return self.wait(lambda: self.all(selector), selector)[0]

    def text(self, selector: str = ".books") -> str:
        """Text that stands in an element."""
        return str(self.script("return document.querySelector(arguments[0])?.textContent ?? ''", selector))

    def script(self, source: str, *values: object) -> Any:
        """What a script in the page gives back."""
        return self.driver.execute_script(source, *values)

    def wait(self, found: Callable[[], Any], what: str) -> Any:
        """What `found` gives back as soon as it is something; the test fails where it stays nothing."""
        end = time.monotonic() + WAIT_SECONDS
        while True:
            try:
                value = found()
            except StaleElementReferenceException:
                value = None
            if value:
                return value
            if time.monotonic() > end:
                raise AssertionError(f"waited for {what}; {self.text('#books-notice')!r}; {self.text('body')[:2000]}")
            time.sleep(0.05)

    def wait_for_text(self, text: str, selector: str = "body") -> None:
        """Wait until a text stands in an element."""
        self.wait(lambda: text in self.text(selector), repr(text))

    def complaints(self) -> list[str]:
        """What the browser's console has complained about since this was asked last."""
        return [entry["message"] for entry in self.driver.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")]


@contextmanager
def start_browser(folder: Path) -> Iterator[Browser]:
    """A browser with a profile of its own below a folder."""
    options = Options()
    options.binary_location = find_program("chromium")
    for argument in (*_ARGUMENTS, f"--user-data-dir={folder / 'profile'}"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = Chrome(options=options, service=Service(find_program("chromedriver")))
    downloads = folder / "downloads"
    downloads.mkdir()
    driver.execute_cdp_cmd("Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(downloads)})
    try:
        yield Browser(driver, downloads)
    finally:
        driver.quit()
