"""A real browser on a page that lies on disk: Debian's Chromium, driven by Selenium.

Without it a test is skipped, or fails in CI. Nothing here comes from the tool's own code.
"""

from __future__ import annotations

import base64
import contextlib
import json
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

from tests.support.tool import need

FLAGS = (
    "about:blank",
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--hide-scrollbars",
    "--force-color-profile=srgb",
)


class Browser:
    """A browser window; sizes are in CSS pixels."""

    def __init__(self, driver: webdriver.Chrome) -> None:
        self.driver = driver

    def view(self, page: Path, width: int, height: int = 900, scheme: str = "light") -> None:
        """Open a page from disk, as wide as that, in a light or dark scheme."""
        self.asked(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=False,
        )
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self.asked("Emulation.setEmulatedMedia", media="", features=features)
        self.driver.get(page.as_uri())

    def media(self, name: str) -> None:
        """Show the page as on that medium: screen or print."""
        self.asked("Emulation.setEmulatedMedia", media=name)

    def asked(self, command: str, **parameters: Any) -> Any:
        """What the browser answers to a command of its debugging protocol."""
        return self.driver.execute_cdp_cmd(command, parameters)

    def run(self, script: str, *arguments: Any) -> Any:
        """What a script in the page returns."""
        return self.driver.execute_script(script, *arguments)

    def picture(self, clip: Mapping[str, int]) -> bytes:
        """A PNG of what x, y, width and height cut out of the page."""
        cut = {"scale": 1, **clip}
        answer = self.asked("Page.captureScreenshot", format="png", clip=cut)
        return base64.b64decode(answer["data"])

    def printed(self) -> bytes:
        """The page as a PDF on A4, as the page itself wants it."""
        answer = self.asked("Page.printToPDF", preferCSSPageSize=True, printBackground=False)
        return base64.b64decode(answer["data"])

    def console(self) -> list[str]:
        """What the browser complained about since it was last asked."""
        return [f"{one['level']}: {one['message']}" for one in self._log("browser")]

    def requests(self) -> list[str]:
        """The addresses that were asked for since this was last asked.

        What the browser's own first page asks for, however late, is left out.
        """
        found = []
        for entry in self._log("performance"):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                sent = message["params"]
                if not sent["documentURL"].startswith("chrome:"):
                    found.append(sent["request"]["url"])
        return found

    def _log(self, name: str) -> list[dict[str, Any]]:
        return list(self.driver.execute("getLog", {"type": name})["value"])


@contextlib.contextmanager
def browser() -> Iterator[Browser]:
    """A browser with a new, empty profile, closed at the end."""
    program, driver = need("chromium"), need("chromedriver")
    options = webdriver.ChromeOptions()
    options.binary_location = program
    for flag in FLAGS:
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        options.add_argument(f"--user-data-dir={folder}")
        opened = webdriver.Chrome(options=options, service=Service(driver))
        try:
            yield Browser(opened)
        finally:
            opened.quit()
