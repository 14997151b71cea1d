"""Time and memory: beside a SoundFont player with the same notes, and as the work grows. Speeds are shown, not judged."""

import subprocess

import mido
import numpy as np
import soundfile

import cue_tools
import make
import tools
from make import FIFTEEN, ripieno, timed

FONT = "FluidR3_GM.sf2"
# Programs of General MIDI, counted from 0: as few as channels, so that instruments of a kind share one.
SHARED = {72: 73, 74: 73, 75: 73, 78: 73, 69: 68, 53: 52, 54: 52, 8: 9, 12: 9, 11: 9, 58: 57, 49: 48, 45: 48, 44: 48}
STRINGS = {"violin": 48, "viola": 48, "cello": 48, "double-bass": 48}


def font(name=FONT):
    """Where the Debian package of the name's font has put it."""
    for package in ("fluid-soundfont-gm", "timgm6mb-soundfont"):
        done = subprocess.run(["dpkg", "-L", package], capture_output=True, text=True)
        for line in done.stdout.splitlines():
            if line.endswith("/" + name):
                return line
    raise SystemExit(f"{name} is not there: install the Debian package")


def same_notes(folder, to):
    """The performed notes on the channels of one port, with programs; instruments of a kind share a channel.

    Call keys and curves are left out, which costs the other player nothing. Returns notes, and those that are struck while their
    channel already holds their key.
    """
    intent = cue_tools.perform(folder, folder / "performed.mid")
    plan = make.template(folder)["chair"]
    table = tools.table()
    program = {}
    for id, chair in plan.items():
        known = table.get(chair.get("instrument"), {})
        if known.get("unpitched"):
            program[id] = None
        else:
            number = STRINGS.get(chair.get("instrument"), (known.get("programs") or [48])[0])
            program[id] = SHARED.get(number, number)
    order = sorted({p for p in program.values() if p is not None})
    channels = [c for c in range(16) if c != 9]
    channel = {p: channels[n % len(channels)] for n, p in enumerate(order)}
    lead = intent["lead_in"]
    events, sounding, twice = [], {}, 0
    for n, note in enumerate(intent["notes"]):
        on = program[note["chair"]]
        where = 9 if on is None else channel[on]
        key = 38 if on is None else note["key"]
        events.append((note["note_on"] + lead, 1, where, key, note["velocity"]))
        events.append((note["note_off"] + lead, 0, where, key, 0))
    events.sort(key=lambda e: (e[0], e[1]))
    for _, on, where, key, _ in events:
        if on:
            twice += sounding.get((where, key), 0) > 0
            sounding[where, key] = sounding.get((where, key), 0) + 1
        else:
            sounding[where, key] = max(0, sounding.get((where, key), 0) - 1)
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=500000)])
    for p in order:
        track.append(mido.Message("program_change", channel=channel[p], program=p))
    now = 0
    for seconds, on, where, key, velocity in events:
        tick = round(seconds * 960)
        track.append(mido.Message("note_on" if on else "note_off", channel=where, note=key,
                                  velocity=max(1, velocity) if on else 0, time=tick - now))
        now = tick
    file = mido.MidiFile(type=0, ticks_per_beat=480)
    file.tracks.append(track)
    file.save(to)
    return len(intent["notes"]), twice, intent


def at_once(intent):
    """Most chairs that sound at one time, and the mean over the cue."""
    spans = {}
    for note in intent["notes"]:
        spans.setdefault(note["chair"], []).append((note["onset"], note["end"]))
    end = max(b for s in spans.values() for _, b in s)
    grid = np.zeros(int(end * 10) + 1, dtype=int)
    for chair in spans.values():
        mine = np.zeros_like(grid)
        for a, b in chair:
            mine[max(0, int(a * 10)):int(b * 10) + 1] = 1
        grid += mine
    return int(grid.max()), float(grid.mean())


