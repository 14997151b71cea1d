"""Works on the page as a user does, in a browser without window. Prints each check and its time; ends with 1 if one fails.

    run.py [NAME …]     only the checks of these names
"""

import shutil
import subprocess
import sys
import time
import traceback

import film
import hall
import narrow
from measure import figures
from page import PROGRAM, ROOT, Keys, Page

CHECKS = []


def check(function):
    CHECKS.append(function)
    return function


@check
def a_cell_by_keyboard(page):
    page.read_through()
    page.go("harp", "Open water")
    assert page.focused() == f"cell-{page.row('harp')}-{page.column('Open water')}"
    before, plan = page.cell("harp", "Open water").get_attribute("outerHTML"), page.plan()
    arc = page.one(f"#arc-{page.column('Open water')}").get_attribute("outerHTML")
    # Escape leaves everything as it was.
    page.press(Keys.ENTER, "nonsense", Keys.ESCAPE)
    page.until("the editor closes", lambda: not page.all(".editor"))
    assert page.plan() == plan and page.focused() == page.cell("harp", "Open water").get_attribute("id")
    # Completion: the beginning of a word, Tab, and so on.
    page.press(Keys.ENTER)
    page.until("the editor opens", lambda: page.focused() == "cell-input")
    page.press((Keys.CONTROL, "a"), "mel")
    page.until("a line is offered", lambda: page.one("#cell-offers li b").text == "melody")
    page.press(Keys.TAB, " 15")
    page.until("an octave is offered", lambda: page.one("#cell-offers li b").text == "15ma")
    page.press(Keys.ARROW_DOWN, Keys.ENTER)
    assert page.one("#cell-input").get_attribute("value") == "melody 15ma"
    page.press(", ff", Keys.ENTER)
    page.until("the cell says so", lambda: page.text("harp", "Open water") == "melody 15ma, ff")
    assert 'harp        = "melody 15ma, ff"' in page.plan(), "written, and nothing else of the line is"
    assert page.cell("harp", "Open water").get_attribute("outerHTML") != before
    # The keyboard is where it was, and the arc follows.
    assert page.focused() == page.cell("harp", "Open water").get_attribute("id")
    page.until("the arc", lambda: page.one(f"#arc-{page.column('Open water')}").get_attribute("outerHTML") != arc)
    page.press((Keys.CONTROL, "z"))
    page.until("undone", lambda: page.plan() == plan)
    page.until("shown", lambda: page.text("harp", "Open water") != "melody 15ma, ff")
    # The findings follow too: a bass two octaves down lies below the harp's lowest string.
    page.read_through()
    assert "harp-fixed-strings" not in page.one("#findings").get_attribute("innerHTML")
    page.press(Keys.ENTER)
    page.until("the editor opens", lambda: page.focused() == "cell-input")
    page.press((Keys.CONTROL, "a"), "bass 15mb, ff", Keys.ENTER)
    page.until("what cannot be played", lambda: "harp-fixed-strings" in page.one("#findings").get_attribute("innerHTML"), 60)
    page.press((Keys.CONTROL, "z"))
    page.until("undone again", lambda: page.plan() == plan)


@check
def errors_while_typing(page):
    plan = page.plan()
    page.go("harp", "Casting off")
    page.press(Keys.ENTER)
    page.until("the editor opens", lambda: page.focused() == "cell-input")
    page.press((Keys.CONTROL, "a"), "figure, legatto, p")
    page.until("underlined", lambda: [u.text for u in page.all(".echo u")] == ["legatto"])
    assert "legato" in page.one("#cell-fault").text and page.one("#cell-input").get_attribute("aria-invalid") == "true"
    # All that is wrong, in its place and without the file's, also after Enter; and the editor stays in the window.
    page.press((Keys.CONTROL, "a"), "melodie, legatto, q < f")
    page.until("all underlined", lambda: [u.text for u in page.all(".echo u")] == ["melodie", "legatto", "q < f"])
    page.press(Keys.ENTER)
    for word in ("melodie", "legatto", "q < f"):
        page.until("refused in words", lambda: word in page.one("#cell-fault").text)
    assert "cue.toml" not in page.one("#cell-fault").text
    assert page.script("return document.querySelector('.editor').getBoundingClientRect().bottom <= innerHeight")
    assert page.plan() == plan and page.all(".editor")
    page.press((Keys.CONTROL, "a"), "figure, legato, p")
    page.until("no complaint", lambda: not page.all(".echo u") and not page.one("#cell-fault").text)
    page.press(Keys.ESCAPE)
    page.until("the editor closes", lambda: not page.all(".editor"))
    assert page.plan() == plan


