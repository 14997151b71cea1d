"""Are passages found where an arranger put them, and named alike where they come again?

    passages.py READING [--long] [--scores FOLDER] [--show]

READING is the example program `reading` of crates/discovery. Chorales of the music21 corpus are arranged: passages of 4 to
16 bars, each with its own players, register, texture, tempo, metre or key, some marked by double bars or letters, most not;
some come again, in other colours or another key. Prints precision, recall and F of the seams (within one bar, first and last
barline left out), by kind of change, and how many returns are named as returns (and how many other passages are, wrongly);
of real scores only what is marked and found. Exit 1 where F is below 0.9 or fewer than 0.9 of the names are right.
"""

import argparse
import json
import random
import subprocess
import sys
import tempfile
from pathlib import Path
from xml.sax.saxutils import escape

DIVISIONS = 24
# name, lowest and highest sounding pitch; in score order.
PLAYERS = [
    ("Flute", 60, 91), ("Oboe", 58, 88), ("Clarinet in C", 50, 86), ("Bassoon", 34, 69), ("Horn in C", 43, 74),
    ("Trumpet in C", 55, 79), ("Trombone", 40, 69), ("Tuba", 28, 58), ("Harp", 28, 98), ("Violin 1", 55, 96),
    ("Violin 2", 55, 91), ("Viola", 48, 82), ("Violoncello", 36, 72), ("Contrabass", 28, 55),
]
INDEX = {name: i for i, (name, _, _) in enumerate(PLAYERS)}
# Who plays soprano, alto, tenor and bass.
COLOURS = {
    "strings": ["Violin 1", "Violin 2", "Viola", "Violoncello Contrabass"],
    "winds": ["Flute", "Oboe", "Clarinet in C", "Bassoon"],
    "brass": ["Trumpet in C", "Horn in C", "Trombone", "Tuba"],
    "tutti": ["Flute Violin 1 Trumpet in C", "Oboe Violin 2 Horn in C", "Clarinet in C Viola Trombone",
              "Bassoon Violoncello Contrabass Tuba"],
    "solo and strings": ["Oboe", "Violin 2", "Viola", "Violoncello"],
    "duet": ["Clarinet in C", "", "", "Bassoon"],
    "winds and horns": ["Flute Oboe", "Clarinet in C", "Horn in C", "Bassoon"],
    "low": ["Viola", "Horn in C", "Violoncello", "Contrabass Bassoon"],
    "harp and violins": ["Violin 1", "Violin 2", "Harp", "Harp"],
}
TEXTURES = ["plain", "held", "repeated", "broken"]