def beside(name, folder, command):
    """Both render the same cue, one after the other."""
    ours = ripieno(*command)
    seconds = make.length(folder)
    midi, wav = folder / "same.mid", folder / "other.wav"
    notes, twice, intent = same_notes(folder, midi)
    most, mean = at_once(intent)
    print(f"{name}: {len({n['chair'] for n in intent['notes']})} chairs, at most {most} at once, {mean:.1f} in the mean; "
          f"{notes} notes, {twice} of them on a key that another chair of the same channel holds")
    print(f"{'':28}{'sound, s':>10}{'wall, s':>9}{'real time':>11}{'processor, s':>14}{'MiB':>7}")

    def row(what, run, seconds):
        print(f"{what:28}{seconds:10.1f}{run.wall:9.2f}{seconds / run.wall:10.1f}x{run.processor:14.2f}{run.peak:7.0f}", flush=True)

    row("the product, both cores", ours, seconds)
    for cores in (1, 2):
        words = ["fluidsynth", "-ni", "-F", wav, "-O", "float", "-T", "wav", "-r", "48000", "-g", "0.5", "-R", "1", "-C", "1",
                 "-o", "synth.polyphony=256", "-o", f"synth.cpu-cores={cores}", font(), midi]
        other = timed(words)
        if other.code != 0:
            raise SystemExit(f"fluidsynth: {other.said}")
        row(f"fluidsynth, cpu-cores={cores}", other, soundfile.info(wav).duration)
        print(f"  the product takes {ours.wall / other.wall:.2f} times as long")


ALL_HALLS = ('[stage]\nhall = "session-stage"\ncommon = "stone-church"\n[family.brass]\nhall = "concert-hall"\n'
             '[family.percussion]\nhall = "theatre"\n[family.voices]\nhall = "chapel"\n[family.plucked]\nhall = "chamber-hall"\n'
             '[family.woodwind]\nhall = "concert-hall"\nspot-db = -16\n')


def speed(verdict, scratch):
    beside("the demo", scratch / "demo", ["demo", scratch / "demo", "--no-page"])
    chairs = make.many(FIFTEEN, 60)
    folder = make.cue(scratch / "tutti", chairs, 90, template=ALL_HALLS, music=lambda b, n: make.eighths(b, n, 15))
    beside("sixty chairs in tutti", folder, ["render", folder])


def line(xs, ys):
    """Best line through points, and the residuals as shares of its values."""
    slope, base = np.polyfit(xs, ys, 1)
    fitted = base + slope * np.array(xs)
    return slope, base, (np.array(ys) - fitted) / fitted


def growth(verdict, scratch):
    eight = FIFTEEN[:1] + FIFTEEN[2:4] + FIFTEEN[8:9] + FIFTEEN[10:14]
    for what, points in (("chairs", [(n, n, 1) for n in (8, 16, 32, 64)]), ("minutes", [(m, 8, m) for m in (1, 2, 4, 8, 16)])):
        runs = []
        for n, count, minutes in points:
            folder = make.cue(scratch / f"{what}-{n}", make.many(eight, count), 30 * minutes, template=ALL_HALLS)
            runs.append(ripieno("render", folder))
            subprocess.run(["rm", "-rf", folder], check=True)
        xs = [p[0] for p in points]
        by = {name: line(xs, [getattr(r, name) for r in runs]) for name in ("wall", "processor")}
        print(f"{what:>8}{'wall, s':>9}{'off line':>10}{'processor, s':>14}{'off line':>10}{'MiB':>7}")
        for i, (n, run) in enumerate(zip(xs, runs)):
            print(f"{n:8}{run.wall:9.2f}{by['wall'][2][i]:+10.1%}{run.processor:14.2f}{by['processor'][2][i]:+10.1%}{run.peak:7.0f}")
        for name, (slope, base, _) in by.items():
            print(f"  {name}: {base:.2f} s + {slope:.2f} s a {what[:-1]}")
        # Processor time is what the work costs; the wall clock also has what else the machine does.
        power = np.polyfit(np.log(xs), np.log([r.processor for r in runs]), 1)[0]
        mark = verdict.check(power <= 1.1, f"{what}: time grows with power {power:.2f}")
        print(f"  processor time grows with the power {power:.2f} of {what}{mark}")
        if what == "minutes":
            # Which blocks two threads hold at once differs from run to run; what grows would show in the line.
            slope, base, _ = line(xs, [r.peak for r in runs])
            grown = slope * (xs[-1] - xs[0]) / (base + slope * xs[0])
            mark = verdict.check(abs(grown) <= 0.15, f"memory grows by {grown:.0%} from {xs[0]} to {xs[-1]} minutes")
            print(f"  memory: {grown:+.1%} from {xs[0]} to {xs[-1]} minutes, by the line through all{mark}", flush=True)
