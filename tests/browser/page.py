"""The program with a cue open and a browser on it, both ended whatever happens.

    with Page(cue_folder) as page:
        page.browser.find_element(...)

The cue is a copy in a temporary folder, which is also the program's home. `RIPIENO` names the program.
"""

import os
import queue
import re
import shutil
import subprocess
import tempfile
import threading
import time
from pathlib import Path

from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = os.environ.get("RIPIENO", str(ROOT / "target" / "release" / "ripieno"))
AXE = Path(__file__).resolve().parent / "node_modules" / "axe-core" / "axe.min.js"


def found(*names):
    path = next((p for p in map(shutil.which, names) if p), None)
    if not path:
        raise SystemExit(f"none of {', '.join(names)} is installed")
    return path


class Page:
    """A copy of a cue (the demo if none is named), opened; `wide` and `high` are the window's size in pixels; `traced`
    records what the browser asks for."""

    def __init__(self, cue=None, wide=1680, high=1050, traced=False):
        self.cue_from, self.size = cue or ROOT / "demo" / "night-ferry", (wide, high)
        self.traced = traced
        self.program = self.browser = None

    def __enter__(self):
        self.home = Path(tempfile.mkdtemp(prefix="ripieno-page-"))
        try:
            self.cue = self.home / "ferry"
            shutil.copytree(self.cue_from, self.cue, ignore=shutil.ignore_patterns("rendered", ".ripieno"))
            self.begin()
        except BaseException:
            self.__exit__()
            raise
        return self

    def begin(self):
        self.program = subprocess.Popen(
            [PROGRAM, "open", "--no-browser", str(self.cue)], cwd=self.home, text=True, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, env={**os.environ, "XDG_STATE_HOME": str(self.home / "state")})
        lines = queue.Queue()
        threading.Thread(target=lambda: [lines.put(line) for line in self.program.stdout], daemon=True).start()
        said, until = "", time.monotonic() + 120
        while not (match := re.search(r"http://\S+", said)):
            try:
                said += lines.get(timeout=max(0.01, until - time.monotonic()))
            except queue.Empty:
                raise SystemExit(f"the program gave no address: {said}") from None
        self.address = match.group(0)
        self.root = self.address.split("/?")[0]
        options = webdriver.ChromeOptions()
        options.binary_location = found("chromium", "google-chrome")
        for flag in ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
                     "--autoplay-policy=no-user-gesture-required", f"--user-data-dir={self.home / 'browser'}",
                     "--force-prefers-reduced-motion", f"--window-size={self.size[0]},{self.size[1]}"]:
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL"} | ({"performance": "ALL"} if self.traced else {}))
        self.browser = webdriver.Chrome(options=options, service=Service(found("chromedriver")))
        self.browser.set_script_timeout(60)
        self.browser.get(self.address)

    def __exit__(self, *_):
        if self.browser:
            self.browser.quit()
        if self.program:
            self.program.terminate()
            try:
                self.program.wait(10)
            except subprocess.TimeoutExpired:
                self.program.kill()
        shutil.rmtree(self.home, ignore_errors=True)

    # What is on the page.

    def one(self, selector):
        return self.browser.find_element(By.CSS_SELECTOR, selector)

    def all(self, selector):
        return self.browser.find_elements(By.CSS_SELECTOR, selector)

    def script(self, text, *arguments):
        return self.browser.execute_script(text, *arguments)

    def until(self, what, test, seconds=30):
        """Waits until `test` gives something true, and gives that."""
        last, end = None, time.monotonic() + seconds
        while time.monotonic() < end:
            try:
                if last := test():
                    return last
            except Exception as error:  # the element may be renewed just now
                last = error
            time.sleep(0.03)
        raise AssertionError(f"{what}: not within {seconds} s ({last!r})")

    def read_through(self):
        """Waits until the findings belong to what is shown."""
        self.until("the cue is read through", lambda: "being read" not in self.one("#standing").text, 120)

    def column(self, passage):
        return int(self.script(
            "return [...document.querySelectorAll('.head')].find(h => h.dataset.passage === arguments[0]).dataset.column", passage))

    def row(self, chair):
        return int(self.one(f'.chair[data-chair="{chair}"]').get_attribute("data-row"))

    def cell(self, chair, passage):
        return self.one(f"#cell-{self.row(chair)}-{self.column(passage)}")

    def text(self, chair, passage):
        return self.cell(chair, passage).get_attribute("data-text")

    def focused(self):
        return self.script("return document.activeElement?.id ?? ''")

    def plan(self):
        return (self.cue / "cue.toml").read_text(encoding="utf-8")

    # What a hand does.

    def press(self, *keys):
        """Keys to whatever has the focus; a tuple is pressed together."""
        for key in keys:
            chain = ActionChains(self.browser, duration=0)
            if isinstance(key, tuple):
                for one in key[:-1]:
                    chain = chain.key_down(one)
                chain = chain.send_keys(key[-1])
                for one in key[:-1]:
                    chain = chain.key_up(one)
            else:
                chain = chain.send_keys(key)
            chain.perform()

    def click(self, selector):
        """Clicks what is there, also where it is renewed just now."""
        def once():
            self.one(selector).click()
            return True
        self.until(f"{selector} can be clicked", once)

    def go(self, chair, passage):
        """Puts the keyboard on a cell by arrows alone."""
        row, column = self.row(chair), self.column(passage)
        if not re.match(r"cell-\d+-\d+$", self.focused()):
            self.script("document.querySelector('.cell[tabindex=\"0\"]').focus()")
        for _ in range(400):
            here = [int(n) for n in self.focused().split("-")[1:]]
            if here == [row, column]:
                return
            if here[0] != row:
                self.press(Keys.ARROW_DOWN if here[0] < row else Keys.ARROW_UP)
            else:
                self.press(Keys.ARROW_RIGHT if here[1] < column else Keys.ARROW_LEFT)
        raise AssertionError(f"arrows do not lead to {chair} in {passage}; they ended at {self.focused()}")

    def write(self, chair, passage, words):
        """Writes a cell by keyboard alone and waits for the new board."""
        self.go(chair, passage)
        self.press(Keys.ENTER)
        self.until("the editor opens", lambda: self.focused() == "cell-input")
        self.press((Keys.CONTROL, "a"), words, Keys.ENTER)
        self.until(f"{chair} says {words}", lambda: self.text(chair, passage) == words and not self.all(".editor"))

    def drop(self, name, data, selector="#drop"):
        """Drops a file on the page."""
        self.script(
            "const bytes = Uint8Array.from(atob(arguments[1]), c => c.charCodeAt(0));"
            "const all = new DataTransfer(); all.items.add(new File([bytes], arguments[0]));"
            "for (const what of ['dragenter', 'dragover', 'drop'])"
            "  document.querySelector(arguments[2]).dispatchEvent(new DragEvent(what, {dataTransfer: all, bubbles: true, cancelable: true}));",
            name, __import__("base64").b64encode(data).decode(), selector)

    def axe(self):
        """Violations of the accessibility rules, in words."""
        self.script(AXE.read_text(encoding="utf-8"))
        found = self.browser.execute_async_script(
            "const done = arguments[arguments.length - 1];"
            "axe.run(document, {resultTypes: ['violations']}).then(r => done(r.violations), e => done([{id: String(e), nodes: []}]));")
        return [f"{v['id']} ({v.get('impact')}): {v.get('help')}: {len(v['nodes'])} places, "
                + "; ".join(f"{n['target'][0]} {n.get('failureSummary', '')[:150]!r}" for n in v["nodes"][:2]) for v in found]

    def complaints(self):
        """What the browser has to say of our scripts."""
        asked = lambda e: "status of 4" in e["message"]  # refusals that a check has provoked
        return [e["message"] for e in self.browser.get_log("browser") if e["level"] == "SEVERE" and not asked(e)]