def chorales(count):
    """Four voices each: (start, length, pitch) in quarters from the first full bar; with metre and bars."""
    from music21 import corpus

    found = []
    for path in corpus.getComposer("bach"):
        if "bwv" not in str(path) or len(found) >= count:
            continue
        try:
            score = corpus.parse(path)
        except Exception:  # an unreadable file of the corpus is not ours to judge
            continue
        if len(score.parts) != 4:
            continue
        metre = score.parts[0].recurse().getElementsByClass("TimeSignature").first()
        bars = list(score.parts[0].getElementsByClass("Measure"))
        if metre is None or metre.ratioString not in ("4/4", "3/4") or len(bars) < 9:
            continue
        size = metre.barDuration.quarterLength
        pick_up = bars[0].duration.quarterLength % size
        voices = []
        for part in score.parts:
            notes = []
            for n in part.flatten().notes:
                if n.tie is not None and n.tie.type != "start" and notes:
                    notes[-1][1] += float(n.quarterLength)
                elif n.isNote:
                    notes.append([float(n.offset - pick_up), float(n.quarterLength), n.pitch.midi])
            voices.append([n for n in notes if n[0] >= 0 and n[1] > 0])
        length = int(max(n[0] + n[1] for n in voices[0]) // size)
        if length >= 8:
            found.append({"metre": metre.ratioString, "size": size, "voices": voices, "bars": length})
    return found


def part_of(chorale, first, bars):
    size = chorale["size"]
    begin, end = first * size, (first + bars) * size
    cut = []
    for voice in chorale["voices"]:
        notes = []
        for at, length, pitch in voice:
            a, b = max(at, begin), min(at + length, end)
            if b - a > 0.01:
                notes.append((a - begin, b - a, pitch))
        cut.append(notes)
    return cut


def textured(notes, texture, voice, chords):
    if texture == "held":  # one note a half bar: what sounds there
        out = []
        for at, length, pitch in notes:
            if out and at % 2 != 0:
                out[-1][1] = at + length - out[-1][0]
            elif out and out[-1][2] == pitch:
                out[-1][1] = at + length - out[-1][0]
            else:
                out.append([at, length, pitch])
        return [tuple(n) for n in out]
    if texture == "repeated" and voice > 0:
        return [(at + k * 0.5, 0.5, p) for at, length, p in notes for k in range(max(1, int(length / 0.5)))]
    if texture == "broken" and voice in (1, 2):
        out = []
        for at, length, _ in notes:
            pitches = sorted(set(chords(at)))
            for k in range(max(1, int(length / 0.25))):
                out.append((at + k * 0.25, 0.25, pitches[k % len(pitches)]))
        return out
    return list(notes)


def arranged(passage):
    """By player: notes of the passage, from its beginning."""
    voices = passage["voices"]

    def chords(at):
        return [p for v in voices for a, l, p in v if a <= at < a + l] or [60]

    lines = {}
    for v, names in enumerate(COLOURS[passage["colour"]]):
        notes = textured(voices[v], passage["texture"], v, chords)
        for player in [n for n, _, _ in PLAYERS if n in names]:
            _, low, high = PLAYERS[INDEX[player]]
            down = -12 if player in ("Contrabass", "Tuba") else 0
            moved = []
            for at, length, p in notes:
                p += passage["up"] + passage["octave"] * 12 + down
                while p < low:
                    p += 12
                while p > high:
                    p -= 12
                moved.append((at, length, p))
            own = lines.setdefault(player, [])
            taken = {n[0] for n in own}  # a player of two voices has the first of them
            own.extend(n for n in moved if n[0] not in taken)
    return {player: sorted(notes) for player, notes in lines.items()}


def draw(pool, chance):
    """A piece: passages, each with what changed before it, and which earlier one it is."""
    passages = []
    for i in range(chance.randint(5, 9)):
        before = passages[-1] if passages else None
        bars = chance.choice([4, 6, 7, 8, 8, 8, 10, 12, 16])
        again = [p for p in passages[:-1] if p["content"] != before["content"]] if before else []
        kinds = ["colour", "colour", "colour", "register", "texture", "tempo", "metre", "key"]
        kind = chance.choice(kinds) if before else "first"
        if again and chance.random() < 0.35:
            source = chance.choice(again)
            new = dict(source, up=source["up"] + chance.choice([0, 0, 2, -3, 5]), octave=0)
            new["colour"] = chance.choice([c for c in COLOURS if c != before["colour"]])
            kind = "return"
        else:
            fits = [c for c in pool if kind != "metre" or c["metre"] != before["metre"]]
            if before and kind != "metre":
                fits = [c for c in fits if c["metre"] == before["metre"]]
            chorale = chance.choice(fits or pool)
            bars = min(bars, chorale["bars"])
            first = chance.randint(0, chorale["bars"] - bars)
            new = {"content": len(passages), "bars": bars, "metre": chorale["metre"], "size": chorale["size"],
                   "voices": part_of(chorale, first, bars), "colour": chance.choice(list(COLOURS)), "texture": "plain",
                   "octave": 0, "up": 0, "tempo": 90}
            if before:
                for same in ("colour", "texture", "octave", "up", "tempo"):
                    new[same] = before[same]
                new["octave"] = 0 if kind != "register" else chance.choice([-1, 1])
                if kind == "colour":
                    new["colour"] = chance.choice([c for c in COLOURS if c != before["colour"]])
                elif kind == "register" and before["octave"]:
                    new["octave"] = 0
                elif kind == "texture":
                    new["texture"] = chance.choice([t for t in TEXTURES if t != before["texture"]])
                elif kind == "tempo":
                    new["tempo"] = chance.choice([t for t in (60, 84, 112, 150) if abs(t - before["tempo"]) > 20])
                elif kind == "key":
                    new["up"] = before["up"] + chance.choice([-4, -2, 1, 3])
                if kind != "register":
                    new["octave"] = before["octave"]
        new["kind"] = kind
        new["mark"] = chance.choice(["double bar", "letter"]) if i and chance.random() < 0.25 else None
        passages.append(new)
    return passages


def musicxml(passages):
    """The piece as MusicXML, written plainly."""
    lines = [arranged(p) for p in passages]
    out = ['<?xml version="1.0"?><score-partwise version="4.0"><part-list>']
    for i, (name, _, _) in enumerate(PLAYERS):
        out.append(f'<score-part id="P{i}"><part-name>{escape(name)}</part-name></score-part>')
    out.append("</part-list>")
    for i, (name, _, _) in enumerate(PLAYERS):
        out.append(f'<part id="P{i}">')
        number, metre, tempo, fifths = 0, None, None, None
        letters = 0
        for k, (passage, own) in enumerate(zip(passages, lines)):
            size = passage["size"]
            notes = own.get(name, [])
            for bar in range(passage["bars"]):
                number += 1
                out.append(f'<measure number="{number}"><attributes><divisions>{DIVISIONS}</divisions>')
                key = (passage["up"] * 7 + 5) % 12 - 5
                if passage["kind"] in ("key", "first") and bar == 0 and key != fifths:
                    out.append(f"<key><fifths>{key}</fifths></key>")
                    fifths = key
                if passage["metre"] != metre:
                    metre = passage["metre"]
                    beats, unit = metre.split("/")
                    out.append(f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>")
                out.append("</attributes>")
                if bar == 0 and passage["mark"] == "letter":
                    letters += 1
                    out.append("<direction><direction-type><rehearsal>Letter "
                               f"{letters}</rehearsal></direction-type></direction>")
                if passage["tempo"] != tempo:
                    tempo = passage["tempo"]
                    out.append(f'<direction><direction-type><words/></direction-type><sound tempo="{tempo}"/></direction>')
                at, end = bar * size, (bar + 1) * size
                place = at
                for start, length, pitch in notes:
                    a, b = max(start, place), min(start + length, end)
                    if b - a < 0.01:
                        continue
                    if a > place:
                        out.append(f"<note><rest/><duration>{round((a - place) * DIVISIONS)}</duration></note>")
                    step, alter = [("C", 0), ("C", 1), ("D", 0), ("D", 1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("G", 1),
                                   ("A", 0), ("A", 1), ("B", 0)][pitch % 12]
                    ties = ('<tie type="stop"/>' if start < a else "") + (
                        '<tie type="start"/>' if start + length > b + 0.01 else "")
                    out.append(f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>{pitch // 12 - 1}</octave>"
                               f"</pitch><duration>{round((b - a) * DIVISIONS)}</duration>{ties}</note>")
                    place = b
                if place < end:
                    out.append(f"<note><rest/><duration>{round((end - place) * DIVISIONS)}</duration></note>")
                last = bar + 1 == passage["bars"]
                if last and k + 1 < len(passages) and passages[k + 1]["mark"] == "double bar":
                    out.append('<barline location="right"><bar-style>light-light</bar-style></barline>')
                out.append("</measure>")
        out.append("</part>")
    out.append("</score-partwise>")
    return "\n".join(out)


def read(program, path):
    done = subprocess.run([program, path], capture_output=True, text=True, timeout=120)
    if done.returncode:
        raise SystemExit(f"{path}: {done.stderr.strip()}")
    return json.loads(done.stdout)


def matched(truth, found, within):
    """Pairs of seams, one to one, nearest first."""
    pairs = sorted((abs(t - f), t, f) for t in truth for f in found if abs(t - f) <= within)
    left, right, chosen = set(truth), set(found), []
    for _, t, f in pairs:
        if t in left and f in right:
            left.discard(t)
            right.discard(f)
            chosen.append((t, f))
    return chosen


def family(name):
    return name.rstrip("'").split(" (")[0]


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("reading")
    arguments.add_argument("--long", action="store_true")
    arguments.add_argument("--scores")
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--show", action="store_true")
    options = arguments.parse_args()
    pool = chorales(60 if options.long else 24)
    chance = random.Random(options.seed)
    hit = truth_count = found_count = 0
    by_kind, extra, right, names, longest = {}, {}, 0, 0, 0.0
    with tempfile.TemporaryDirectory() as folder:
        for piece in range(120 if options.long else 30):
            passages = draw(pool, chance)
            path = Path(folder) / "piece.musicxml"
            path.write_text(musicxml(passages))
            result = read(options.reading, str(path))
            longest = max(longest, result["seconds"])
            seams, bar = [], 1
            for passage in passages:
                seams.append(bar)
                bar += passage["bars"]
            found = [p["from_bar"] for p in result["passages"]]
            pairs = matched(seams[1:], found[1:], 1)
            hit, truth_count, found_count = hit + len(pairs), truth_count + len(seams) - 1, found_count + len(found) - 1
            reached = {t for t, _ in pairs}
            for seam, passage in list(zip(seams, passages))[1:]:
                kind = passage["kind"] + (", marked" if passage["mark"] else "")
                good, all_ = by_kind.get(kind, (0, 0))
                by_kind[kind] = (good + (seam in reached), all_ + 1)
            for f in set(found[1:]) - {f for _, f in pairs}:
                inside = max(i for i, s in enumerate(seams) if s <= f)
                texture = passages[inside]["texture"]
                extra[texture] = extra.get(texture, 0) + 1
            # Names, where both ends were found: a return has the name of what returns, others have not.
            of = dict(pairs) | {1: 1}
            named = {p["from_bar"]: p["name"] for p in result["passages"]}
            ends = {p["from_bar"]: p["to_bar"] + 1 for p in result["passages"]}
            whole = []
            for i, (seam, passage) in enumerate(zip(seams, passages)):
                following = seams[i + 1] if i + 1 < len(seams) else bar
                if seam in of and abs(ends[of[seam]] - following) <= 1 and passage["mark"] != "letter":
                    whole.append((passage["content"], named[of[seam]]))
            for i, (content, name) in enumerate(whole):
                for other, earlier in whole[:i]:
                    names += 1
                    good = (content == other) == (family(name) == family(earlier))
                    right += good
                    if options.show and not good:
                        print(f"  piece {piece}: {earlier} and {name}, the same: {content == other}")
            if len({p["name"] for p in result["passages"]}) != len(result["passages"]):
                raise SystemExit("two passages have one name")
            if options.show:
                print(piece, seams[1:], found[1:], [p["kind"] for p in passages[1:]])
    precision, recall = hit / max(found_count, 1), hit / max(truth_count, 1)
    f = 2 * precision * recall / max(precision + recall, 1e-9)
    print(f"seams of {piece + 1} arrangements: precision {precision:.3f}, recall {recall:.3f}, F {f:.3f} within one bar "
          f"({hit} of {truth_count}; {found_count} found); longest {longest:.3f} s")
    for kind, (good, all_) in sorted(by_kind.items()):
        print(f"  {kind}: {good} of {all_}")
    print(f"  found besides, by texture: {extra}")
    print(f"names: {right} of {names} pairs of passages rightly called alike or different ({right / max(names, 1):.3f})")
    failed = f < 0.9 or right < 0.9 * names or names < 50
    if options.scores:
        for score in sorted(Path(options.scores).glob("*.mxl")):
            result = read(options.reading, str(score))
            spans = [p["to_bar"] - p["from_bar"] + 1 for p in result["passages"]]
            marked = sum(any(w.startswith(("double bar", "rehearsal", "marker", "key of")) for w in p["because"])
                         for p in result["passages"])
            print(f"  {score.stem}: {len(result['bars'])} bars, {len(spans)} passages, {marked} at marks, "
                  f"middle length {sorted(spans)[len(spans) // 2]}")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
