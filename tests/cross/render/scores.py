"""Real scores rendered whole: clipping, silence where notes sound, levels against the sound-power table."""

import sys
import tomllib

import numpy as np
import soundfile

import make
import tools
from make import SCORES, ripieno
from tools import db

NAMES = ["boulanger-matin-de-printemps", "beethoven-op68-4"]
# `crates/sound`: an RMS of 1 at one metre is this sound power, dB re 1 pW; the main microphones, `crates/signal`.
FULL_SCALE = 126.0
MICROPHONES = np.array([0.0, 0.4, 3.2])
QUIET, LONG = -75.0, 0.5
# What is asked at the lowest velocity is written to vanish (ppp under a diminuendo, muted): it may be softer by a mark.
VANISHING = 5.0


def seats():
    return tomllib.loads((tools.ROOT / "crates" / "instruments" / "data" / "seating.toml").read_text())["american"]


def distance(chair, id, scheme):
    """Metres from the chair's middle to the main microphones, as the seating data has them."""
    if "seat" in chair:
        x, y, z = *chair["seat"][:2], 1.2
    else:
        seat = next((s for name, s in scheme["chairs"].items() if id == name or id.startswith(name + "-")), None)
        seat = seat or scheme["seats"].get(chair["instrument"])
        if seat is None:
            return None
        x, y, z = seat["x"], seat["y"], 1.2 + seat["riser"]
    return max(1.0, float(np.linalg.norm(np.array([x, y, z]) - MICROPHONES)))


def level(velocity):
    """dB re mf of a velocity without a card: straight from 1 at -18 to 127 at 13.5."""
    return -18 + 31.5 * (velocity - 1) / 126


def tabled(instrument, mark):
    """Sound power of one player in dB re 1 pW at so many dB re mf, straight between pp (-13.5), forte (4.5) and ff (9)."""
    figures = tools.table()[instrument]["level"]
    if figures is None:
        return None
    points = [(-13.5, figures["pp"]), (4.5, figures["forte"]), (9.0, figures["ff"])]
    return float(np.interp(mark, *zip(*points)))


def intent(folder):
    import cue_tools

    found = cue_tools.perform(folder, folder / "performed.mid")
    chairs = {}
    for note in found["notes"]:
        chairs.setdefault(note["chair"], []).append(note)
    return found["lead_in"], chairs


def chair_figures(x, rate, lead_in, notes):
    """Quietest window of a note that lasts, and the RMS of all that is played, in dB re full scale (power of both sides)."""
    power = np.concatenate([[0.0], np.cumsum((x ** 2).sum(axis=1))])
    place = lambda t: min(len(power) - 1, max(0, int((t + lead_in) * rate)))
    mean = lambda a, b: (power[b] - power[a]) / max(1, b - a)
    lasting = [n for n in notes if n["end"] - n["onset"] > LONG]
    # From the note's onset on: what decays is loudest there.
    windows = [(db(np.sqrt(mean(place(n["onset"]), place(n["onset"] + LONG)))), n) for n in lasting]
    spans = []
    for onset, end in sorted((n["onset"], n["end"]) for n in notes):
        if spans and onset <= spans[-1][1]:
            spans[-1][1] = max(spans[-1][1], end)
        else:
            spans.append([onset, end])
    total = sum(power[place(b)] - power[place(a)] for a, b in spans)
    frames = sum(place(b) - place(a) for a, b in spans)
    return min(windows, key=lambda w: w[0], default=(np.inf, None)), float(db(np.sqrt(total / max(1, frames)))), len(lasting)


def scores(verdict, scratch):
    scheme = seats()
    # A quick run does with one.
    for name in NAMES if "--long" in sys.argv else NAMES[1:]:
        music = SCORES / f"{name}.mxl"
        if not music.exists():
            print(f"{name} is left out: there is no such score in the folder RIPIENO_SCORES or beside the project")
            continue
        folder = scratch / name
        ripieno("new", folder, "--music", music)
        run = ripieno("render", folder)
        seconds = make.length(folder)
        lead_in, chairs = intent(folder)
        plan = make.template(folder)["chair"]
        print(f"{name}: {len(chairs)} chairs, {seconds:.1f} s; rendered in {run.wall:.1f} s, {seconds / run.wall:.1f} times real time "
              f"({run.processor:.1f} s of processor time)")
        for line in run.out.splitlines()[:3]:
            print(f"  {line}")
        verdict.check("cut off" not in run.said, f"{name}: {run.said}")
        highest = max(make.above(make.sound(p)[0]) for p in folder.rglob("*.wav") if ".ripieno" not in p.parts)
        mark = verdict.check(highest < 0, f"{name} clips")
        print(f"  highest sample of all files {highest:.1f} dBFS{mark}")
        print(f"{'chair':20}{'players':>8}{'m':>6}{'mf +':>7}{'table':>8}{'should':>8}{'is':>8}{'off':>7}{'long notes':>12}{'quietest':>10}")
        for id, notes in chairs.items():
            x, rate = soundfile.read(folder / "stems" / f"{id}.wav", always_2d=True, dtype="float64")
            (quiet, where), is_, count = chair_figures(x, rate, lead_in, notes)
            bad = quiet < QUIET - (VANISHING if where and where["velocity"] <= 1 else 0)
            mark = verdict.check(not bad, f"{name}, {id}: {quiet:.0f} dBFS where a note sounds, bar {where and where['bar']}")
            chair = plan[id]
            players, metres = chair.get("players", 1), distance(chair, id, scheme)
            seconds_of = np.array([n["end"] - n["onset"] for n in notes])
            marks = np.array([level(n["velocity"]) for n in notes])
            mean = float(10 * np.log10(np.average(10 ** (marks / 10), weights=seconds_of)))
            power = tabled(chair["instrument"], mean)
            shown = f"{id:20}{players:8}" + (f"{metres:6.1f}" if metres else f"{'-':>6}") + f"{mean:7.1f}"
            if power is None or metres is None:
                shown += f"{'-':>8}{'-':>8}{is_:8.1f}{'-':>7}"
            else:
                should = power - FULL_SCALE + 10 * np.log10(players) - 20 * np.log10(metres)
                mark += verdict.check(abs(is_ - should) <= 12, f"{name}, {id}: {is_ - should:+.1f} dB from the table")
                shown += f"{power:8.1f}{should:8.1f}{is_:8.1f}{is_ - should:+7.1f}"
            print(shown + f"{count:12}{quiet:10.1f}{mark}")
        print(flush=True)
