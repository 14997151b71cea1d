"""What is to be read on the board is not cut and not covered, in wide windows and in narrow ones; what is opened leaves its row in
sight; at a glance the whole cue is on the screen.
"""

import time

from page import Keys

SIZES = [(1440, 900), (1100, 800), (800, 700), (420, 800)]

# What lies beyond its head, or is cut in it; signs that lie on words.
CUT = """
const out = [];
const seen = (e) => e && getComputedStyle(e).display !== 'none';
for (const head of document.querySelectorAll('.head')) {
  const room = head.getBoundingClientRect();
  const [bars, clock] = ['.bars', '.clock'].map((s) => head.querySelector(s));
  for (const part of [bars, clock].filter(seen)) {
    const box = part.getBoundingClientRect();
    if (box.right > room.right + 0.5 || part.scrollWidth > part.clientWidth + 1) out.push(`${head.dataset.passage}: ${part.textContent} is cut`);
  }
  if (seen(bars) && seen(clock) && bars.getBoundingClientRect().right > clock.getBoundingClientRect().left + 0.5)
    out.push(`${head.dataset.passage}: bars and time lie on each other`);
  if (!seen(clock) && !head.title.includes(clock.textContent)) out.push(`${head.dataset.passage}: what is left out is not told`);
  for (const hit of head.querySelectorAll('.hit'))
    for (const part of [bars, clock].filter(seen))
      if (hit.getBoundingClientRect().top < part.getBoundingClientRect().bottom - 3) out.push(`${head.dataset.passage}: a hit lies on words`);
}
for (const flaw of document.querySelectorAll('.flaw')) {
  const words = flaw.closest('.cell').querySelector('.words');
  if (words && words.getBoundingClientRect().right > flaw.getBoundingClientRect().left + 0.5) out.push(`${flaw.closest('.cell').id}: the sign lies on its words`);
}
if (document.documentElement.scrollWidth > innerWidth) out.push('the page is wider than the window');
for (const button of document.querySelectorAll('header button, .views button'))
  if (button.getBoundingClientRect().right > innerWidth) out.push(`${button.id} lies outside`);
return out;
"""
SCROLLS = """
const frame = document.getElementById('board-frame');
const board = document.getElementById('board');
return [board.scrollWidth - frame.clientWidth, board.offsetHeight - frame.clientHeight,
  Math.min(...[...document.querySelectorAll('.chair[data-row]')].map((r) => r.offsetHeight))];
"""


def resize(page, wide, high):
    """A window whose page is as large as this."""
    page.browser.set_window_size(wide, high)
    inner = page.script("return [innerWidth, innerHeight]")
    page.browser.set_window_size(2 * wide - inner[0], 2 * high - inner[1])
    # A busy machine takes a moment for it. (Some windows are never as narrow as was asked: that is tried for a while only.)
    end = time.monotonic() + 2
    while page.script("return [innerWidth, innerHeight]") != [wide, high] and time.monotonic() < end:
        time.sleep(0.05)


def narrow(page):
    page.read_through()
    assert page.all(".flaw") and page.all(".hit"), "there is something to lie on words"
    for wide, high in SIZES:
        resize(page, wide, high)
        assert not (cut := page.script(CUT)), f"{wide}: " + "; ".join(cut)
    # At a glance, with the findings beside it.
    page.click("#glance")
    for wide, high in [(1440, 900), (1280, 720), (800, 700)]:
        resize(page, wide, high)
        for _ in range(2):
            across, down, least = page.script(SCROLLS)
            assert across <= 0 and down <= 0.5, f"{wide} x {high}: {across} points too wide, {down} too high"
            assert least >= 3, "and every chair is seen"
            assert not (cut := page.script(CUT)), f"{wide}: " + "; ".join(cut)
            page.click("#show-findings")
    page.click("#glance")
    # What is opened takes room from the board and covers nothing of its row.
    for wide, high in [(800, 700), (600, 657)]:
        resize(page, wide, high)
        page.go("cellos", "Quay at dusk")
        page.press((Keys.CONTROL, Keys.ENTER))
        page.until("opened", lambda: page.all("#opened svg"))
        inside = """
          const cell = arguments[0].getBoundingClientRect();
          const [frame, heads, sheet] = ['#board-frame', '.heads', '#opened'].map((s) => document.querySelector(s).getBoundingClientRect());
          return cell.top >= heads.bottom - 1 && cell.bottom <= sheet.top + 1 && frame.bottom <= sheet.top + 1;
        """
        page.until(f"its row is in sight at {wide}", lambda: page.script(inside, page.cell("cellos", "Quay at dusk")), 5)
        page.press(Keys.ESCAPE)
        page.until("closed", lambda: not page.all("#opened"))


