"""Handwork in the performed MIDI survives: random edits by another MIDI library, given back in other shapes of file.

    handwork.py --ripieno PROGRAM [--edits N] [--seed N] [--kills N] CUE...    CUE: a folder, which is copied, or a score

For each round: a fresh copy is performed, edited with mido (notes moved, lengthened, taken out, added, transposed, louder, a curve
redrawn, a call changed for another of its patch), sent through a change of shape (another division, a bar's offset, renamed, shuffled, merged or missing tracks, format 0),
adopted and performed again. The new file must hold each edit and nothing else may differ. A shape alone must give no mark. Then the
edited chairs fall silent: their marks must be listed; the plan goes back: the file must be the same to the byte.
"""

import argparse
import json
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import mido

PPQ = 3840


def tracks_of(path):
    """Per track: name, notes [on, off, channel, key, velocity], other channel messages [tick, message]."""
    out = []
    for track in mido.MidiFile(path).tracks:
        now, notes, rest, open_notes = 0, [], [], {}
        for m in track:
            now += m.time
            if m.type == "note_on" and m.velocity > 0:
                open_notes.setdefault((m.channel, m.note), []).append(len(notes))
                notes.append([now, now + 1, m.channel, m.note, m.velocity])
            elif m.type in ("note_off", "note_on"):
                if open_notes.get((m.channel, m.note)):
                    notes[open_notes[m.channel, m.note].pop(0)][1] = now
            elif not m.is_meta:
                rest.append([now, m])
            elif m.type == "set_tempo":
                rest.append([now, m])
        out.append([track.name, notes, rest])
    return out


def save(path, tracks, ppq, kind, random_):
    """Writes the tracks on another division; note-offs in their own style."""
    scale = lambda t: (2 * t * ppq + PPQ) // (2 * PPQ)
    file = mido.MidiFile(type=kind, ticks_per_beat=ppq)
    if kind == 0:
        tracks = [["all", [n for t in tracks for n in t[1]], [r for t in tracks for r in t[2]]]]
    as_zero = random_.random() < 0.5
    for name, notes, rest in tracks:
        events = [(scale(t), 1, m.copy(time=0)) for t, m in rest]
        for on, off, channel, key, velocity in notes:
            events.append((scale(on), 3, mido.Message("note_on", channel=channel, note=key, velocity=velocity)))
            end = mido.Message("note_on", channel=channel, note=key, velocity=0) if as_zero else mido.Message(
                "note_off", channel=channel, note=key, velocity=random_.randrange(128))
            events.append((scale(off), 0, end))
        events.sort(key=lambda e: (e[0], e[1]))
        track, now = mido.MidiTrack([mido.MetaMessage("track_name", name=name)]), 0
        for at, _, m in events:
            track.append(m.copy(time=at - now))
            now = at
        file.tracks.append(track)
    file.save(path)


def shape(tracks, random_, edited=None):
    """A change of shape: tracks, division, format, in words. `edited`: as it was; of what was edited no track is left out."""
    tracks = [[n, [list(x) for x in notes], [list(x) for x in rest]] for n, notes, rest in tracks]
    ppq, kind = random_.choice([3840, 3840, 1920, 960, 480]), 1
    what = random_.choice(["as it is", "offset", "renamed", "format 0", "merged", "shuffled", "missing"])
    if what == "offset":
        by = random_.choice([4, 3, 1, 8]) * PPQ
        for _, notes, rest in tracks:
            for n in notes:
                n[0], n[1] = n[0] + by, n[1] + by
            for r in rest:
                r[0] += by
    elif what == "renamed":
        for i, t in enumerate(tracks):
            t[0] = f"Track {i}"
    elif what == "shuffled":
        random_.shuffle(tracks)
    elif what == "format 0":
        kind = 0
    elif what == "merged" and len(tracks) > 2:
        a = random_.randrange(1, len(tracks) - 1)
        tracks[a][1] += tracks[a + 1][1]
        tracks[a][2] = sorted(tracks[a][2] + tracks.pop(a + 1)[2], key=lambda r: r[0])
    elif what == "missing" and len(tracks) > 3:
        keep = {i for i, t in enumerate(tracks) if edited is not None and t[1:] != edited[i][1:]}
        able = [i for i in range(1, len(tracks)) if i not in keep]
        if able:
            tracks.pop(random_.choice(able))
    return tracks, ppq, kind, f"{what}, {ppq}"


