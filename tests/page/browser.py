"""A headless Chromium for the tests of the page, and short names for what a person does in it."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)


def open_browser(folder: Path, width: int = 1440, height: int = 900) -> Any:
    """Return a driver, or skip with a plain reason where there is no Chromium."""
    pytest.importorskip("selenium", reason="selenium is not installed")
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    driver_path = shutil.which("chromedriver")
    if browser is None or driver_path is None:
        pytest.skip("there is no Chromium with chromedriver on this machine")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = browser
    for flag in (*FLAGS, f"--user-data-dir={folder / 'profile'}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    downloads = folder / "downloads"
    downloads.mkdir(parents=True, exist_ok=True)
    options.add_experimental_option("prefs", {"download.default_directory": str(downloads)})
    driver = webdriver.Chrome(options=options, service=Service(driver_path))
    driver.execute_cdp_cmd("Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(downloads)})
    resize(driver, width, height)
    return driver


def resize(driver: Any, width: int, height: int, touch: bool = False) -> None:
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": touch}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": touch})


def wait(check: Callable[[], Any], what: str, seconds: float = 120) -> Any:
    """Return what ``check`` gives as soon as it gives something."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = check()
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError(f"waited {seconds} s for {what}")


class Person:
    """Who uses the page."""

    def __init__(self, driver: Any, address: str, downloads: Path) -> None:
        self.driver = driver
        self.address = address
        self.downloads = downloads

    def js(self, script: str, *values: Any) -> Any:
        return self.driver.execute_script(script, *values)

    def go(self) -> None:
        self.driver.get(self.address)
        wait(lambda: self.js("return document.documentElement.dataset.ready"), "the page")

    def find(self, selector: str, text: str = "") -> Any:
        from selenium.common.exceptions import StaleElementReferenceException
        from selenium.webdriver.common.by import By

        def look() -> Any:
            try:
                for node in self.driver.find_elements(By.CSS_SELECTOR, selector):
                    said = f"{node.text} {node.get_attribute('aria-label')}"
                    if node.is_displayed() and text in said:
                        return node
            except StaleElementReferenceException:
                return None
            return None

        return wait(look, f"{selector} {text}", 60)

    def drop(self, path: Path) -> None:
        from selenium.webdriver.common.by import By

        self.driver.find_element(By.ID, "file").send_keys(str(path))
        wait(lambda: self.js("return !document.getElementById('work').hidden"), "the work")
        self.settle()

    def settle(self) -> None:
        """Wait until everything is saved and the figures are there."""
        wait(
            lambda: self.js(
                "return document.getElementById('saved').textContent === 'Saved' && "
                "!document.getElementById('glance').textContent.includes('…')"
            ),
            "saved and reckoned",
        )

    def open_step(self, name: str) -> None:
        self.js(
            "const step = document.getElementById('step-' + arguments[0]);"
            "step.open = true; step.scrollIntoView({block: 'start'});",
            name,
        )
        time.sleep(0.1)

    def click(self, selector: str, text: str = "") -> None:
        node = self.find(selector, text)
        wait(node.is_enabled, f"{selector} {text} to be of use", 60)
        self.js("arguments[0].scrollIntoView({block: 'center'})", node)
        node.click()

    def choose(self, step: str, text: str) -> None:
        """Choose a radio button by the words beside it."""
        node = self.js(
            "return [...document.querySelectorAll('#body-' + arguments[0] + ' label')]"
            ".find((label) => label.textContent === arguments[1])?.querySelector('input')",
            step,
            text,
        )
        assert node is not None, text
        self.js("arguments[0].scrollIntoView({block: 'center'}); arguments[0].click()", node)

    def slide(self, step: str, label: str, value: int) -> None:
        """Move a slider and let it go, as the pointer does."""
        self.js(
            "const label = [...document.querySelectorAll('#body-' + arguments[0] + ' label.legend')]"
            ".find((each) => each.textContent === arguments[1]);"
            "const input = document.getElementById(label.htmlFor); input.value = arguments[2];"
            "input.dispatchEvent(new Event('input', {bubbles: true}));"
            "input.dispatchEvent(new Event('change', {bubbles: true}));",
            step,
            label,
            value,
        )

    def fill(self, step: str, label: str, value: float | str) -> None:
        """Write into the field beside these words."""
        self.js(
            "const label = [...document.querySelectorAll('#body-' + arguments[0] + ' label')]"
            ".find((each) => each.htmlFor && each.textContent.startsWith(arguments[1]) && each.checkVisibility());"
            "const field = document.getElementById(label.htmlFor); field.value = arguments[2];"
            "field.dispatchEvent(new Event('change', {bubbles: true}))",
            step,
            label,
            value,
        )

    def glance(self) -> dict[str, str]:
        pairs = self.js(
            "return [...document.querySelectorAll('#glance > div')].map((each) => [each.children[0].textContent, "
            "each.children[1].textContent])"
        )
        return dict(pairs)

    def stitches(self) -> int:
        return int(self.glance()["Stitches"].replace(",", ""))

    def chart_label(self) -> str:
        return str(self.js("return document.getElementById('chart').getAttribute('aria-label')"))

    def message(self) -> str:
        return str(
            self.js(
                "const box = document.getElementById('message');"
                "return box.hidden ? '' : document.getElementById('message-text').textContent"
            )
        )

    def press(self, *keys: str) -> None:
        from selenium.webdriver.common.action_chains import ActionChains

        chain = ActionChains(self.driver)
        for key in keys:
            chain.send_keys(key)
        chain.perform()

    def square_at(self, row: float, col: float) -> tuple[float, float]:
        """Return the point of the window over a square (or hole) of the chart, once it has settled in its place."""
        wait(
            lambda: self.js(
                "const box = document.getElementById('chart').getBoundingClientRect();"
                "const view = window.onecolour.chart;"
                "return box.width === view.width && box.height === view.height"
            ),
            "the chart to fill its place",
        )
        point = self.js(
            "const box = document.getElementById('chart').getBoundingClientRect();"
            "const view = window.onecolour.chart;"
            "return [box.left + view.left + arguments[1] * view.scale, box.top + view.top + arguments[0] * view.scale]",
            row,
            col,
        )
        return float(point[0]), float(point[1])

    def drag(self, *squares: tuple[float, float]) -> None:
        """Press at the first place of the chart, move over the others, let go."""
        points = [self.square_at(*square) for square in squares]
        send = lambda kind, at: self.driver.execute_cdp_cmd(  # noqa: E731
            "Input.dispatchMouseEvent",
            {"type": kind, "x": at[0], "y": at[1], "button": "left", "buttons": 1, "clickCount": 1},
        )
        send("mousePressed", points[0])
        for point in points[1:]:
            send("mouseMoved", point)
        send("mouseReleased", points[-1])

    def touch(self, *squares: tuple[float, float]) -> None:
        """The same with a finger."""
        points = [self.square_at(*square) for square in squares]
        send = lambda kind, touches: self.driver.execute_cdp_cmd(  # noqa: E731
            "Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches}
        )
        send("touchStart", [{"x": points[0][0], "y": points[0][1]}])
        for point in points[1:]:
            send("touchMove", [{"x": point[0], "y": point[1]}])
        send("touchEnd", [])

    def console(self) -> list[str]:
        """Return what the browser complained about since last asked."""
        return [entry["message"] for entry in self.driver.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")]

    def taken(self, ending: str) -> bytes:
        """Return the newest download with an ending, once it is whole."""

        def look() -> Any:
            found = [path for path in self.downloads.iterdir() if path.name.endswith(ending)]
            return max(found, key=lambda path: path.stat().st_mtime) if found else None

        path: Path = wait(look, f"a download {ending}")
        time.sleep(0.1)
        return path.read_bytes()
