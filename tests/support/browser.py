"""A real browser with the size and manners of a phone: Chromium, driven through WebDriver."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.support.ui import WebDriverWait

PHONE = (390, 844)
WAITS_S = 10.0


def require_browser() -> None:
    """Skip the test where there is none; never in CI, which must run it."""
    if "CI" not in os.environ and not (shutil.which("chromium") and shutil.which("chromedriver")):
        pytest.skip("apt install chromium chromium-driver")


@contextmanager
def phone(size: tuple[int, int] = PHONE, look: str = "dark") -> Iterator[webdriver.Chrome]:
    """A phone of that size, CSS pixels."""
    options = Options()
    options.binary_location = shutil.which("chromium") or "chromium"
    for word in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(word)
    driver = webdriver.Chrome(
        options=options, service=Service(shutil.which("chromedriver") or "chromedriver")
    )
    try:
        width, height = size
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": True}
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
        scheme = [{"name": "prefers-color-scheme", "value": look}]
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": scheme})
        yield driver
    finally:
        driver.quit()


def wait(driver: webdriver.Chrome, script: str, seconds: float = WAITS_S) -> Any:
    """Until that expression is true in the page; returns it."""
    return WebDriverWait(driver, seconds, poll_frequency=0.02).until(
        lambda d: d.execute_script(f"return {script}"), script
    )


def keep(driver: webdriver.Chrome, path: Path) -> None:
    """A picture of what is on the screen."""
    path.parent.mkdir(parents=True, exist_ok=True)
    driver.save_screenshot(str(path))