def edit(tracks, calls, random_, tick):
    """One edit, on the ticks of the file to be written. Gives its kind, or None."""
    t = random_.randrange(1, len(tracks))
    _, notes, rest = tracks[t]
    kind = random_.choice(["move", "lengthen", "delete", "add", "transpose", "velocity", "curve"] + 3 * ["call"] * (len(calls[t]) > 1))
    if kind == "call":
        return recall(notes, calls[t], random_)
    music = [n for n in notes if n[3] not in calls[t] and n[1] - n[0] > 8 * tick]
    if not music:
        return None
    note = random_.choice(music)
    # Room on its key, so that two notes of one key never overlap: what a file cannot say.
    free = lambda key, a, b: all(n is note or n[2:4] != [note[2], key] or n[1] < a - 200 or n[0] > b + 200
                                 for track in tracks for n in track[1])
    if kind == "move":
        by = random_.choice([-1, 1]) * random_.randint(3, 40) * tick
        if note[0] + by < 0 or not free(note[3], note[0] + by, note[1] + by):
            return None
        note[0], note[1] = note[0] + by, note[1] + by
    elif kind == "lengthen":
        by = random_.randint(3, 60) * tick
        if not free(note[3], note[0], note[1] + by):
            return None
        note[1] += by
    elif kind == "delete":
        # Of two notes of one key at one time on one channel a merged file cannot say which is gone.
        if not free(note[3], note[0], note[1]):
            return None
        notes.remove(note)
    elif kind in ("add", "transpose"):
        key = note[3] + random_.choice([-5, -3, -1, 1, 2, 4, 7])
        at = note[0] + (random_.randint(2, 6) * tick if kind == "add" else 0)
        if not 0 <= key < 128 or key in calls[t] or not free(key, at, note[1]):
            return None
        if kind == "add":
            notes.append([at, note[1], note[2], key, random_.randint(1, 127)])
        else:
            note[3] = key
    elif kind == "velocity":
        note[4] = (note[4] + random_.randint(5, 60)) % 127 + 1
    elif kind == "curve":
        curve = [r for r in rest if r[1].type == "control_change" and r[1].control in (1, 11)]
        if len(curve) < 3:
            return None
        number = random_.choice(curve)[1].control
        curve = [r for r in curve if r[1].control == number]
        start = random_.randrange(len(curve))
        for r in curve[start:start + random_.randint(1, 6)]:
            r[1] = r[1].copy(value=(r[1].value + random_.randint(3, 50)) % 128)
    return kind


def recall(notes, calls, random_):
    """Changes one call for another that its track has. Gives its kind, or None where no key alone calls."""
    switches = sorted(n for n in notes if n[3] in calls)
    keys = sorted({n[3] for n in switches})
    alone = all(a[1] <= b[0] for a, b in zip(switches, switches[1:]))
    governed = [n for n, after in zip(switches, switches[1:] + [None])
                if any(n[0] <= m[0] < (after[0] if after else m[0] + 1) for m in notes if m[3] not in calls)]
    if len(keys) < 2 or not alone or not governed:
        return None
    switch = random_.choice(governed)
    switch[3] = random_.choice([k for k in keys if k != switch[3]])
    return "call"


def called(tracks, calls):
    """What is in force at each note of music, in the order of track, key and place: the last call before it."""
    out = []
    for i, (_, notes, _) in enumerate(tracks):
        switches = sorted((n[0], n[3]) for n in notes if n[3] in calls[i])
        for n in sorted((n for n in notes if n[3] not in calls[i]), key=lambda n: (n[3], n[0])):
            out.append((i, n[3], n[0], next((key for at, key in reversed(switches) if at <= n[0]), None)))
    return out


def flat(tracks, one_pool):
    """All that sounds, to be compared: notes and controllers, by track or all together."""
    rows = []
    for i, (_, notes, rest) in enumerate(tracks[1:]):
        who = 0 if one_pool else i
        rows += [(who, "note", n[2], n[3], n[4], n[0], n[1]) for n in notes]
        rows += [(who, str(sorted((m.dict() | {"time": 0}).items())), 0, 0, 0, at, at) for at, m in rest]
    return sorted(rows)


