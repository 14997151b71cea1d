"""The hall and the patches in a real browser: by pointer, by keys, by words; a sampler that is only pretended.

`page` has `browser` (a webdriver whose cue is open) and `base` (the cue's address, ending in a stroke).
"""
import time

from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select


def until(true, what, seconds=20):
    end = time.time() + seconds
    while time.time() < end:
        found = true()
        if found:
            return found
        time.sleep(0.1)
    raise AssertionError(f"not within {seconds} s: {what}")


def seat(browser, chair):
    found = browser.find_element(By.ID, f"seat-{chair}")
    return float(found.get_attribute("data-x")), float(found.get_attribute("data-y"))


def moved(browser, chair, was):
    def now():
        try:
            place = seat(browser, chair)
        except Exception:  # The plan is being replaced.
            return None
        return place if place != was else None

    return until(now, f"{chair} moves")


def hall(page):
    browser = page.browser
    browser.get(page.base + "hall")
    chair = browser.find_element(By.CSS_SELECTOR, ".seat").get_attribute("data-chair")
    first = seat(browser, chair)
    # By keys: four steps are one metre, and one step for undo.
    browser.execute_script("document.getElementById(arguments[0]).focus()", f"seat-{chair}")
    for _ in range(4):
        ActionChains(browser).send_keys(Keys.ARROW_RIGHT).perform()
    second = moved(browser, chair, first)
    assert abs(second[0] - first[0] - 1) < 0.02 and abs(second[1] - first[1]) < 0.02, (first, second)
    until(lambda: browser.execute_script("return document.activeElement.id") == f"seat-{chair}", "the focus stays")
    browser.find_element(By.ID, "undo").click()
    assert moved(browser, chair, second) == first
    # By words.
    field = browser.find_element(By.ID, "seat-words")
    field.send_keys("3 m from the conductor, centre", Keys.ENTER)
    third = moved(browser, chair, first)
    assert third == (0, 3), third
    field.send_keys("behind the kazooo", Keys.ENTER)
    until(lambda: "kazooo" in browser.find_element(By.ID, "seat-fault").text, "the fault is told")
    browser.find_element(By.ID, "undo").click()
    moved(browser, chair, third)
    # By the pointer: a metre is so many pixels.
    metre = browser.execute_script(
        "const s = document.querySelector('svg.stage'); return s.getScreenCTM().a * Number(s.dataset.metre)"
    )
    hold = browser.find_element(By.CSS_SELECTOR, f"#seat-{chair} .heads")
    ActionChains(browser).click_and_hold(hold).move_by_offset(5, 0).move_by_offset(round(2 * metre) - 5, 0).release().perform()
    fourth = moved(browser, chair, first)
    assert abs(fourth[0] - first[0] - 2) < 0.15, (first, fourth)
    browser.find_element(By.ID, "undo").click()
    moved(browser, chair, fourth)
    until(lambda: browser.find_elements(By.CSS_SELECTOR, "#rooms svg.bands"), "the rooms are measured", 120)
    assert browser.find_element(By.ID, "hear-before").is_enabled()
    names = browser.execute_script(
        "return [...document.querySelectorAll('.seat, button, input, select')].filter((e) => e.offsetParent !== null || e.closest('svg'))"
        ".filter((e) => !(e.getAttribute('aria-label') || e.textContent.trim() || e.labels?.length || e.title)).map((e) => e.outerHTML)"
    )
    assert not names, names


PRETENDED = """
window.sent = [];
const output = { id: "a", name: "pretended", send: (bytes, at) => window.sent.push([at ?? 0, [...bytes]]), clear() {} };
const input = { id: "b", name: "keys", onmidimessage: null };
window.pressKey = (key) => input.onmidimessage({ data: new Uint8Array([0x90, key, 90]) });
navigator.requestMIDIAccess = async () => ({ outputs: new Map([["a", output]]), inputs: new Map([["b", input]]), onstatechange: null });
"""


def patches(page):
    browser = page.browser
    script = browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": PRETENDED})
    browser.get(page.base + "patches")
    assert browser.find_elements(By.CSS_SELECTOR, ".index-card svg.range")
    browser.find_element(By.ID, "wire-ask").click()
    until(lambda: browser.find_element(By.ID, "wire-play").is_displayed(), "an output is offered")
    browser.find_element(By.CSS_SELECTOR, ".try").click()
    sent = until(lambda: browser.execute_script("return window.sent.length > 1 && window.sent"), "a call is tried")
    on = [b for _, b in sent if b[0] & 0xF0 == 0x90]
    off = [b for _, b in sent if b[0] & 0xF0 == 0x80]
    assert on and {b[1] for b in on} == {b[1] for b in off}, sent
    # The cue, in time; then all is silent.
    browser.execute_script("window.sent.length = 0")
    browser.find_element(By.ID, "wire-play").click()
    until(lambda: browser.execute_script("return window.sent.length > 20"), "the cue is sent")
    sent = browser.execute_script("return [performance.now(), window.sent]")
    timed = [at for at, _ in sent[1] if at]
    assert timed == sorted(timed) and max(timed) < sent[0] + 600, "in order, and hardly ahead"
    browser.execute_script("window.sent.length = 0")
    browser.find_element(By.ID, "wire-play").click()
    ended = browser.execute_script("return window.sent.map((m) => m[1])")
    assert any(b[0] & 0xF0 == 0xB0 and b[1] == 123 for b in ended), ended
    time.sleep(0.6)
    assert len(browser.execute_script("return window.sent")) == len(ended), "nothing follows a stop"
    # A card from a list, and from keys that are played.
    browser.find_element(By.ID, "new-card").click()
    browser.find_element(By.ID, "card-name").send_keys("Checked")
    browser.find_element(By.ID, "card-list").send_keys("C0 legato")
    until(lambda: "legato" in browser.find_element(By.ID, "card-preview").text, "the list is read")
    browser.find_element(By.ID, "play-keys").click()
    until(lambda: "one after the other" in browser.find_element(By.ID, "played-words").text, "keys are heard")
    browser.execute_script("window.pressKey(14)")
    browser.find_element(By.ID, "played-name").send_keys("staccato", Keys.ENTER)
    until(lambda: "staccato" in browser.find_element(By.ID, "card-preview").text, "a played key is in the card")
    chair = Select(browser.find_element(By.ID, "card-chair"))
    chair.select_by_index(1)
    time.sleep(0.5)
    browser.find_element(By.ID, "card-save").click()
    until(lambda: browser.find_elements(By.CSS_SELECTOR, '[data-file="cards/checked.toml"]'), "the card is there")
    browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", script)


def check(page):
    hall(page)
    patches(page)