@check
def a_remedy_is_taken(page):
    # High above its compass: the program knows what to do instead.
    page.write("cor-anglais", "Casting off", "melody 15ma, mp")
    page.read_through()
    if "without-side" in page.one("#cue").get_attribute("class"):
        page.click("#show-findings")
    plan, count = page.plan(), len(page.all("#findings .group .finding"))
    # In one go: the list may be renewed between two.
    name = page.until("a remedy", lambda: page.script(
        "const take = document.querySelector('#findings .finding .take');"
        "take?.click(); return take?.closest('.finding').dataset.name"))
    page.until("the plan is changed", lambda: page.plan() != plan)
    page.read_through()
    gone = lambda: name not in [f.get_attribute("data-name") for f in page.all("#findings .group .finding")]
    page.until(f"{name} of {count} is gone", gone)
    page.click("#undo")
    page.until("undo takes it back", lambda: page.plan() == plan)
    taken = plan
    page.click("#redo")
    page.until("redo makes it again", lambda: page.plan() != taken)


@check
def cells_are_copied_and_carried_on(page):
    page.go("harp", "Quay at dusk")
    words = page.text("harp", "Quay at dusk")
    page.press((Keys.SHIFT, Keys.ARROW_RIGHT))
    assert len(page.all('.cell[aria-selected="true"]')) == 2
    wanted = [words, page.text("harp", "Casting off")]
    page.press((Keys.CONTROL, "c"))
    target = page.script(
        "return [...document.querySelectorAll('.chair')].filter(c => ![...c.querySelectorAll('.cell')].slice(0, 2)"
        ".some(c => c.dataset.text)).map(c => c.dataset.chair)")
    chair = next(c for c in target if c in ("violins-1", "celesta", "flutes", "horns"))
    page.go(chair, "Quay at dusk")
    page.press((Keys.CONTROL, "v"))
    page.until("pasted", lambda: [page.text(chair, "Quay at dusk"), page.text(chair, "Casting off")] == wanted)
    page.press((Keys.CONTROL, "z"))
    page.until("one step", lambda: [page.text(chair, "Quay at dusk"), page.text(chair, "Casting off")] == ["", ""])
    page.write("violas", "Quay at dusk", "pad.top, con sord., p")
    page.press((Keys.CONTROL, Keys.ARROW_RIGHT))
    page.until("carried on", lambda: page.text("violas", "Casting off") == "pad.top, con sord., p")
    assert page.focused() == page.cell("violas", "Casting off").get_attribute("id")
    page.press(Keys.DELETE)
    page.until("emptied", lambda: page.text("violas", "Casting off") == "")


@check
def families_fold_and_the_silent_are_hidden(page):
    family = page.one('.family[data-family="Brass"]')
    seen = lambda: [c.get_attribute("data-chair") for c in page.all(".chair[data-row]") if c.is_displayed()]
    before = seen()
    family.find_element("css selector", ".bracket").click()
    page.until("folded", lambda: page.all('.family[data-family="Brass"] .together'))
    assert len(seen()) < len(before) and page.one('.family[data-family="Brass"] .bracket').get_attribute("aria-expanded") == "false"
    page.one('.family[data-family="Brass"] .bracket').click()
    page.until("unfolded", lambda: seen() == before)
    # A chair that is silent throughout.
    for passage in [h.get_attribute("data-passage") for h in page.all(".head")]:
        if page.text("celesta", passage):
            page.go("celesta", passage)
            page.press(Keys.DELETE)
            page.until("emptied", lambda: page.text("celesta", passage) == "")
    page.browser.refresh()
    page.until("loaded", lambda: page.one("#hide-silent"))
    page.click("#hide-silent")
    page.until("hidden", lambda: "celesta" not in seen())
    assert "harp" in seen() and page.one("#hide-silent").get_attribute("aria-pressed") == "true"
    page.click("#hide-silent")
    page.until("shown", lambda: "celesta" in seen())


