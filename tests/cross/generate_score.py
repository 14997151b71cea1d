"""A score of any size: 60 parts and 400 bars by default, with slurs, dots, hairpins, tuplets, trills and tremolos.

    generate_score.py OUT.musicxml [PARTS] [BARS]

The same arguments give the same file.
"""

import random
import sys

NAMES = [
    ("Piccolo", 74, 0), ("Flute 1", 72, 0), ("Flute 2", 70, 0), ("Oboe 1", 70, 0), ("Oboe 2", 68, 0),
    ("Cor anglais", 60, -7), ("Clarinet in Bb 1", 66, -2), ("Clarinet in Bb 2", 64, -2), ("Bass Clarinet", 50, -14),
    ("Bassoon 1", 50, 0), ("Bassoon 2", 48, 0), ("Contrabassoon", 36, -12), ("Horn in F 1", 58, -7),
    ("Horn in F 2", 55, -7), ("Horn in F 3", 57, -7), ("Horn in F 4", 54, -7), ("Trumpet in C 1", 68, 0),
    ("Trumpet in C 2", 66, 0), ("Trumpet in C 3", 64, 0), ("Trombone 1", 52, 0), ("Trombone 2", 50, 0),
    ("Bass Trombone", 44, 0), ("Tuba", 36, 0), ("Timpani", 45, 0), ("Glockenspiel", 84, 24), ("Vibraphone", 64, 0),
    ("Marimba", 60, 0), ("Harp", 60, 0), ("Celesta", 72, 12), ("Piano", 60, 0), ("Sopranos", 69, 0), ("Altos", 62, 0),
    ("Tenors", 58, 0), ("Basses (choir)", 48, 0), ("Violin I", 74, 0), ("Violin II", 69, 0), ("Viola", 62, 0),
    ("Violoncello", 52, 0), ("Contrabass", 40, -12),
]
LETTERS = ["C", "C", "D", "E", "E", "F", "F", "G", "A", "A", "B", "B"]
ALTERS = [0, 1, 0, -1, 0, 0, 1, 0, -1, 0, -1, 0]
TYPES = {1: "16th", 2: "eighth", 4: "quarter", 8: "half", 16: "whole"}


def pitch(key):
    letter, alter, octave = LETTERS[key % 12], ALTERS[key % 12], key // 12 - 1
    change = f"<alter>{alter}</alter>" if alter else ""
    return f"<pitch><step>{letter}</step>{change}<octave>{octave}</octave></pitch>"


def bar(rng, centre, transposition, number, first):
    out = [f'<measure number="{number}">']
    if first:
        out.append("<attributes><divisions>12</divisions><key><fifths>0</fifths></key><time><beats>4</beats>"
                   "<beat-type>4</beat-type></time>")
        if transposition:
            octave = int(transposition / 12)
            chromatic = transposition - 12 * octave
            diatonic = {0: 0, -2: -1, -7: -4}[chromatic]
            change = f"<octave-change>{octave}</octave-change>" if octave else ""
            out.append(f"<transpose><diatonic>{diatonic}</diatonic><chromatic>{chromatic}</chromatic>{change}</transpose>")
        out.append("</attributes>")
    if number % 16 == 1:
        out.append(f'<direction><direction-type><rehearsal>{number}</rehearsal></direction-type></direction>')
    if number % 4 == 1:
        mark = rng.choice(["p", "mp", "mf", "f", "ff"])
        out.append(f"<direction><direction-type><dynamics><{mark}/></dynamics></direction-type></direction>")
    kind = rng.randrange(5)
    written = lambda k: pitch(k - transposition)
    note = lambda body, units, extra="", time="": (
        f"<note>{body}<duration>{units}</duration><voice>1</voice>"
        f"{f'<type>{TYPES[units // 3]}</type>' if units // 3 in TYPES and not time else ''}{time}{extra}</note>")
    walk = centre + rng.randrange(-4, 5)
    if kind == 0:
        out.append(note("<rest/>", 48))
    elif kind == 1:
        sign = rng.choice(["", "<notations><ornaments><trill-mark/></ornaments></notations>",
                           '<notations><ornaments><tremolo type="single">3</tremolo></ornaments></notations>'])
        out.append(note(written(walk), 48, sign))
    elif kind == 2:
        for i in range(8):
            walk += rng.choice([-2, -1, 1, 2])
            slur = '<notations><slur type="start" number="1"/></notations>' if i == 0 else (
                '<notations><slur type="stop" number="1"/></notations>' if i == 7 else "")
            out.append(note(written(walk), 6, slur))
    elif kind == 3:
        for i in range(12):
            walk += rng.choice([-2, -1, 1, 2])
            time = ("<type>eighth</type><time-modification><actual-notes>3</actual-notes>"
                    "<normal-notes>2</normal-notes></time-modification>")
            out.append(note(written(walk), 4, "", time))
    else:
        for i in range(16):
            walk += rng.choice([-2, -1, 1, 2])
            out.append(note(written(walk), 3, "<notations><articulations><staccato/></articulations></notations>"))
    out.append("</measure>")
    return "".join(out)


def score(parts, bars):
    chosen = []
    for i in range(parts):
        name, centre, transposition = NAMES[i % len(NAMES)]
        again = i // len(NAMES)
        chosen.append((name if not again else f"{name}, desk {again + 1}", centre, transposition))
    out = ['<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0"><part-list>']
    for i, (name, _, _) in enumerate(chosen):
        out.append(f'<score-part id="P{i + 1}"><part-name>{name}</part-name></score-part>')
    out.append("</part-list>\n")
    for i, (name, centre, transposition) in enumerate(chosen):
        rng = random.Random(f"{name} {i}")
        out.append(f'<part id="P{i + 1}">')
        out += [bar(rng, centre, transposition, n + 1, n == 0) for n in range(bars)]
        out.append("</part>\n")
    out.append("</score-partwise>\n")
    return "".join(out)


if __name__ == "__main__":
    sizes = [int(n) for n in sys.argv[2:4]]
    with open(sys.argv[1], "w") as file:
        file.write(score(*(sizes + [60, 400][len(sizes):])))
