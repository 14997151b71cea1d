"""Draws docs/board.svg, the picture of the README: who plays which line in the demo, from its plan and template.

    python3 docs/board.py
"""

import html
import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
CUE = ROOT / "demo" / "night-ferry"
INK, GREY, PALE, PAPER = "#241f18", "#6b6252", "#d9d1c2", "#fbf8f1"
COLOURS = {"melody": "#0b6e8f", "air": "#0b6e8f", "voices": "#0b6e8f", "counter": "#b5541c", "pad": "#5c6f2f",
           "chords": "#5c6f2f", "figure": "#7a4a8c", "run": "#7a4a8c", "bass": "#8a1f3d"}


def colour(cells, chair, depth=0):
    """The colour of the line that a chair plays in the end, and whether it plays with another."""
    cell = cells.get(chair, "")
    source = cell.split(",")[0].split(";")[0].strip()
    if source.startswith("div.:"):
        source = source[5:].split("/")[0].strip()
    if source.startswith("col ") and depth < 9:
        return colour(cells, source.split()[1], depth + 1)[0], True
    name = re.split(r"[ .]", source)[0].lower()
    return COLOURS.get(name, "#9a7b12"), False


def main():
    plan = tomllib.loads((CUE / "cue.toml").read_text())
    chairs = list(tomllib.loads((CUE / "template.toml").read_text())["chair"])
    passages = plan["passage"]
    left, top, row, bar = 138, 92, 21, 17.2
    first = passages[0]["bars"][0]
    last = passages[-1]["bars"][1]
    x = lambda b: left + (b - first) * bar
    width, height = x(last + 1) + 24, top + row * len(chairs) + 30
    out = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height}" font-family="Palatino, serif">',
           f'<rect width="100%" height="100%" fill="{PAPER}"/>',
           f'<text x="24" y="40" font-size="25" font-weight="bold" fill="{INK}">{plan["cue"]["title"]}</text>',
           f'<text x="210" y="40" font-size="13" fill="{GREY}">{last} bars, {len(chairs)} chairs</text>']
    for i, passage in enumerate(passages):
        a, b = passage["bars"]
        out.append(f'<line x1="{x(a):.1f}" x2="{x(a):.1f}" y1="{top - 8}" y2="{height - 24}" stroke="{PALE}"/>')
        box = x(a) + 4
        if i:
            out.append(f'<rect x="{box:.1f}" y="{top - 35}" width="15" height="16" fill="none" stroke="{INK}"/>'
                       f'<text x="{box + 7.5:.1f}" y="{top - 22}" font-size="12" font-weight="bold" text-anchor="middle" '
                       f'fill="{INK}">{chr(64 + i)}</text>')
        size = min(12, ((b + 1 - a) * bar - 30) / len(passage["name"]) / 0.5)
        out.append(f'<text x="{box + (20 if i else 0):.1f}" y="{top - 22}" font-size="{size:.1f}" font-style="italic" fill="{INK}">'
                   f'{html.escape(passage["name"])}</text>'
                   f'<text x="{box:.1f}" y="{top - 8}" font-size="9.5" fill="{GREY}">bars {a}–{b}</text>')
    for r, chair in enumerate(chairs):
        y = top + row * r + 14
        name = chair.replace("-", " ")
        out.append(f'<text x="{left - 10}" y="{y + 3}" font-size="12" text-anchor="end" fill="{INK}">{name}</text>')
        for passage in passages:
            a, b = passage["bars"]
            cells = passage.get("casting", {})
            x1, x2 = x(a) + 4, x(b + 1) - 4
            if chair not in cells:
                out.append(f'<line x1="{x1:.1f}" x2="{x2:.1f}" y1="{y + 4}" y2="{y + 4}" stroke="{PALE}"/>')
                continue
            ink, doubles = colour(cells, chair)
            style = 'font-style="italic" opacity="0.75"' if doubles else 'font-weight="bold"'
            text = cells[chair]
            room = int((x2 - x1) / (5.0 if doubles else 5.9))
            text = text if len(text) <= room else text[: max(room - 1, 1)] + "…"
            out.append(f'<line x1="{x1:.1f}" x2="{x2:.1f}" y1="{y + 4}" y2="{y + 4}" stroke="{ink}" '
                       f'stroke-width="{1.6 if doubles else 2.6}" opacity="{0.6 if doubles else 1}"/>'
                       f'<text x="{x1:.1f}" y="{y}" font-size="9.5" fill="{ink}" {style}>{html.escape(text)}</text>')
    out.append("</svg>")
    (ROOT / "docs" / "board.svg").write_text("\n".join(out) + "\n")


if __name__ == "__main__":
    main()