@check
def passages_are_renamed_split_and_joined(page):
    def once(passage, entry, values):
        head = page.one(f'.head[data-passage="{passage}"]')
        page.script("arguments[0].focus()", head)
        page.press(Keys.ENTER)
        form = page.until("the menu", lambda: [f for f in page.all(".menu form") if f.find_element("css selector", "button").text == entry][0], 5)
        for field, value in zip(form.find_elements("css selector", "input"), values):
            field.clear()
            field.send_keys(value)
        form.find_element("css selector", "button").click()
        return True

    # The board may be loaded anew under the hands, once; then the menu is opened again.
    menu = lambda passage, entry, *values: page.until(f"{entry} {passage}", lambda: once(passage, entry, values))

    heads = lambda: [h.get_attribute("data-passage") for h in page.all(".head")]
    first = page.plan()
    menu("Open water", "rename", "Out at sea")
    page.until("renamed", lambda: "Out at sea" in heads() and "Open water" not in heads())
    menu("Out at sea", "split", "21", "Further out")
    page.until("split", lambda: heads().index("Further out") == heads().index("Out at sea") + 1)
    assert page.one('.head[data-passage="Further out"]').get_attribute("data-from-bar") == "21"
    menu("Out at sea", "join with the next")
    page.until("joined", lambda: "Further out" not in heads())
    menu("Out at sea", "rename", "Casting off")
    page.until("refused", lambda: "Casting off" in page.one("#said").text)
    page.press(Keys.ESCAPE)
    for _ in range(3):
        plan = page.plan()
        page.click("#undo")
        page.until("undone", lambda: page.plan() != plan)
    assert page.plan() == first
    page.until("shown", lambda: "Open water" in heads())


@check
def an_editor_changes_the_plan(page):
    path = page.cue / "cue.toml"
    path.write_text(page.plan().replace("figure, l.v., p", "figure 8va, l.v., p", 1), encoding="utf-8")
    page.until("it appears", lambda: page.text("harp", "Quay at dusk") == "figure 8va, l.v., p", 5)
    sound = page.plan()
    path.write_text(sound.replace("figure 8va, l.v., p", "figgure, l.v., p", 1), encoding="utf-8")
    page.until("trouble is told", lambda: "figure" in page.one("#trouble").text, 5)
    path.write_text(sound, encoding="utf-8")
    page.until("trouble is over", lambda: not page.one("#trouble").text, 5)
    # Both on one cell: the page says so, and writes over it only when told again.
    page.go("harp", "Casting off")
    page.press(Keys.ENTER)
    page.until("the editor opens", lambda: page.focused() == "cell-input")
    path.write_text(page.plan().replace('harp          = "figure, l.v., p"', 'harp          = "figure, mp"', 1), encoding="utf-8")
    page.press((Keys.CONTROL, "a"), "figure, l.v., mf", Keys.ENTER)
    page.until("told", lambda: "figure, mp" in page.one("#cell-fault").text)
    assert "figure, l.v., mf" not in page.plan()
    page.press(Keys.ENTER)
    page.until("written", lambda: page.text("harp", "Casting off") == "figure, l.v., mf")


@check
def a_plan_that_is_away_is_told(page):
    path = page.cue / "cue.toml"
    text = page.plan()
    path.unlink()
    page.until("it is told", lambda: "there is no such file" in page.one("#trouble").text, 10)
    assert "cue-from-page.toml" in page.one("#trouble").text, "and where its words still are"
    path.write_text(text, encoding="utf-8")
    page.until("it is over", lambda: not page.one("#trouble").text, 10)
    # Or it is put back from here; a file that has come back by itself is not written over.
    path.unlink()
    page.until("it is offered", lambda: "cue.toml" in page.one("#put-back").text, 10)
    page.click("#put-back")
    page.until("it is back", lambda: path.exists() and page.plan() == text, 10)
    page.until("it is over", lambda: not page.one("#trouble").text and "put back" in page.one("#said").text, 10)
    path.unlink()
    page.until("it is offered again", lambda: page.all("#put-back"), 10)
    other = text.replace('"Night Ferry"', '"Day Ferry"', 1)
    path.write_text(other, encoding="utf-8")
    page.script("document.getElementById('put-back')?.click()")
    page.until("it is over again", lambda: not page.one("#trouble").text and page.one("h1").text == "Day Ferry", 10)
    assert page.plan() == other
    page.write("harp", "Casting off", "figure, l.v., mf")