STAGE = """
const [stage, side, name] = ['.stage', '.hall-side', '.seat text'].map((s) => document.querySelector(s));
const [a, b] = [stage.getBoundingClientRect(), side.getBoundingClientRect()];
const names = [...document.querySelectorAll('.seat text')].map((t) => t.getBoundingClientRect());
const on = (p, q) => Math.min(p.right, q.right) - Math.max(p.left, q.left) > 0 && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 3;
return {
  points: 12.5 * name.getScreenCTM().a,
  apart: a.right <= b.left + 1 || a.bottom <= b.top + 1,
  across: side.scrollWidth - side.clientWidth,
  touching: names.filter((p, i) => names.some((q, j) => j > i && on(p, q))).length,
};
"""


def hall(page):
    page.browser.get(page.browser.current_url + "hall")
    page.until("the plan", lambda: page.all(".stage .seat text"))
    for wide, high in [(1440, 900), (1280, 720), (800, 700), (600, 700)]:
        resize(page, wide, high)
        seen = page.script(STAGE)
        assert seen["points"] >= 7.5, f"names of {seen['points']:.1f} points at {wide}"
        assert seen["apart"], f"the stage lies under what is said of it at {wide}"
        assert seen["across"] <= 0, f"the table scrolls sideways at {wide}"
        assert seen["touching"] == 0, f"{seen['touching']} names touch others at {wide}"


FILES = """
const [list, frame, said] = ['#warnings', '#board-frame', '.of-files'].map((s) => document.querySelector(s));
const [a, b] = [said.getBoundingClientRect(), frame.getBoundingClientRect()];
return {
  across: Math.max(document.documentElement.scrollWidth - innerWidth, list.scrollWidth - list.clientWidth),
  apart: a.bottom <= b.top + 1,
  room: Math.min(b.bottom, innerHeight) - b.top,
  rows: [...document.querySelectorAll('#warnings li')].length,
};
"""


def files(page):
    """Many things to look at, and a plan that is away: all of it is said, and the board is still there."""
    path, text = page.cue / "cue.toml", page.plan()
    wrong = text.replace('figure, l.v., p"', 'figure, a 7, p"').replace('"bass, legato', '"bass, a 9, legato')
    path.write_text(wrong + "\n[accept]\n" + "".join(f'"rnage@harp:{n}" = "so"\n' for n in range(1, 9)), encoding="utf-8")
    page.until("the list", lambda: page.one("#warnings").is_displayed(), 10)
    for away in (False, True):
        if away:
            path.unlink()
            page.until("it is told", lambda: page.all("#put-back"), 10)
        for wide, high in [(1680, 1050), (1280, 720), (800, 700), (600, 657)]:
            resize(page, wide, high)
            seen = page.script(FILES)
            assert seen["rows"] > 10 and seen["across"] <= 0 and seen["apart"], f"{wide} x {high}: {seen}"
            assert seen["room"] >= (100 if away else 200), f"{wide} x {high}: {seen['room']} points are left for the board"
            if away:
                assert page.script("const b = document.getElementById('put-back').getBoundingClientRect();"
                                   "return b.left >= 0 && b.right <= innerWidth && b.bottom <= innerHeight"), f"{wide} x {high}"
    page.click("#put-back")
    page.until("it is back", lambda: not page.all("#put-back"), 10)
