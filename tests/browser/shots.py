"""Takes the pictures of the page that the guide shows: three sizes, light and dark.

    shots.py [FOLDER]     into docs/page if none is named
"""

import io
import sys
from pathlib import Path

from PIL import Image
from selenium.webdriver.common.by import By

from page import ROOT, Page

SIZES = [(1280, 720), (1680, 1050), (3840, 2160)]
# Wider pictures are made smaller: a guide is read, not measured.
WIDEST = 1920


def keep(page, path):
    image = Image.open(io.BytesIO(page.browser.get_screenshot_as_png())).convert("RGB")
    if image.width > WIDEST:
        image = image.resize((WIDEST, round(image.height * WIDEST / image.width)), Image.LANCZOS)
    image.quantize(160, dither=Image.Dither.NONE).save(path, optimize=True)
    print(f"{path.name}: {image.width} x {image.height}, {path.stat().st_size // 1000} kB", flush=True)


def main():
    into = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "docs" / "page"
    into.mkdir(parents=True, exist_ok=True)
    for wide, high in SIZES:
        with Page(wide=wide, high=high) as page:
            page.until("the board", lambda: page.all(".cell"), 60)
            page.read_through()
            for light in ("day", "night"):
                if page.script("return document.documentElement.dataset.light") != light:
                    page.click("#light")
                keep(page, into / f"board-{wide}-{light}.png")
            if wide == 1680:
                page.click("#light")
                for where in ("hall", "patches"):
                    page.browser.find_element(By.CSS_SELECTOR, f'.places a[href$="/{where}"]').click()
                    page.until(where, lambda: page.one("#cue").get_attribute("data-view") == where, 60)
                    page.until("its pictures", lambda: page.all("#hall-plan svg, .index-card"), 60)
                    keep(page, into / f"{where}.png")
                    page.browser.back()


if __name__ == "__main__":
    main()