@check
def what_the_plan_can_hardly_mean_is_told(page):
    path, text = page.cue / "cue.toml", page.plan()
    assert not page.one("#warnings").is_displayed()
    # While it is typed: said, underlined, and no fault.
    page.go("harp", "Casting off")
    page.press(Keys.ENTER)
    page.until("the editor opens", lambda: page.focused() == "cell-input")
    page.press((Keys.CONTROL, "a"), "figure, a 7, p")
    page.until("underlined", lambda: [u.text for u in page.all(".echo u.mild")] == ["a 7"])
    assert "7 players" in page.one("#cell-fault").text
    assert page.one("#cell-input").get_attribute("aria-invalid") == "false"
    page.press(Keys.ENTER)
    page.until("written", lambda: page.text("harp", "Casting off") == "figure, a 7, p" and not page.all(".editor"))
    # Written: above the board with its place and what to do, and in the cell.
    told = page.until("it is told", lambda: page.one("#warnings").is_displayed() and page.one("#warnings").text)
    line = next(i for i, words in enumerate(page.plan().splitlines(), 1) if "a 7" in words)
    for words in ("1 thing to look at in cue.toml", f"cue.toml, line {line}, column", "7 players", "players = 7"):
        assert words in told, told
    assert "doubted" in page.cell("harp", "Casting off").get_attribute("class")
    assert "7 players" in page.cell("harp", "Casting off").get_attribute("aria-label")
    assert not (trouble := page.axe()), "\n".join(trouble)
    # Folded away it stays so, whatever comes; and it leads to its cell.
    page.click("#warnings summary")
    page.until("folded", lambda: not page.one("#warnings li").is_displayed())
    path.write_text(page.plan() + '\n[accept]\n"rnage@harp" = "she can"\n', encoding="utf-8")
    page.until("both are told", lambda: "2 things" in page.one("#warnings summary").text, 10)
    assert not page.one("#warnings li").is_displayed()
    page.click("#warnings summary")
    page.until("unfolded", lambda: "Did you mean `range`?" in page.one("#warnings").text)
    page.go("harp", "Quay at dusk")
    page.click("#warnings .to-cell")
    page.until("its cell", lambda: page.focused() == page.cell("harp", "Casting off").get_attribute("id"))
    # From the hall too.
    page.browser.get(page.browser.current_url.split("#")[0] + "hall")
    page.until("told there", lambda: "7 players" in page.one("#warnings").text)
    page.click("#warnings .to-cell")
    page.until("its cell again", lambda: page.focused() == page.cell("harp", "Casting off").get_attribute("id"))
    path.write_text(text, encoding="utf-8")
    page.until("mended", lambda: not page.one("#warnings").is_displayed(), 10)
    assert "doubted" not in page.cell("harp", "Casting off").get_attribute("class")


@check
def nothing_is_cut_in_narrow_windows(page):
    narrow.narrow(page)


@check
def the_hall_is_readable_in_narrow_windows(page):
    narrow.hall(page)


@check
def what_is_said_of_files_leaves_room_for_the_board(page):
    narrow.files(page)


@check
def light_and_dark_have_no_barriers(page):
    page.read_through()
    trouble = []
    for where in ("cue", "start"):
        if where == "start":
            page.browser.get(page.root + "/")
        for light in ("day", "night"):
            if where == "start":
                page.script("localStorage.setItem('ripieno-light', arguments[0])", light)
                page.browser.refresh()
            elif page.script("return document.documentElement.dataset.light") != light:
                page.click("#light")
            assert page.script("return document.documentElement.dataset.light") == light
            trouble += [f"{where}, {light}: {v}" for v in page.axe()]
            if where == "cue" and light == "day":
                if "without-side" in page.one("#cue").get_attribute("class"):
                    page.click("#show-findings")
                page.go("harp", "Quay at dusk")
                page.press(Keys.ENTER)
                page.until("the editor opens", lambda: page.focused() == "cell-input")
                page.press((Keys.CONTROL, "a"), "figure, l")
                page.until("offers", lambda: page.all("#cell-offers li"))
                trouble += [f"editor: {v}" for v in page.axe()]
                page.press(Keys.ESCAPE)
    assert not trouble, "\n".join(trouble)


