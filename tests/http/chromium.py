# SPDX-License-Identifier: ISC
"""Chromium without a window, driven by chromedriver (W3C WebDriver). It does the work of a person with mouse, keyboard,
files and printer. The driver puts scripts that measure a page past the page's policy, which stays as it is."""
import base64
import os
import subprocess
from contextlib import contextmanager

from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException, WebDriverException
from selenium.webdriver.chrome.service import Service as Driver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from harness import PATIENCE_SECONDS, wait_until

PHONE, DESK = (390, 844), (1440, 900)
OPTIONS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--lang=en-GB",
    "--host-resolver-rules=MAP office.example 127.0.0.1, MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
]
# In the page, because each question to it takes a while.
FIND = """
const [text, within] = arguments;
return [...(within || document).querySelectorAll("a, button")].find(found => found.innerText.trim() === text);
"""
ROWS = """
const [texts, within] = arguments;
const without_names = cell => {
  const copy = cell.cloneNode(true);
  copy.querySelectorAll(".name").forEach(name => name.remove());
  return copy.textContent.trim();
};
return [...(within || document).querySelectorAll("tbody tr")].filter(row => {
  const cells = [...row.cells].flatMap(cell => [cell.innerText.trim(), without_names(cell)]);
  return texts.every(text => cells.includes(text));
});
"""


class Chromium:
    """One browser with one window. `folder` holds its profile and what it downloads."""

    def __init__(self, folder, *options_of_its_own):
        self.downloads = folder / "downloads"
        self.downloads.mkdir()
        options = webdriver.ChromeOptions()
        for option in [*OPTIONS, *options_of_its_own, f"--user-data-dir={folder}/profile"]:
            options.add_argument(option)
        options.add_experimental_option("prefs", {"download.default_directory": str(self.downloads)})
        os.environ["no_proxy"] = os.environ["NO_PROXY"] = "127.0.0.1,localhost"
        driver = Driver("/usr/bin/chromedriver", log_path=str(folder / "driver.log"))
        self.driver = webdriver.Chrome(service=driver, options=options)
        self.driver.set_page_load_timeout(PATIENCE_SECONDS)
        self.driver.set_script_timeout(PATIENCE_SECONDS)

    def quit(self):
        self.driver.quit()

    def command(self, name, **parameters):
        """A command of the DevTools protocol."""
        return self.driver.execute_cdp_cmd(name, parameters)

    def run(self, script, *arguments):
        return self.driver.execute_script(script, *arguments)

    # --- the window ------------------------------------------------------------------------------------------------
    def look(self, size, dark=False):
        """Makes the window as large as a phone or a desk, and asks for light or dark colours."""
        self.command(
            "Emulation.setDeviceMetricsOverride", width=size[0], height=size[1], deviceScaleFactor=1, mobile=False
        )
        wanted = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
        self.command("Emulation.setEmulatedMedia", features=wanted)

    def picture(self, path):
        """The whole page, as a PNG."""
        shot = self.command("Page.captureScreenshot", captureBeyondViewport=True)
        path.write_bytes(base64.b64decode(shot["data"]))

    def print(self, path):
        """Prints the page as a person does who presses Ctrl+P. Returns the text of each printed page."""
        printed = self.command("Page.printToPDF", preferCSSPageSize=True, printBackground=False)
        path.write_bytes(base64.b64decode(printed["data"]))
        text = subprocess.run(
            ["pdftotext", "-layout", path, "-"], capture_output=True, check=True, timeout=PATIENCE_SECONDS
        )
        return text.stdout.decode().split("\f")[:-1]

    # --- pages -----------------------------------------------------------------------------------------------------
    @contextmanager
    def leaving(self):
        """Waits until the page that was there before has gone and the next one has come."""
        before = self.driver.find_element(By.TAG_NAME, "html")
        yield
        wait_until(lambda: self._is_gone(before), lambda: f"a page after {self.path}")
        wait_until(self._has_come, lambda: f"the page {self.path} is whole")

    @staticmethod
    def _is_gone(element):
        try:
            element.is_enabled()
            return False
        except StaleElementReferenceException:
            return True
        except WebDriverException as error:  # chromedriver's words while the next page takes the place of this one
            return "does not belong to the document" in str(error)

    def _has_come(self):
        try:
            return self.run("return document.readyState") == "complete"
        except WebDriverException:
            return False

    @property
    def origin(self):
        return self.run("return location.origin")

    @property
    def path(self):
        """Path and query of the page."""
        return self.run("return location.pathname + location.search")

    @property
    def title(self):
        return self.one("h1").text

    @property
    def source(self):
        return self.driver.page_source

    def all(self, selector, within=None):
        return (within or self.driver).find_elements(By.CSS_SELECTOR, selector)

    def one(self, selector, within=None):
        found = self.all(selector, within)
        assert len(found) == 1, f"{len(found)} × {selector} on {self.path}"
        return found[0]

    def follow(self, text, within=None):
        """Clicks the first link or button with this text."""
        found = self.run(FIND, text, within)
        assert found, f"no {text!r} on {self.path}:\n{self.one('body').text}"
        self.press(found)

    def press(self, element):
        with self.leaving():
            element.click()

    def row(self, *texts, within=None):
        """The row of a table that has cells with these texts, whatever names stand beside codes."""
        rows = self.run(ROWS, texts, within)
        assert len(rows) == 1, f"{len(rows)} rows with {texts} on {self.path}:\n{self.one('main').text}"
        return rows[0]

    def fill(self, **values):
        self.fill_in(values)

    def fill_in(self, values):
        """Types into fields, by name, as a person would. The former text goes first."""
        for name, value in values.items():
            field = self.one(f'main [name="{name}"]')
            if field.tag_name == "select":
                Select(field).select_by_value(value)
            elif field.get_attribute("type") in ("date", "time", "datetime-local"):
                self.run("arguments[0].value = arguments[1]", field, value)  # keys depend on the language
            else:
                field.clear()
                field.send_keys(value)

    def download(self, element):
        """Clicks a link to a file and returns the file's bytes. The browser first reserves the file's name."""
        before = set(self.downloads.iterdir())
        element.click()

        def arrived():
            new = set(self.downloads.iterdir()) - before
            return [p for p in new if len(new) == 1 and p.suffix != ".crdownload" and p.stat().st_size > 0]

        [path] = wait_until(arrived, "the file is downloaded")
        return path.read_bytes()

    # --- people ----------------------------------------------------------------------------------------------------
    def sign_in(self, service, name, secret, target="/", origin=None):
        self.driver.get(f"{origin or f'http://127.0.0.1:{service.port}'}{target}")
        self.fill(name=name, key=secret)
        self.follow("Sign in")

    def sign_out(self):
        self.follow("Sign out")
