"""How long a change takes until it is seen, and what the page weighs.

    measure.py          the demo, and a cue of 60 chairs and 400 bars; 30 edits each

The time runs in the browser: from the key that writes the cell to the first frame after the new cell stands on the page. It is
given in milliseconds and as a ratio to an empty request of the same browser to the same server, which does not depend on the
machine as much.
"""

import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from page import PROGRAM, ROOT, Keys, Page

EDITS = 30
# Goals, ms, from the key to the new board; and bytes of a page with all scripts and styles, without its pictures.
DEMO, LARGE, WEIGHT = 100, 250, 400_000

WATCH = """
const [id, words, done] = arguments;
const input = document.getElementById('cell-input');
input.value = words;
const begun = performance.now();
const look = () => {
  const cell = document.getElementById(id);
  if (cell?.dataset.text === words) requestAnimationFrame(() => setTimeout(() => done(performance.now() - begun)));
  else setTimeout(look, 1);
};
input.dispatchEvent(new KeyboardEvent('keydown', {key: 'Enter', bubbles: true, cancelable: true}));
look();
"""
EMPTY = """
const done = arguments[0];
(async () => {
  const all = [];
  for (let i = 0; i < 30; i++) {
    const begun = performance.now();
    await (await fetch('/assets/view.js', {cache: 'no-store'})).text();
    all.push(performance.now() - begun);
  }
  done(all);
})();
"""
LOADED = """
return performance.getEntriesByType('resource').map(r => [r.name, r.decodedBodySize])
  .concat([[location.pathname, performance.getEntriesByType('navigation')[0].decodedBodySize]])
"""


def edits(page, count=EDITS):
    """Milliseconds of each edit, and of each empty request."""
    page.read_through()
    empty = page.browser.execute_async_script(EMPTY)
    cells = page.script(
        "return [...document.querySelectorAll('.cell.leads')].filter(c => !/[:;]/.test(c.dataset.text))"
        ".map(c => [c.id, c.dataset.text])")
    step = max(1, len(cells) // count)
    times = []
    for n, (cell, text) in enumerate((cells[::step] * count)[:count]):
        line = text.split(",")[0]
        page.script("document.getElementById(arguments[0]).focus();"
                    "document.getElementById(arguments[0]).dispatchEvent(new PointerEvent('pointerdown', {bubbles: true, cancelable: true}))", cell)
        page.press(Keys.ENTER)
        page.until("the editor opens", lambda: page.focused() == "cell-input")
        words = f"{line}, {('mp', 'mf', 'p', 'f')[n % 4]}"
        if words == text:
            words = f"{line}, pp"
        times.append(page.browser.execute_async_script(WATCH, cell, words))
    return times, empty


def weight(page):
    """Bytes of the page, and of its scripts and styles; pictures inside the page are counted apart."""
    loaded = [(name, size) for name, size in page.script(LOADED) if "/changes" not in name]
    html = page.script("return document.documentElement.outerHTML")
    pictures = sum(len(piece.split("</svg>")[0]) for piece in html.split("<svg")[1:])
    return sum(size for _, size in loaded) - pictures, sum(s for n, s in loaded if n.endswith(".js")), pictures


def large(folder):
    """A cue of 60 chairs and 400 bars."""
    music = Path(folder) / "large.musicxml"
    subprocess.run([sys.executable, str(ROOT / "tests" / "cross" / "generate_score.py"), str(music), "60", "400"], check=True)
    subprocess.run([PROGRAM, "new", str(Path(folder) / "large"), "--music", str(music)], check=True, stdout=subprocess.DEVNULL)
    return Path(folder) / "large"


def figures(whole=True):
    """Prints them, of the large cue too if `whole`; gives 1 if the demo's page weighs too much. Times fail nothing: machines differ."""
    missed = 0
    with tempfile.TemporaryDirectory() as folder:
        cues = [("the demo", None, DEMO)] + ([("60 chairs, 400 bars", large(folder), LARGE)] if whole else [])
        for name, cue, goal in cues:
            with Page(cue) as page:
                page.until("the board", lambda: page.all(".cell"), 120)
                page.read_through()
                # As it is loaded; later requests are no part of it.
                page.browser.refresh()
                page.until("the board", lambda: page.all(".cell"), 120)
                total, scripts, pictures = weight(page)
                times, empty = edits(page)
            median, base = statistics.median(times), statistics.median(empty)
            print(f"{name}: from Enter to the new board, median of {len(times)} edits {median:.0f} ms (slowest {max(times):.0f}; goal {goal}); "
                  f"an empty request {base:.1f} ms: {median / base:.0f} times as long", flush=True)
            print(f"{name}: page, scripts and styles {total / 1000:.0f} kB, of which scripts {scripts / 1000:.0f} kB; "
                  f"pictures {pictures / 1000:.0f} kB", flush=True)
            missed += cue is None and total > WEIGHT
    return missed


if __name__ == "__main__":
    raise SystemExit(figures())