@check
def the_start_page_takes_music(page):
    page.browser.get(page.root + "/")
    page.until("the page", lambda: page.one("#drop"))
    assert page.all(".open-cue"), "the cue that was opened is listed"
    page.drop("broken.mid", b"MThd\x00\x00\x00\x06\x00\x01")
    page.until("the message", lambda: "broken" in page.one("#trouble").text or "MIDI" in page.one("#trouble").text)
    assert not (page.home / "broken").exists(), "and no cue is left behind"
    music = (ROOT / "demo" / "night-ferry" / "night-ferry.musicxml").read_bytes()
    page.drop("Evening Boat.musicxml", music)
    page.until("its board", lambda: "/cue/evening-boat/" in page.browser.current_url and page.all(".cell"), 60)
    assert (page.home / "Evening Boat" / "Evening Boat.musicxml").read_bytes() == music
    # On a template of one's own: what no chair plays waits to be cast.
    page.browser.get(page.root + "/")
    template = page.until("the field", lambda: page.one("#template"))
    template.send_keys("nowhere.toml")
    page.drop("Sketch.musicxml", SKETCH)
    page.until("the message", lambda: "no template" in page.one("#trouble").text)
    template.clear()
    template.send_keys("ferry/template.toml")
    page.drop("Sketch.musicxml", SKETCH)
    page.until("its board", lambda: "/cue/sketch/" in page.browser.current_url and page.all(".cell"), 60)
    assert 'tune = { track = "Tune" }' in (page.home / "Sketch" / "cue.toml").read_text().replace("  ", " ")
    page.write("oboe", "A", "tune, legato, p")
    page.until("it plays", lambda: "leads" in page.cell("oboe", "A").get_attribute("class"))


SKETCH = b"""<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Tune</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<note><pitch><step>A</step><octave>4</octave></pitch><duration>2</duration></note>
<note><pitch><step>B</step><octave>4</octave></pitch><duration>2</duration></note></measure></part></score-partwise>"""


@check
def versions_sheets_and_prints_have_their_place(page):
    before = page.home / "before"
    shutil.copytree(page.cue, before, ignore=shutil.ignore_patterns(".ripieno"))
    field = page.one("#compare input")

    def compare(words):
        field.clear()
        field.send_keys(words, Keys.ENTER)

    compare("nowhere")
    page.until("the refusal", lambda: "holds no version" in page.one("#said").text)
    compare(str(before))
    page.until("nothing is another", lambda: "Nothing" in page.one("#changes").text)
    page.write("violas", "Quay at dusk", "tacet")
    page.until("written", lambda: page.text("violas", "Quay at dusk") == "tacet")
    compare(str(before))
    page.until("what is another", lambda: "Violas" in page.one("#changes").text or "violas" in page.one("#changes").text)
    # The sheets.
    page.click("#write-out")
    page.click('.write-out input[value="sheets"]')
    page.click(".write-out .begin")
    page.until("written", lambda: "report.html" in page.one(".write-out .files").text, 90)
    report = (page.cue / "report.html").read_text()
    assert report.startswith("<!doctype html>") and "Night Ferry" in report
    assert (page.cue / "score.musicxml").is_file() and len(list((page.cue / "parts").iterdir())) > 20
    # A print is named, moved onto the notes, and taken away again.
    page.browser.get(page.root + "/cue/ferry/patches")
    form = page.until("the form", lambda: page.one("#print"))
    template = page.cue / "template.toml"
    was = template.read_text()
    page.script("arguments[0].elements.chair.value = 'harp'", form)
    form.find_element("css selector", "input").send_keys("../outside.wav", Keys.ENTER)
    page.until("the refusal", lambda: "leads out" in page.one("#said").text)
    file = page.one("#print input")
    file.clear()
    file.send_keys("prints/harp.wav", Keys.ENTER)
    page.until("listed", lambda: "prints/harp.wav" in page.one("#prints").text and "is not there" in page.one("#prints").text)
    assert 'print = "prints/harp.wav"' in template.read_text().replace("  ", " ").replace("  ", " ")
    page.click('[data-align="harp"]')
    page.until("moved", lambda: page.script("return document.querySelector('[data-align=\"harp\"]')?.checked")
               and "print-align" in template.read_text())
    page.click('[data-unprint="harp"]')
    page.until("taken away", lambda: not page.all("#prints li"))
    assert template.read_text() == was, "and the template is as it was"


