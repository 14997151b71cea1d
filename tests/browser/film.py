"""A film of the user's own, in step with the music. The film is made here: every frame carries its own number as light and dark fields.

`page` is a Page whose requests are recorded (`traced`).
"""

import json
import os
import re
import struct
import subprocess
from pathlib import Path

from page import PROGRAM, Keys

RATES = ["23.976", "24", "25", "29.97 drop", "29.97", "30"]
FPS, SECONDS, BITS, FIELD = 24, 60, 12, 16
TIMECODES = Path(PROGRAM).parent / "examples" / "timecodes"

# The number that the shown frame carries.
NUMBER = f"""
const number = () => {{
  const video = document.getElementById('film-picture'), canvas = document.createElement('canvas');
  [canvas.width, canvas.height] = [video.videoWidth, video.videoHeight];
  const pen = canvas.getContext('2d');
  pen.drawImage(video, 0, 0);
  let n = 0;
  for (let bit = 0; bit < {BITS}; bit++)
    if (pen.getImageData(bit * {FIELD} + {FIELD // 2}, 40, 1, 1).data[1] > 128) n += 2 ** bit;
  return n;
}};
"""
# For so many milliseconds: where the film is, where it should be, which frame it shows, and what code stands beside it.
SAMPLE = NUMBER + """
const [length, done] = arguments, begun = performance.now(), all = [];
let pictures = 0;
// After the page has drawn its own part of the same picture.
const look = () => {
  if (pictures++ % 3) return requestAnimationFrame(look);
  const film = window.ripieno.film(), heard = window.ripieno.heard();
  all.push({...film, number: number(), seconds: heard.seconds});
  if (performance.now() - begun < length) requestAnimationFrame(look);
  else done(all);
};
requestAnimationFrame(look);
"""
CODES = """
const [rates, frames, done] = arguments;
import('/assets/timecode.js').then(t => done(rates.map((r, i) => frames[i].map(n => [t.code(n, r), t.read(t.code(n, r), r), t.seconds(n, r)]))), e => done(String(e)));
"""


def make(path):
    """A film of known frames, with a tone."""
    picture = (f"nullsrc=s={BITS * FIELD}x96:r={FPS}:d={SECONDS},"
               f"geq=lum='if(gt(mod(floor(N/pow(2,floor(X/{FIELD}))),2),0),235,16)':cb=128:cr=128")
    subprocess.run(["ffmpeg", "-loglevel", "error", "-y", "-f", "lavfi", "-i", picture, "-f", "lavfi", "-i", f"sine=220:d={SECONDS}",
                    "-c:v", "libvpx", "-g", "24", "-deadline", "realtime", "-cpu-used", "8", "-b:v", "600k", "-c:a", "libopus", str(path)], check=True)


def rust(rate, *codes):
    """What the program's own code says of these codes: their frames."""
    said = subprocess.run([str(TIMECODES), rate, *codes], check=True, capture_output=True, text=True).stdout
    return [int(line) for line in said.split()]


def codes_are_the_programs(page):
    """The page's counting against the program's, at all rates, there and back."""
    facts = {"23.976": (24000, 1001, 24), "24": (24, 1, 24), "25": (25, 1, 25), "29.97 drop": (30000, 1001, 30),
             "29.97": (30000, 1001, 30), "30": (30, 1, 30)}
    rates = [{"word": r, "num": n, "den": d, "counted": c, "drops": r.endswith("drop")} for r, (n, d, c) in facts.items()]
    frames, expected = [], []
    for rate in RATES:
        whole = subprocess.run([str(TIMECODES), rate], check=True, capture_output=True).stdout
        day = len(whole) // 16
        # Around every full minute of two hours, where drop-frame leaves numbers out; and every 997th of the day, a prime.
        edges = {int(m * 60 * facts[rate][0] / facts[rate][1]) + k for m in range(121) for k in range(-3, 8)}
        chosen = sorted({n for n in edges | set(range(0, day, 997)) | {day - 1} if 0 <= n < day})
        frames.append(chosen)
        told = [struct.unpack_from("<4Bid", whole, 16 * n) for n in chosen]
        expected.append([["{:02}:{:02}:{:02}{}{:02}".format(*t[:3], ";" if rate.endswith("drop") else ":", t[3]), t[4], t[5]] for t in told])
    found = page.browser.execute_async_script(CODES, rates, frames)
    wrong = [(r, a, b) for r, mine, theirs in zip(RATES, found, expected) for a, b in zip(mine, theirs)
             if a[:2] != b[:2] or abs(a[2] - b[2]) > 1e-9]
    assert not wrong and sum(map(len, found)) > 10_000, wrong[:3]
    print(f"        {sum(map(len, found))} time codes at {len(RATES)} rates as the program counts them", flush=True)


