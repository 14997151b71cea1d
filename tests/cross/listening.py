"""Listening on the page, in a real browser: what goes out is what was chosen, soon, at its place, and follows a changed plan.

`PY tests/cross/listening.py PROGRAM CUE`: the cue is copied. The browser is Chromium without a window; its output goes nowhere.
"""
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select


def browser():
    options = Options()
    for word in ["--headless=new", "--no-sandbox", "--autoplay-policy=no-user-gesture-required", "--window-size=1600,1000"]:
        options.add_argument(word)
    options.binary_location = shutil.which("chromium") or shutil.which("google-chrome") or ""
    return webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))


def main(program, cue):
    folder = Path(tempfile.mkdtemp()) / "cue"
    shutil.copytree(cue, folder)
    server = subprocess.Popen([program, "open", str(folder), "--no-browser"], stdout=subprocess.PIPE, text=True)
    try:
        address = re.search(r"http://\S+", server.stdout.readline()).group(0)
        page = browser()
        try:
            listen(page, address)
        finally:
            page.quit()
    finally:
        server.terminate()
        shutil.rmtree(folder.parent, ignore_errors=True)


def listen(page, address):
    page.get(address)
    heard = lambda: page.execute_script("return window.ripieno && window.ripieno.heard()")
    press = lambda what: page.find_element(By.ID, what).click()

    def until(holds, seconds=20):
        end = time.time() + seconds
        while time.time() < end:
            now = heard()
            if now and holds(now):
                return now
            time.sleep(0.03)
        raise AssertionError(f"not within {seconds} s: {heard()}")

    def measured(count=12):
        many = []
        for _ in range(count):
            many.append(heard())
            time.sleep(0.09)
        return statistics.median(m["rms"] for m in many), statistics.median(m["centroid"] for m in many)

    until(lambda h: not h["playing"])
    options = page.execute_script("return [...document.querySelectorAll('#hear option')].map(o => o.value)")
    deadline = time.time() + 20
    while len(options) < 3 and time.time() < deadline:
        time.sleep(0.2)
        options = page.execute_script("return [...document.querySelectorAll('#hear option')].map(o => o.value)")
    assert len(options) > 3, options

    # Played, at its place, and stopped by the space bar where no field has the focus.
    page.find_elements(By.CSS_SELECTOR, ".head")[-1].click()
    time.sleep(0.2)
    press("play")
    first = until(lambda h: h["playing"] and h["rms"] > 1e-4)
    print(f"play to sound: {first['took']['play']:.0f} ms")
    time.sleep(1.0)
    later = heard()
    assert 0.5 < later["seconds"] - first["seconds"] < 2.5, (first, later)
    place = page.find_element(By.ID, "heard-place").text
    assert re.match(r"bar \d+ · \d+:\d\d", place), place
    assert page.find_element(By.ID, "heard-line").is_displayed()
    page.find_element(By.TAG_NAME, "body").click()
    page.execute_script("document.activeElement.blur()")
    page.find_element(By.TAG_NAME, "body").send_keys(Keys.SPACE)
    until(lambda h: not h["playing"])
    time.sleep(0.4)
    assert heard()["rms"] < 1e-4

    # From before the passage.
    page.execute_script("document.getElementById('bars-before').value = '2'")
    press("play-before")
    began = until(lambda h: h["playing"])
    assert began["seconds"] < first["seconds"] - 0.5, (began["seconds"], first["seconds"])

    # Choices, at the place: none is silent for long, and each has its own sound.
    select = Select(page.find_element(By.ID, "hear"))
    took, sounds = [], {}
    for value in [o for o in options if o.startswith("family:")] + [o for o in options if o.startswith("line:")]:
        page.find_elements(By.CSS_SELECTOR, ".head")[-1].click()
        time.sleep(0.3)
        select.select_by_value(value)
        time.sleep(0.7)
        took.append(heard()["took"]["switched"])
        sounds[value] = measured(6)
    took = [t for t in took if t == t]
    print(f"switched: median {statistics.median(took):.0f} ms, worst {max(took):.0f} ms of {len(took)}")
    loud = {k: v for k, v in sounds.items() if v[0] > 1e-4}
    assert len(loud) >= 2, sounds
    centres = [round(c) for _, c in loud.values()]
    assert max(centres) > 1.3 * min(centres), sounds

    # Again and again.
    select.select_by_value("all:")
    page.find_elements(By.CSS_SELECTOR, ".head")[0].click()
    time.sleep(0.3)
    press("again")
    time.sleep(0.6)
    length = page.execute_script("const h = document.querySelector('.head'); return h.dataset.to - h.dataset.from")
    assert heard()["playing"] and heard()["seconds"] < length + 1
    press("again")

    # A changed cell is heard where it sounds.
    before = heard()["took"]["switched"]
    began = time.time()
    done = page.execute_async_script(
        """const done = arguments[arguments.length - 1];
        import('/assets/api.js').then(async (api) => {
          const cells = [...document.querySelectorAll('.cell.leads')];
          const cell = cells[0];
          const column = cell.id.split('-')[2];
          const passage = document.querySelector(`.head[data-column="${column}"]`).dataset.passage;
          const chair = cell.closest('.chair').dataset.chair;
          const refusal = await api.act([{cell: {passage, chair, text: cell.dataset.text + ', fff', was: cell.dataset.text}}]);
          done(refusal ? refusal.message : '');
        });"""
    )
    assert done == "" or done is None, done
    until(lambda h: h["took"]["switched"] != before, 10)
    print(f"cell to sound, seen from here: {1000 * (time.time() - began):.0f} ms")
    press("play")
    until(lambda h: not h["playing"])
    severe = [entry for entry in page.get_log("browser") if entry["level"] == "SEVERE"]
    assert not severe, severe
    print("all as wanted")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