@check
def seats_are_moved_and_sends_are_set(page):
    page.base = page.browser.current_url
    hall.hall(page)


@check
def patches_are_written_and_tried(page):
    page.base = page.browser.current_url
    hall.patches(page)


@check
def handwork_comes_back(page):
    import mido

    page.read_through()
    subprocess.run([PROGRAM, "perform", str(page.cue)], check=True, stdout=subprocess.DEVNULL)
    edited = mido.MidiFile(page.cue / "performed.mid")
    track = next(t for t in edited.tracks if t.name == "harp")
    first = next(m for m in track if m.type == "note_on" and m.velocity > 0)
    first.velocity = 127 if first.velocity < 100 else 30
    file = page.home / "edited.mid"
    edited.save(file)
    page.one("#edited").send_keys(str(file))
    mark = page.until("the mark is listed", lambda: page.one("#beside .rub"), 60)
    assert "Harp" in page.one("#beside .hand").text, page.one("#beside .hand").text
    assert (page.cue / "pencil.toml").is_file()
    mark.click()
    page.until("it is rubbed out", lambda: not page.all("#beside .rub"), 60)
    page.click("#rub-back")
    page.until("it is back", lambda: page.all("#beside .rub"), 60)
    # A file that is no MIDI is refused in words.
    file.write_bytes(b"no MIDI")
    page.one("#edited").send_keys(str(file))
    page.until("the refusal", lambda: "MIDI" in page.one("#said").text)


@check
def tempi_are_fitted_to_picture(page):
    page.read_through()
    path = page.cue / "cue.toml"
    plan = path.read_text().split("[picture]")[0].rstrip() + """

[picture]
rate = "25"
start = "01:00:00:00"

[[picture.hit]]
at = "01:00:17:20"
what = "the lamp goes on"
bar = 9
"""
    path.write_text(plan)
    page.until("the hit is shown", lambda: "the lamp goes on" in page.one("#beside").text, 60)
    page.click("#fit")
    take = page.until("a proposal", lambda: page.one(".take-fit"), 60)
    take.click()
    page.until("its tempi stand in the plan", lambda: "[[tempo]]" in path.read_text(), 60)
    page.until("the hit is met", lambda: page.all("#beside .picture > .hits .met"), 60)
    page.click("#undo")
    page.until("undone", lambda: "[[tempo]]" not in path.read_text(), 60)


@check
def a_film_runs_with_the_music(page):
    film.film(page)


def main():
    wanted = sys.argv[1:]
    failed = 0
    for function in CHECKS:
        if wanted and function.__name__ not in wanted:
            continue
        begun = time.monotonic()
        words = function.__name__.replace("_", " ")
        try:
            with Page(traced=function.__name__.startswith("a_film")) as page:
                page.until("the board", lambda: page.all(".cell"), 60)
                try:
                    function(page)
                    assert not (complaints := page.complaints()), complaints
                except BaseException:
                    page.browser.save_screenshot("/tmp/ripieno-page-failed.png")
                    raise
            print(f"ok      {words} ({time.monotonic() - begun:.1f} s)", flush=True)
        except Exception:
            failed += 1
            print(f"FAILED  {words}\n{traceback.format_exc(limit=-2)}", flush=True)
    if not wanted or "figures" in wanted:
        failed += figures(whole=False)
    raise SystemExit(1 if failed else 0)


if __name__ == "__main__":
    main()