def differences(a, b, tolerance):
    """Rows of one side that have no partner on the other within the tolerance."""
    left = list(b)
    out = []
    index = {}
    for row in left:
        index.setdefault(row[:5], []).append(row)
    for row in a:
        near = [r for r in index.get(row[:5], []) if abs(r[5] - row[5]) <= tolerance and abs(r[6] - row[6]) <= tolerance]
        if near:
            index[row[:5]].remove(min(near, key=lambda r: abs(r[5] - row[5]) + abs(r[6] - row[6])))
        else:
            out.append(row)
    return out + [r for rows in index.values() for r in rows]


def killed(program, cue, random_):
    """Ends adopt, pencil or perform at a random moment (SIGKILL). Gives what was harmed, or None."""
    came = cue / "came.mid"
    pencil = cue / "pencil.toml"
    run = lambda *words: subprocess.run([program, *map(str, words)], capture_output=True, text=True)
    pencil.unlink(missing_ok=True)
    run("perform", cue)
    after = tracks_of(cue / "performed.mid")
    notes = next(notes for _, notes, _ in after[1:] if notes)
    random_.choice(notes)[4] ^= 1 + random_.randrange(20)
    for n in notes:
        n[4] = max(1, n[4])
    save(came, after, PPQ, 1, random_)
    what = random_.choice(["adopt", "pencil", "perform"])
    words = {"adopt": ["adopt", cue, came], "pencil": ["pencil", cue, "--clear"], "perform": ["perform", cue]}[what]
    if what != "adopt":
        run("adopt", cue, came)
    old = pencil.read_bytes() if pencil.exists() else b""
    inputs = lambda: {p: p.read_bytes() for p in sorted(cue.rglob("*"))
                      if p.is_file() and ".ripieno" not in p.parts and p.name not in ("pencil.toml", "performed.mid")
                      and not p.name.startswith(".tmp")}
    before = inputs()
    child = subprocess.Popen([program, *map(str, words)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    time.sleep(random_.random() * killed.usual.get(what, 1.0) * 1.1)
    child.kill()
    child.wait()
    if inputs() != before:
        return f"{what}: a file of the composer's has changed"
    now = pencil.read_bytes() if pencil.exists() else b""
    start = time.monotonic()
    done = run(*words)
    killed.usual[what] = time.monotonic() - start
    if done.returncode:
        return f"{what}: the next run failed: {done.stderr[-300:]}"
    new = pencil.read_bytes() if pencil.exists() else b""
    if now not in (old, new):
        return f"{what}: pencil.toml is neither the old nor the new one"
    try:
        mido.MidiFile(cue / "performed.mid")
    except (OSError, EOFError, ValueError) as error:
        return f"{what}: performed.mid: {error}"
    # What was left beside by the one that was ended is no concern of the next one; it is swept here.
    for left in cue.glob(".tmp*"):
        left.unlink()
    return None


killed.usual = {}


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--ripieno", required=True)
    options.add_argument("--edits", type=int, default=60)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("cues", nargs="+")
    options.add_argument("--kills", type=int, default=0)
    given = options.parse_args()
    random_ = random.Random(given.seed)
    bad, edits, rounds, shapes, listed, returned, recalled = [], 0, 0, 0, 0, 0, 0

    def run(*words):
        done = subprocess.run([given.ripieno, *map(str, words)], capture_output=True, text=True)
        if done.returncode:
            raise SystemExit(f"{' '.join(map(str, words))}: {done.returncode}\n{done.stderr[-2000:]}")
        return done.stdout

    with tempfile.TemporaryDirectory() as scratch:
        cues = []
        for i, source in enumerate(given.cues):
            cue = Path(scratch) / f"cue{i}"
            if Path(source).is_file():
                run("new", cue, "--music", source)
            else:
                shutil.copytree(source, cue, ignore=shutil.ignore_patterns(
                    "stems", "families", "*.wav", ".ripieno", "pencil.toml", "written"))
            cues.append(cue)
        while edits < given.edits and rounds < given.edits * 4:
            cue = cues[rounds % len(cues)]
            rounds += 1
            (cue / "pencil.toml").unlink(missing_ok=True)
            intent = json.loads(run("perform", cue, "--json"))
            meant = {}
            for n in intent["notes"]:
                meant.setdefault(n["track"], set()).add(n["key"])
            before = tracks_of(cue / "performed.mid")
            calls = [{n[3] for n in notes} - meant.get(name, set()) for name, notes, _ in before]
            came = cue / "came.mid"
            tracks, ppq, kind, said = shape(before, random_)
            save(came, tracks, ppq, kind, random_)
            marks = json.loads(run("adopt", cue, came, "--json"))["marks"]
            shapes += 1
            if marks:
                bad.append(f"{cue.name} round {rounds}: {said} alone gave {len(marks)} marks: {marks[0]}")
                (cue / "pencil.toml").unlink(missing_ok=True)
                run("perform", cue)
            after = [[n, [list(x) for x in notes], [list(x) for x in rest]] for n, notes, rest in before]
            tracks, ppq, kind, said = shape(before, random_)
            tick = PPQ // ppq
            made = [k for k in (edit(after, calls, random_, max(tick, 4)) for _ in range(random_.randint(1, 6))) if k]
            if not made:
                continue
            state = random_.getstate()
            tracks, ppq2, kind, said = shape(after, random_, before)
            tick = PPQ // ppq2
            random_.setstate(state)
            random_.random()
            save(came, tracks, ppq2, kind, random_)
            marks = json.loads(run("adopt", cue, came, "--json"))["marks"]
            run("perform", cue)
            got = tracks_of(cue / "performed.mid")
            wrong = differences(flat(after, True), flat(got, True), tick)
            # A note added or moved may need a call of its own; that is no change of what is played.
            every = set().union(*calls)
            wrong = [w for w in wrong if not (w[1] == "note" and w[3] in every)]
            if "call" in made:
                # Another articulation may be called by a controller beside its key.
                wrong = [w for w in wrong if "control_change" not in w[1] or any(f"('control', {c})" in w[1] for c in (1, 2, 11))]
                # The same notes are called by the same keys.
                pairs = zip(called(after, calls), called(got, calls))
                wrong += [(a, b) for a, b in pairs if (a[0], a[1], a[3]) != (b[0], b[1], b[3])]
            edits += len(made)
            recalled += made.count("call")
            if wrong or not marks:
                # What else lies on their keys: two notes of one key at one time in one track are told apart by nothing.
                keys = {w[3] for w in wrong if w[1] == "note"}
                near = lambda rows: [(name, n) for name, notes, _ in rows for n in notes if n[3] in keys
                                     and any(abs(n[0] - w[5]) < PPQ for w in wrong if w[1] == "note")]
                bad.append(f"{cue.name} round {rounds}: {made} as {said}: {len(wrong)} rows differ, as {wrong[:3]}; "
                           f"before {near(before)}, edited {near(after)}, again {near(got)}")
                continue
            # The chairs fall silent: nothing is lost without a line. Back again: the same bytes.
            plan = (cue / "cue.toml").read_text()
            bytes_before = (cue / "performed.mid").read_bytes()
            chair = marks[0]["chair"]
            silent = "\n".join(f'{chair} = "tacet"' if line.split("=")[0].strip().strip('"') == chair and "{" not in line else line
                               for line in plan.splitlines()) + "\n"
            (cue / "cue.toml").write_text(silent)
            now = json.loads(run("pencil", cue, "--json"))["marks"]
            gone = [m for m in now if m["chair"] == chair and not m["fits"]]
            if len(now) != len(marks) or len(gone) != sum(m["chair"] == chair for m in marks):
                bad.append(f"{cue.name} round {rounds}: {chair} silent: {len(gone)} listed of {len(marks)}")
            listed += len(gone)
            # The plan is another one now; the file is still told from what was written.
            pencil = (cue / "pencil.toml").read_bytes()
            run("adopt", cue, came)
            if (cue / "pencil.toml").read_bytes() != pencil:
                bad.append(f"{cue.name} round {rounds}: adopted again after a change of the plan: other marks")
            run("perform", cue)
            (cue / "cue.toml").write_text(plan)
            run("perform", cue)
            if (cue / "performed.mid").read_bytes() != bytes_before:
                bad.append(f"{cue.name} round {rounds}: not the same after the plan went back")
            returned += 1
        for n in range(given.kills):
            said = killed(given.ripieno, cues[n % len(cues)], random_)
            if said:
                bad.append(f"{cues[n % len(cues)].name} stop {n + 1}: {said}")
    print(f"{len(cues)} cues, {edits} edits in {rounds} rounds, of which {recalled} calls; {shapes} changes of shape alone; {listed} marks listed as no longer "
          f"fitting, {returned} times back to the same bytes; "
          f"{given.kills} times stopped dead")
    for line in bad[:12]:
        print(line[:600])
    print(f"{len(bad)} wrong")
    return bool(bad) or edits < given.edits


if __name__ == "__main__":
    sys.exit(main())