def step(page, what, length=2500, offset=0.0, rate="24", begin="01:00:00:00", frame_most=2.0):
    """Samples while it plays: film, shown frame and code against the music's place. A machine with other work to do may drop pictures
    for a moment: one of several stretches has to hold, in which nine looks of ten are as they must be."""
    faults = []
    for _ in range(5):
        fault = stretch(page, what, length, offset, rate, begin, frame_most)
        if not fault:
            return
        faults.append(fault)
    raise AssertionError((what, faults))


def stretch(page, what, length, offset, rate, begin, frame_most):
    page.until(f"{what}: it plays", lambda: page.script("const f = window.ripieno.film(); return f.playing && !f.seeking && Math.abs(f.now - f.wanted) < 0.2"), 30)
    # A speed that is corrected needs a moment.
    page.browser.execute_async_script("setTimeout(arguments[0], 1200)")
    samples = [s for s in page.browser.execute_async_script(SAMPLE, length) if s["playing"]]
    if len(samples) <= 10:
        return f"{len(samples)} looks"
    off = sorted(abs(s["now"] - s["wanted"]) * FPS for s in samples)
    shown = sorted(abs(s["number"] - s["wanted"] * FPS) for s in samples)
    first = rust(rate, begin)[0]
    middle, most = len(samples) // 2, len(samples) * 9 // 10
    # What stands there was written by the last picture of the browser: a moment ago at most.
    late = [rust_frame(s["code"], rate) - (first + (s["wanted"] - offset) * FPS) for s in samples]
    # The place that the film goes by is the music's own, less what the output delays.
    apart = [s["seconds"] + offset - s["wanted"] for s in samples]
    print(f"        {what}: {len(samples)} looks, film off by {off[middle]:.2f} frames (nine of ten {off[most]:.2f}); "
          f"the shown frame by {shown[middle]:.2f} ({shown[most]:.2f})", flush=True)
    if max(late) > 1 or sorted(late)[len(late) // 10] < -2.5:
        return f"codes {min(late):.2f} to {max(late):.2f} frames from the place"
    if sum(-0.01 <= d < 0.3 for d in apart) < most:
        return f"the music's place is {min(apart):.3f} to {max(apart):.3f} s from the film's"
    # A frame stands for its whole length, and is drawn by the next picture of the screen.
    if off[middle] > 1 or off[most] > frame_most or shown[most] > frame_most + 1.5:
        return f"off by {off[middle]:.2f} and {off[most]:.2f}, shown {shown[most]:.2f}"
    return ""


def rust_frame(code, rate, kept={}):
    if (code, rate) not in kept:
        kept[code, rate] = rust(rate, code)[0]
    return kept[code, rate]


def stands(page, what, frame, code):
    """Stopped: the very frame, and its code."""
    look = lambda: page.script(NUMBER + "const f = window.ripieno.film(); return f.seeking || f.playing ? null : [number(), f.code]")
    try:
        page.until(what, lambda: look() == [frame, code], 20)
    except AssertionError as error:
        raise AssertionError(f"{what}: {look()} instead of {[frame, code]}") from error


def film(page):
    codes_are_the_programs(page)
    path = page.home / "a film of mine.webm"
    make(path)
    page.click("#show-film")
    page.until("the panel", lambda: page.one("#film").is_displayed())
    page.read_through()
    page.browser.get_log("performance")
    page.one("#film-file").send_keys(str(path))
    page.until("it is open", lambda: page.one("#film-said").text.startswith("a film of mine.webm") and page.script("return document.getElementById('film-picture').readyState > 1"), 20)
    assert page.script("return document.getElementById('film-picture').muted")
    # The head of the first passage: bar 1. Before it stands the lead-in, which has no picture.
    page.script("document.querySelector('.head').click()")
    stands(page, "the first frame at bar 1", 0, "01:00:00:00")
    # It takes room, and covers nothing.
    board, panel = page.one("#board-frame").rect, page.one("#film").rect
    assert board["x"] + board["width"] <= panel["x"] + 1, (board, panel)
    hit = page.one("#film-next").text
    assert re.fullmatch(r"next hit: 01:00:15:00 ropes cast off, bar 8 beat 1, (on the frame|[+−]\d+\.\d frames)", hit), hit
    # Its buttons and its field by keys alone.
    page.script("document.getElementById('film-file').focus()")
    page.press(Keys.TAB)
    assert page.focused() == "film-sound"
    page.press(Keys.SPACE)
    assert page.one("#film-sound").get_attribute("aria-pressed") == "true" and not page.script("return document.getElementById('film-picture').muted")
    page.press(Keys.SPACE)
    page.until("rendered ahead", lambda: page.browser.execute_async_script(
        "const done = arguments[0]; fetch(location.pathname + 'listen/block?frames=48000&patience=3000').then(r => done(r.headers.get('x-missing') === ''))"), 120)
    page.click("#play")
    step(page, "playing")
    page.click("#film-hits li:nth-child(1) button")
    step(page, "after a seek while it plays")
    page.click("#play")
    page.until("stopped", lambda: not page.script("return window.ripieno.film().playing"))
    page.click("#film-hits li:nth-child(1) button")
    stands(page, "a hit, stopped", 15 * FPS, "01:00:15:00")
    # The first passage ends soon after; then it is heard from its start.
    page.click("#again")
    page.click("#play")
    page.until("it begins anew", lambda: 0 < page.script("return window.ripieno.heard().seconds") < 6, 60)
    step(page, "after a loop")
    page.click("#again")
    page.click("#play")
    page.until("stopped", lambda: not page.script("return window.ripieno.film().playing"))
    # A film that begins ten seconds earlier.
    page.click("#film-hits li:nth-child(1) button")
    begin = page.one("#film-begin")
    begin.clear()
    begin.send_keys("00:59:50", Keys.ENTER)
    page.until("told what to write", lambda: "01:00:10:08" in page.one("#film-begin-fault").text)
    begin.clear()
    begin.send_keys("00:59:50:00", Keys.ENTER)
    stands(page, "ten seconds earlier", 25 * FPS, "01:00:15:00")
    page.click("#play")
    step(page, "a film that begins earlier", offset=10.0)
    page.click("#play")
    # Drop-frame code, and a plan without picture; the film that is open stays.
    plan = page.plan()
    dropped = plan.replace("rate  = 24", "rate  = \"29.97 drop\"").replace("01:01:00:00", "01:01:00;02")
    (page.cue / "cue.toml").write_text(dropped, encoding="utf-8")
    page.until("drop-frame", lambda: ";" in page.one("#film-code").text, 20)
    page.script("document.querySelector('.head').click()")
    page.until("bar 1 in drop-frame", lambda: page.one("#film-code").text == "01:00:00;00")
    page.click("#film-hits li:nth-child(2) button")
    page.until("past the numbers that are left out", lambda: page.one("#film-code").text == "01:01:00;02")
    page.script("document.querySelector('.head').click()")
    (page.cue / "cue.toml").write_text(plan[:plan.index("[picture]")] + plan[plan.index("# A buoy bell"):], encoding="utf-8")
    page.until("told what to write", lambda: page.one("#film-without").is_displayed(), 20)
    assert page.one("#film-code").text == "0:00.00" and "rate" in page.one("#film-without").text
    begin = page.one("#film-begin")
    begin.clear()
    begin.send_keys("0:12.52", Keys.ENTER)
    page.until("at its clock", lambda: page.one("#film-code").text == "0:12.52")
    stands(page, "bar 1 at 12.5 s", int(12.5 * FPS), "0:12.52")
    assert not (found := page.axe()), found
    # Nothing of the film went out: no request since it was chosen has a body, and none goes elsewhere.
    asked = [json.loads(e["message"])["message"] for e in page.browser.get_log("performance")]
    sent = [m["params"]["request"] for m in asked if m["method"] == "Network.requestWillBeSent"]
    assert any(r["url"].startswith("blob:") for r in sent) and len(sent) > 20, len(sent)
    strange = [r["url"] for r in sent if r.get("hasPostData") or not r["url"].startswith((page.root + "/", "blob:" + page.root, "data:"))]
    assert not strange, strange[:5]
    # Put away: what the browser held is given back.
    page.click("#film-away")
    assert not page.script("return document.getElementById('film-picture').hasAttribute('src')") and not page.one("#film-picture").is_displayed()
    # What is no film is refused in words.
    broken = page.home / "broken.webm"
    broken.write_bytes(os.urandom(4000))
    page.one("#film-file").send_keys(str(broken))
    page.until("the refusal", lambda: "cannot be shown" in page.one("#film-said").text, 20)
    page.click("#show-film")
    page.until("the panel is away", lambda: not page.one("#film").is_displayed())
