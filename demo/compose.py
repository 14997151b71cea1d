#!/usr/bin/env python3
"""The music of the demo cue "Night Ferry", and what makes its MusicXML file from it.

    python3 demo/compose.py            writes demo/night-ferry/night-ferry.musicxml
    python3 demo/compose.py --check    checks the music: bars, voice leading, ranges, length; exit code 1 if not right

Standard library only (Python 3.11 or later); the same text gives the same bytes.

Notation, bar by bar, bars parted by `|`:
    E4q B4e C#5q.   pitch, octave, value: h q e s (half, quarter, eighth, sixteenth), `.` dotted, `n` nine in the time
                    of six sixteenths; `r` rests, `x` strikes something without pitch
    ( )             slur begins before the note, ends after it       ~   tied on
    [D5]            grace note before                                 '  -  ^   staccato, tenuto, accent
    {turn}          ornament                                          ///  roll or tremolo    {fermata} {breath}
    !p  <  >  =     dynamic; hairpins begin; hairpin ends
Chords and bass are written a half bar each; the pad's four voices and the arpeggio are worked out from them.
"""

import pathlib
import re
import sys
from fractions import Fraction
from xml.sax.saxutils import escape

HERE = pathlib.Path(__file__).resolve().parent / "night-ferry"
DIV = 72  # divisions of a quarter: sixteenth 18, nonuplet 12
BAR = 3 * DIV
HALF = BAR // 2

PASSAGES = [(1, "Quay at dusk"), (9, "Casting off"), (17, "Open water"), (25, "Voices from the shore"), (33, "Fog"),
            (45, "The far lights"), (53, "Harbour mouth"), (61, "Landfall")]
BARS = 72
# bar: (dotted quarters a minute, words)
TEMPI = {1: (56, "Rocking gently"), 45: (60, "A little more movement"), 53: (54, "Broadly"), 69: (52, "rit."),
         70: (48, ""), 71: (44, ""), 72: (38, "")}
# bar: (sharps, mode)
KEYS = {1: (2, "dorian"), 33: (0, "minor"), 45: (1, "major"), 53: (4, "major"), 61: (2, "dorian")}

# --------------------------------------------------------------------------------------------------------- harmony
CHORDS = """
Em Em | Em A | Em Em | D A | Em Em | Cmaj7 Cmaj7 | A A | Bm Bm
Em A | G D | Em G | Bm D | C G | A G | F#m Bm7 | Em A
D Bm | G D | G Em | A A | G C | D G | A Bm7 | Em A
Em A | Cmaj7 Bm | A7 G | D Bm | C G | Am Bm | A Bm7 | C Am7
Am Am | Am Am | Fm Fm | Fm Fm | C#m C#m | C#m C#m | Am7 Am7 | Am7 Am7 | F#m7b5 F#m7b5 | Fmaj7 Fmaj7 | Em7 Em7 | D7sus D7
G C | G D | G G | D D7 | G Bm | Em G | C D7 | Em B7
E A | E B | C#m E | F#m B7 | C C | E C#m | F#m7 B7 | E A
Em A | G D | Em G | Bm D | C G | Am Em | Em A | Em Em | Cmaj7 Cmaj7 | A A | Em Em | E5 E5
"""
BASS = """
E2 E2 | E2 E2 | E2 E2 | E2 E2 | E2 E2 | C3 C3 | A2 A2 | B2 B2
E2 E2 | G2 D3 | E3 G2 | B2 D3 | C3 B2 | A2 G2 | F#2 B2 | E2 E2
D3 B2 | G2 F#2 | G2 E2 | A2 C#3 | B2 C3 | D3 G2 | A2 B2 | E2 E2
E3 C#3 | C3 B2 | A2 G2 | D3 B2 | C3 B2 | A2 D3 | E3 B2 | C3 A2
A2 A2 | A2 A2 | Ab2 Ab2 | Ab2 Ab2 | G#2 G#2 | G#2 G#2 | G2 G2 | G2 G2 | F#2 F#2 | F2 F2 | E2 E2 | D2 D2
G2 C3 | D3 F#2 | G2 B2 | D3 C3 | B2 B2 | E3 D3 | C3 D3 | E3 B2
E2 A2 | G#2 D#3 | C#3 G#2 | A2 B2 | C3 C3 | B2 C#3 | F#2 B2 | E2 E2
E2 E2 | G2 D3 | E3 G2 | B2 D3 | C3 B2 | A2 G2 | E2 E2 | E2 E2 | C3 C3 | A2 A2 | E2 E2 | E2 E2
"""
# Tones from the root up; the last column is the tone that must not be doubled.
CHORD_TONES = {
    "Em": "E G B", "A": "A C# E", "D": "D F# A", "G": "G B D", "Bm": "B D F#", "C": "C E G", "Cmaj7": "C E G B",
    "F#m": "F# A C#", "Bm7": "B D F# A", "A7": "A C# E G", "Am": "A C E", "Am7": "A C E G", "Fm": "F Ab C",
    "C#m": "C# E G#", "F#m7b5": "F# A C E", "Fmaj7": "F A C E", "Em7": "E G B D", "D7sus": "D G A C",
    "D7": "D F# A C", "B7": "B D# F# A", "E": "E G# B", "B": "B D# F#", "F#m7": "F# A C# E", "E5": "E B",
}
ONCE = {"D7": "F#", "B7": "D#", "B": "D#", "A7": "C#"}
# From which bar: middle of the pad's register, as MIDI key.
REGISTER = {1: 61, 33: 58, 41: 60, 45: 63, 53: 65, 61: 61}
# From which bar: pattern of the arpeggio over four rising chord tones, its value, its lowest key.
FIGURES = {1: ("0 1 2 3 2 1", "e", 52), 17: ("0 1 2 3 2 1", "s", 50), 33: None, 45: ("0 1 2 3 2 1", "s", 55),
           53: ("3 2 1 0 1 2", "s", 52), 61: ("0 1 2 3 2 1", "s", 52), 67: ("0 1 2 3 2 1", "e", 52), 72: None}

# ----------------------------------------------------------------------------------------------------------- lines
# The tune: a fifth up and one step more, E B C#; the second time E B D; the octave E B E is kept for bar 57.
MELODY = """
rh. | !pp (E4q B4e C#5q. | B4h.) | rh. | rh. | (E4q B4e D5q. | C#5q A4e B4q. | F#4h.)
!mp (E4q B4e C#5q. | B4q A4e F#4q.) | (G4q A4e B4q G4e | F#4q.~ F#4q) (D4e | E4q B4e D5q.) | < (E5q D5e B4q.) =
> (C#5q B4e A4q F#4e | E4q.~ = E4q) re
rh. | rh. | rh. | rh. | rh. | rh. | rh. | rh.
rh. | rh. | rh. | rh. | rh. | rh. | rh. | rh.
rh. | !pp rq. (A5q E6e | F6h.) | rq. (F5q C6e | C#6h.) | rq. (C#6q G#5e | A5h.~ | A5q.) rq.
!p < (A4q E5e F#5q.) | (C5q G5e A5q.) | (D5q A5e B5q.) | (G5q. F#5q.) =
!mf (G4q D5e E5q. | D5q C5e A4q.) | (B4q C5e D5q B4e | A4q.~ A4q) (F#4e | G4q D5e F#5q.) | < (G5q F#5e D5q.)
(E5q D5e C5q A4e | G4q.) = rq.
!ff E4q^ (B4e C#5q.^) | B4q (A4e F#4q.) | (G#4q A4e) (B4q G#4e) | F#4q.~ F#4q D#4e- | E4q^ B4e E5q.^ | G#5q^ F#5e E5q.-
> (C#5q B4e) (A4q F#4e) | !mf E4q.~ E4q =  re
rh. | rh. | rh. | rh. | rh. | rh.
!pp (E4q B4e C#5q. | B4h.) | (E4q B4e D5q. | C#5q. B4q.) | E4q- B4e- E5q.~ | E5h.{fermata}
"""
SOLO = "| rh. " * 16 + """
| !mf (F#5q.{long roll} E5q D5e | B4q{cut} D5e A4q.{breath}) | (B4q{short roll} C#5e D5q F#5e | [D5]E5q.{slide}~ E5q) (F#5e | G5q.{turn} F#5q E5e)
| (D5q{mordent} E5e B4q.{breath}) | > (C#5q{inverted mordent} B4e A4q{strike} F#4e | E4q.{trill}~ = E4q) re
""" + "| rh. " * 36 + """
| !p (E4q B4e{cut} C#5q.{long roll} | B4q A4e F#4q.{breath}) | > (G4q A4e [C#5]B4q G4e | F#4q.{delayed turn}~ = F#4q) re
""" + "| rh. " * 8
SOLO = SOLO.strip().lstrip("|")
VOICES = "| rh. " * 24 + """
| !p (E4q) B4e C#5q. | B4q A4e F#4q. | < (G4q A4e) (B4q G4e) | F#4q.~ = F#4q (D4e | E4q B4e D5q.) | !mf (E5q D5e B4q.) | > (C#5q B4e A4q F#4e | E4h.) =
""" + "| rh. " * 20 + """
| !ff E4q B4e C#5q. | B4q A4e F#4q. | (G#4q A4e) (B4q G#4e) | F#4q.~ F#4q D#4e | E4q B4e E5q. | G#5q F#5e E5q. | > (C#5q B4e) (A4q F#4e) | E4h. =
""" + "| rh. " * 12
VOICES = VOICES.strip().lstrip("|")
LYRICS = {25: "A- bit nox, ve- nit lux de ma- ri;", 53: "A- bit nox, ve- nit lux de ma- ri; et li- tus nos vo- cat nunc ad su- os."}
COUNTER = "| rh. " * 16 + """
| !p (A4q. B4q. | D4h.) | (G4q. B4q. | C#5q A4e E4q A4e | D5q. G4q.) | (F#4q. G4q. | E4q. B3q. | B3q. C#4q.)
| !mp (B3q. E4q. | G4q. D4q. | C#4q. D4q.) | (D4q A4e B4q. | G4h.) | (E4q. F#4q. | C#4q. D4q. | E4q. G4q.)
""" + "| rh. " * 12 + """
| !mf (B3q. G4q. | B4q. D4q F#4e | D4q. G4q.) | < (F#4q A4e D5q.~ | D5h.) = | (B4h. | G4q. F#4q. | E4q. F#4q.)
| !f G#4q. (E4q A4e | E4q G#4e B4q.) | E5h.- | (A4q C#5e A4q. | G4h.) | (G#4h. | A4h. | > G#4q. A4q.) =
| rh. | rh. | rh. | rh. | !pp (E4q B4e D5q. | C5q B4e G4q.) | rh. | rh. | rh. | rh. | rh. | rh.
"""
COUNTER = COUNTER.strip().lstrip("|")
BELLS = """
!p B4h. | rh. | rh. | rh. | B4h. | rh. | rh. | rh.
""" + "| rh. " * 24 + """
| !pp E5h. | rh. | rq. C5q. | rh. | rh. | E5h. | rh. | rq. C5q. | rh. | rh. | rh. | rh.
| !mp G4h. | rh. | rh. | rh. | rh. | rh. | rh. | rh.
| !f E5h. | rh. | E5h. | rh. | E5h. | B4q. rq. | rh. | E5h.
| rh. | rh. | rh. | rh. | rh. | rh. | !pp B4h. | rh. | rh. | rh. | rh. | B4h.
"""
DRUMS = "| rh. " * 36 + """
| !pp E2h.///~ | E2h.///~ | E2h.///~ | E2h./// | rh. | rh. | !p < D3h.///~ | D3h./// =
| !mf G2q^ re rq. | rh. | rh. | rh. | rh. | rh. | !p rh. | < B2h./// =
| !ff E3q^ B2e E3q.^ | B2q B2e B2q.^ | E3q^ B2e E3q. | rq. B2q B2e | E3q.^ rq. | B2q^ B2e E3q.^ | rq. B2e^ B2e^ B2e^ | E3q^ B2e E3q.
| > !p E2h.///~ | E2h./// = """ + "| rh. " * 10
DRUMS = DRUMS.strip().lstrip("|")
CYMBAL = "| rh. " * 43 + "| !p xh./// " + "| rh. " * 7 + "| !p xh./// " + "| rh. " * 20
CYMBAL = CYMBAL.strip().lstrip("|")
# xT tam-tam, xB bass drum, xK triangle
PERCUSSION = "| rh. " * 32 + """
| !pp xTh. | rh. | rh. | rh. | xTh. | rh. | rh. | rh. | rh. | rh. | rh. | rh.
| !p xKh. | rh. | xKh. | rh. | xKh. | rh. | xKh. | rh.
| !ff xTh. | xBq. rq. | xBq. rq. | rh. | xTh. | xBq. xBq. | rq. xBq. | xBh.
""" + "| rh. " * 12
PERCUSSION = PERCUSSION.strip().lstrip("|")
RUN = "| rh. " * 43 + """
| rq. !mp < (A4s B4s C5s D5s E5s F#5s | G5e) = rq rq. """ + "| rh. " * 6 + """
| rq. !mf < (C#5n D#5n E5n F#5n G#5n A5n B5n C#6n D#6n | E6e) = rq rq. """ + "| rh. " * 19
RUN = RUN.strip().lstrip("|")

STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
VALUES = {"h": (2 * DIV, "half"), "q": (DIV, "quarter"), "e": (DIV // 2, "eighth"), "s": (DIV // 4, "16th"),
          "n": (DIV // 6, "16th")}
STROKES = {"": "suspended-cymbal", "T": "tam-tam", "B": "bass-drum", "K": "triangle"}


class Note:
    """One written note or rest; `pitches` holds (step, alter, octave), several for a chord."""

    def __init__(self, at, length, kind, dots, pitches=(), stroke=None):
        self.at, self.length, self.kind, self.dots = at, length, kind, dots
        self.pitches, self.stroke = list(pitches), stroke
        self.ties, self.tied_from = set(), set()
        self.slur_start = self.slur_stop = self.nine = False
        self.tremolo, self.marks, self.ornaments, self.graces, self.lyric = 0, [], [], [], None
        self.before = []  # directions before it
        self.after = []   # directions after it


def key_of(pitch):
    step, alter, octave = pitch
    return 12 * (octave + 1) + STEPS[step] + alter


def pitch_of(text):
    found = re.fullmatch(r"([A-G])(#|b)?(\d)", text)
    if not found:
        raise ValueError(f"no pitch: {text}")
    return found[1], {"#": 1, "b": -1, None: 0}[found[2]], int(found[3])


TOKEN = re.compile(r"(\()?(?:\[([^\]]+)\])?(?:([A-G][#b]?\d)|r|(x[TBK]?))([hqesn])(\.)?(///)?((?:['^-]|\{[^}]*\}|[~)])*)")


def read_line(text, name):
    """Bars of notes. A slur mark or tie may stand after an ornament."""
    bars = []
    for number, bar in enumerate(re.split(r"\||\n(?=\s*\S)", text.strip()), 1):
        bar = re.sub(r"\{([^}]*)\}", lambda m: "{" + m[1].replace(" ", "_") + "}", bar)
        if not bar.strip():
            continue
        notes, at, waiting = [], 0, []
        for token in bar.split():
            if token[0] in "!<>=":
                if token == "=" and notes:
                    notes[-1].after.append(token)
                else:
                    waiting.append(token)
                continue
            found = TOKEN.fullmatch(token)
            if not found:
                raise ValueError(f"{name}, bar {len(bars) + 1}: cannot read {token!r}")
            opens, grace, pitch, stroke, value, dot, rolls, flags = found.groups()
            length, kind = VALUES[value]
            note = Note(at, length * 3 // 2 if dot else length, kind, 1 if dot else 0)
            note.before, waiting = waiting, []
            if pitch:
                note.pitches = [pitch_of(pitch)]
            if stroke:
                note.stroke = STROKES[stroke[1:]]
            note.nine = value == "n"
            note.slur_start, note.slur_stop = bool(opens), ")" in flags
            note.tremolo = 3 if rolls else 0
            note.graces = [pitch_of(g) for g in (grace or "").split()]
            if "~" in flags:
                note.ties = {0}
            bare = re.sub(r"\{[^}]*\}", "", flags)
            note.marks = [m for m in bare if m in "'-^"]
            note.ornaments = [o.replace("_", " ") for o in re.findall(r"\{([^}]*)\}", flags)]
            if note.slur_start and note.slur_stop:
                note.slur_start = note.slur_stop = False
            notes.append(note)
            at += note.length
        bars.append(notes)
    previous = None
    for notes in bars:
        for note in notes:
            if previous is not None and previous.ties:
                note.tied_from = {0}
            previous = note
    return bars


def halves(text):
    return [pair.split() for pair in re.split(r"[|\n]", text.strip()) if pair.strip()]


def from_bar(table, bar):
    return table[max(b for b in table if b <= bar)]


# ------------------------------------------------------------------------------------------------- the pad's voices
def tones(chord):
    return [pitch_of(t + "0")[:2] for t in CHORD_TONES[chord].split()]


def voicings(chord, middle):
    """Four voices, highest first: every tone of the chord, close enough together, nothing doubled that must not be."""
    names = {(STEPS[s] + a) % 12: (s, a) for s, a in tones(chord)}
    keys = [k for k in range(middle - 12, middle + 12) if k % 12 in names]
    once = pitch_of(ONCE[chord] + "0") if chord in ONCE else None
    found = []
    for i, a in enumerate(keys):
        for b in [k for k in keys if 3 <= k - a <= 12]:
            for c in [k for k in keys if 1 <= k - b <= 9]:
                for d in [k for k in keys if 2 <= k - c <= 9]:
                    four = (d, c, b, a)
                    classes = [k % 12 for k in four]
                    if set(classes) != set(names) or (c - b == 1):
                        continue
                    if once and classes.count(key_of(once) % 12) > 1:
                        continue
                    found.append(four)
    return found, names


def parallel(a1, a2, b1, b2):
    """Do two voices move in the same direction from a fifth or octave to the same?"""
    first, second = (a1 - b1) % 12, (a2 - b2) % 12
    moves = (a2 - a1) * (b2 - b1) > 0
    return moves and first == second and first in (0, 7)


def realise_pad(chords, bass, tune):
    """The way through all voicings of least movement without parallels, by dynamic programming. `tune`: the key that
    the leading line sounds at each half bar, or None."""
    steps = []
    for i, chord in enumerate(chords):
        middle = from_bar(REGISTER, i // 2 + 1)
        found, _ = voicings(chord, middle)
        low = bass[i]
        own = []
        for four in found:
            if four[3] <= low + 2:
                continue
            cost = abs(sum(four) / 4 - middle) * 1.0 + (four[0] - four[3] > 17) * 2
            cost += sum(2 for x, y in zip(four, four[1:]) if x - y <= 2)
            cost += 2 * (four[3] < 52 and four[2] - four[3] < 5)
            own.append((cost, four))
        steps.append(own)
    best = [{four: (cost, None) for cost, four in steps[0]}]
    for i in range(1, len(chords)):
        now = {}
        for cost, four in steps[i]:
            choices = []
            for before, (so_far, _) in best[-1].items():
                move = sum(abs(x - y) for x, y in zip(four, before)) + 3 * max(0, abs(four[0] - before[0]) - 4)
                if chords[i] == chords[i - 1] and four != before:
                    move += 4
                voices_before = list(before) + [bass[i - 1]]
                voices_now = list(four) + [bass[i]]
                faults = sum(parallel(voices_before[x], voices_now[x], voices_before[y], voices_now[y])
                             for x in range(5) for y in range(x + 1, 5))
                overlaps = sum(four[x + 1] > before[x] or four[x] < before[x + 1] for x in range(3))
                if tune[i] is not None and tune[i - 1] is not None:
                    move += 3 * sum(parallel(tune[i - 1], tune[i], x, y) for x, y in zip(before, four))
                choices.append((so_far + move + 60 * faults + 3 * overlaps, before))
            total, before = min(choices)
            now[four] = (total + cost, before)
        best.append(now)
    four = min(best[-1], key=lambda f: (best[-1][f][0], f))
    path = [four]
    for i in range(len(chords) - 1, 0, -1):
        four = best[i][four][1]
        path.append(four)
    return path[::-1]


def spelled(key, chord):
    for step, alter in tones(chord):
        if (STEPS[step] + alter) % 12 == key % 12:
            return step, alter, (key - STEPS[step] - alter) // 12 - 1
    raise ValueError(f"{key} is not in {chord}")


def sounding(bars, at):
    """The key that a line sounds at a place in divisions from the start."""
    for note in bars[at // BAR]:
        if note.at <= at % BAR < note.at + note.length and note.pitches:
            return key_of(note.pitches[0])
    return None


def compose():
    """Every line, as bars of notes."""
    lines = {name: read_line(text, name) for name, text in
             [("Melody", MELODY), ("Solo", SOLO), ("Voices", VOICES), ("Counter", COUNTER), ("Bells", BELLS),
              ("Drums", DRUMS), ("Cymbal", CYMBAL), ("Percussion", PERCUSSION), ("Run", RUN)]}
    chords = [c for pair in halves(CHORDS) for c in pair]
    bass = [key_of(pitch_of(p)) for pair in halves(BASS) for p in pair]
    tune = []
    for i in range(2 * BARS):
        keys = [sounding(lines[n], i * HALF) for n in ("Melody", "Solo", "Voices")]
        tune.append(next((k for k in keys if k is not None), None))
    pad = realise_pad(chords, bass, tune)
    lines["Pad"] = pad_bars(pad, chords)
    lines["Bass"] = bass_bars()
    lines["Figure"] = figure_bars(chords)
    lay_lyrics(lines["Voices"])
    return lines, pad, bass, chords, tune


def pad_bars(pad, chords):
    """A chord each half bar; what a voice keeps within a bar is tied."""
    bars = []
    for bar in range(BARS):
        a, b = pad[2 * bar], pad[2 * bar + 1]
        if a == b:
            notes = [Note(0, BAR, "half", 1, [spelled(k, chords[2 * bar]) for k in a])]
        else:
            one = Note(0, HALF, "quarter", 1, [spelled(k, chords[2 * bar]) for k in a])
            two = Note(HALF, HALF, "quarter", 1, [spelled(k, chords[2 * bar + 1]) for k in b])
            one.ties = {i for i in range(4) if a[i] == b[i]}
            two.tied_from = set(one.ties)
            notes = [one, two]
        if bar == 0:
            notes[0].before = ["!pp"]
        bars.append(notes)
    return bars


def bass_bars():
    bars = []
    for i, (a, b) in enumerate(halves(BASS)):
        if a == b:
            notes = [Note(0, BAR, "half", 1, [pitch_of(a)])]
        else:
            notes = [Note(0, HALF, "quarter", 1, [pitch_of(a)]), Note(HALF, HALF, "quarter", 1, [pitch_of(b)])]
            notes[0].slur_start, notes[1].slur_stop = True, True
        if i == 0:
            notes[0].before = ["!p"]
        bars.append(notes)
    return bars


def figure_bars(chords):
    bars = []
    for bar in range(1, BARS + 1):
        figure = from_bar(FIGURES, bar)
        if figure is None:
            bars.append([Note(0, BAR, "half", 1)])
            continue
        pattern, value, low = figure
        length, kind = VALUES[value]
        notes = []
        for half in range(2):
            chord = chords[2 * (bar - 1) + half]
            classes = {(STEPS[s] + a) % 12 for s, a in tones(chord)}
            ladder = [k for k in range(low, low + 30) if k % 12 in classes]
            steps = [int(x) for x in pattern.split()]
            if value == "e":  # up in the first half of the bar, down in the second
                steps = [0, 1, 2] if half == 0 else [3, 2, 1]
            for step in steps:
                notes.append(Note(half * HALF + len(notes[half * len(steps):]) * length, length, kind, 0,
                                  [spelled(ladder[step], chord)]))
        if bar == 1:
            notes[0].before = ["!p"]
        bars.append(notes)
    return bars


def lay_lyrics(bars):
    """A syllable for each note that is not under a slur or tie from the note before."""
    for start, text in LYRICS.items():
        syllables = text.split()
        inside = within_word = False
        for bar in bars[start - 1:]:
            for note in bar:
                held = inside or note.tied_from
                inside = (inside or note.slur_start) and not note.slur_stop
                if not note.pitches or held or not syllables:
                    continue
                syllable = syllables.pop(0)
                goes_on = syllable.endswith("-")
                place = ("middle" if goes_on else "end") if within_word else ("begin" if goes_on else "single")
                within_word = goes_on
                note.lyric = (place, syllable.rstrip("-"))
        if syllables:
            raise ValueError(f"text at bar {start}: no notes for {syllables}")


# -------------------------------------------------------------------------------------------------------- MusicXML
PARTS = [("Melody", None), ("Solo", None), ("Voices", None), ("Counter", None), ("Pad", None), ("Figure", None),
         ("Bass", "bass"), ("Run", None), ("Bells", None), ("Drums", "bass"), ("Cymbal", "percussion"),
         ("Percussion", "percussion")]
UNPITCHED = {"Cymbal": ["suspended-cymbal"], "Percussion": ["tam-tam", "bass-drum", "triangle"]}
ORNAMENTS = {"trill": "<trill-mark/>", "turn": "<turn/>", "delayed turn": "<delayed-turn/>",
             "mordent": "<mordent/>", "inverted mordent": "<inverted-mordent/>"}
MARKS = {"'": "<staccato/>", "-": "<tenuto/>", "^": "<accent/>"}


def direction(token):
    if token[0] == "!":
        return f"<direction placement=\"below\"><direction-type><dynamics><{token[1:]}/></dynamics></direction-type></direction>"
    kind = {"<": "crescendo", ">": "diminuendo", "=": "stop"}[token]
    return f"<direction placement=\"below\"><direction-type><wedge type=\"{kind}\"/></direction-type></direction>"


def pitch_xml(pitch):
    step, alter, octave = pitch
    alter = f"<alter>{alter}</alter>" if alter else ""
    return f"<pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>"


def note_xml(note, part, part_id):
    out = []
    for grace in note.graces:
        out.append(f"<note><grace slash=\"yes\"/>{pitch_xml(grace)}<voice>1</voice><type>eighth</type></note>")
    for i, pitch in enumerate(note.pitches or [None]):
        xml = "<note>" + ("<chord/>" if i else "")
        if note.stroke:
            xml += "<unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
        elif pitch is None:
            xml += "<rest measure=\"yes\"/>" if note.length == BAR else "<rest/>"
        else:
            xml += pitch_xml(pitch)
        xml += f"<duration>{note.length}</duration>"
        xml += "<tie type=\"stop\"/>" if i in note.tied_from else ""
        xml += "<tie type=\"start\"/>" if i in note.ties else ""
        if note.stroke:
            xml += f"<instrument id=\"{part_id}-I{UNPITCHED[part].index(note.stroke) + 1}\"/>"
        xml += "<voice>1</voice>"
        if not (pitch is None and note.length == BAR and not note.stroke):
            xml += f"<type>{note.kind}</type>" + "<dot/>" * note.dots
        if note.nine:
            xml += "<time-modification><actual-notes>9</actual-notes><normal-notes>6</normal-notes></time-modification>"
        notations = "<tied type=\"stop\"/>" if i in note.tied_from else ""
        notations += "<tied type=\"start\"/>" if i in note.ties else ""
        if i == 0:
            notations += "<slur type=\"stop\" number=\"1\"/>" if note.slur_stop else ""
            notations += "<slur type=\"start\" number=\"1\"/>" if note.slur_start else ""
            ornaments = "".join(ORNAMENTS.get(o, f"<other-ornament>{o}</other-ornament>") for o in note.ornaments
                                if o not in ("fermata", "breath"))
            if note.tremolo:
                ornaments += f"<tremolo type=\"single\">{note.tremolo}</tremolo>"
            notations += f"<ornaments>{ornaments}</ornaments>" if ornaments else ""
            marks = "".join(MARKS[m] for m in note.marks)
            marks += "<breath-mark/>" if "breath" in note.ornaments else ""
            notations += f"<articulations>{marks}</articulations>" if marks else ""
            notations += "<fermata/>" if "fermata" in note.ornaments else ""
        xml += f"<notations>{notations}</notations>" if notations else ""
        if i == 0 and note.lyric:
            xml += f"<lyric number=\"1\"><syllabic>{note.lyric[0]}</syllabic><text>{escape(note.lyric[1])}</text></lyric>"
        out.append(xml + "</note>")
    return out


def attributes_xml(bar, clef):
    xml = f"<divisions>{DIV}</divisions>" if bar == 1 else ""
    if bar in KEYS and clef != "percussion":
        xml += f"<key><fifths>{KEYS[bar][0]}</fifths><mode>{KEYS[bar][1]}</mode></key>"
    if bar == 1:
        xml += "<time><beats>6</beats><beat-type>8</beat-type></time>"
        sign = {None: "<sign>G</sign><line>2</line>", "bass": "<sign>F</sign><line>4</line>",
                "percussion": "<sign>percussion</sign>"}[clef]
        xml += f"<clef>{sign}</clef>"
    return f"<attributes>{xml}</attributes>" if xml else ""


def bar_directions(bar):
    out = []
    for number, name in PASSAGES:
        if number == bar:
            out.append(f"<direction placement=\"above\"><direction-type><rehearsal>{escape(name)}</rehearsal>"
                       "</direction-type></direction>")
    if bar in TEMPI:
        beats, words = TEMPI[bar]
        types = f"<direction-type><words>{escape(words)}</words></direction-type>" if words else ""
        types += ("<direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-dot/>"
                  f"<per-minute>{beats}</per-minute></metronome></direction-type>")
        quarters = Fraction(beats * 3, 2)
        tempo = int(quarters) if quarters.denominator == 1 else float(quarters)
        out.append(f"<direction placement=\"above\">{types}<sound tempo=\"{tempo}\"/></direction>")
    return out


def musicxml(lines):
    out = ["<?xml version=\"1.0\" encoding=\"UTF-8\"?>",
           "<score-partwise version=\"4.0\">", "<work><work-title>Night Ferry</work-title></work>",
           "<identification><encoding><encoding-date>2026-11-25</encoding-date></encoding></identification>",
           "<part-list>"]
    for i, (name, _) in enumerate(PARTS, 1):
        instruments = "".join(f"<score-instrument id=\"P{i}-I{j}\"><instrument-name>{n}</instrument-name>"
                              "</score-instrument>" for j, n in enumerate(UNPITCHED.get(name, []), 1))
        out.append(f"<score-part id=\"P{i}\"><part-name>{name}</part-name>{instruments}</score-part>")
    out.append("</part-list>")
    starts = {bar for bar, _ in PASSAGES}
    for i, (name, clef) in enumerate(PARTS, 1):
        out.append(f"<part id=\"P{i}\">")
        for bar, notes in enumerate(lines[name], 1):
            out.append(f"<measure number=\"{bar}\">")
            attributes = attributes_xml(bar, clef)
            if attributes:
                out.append(attributes)
            if i == 1:
                out.extend(bar_directions(bar))
            for note in notes:
                out.extend(direction(t) for t in note.before)
                out.extend(note_xml(note, name, f"P{i}"))
                out.extend(direction(t) for t in note.after)
            if bar == BARS:
                out.append("<barline location=\"right\"><bar-style>light-heavy</bar-style></barline>")
            elif bar + 1 in starts:
                out.append("<barline location=\"right\"><bar-style>light-light</bar-style></barline>")
            out.append("</measure>")
        out.append("</part>")
    out.append("</score-partwise>")
    return "\n".join(out) + "\n"


# ----------------------------------------------------------------------------------------------------------- check
def seconds():
    return sum(60 * 2 / from_bar({b: t for b, (t, _) in TEMPI.items()}, bar) for bar in range(1, BARS + 1))


def place(i):
    return f"bar {i // 2 + 1}, {'first' if i % 2 == 0 else 'second'} half"


def check(lines, pad, bass, chords, tune):
    faults = []
    for name, bars in lines.items():
        if len(bars) != BARS:
            faults.append(f"{name}: {len(bars)} bars instead of {BARS}")
        for number, notes in enumerate(bars, 1):
            if sum(n.length for n in notes) != BAR:
                faults.append(f"{name}, bar {number}: {sum(n.length for n in notes)} of {BAR} divisions")
        open_slur = False
        for number, notes in enumerate(bars, 1):
            for note in notes:
                if (note.slur_stop and not open_slur) or (note.slur_start and open_slur):
                    faults.append(f"{name}, bar {number}: slurs do not pair")
                open_slur = (open_slur or note.slur_start) and not note.slur_stop
                if note.ties and name != "Pad":
                    following = [n for b in bars for n in b]
                    nxt = following[following.index(note) + 1]
                    if nxt.pitches != note.pitches:
                        faults.append(f"{name}, bar {number}: a tie to another pitch")
        if open_slur:
            faults.append(f"{name}: a slur stays open")
    if not len(pad) == len(bass) == len(chords) == 2 * BARS:
        faults.append("chords and bass are not two a bar")
    for i in range(2 * BARS):
        if bass[i] % 12 not in {(STEPS[s] + a) % 12 for s, a in tones(chords[i])} and not 0 <= i < 8:
            faults.append(f"{place(i)}: the bass is not in {chords[i]}")
    # Outer voices and inner voices: no fifths or octaves in parallel.
    for i in range(1, 2 * BARS):
        before, now = list(pad[i - 1]) + [bass[i - 1]], list(pad[i]) + [bass[i]]
        for x in range(5):
            for y in range(x + 1, 5):
                if parallel(before[x], now[x], before[y], now[y]):
                    faults.append(f"{place(i)}: parallel between voices {x + 1} and {y + 1} of pad and bass")
        for x in range(4):
            if abs(now[x] - before[x]) > 7:
                faults.append(f"{place(i)}: pad voice {x + 1} leaps {now[x] - before[x]}")
    leading = [("tune", [lines[n] for n in ("Melody", "Solo", "Voices")]), ("counter", [lines["Counter"]])]
    ends = {name: line_halves(group) for name, group in leading}
    for i in range(1, 2 * BARS):
        for name in ends:
            last, first = ends[name][i - 1][1], ends[name][i][0]
            heads = ends[name][i - 1][0]
            for from_key in {last, heads} - {None}:
                if first is not None and parallel(from_key, first, bass[i - 1], bass[i]):
                    faults.append(f"{place(i)}: {name} and bass in parallel")
        (t_head, t_last), t = ends["tune"][i - 1], ends["tune"][i][0]
        (c_head, c_last), c = ends["counter"][i - 1], ends["counter"][i][0]
        for a, b in ((t_head, c_head), (t_last, c_last)):
            if None not in (a, b, t, c) and parallel(a, t, b, c):
                faults.append(f"{place(i)}: tune and counter in parallel")
    # The leading notes of a half bar belong to its chord, or are a ninth, a seventh, or a neighbour that resolves.
    for i in range(2 * BARS):
        for name in ("Melody", "Solo", "Voices", "Counter", "Bells"):
            key = sounding(lines[name], i * HALF)
            classes = {(STEPS[s] + a) % 12 for s, a in tones(chords[i])}
            if key is not None and key % 12 not in classes:
                print(f"  leans on the chord: {place(i)}: {name} {spell_key(key)} over {chords[i]}")
    for name, (low, high) in {"Melody": (62, 93), "Solo": (62, 86), "Voices": (62, 80), "Counter": (48, 77),
                              "Bass": (38, 57), "Drums": (38, 57), "Bells": (60, 79), "Figure": (48, 88),
                              "Pad": (45, 79), "Run": (60, 91)}.items():
        keys = [key_of(p) for b in lines[name] for n in b for p in n.pitches]
        print(f"  {name}: {len(keys)} notes, {spell_key(min(keys))} to {spell_key(max(keys))}")
        if min(keys) < low or max(keys) > high:
            faults.append(f"{name}: outside {spell_key(low)} to {spell_key(high)}")
    tune_keys = [key_of(p) for b in lines["Melody"][8:16] for n in b for p in n.pitches]
    if max(tune_keys) - min(tune_keys) > 16:
        faults.append("the tune is wider than a tenth")
    moves = [sum(abs(a - b) for a, b in zip(x, y)) / 4 for x, y in zip(pad, pad[1:])]
    print(f"  pad: {sum(moves) / len(moves):.2f} semitones a voice a change on average")
    length = seconds()
    print(f"  {BARS} bars, {int(length // 60)}:{length % 60:04.1f}")
    if not 140 <= length <= 178:
        faults.append(f"{length:.1f} s is not between 2:20 and 2:58")
    faults += check_chairs(lines) if (HERE / "cue.toml").exists() else ["no cue.toml"]
    return faults


def line_halves(group):
    """For each half bar the first and the last key that the lines sound, or None."""
    out = []
    for i in range(2 * BARS):
        pair = (None, None)
        for bars in group:
            inside = [n for n in bars[i // 2] if n.pitches and n.at < (i % 2 + 1) * HALF
                      and n.at + n.length > i % 2 * HALF]
            if inside and inside[0].at <= i % 2 * HALF:
                pair = (key_of(inside[0].pitches[0]), key_of(inside[-1].pitches[0]))
        out.append(pair)
    return out


def spell_key(key):
    return ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"][key % 12] + str(key // 12 - 1)


# Hard ranges in sounding pitch, as the instrument table of the project has them.
RANGES = {"piccolo": (74, 108), "flute": (59, 98), "oboe": (58, 93), "cor-anglais": (52, 84), "clarinet": (50, 94),
          "bass-clarinet": (34, 77), "bassoon": (34, 76), "contrabassoon": (22, 58), "low-whistle": (62, 86),
          "horn": (35, 77), "trumpet": (52, 84), "trombone": (36, 74), "bass-trombone": (34, 70), "tuba": (26, 65),
          "timpani": (38, 57), "glockenspiel": (79, 108), "celesta": (60, 108), "tubular-bells": (60, 79),
          "harp": (23, 104), "violin": (55, 100), "viola": (48, 88), "cello": (36, 84), "double-bass": (28, 60),
          "choir-sopranos": (59, 84), "choir-altos": (53, 77), "choir-tenors": (47, 71), "choir-basses": (40, 64),
          "boys-choir": (58, 81)}
OCTAVES = {"8va": 12, "8vb": -12, "15ma": 24, "15mb": -24}


def check_chairs(lines):
    """Every source of every cell inside its instrument's range, after its octave. Reads plan and template."""
    import tomllib
    faults = []
    plan = tomllib.loads((HERE / "cue.toml").read_text(encoding="utf-8"))
    chairs = tomllib.loads((HERE / "template.toml").read_text(encoding="utf-8"))["chair"]
    played, reserve = set(), []
    for passage in plan["passage"]:
        first, last = passage["bars"]
        cells = passage["casting"]

        def sources(chair, octave, depth):
            if depth > 9:
                faults.append(f"{passage['name']}, {chair}: a circle of col")
                return
            text = re.sub(r'"[^"]*"', "", cells[chair]).split(",")[0]
            for piece in re.split(r"[;/]", text.removeprefix("div.:")):
                words = piece.split()
                while words and words[0] in ("from", "to"):  # `; from 12.3 counter`
                    words = words[2:]
                name = words[1] if words[0] == "col" else chair if words[:2] == ["as", "written"] else words[0]
                move = octave + sum(OCTAVES.get(w, 0) for w in words)
                if words[0] == "col":
                    if name not in cells:
                        faults.append(f"{passage['name']}, {chair}: {name} is silent")
                    else:
                        yield from sources(name, move, depth + 1)
                else:
                    yield name, move, piece

        for chair in cells:
            if chair not in chairs:
                faults.append(f"{passage['name']}: no chair {chair}")
                continue
            played.add(chair)
            if chair in ("basses", "trombones", "bass-trombone", "tuba"):
                reserve.append((first, chair))
            low, high = RANGES.get(chairs[chair]["instrument"], (0, 127))
            for name, move, piece in sources(chair, 0, 0):
                line, _, voice = name.partition(".")
                if line not in plan["lines"]:
                    faults.append(f"{passage['name']}, {chair}: no line {line}")
                    continue
                bars = lines[plan["lines"][line]["track"]]
                start = re.search(r"from (\d+)", piece)
                stop = re.search(r"to (\d+)", piece)
                keys = []
                for bar in range(int(start[1]) if start else first, (int(stop[1]) if stop else last) + 1):
                    for note in bars[bar - 1]:
                        index = {"": None, "top": 0, "bottom": 3}.get(voice, None if not voice.isdigit() else int(voice) - 1)
                        chosen = note.pitches if index is None else note.pitches[index:index + 1]
                        keys += [key_of(p) + move for p in chosen]
                        keys += [60] if note.stroke in plan["lines"][line].get("strokes", [note.stroke or 0]) else []
                if not keys:
                    faults.append(f"{passage['name']}, {chair}: {piece.strip()} has no notes")
                elif chairs[chair]["instrument"] in RANGES and (min(keys) < low or max(keys) > high):
                    faults.append(f"{passage['name']}, {chair}: {spell_key(min(keys))} to {spell_key(max(keys))} is not "
                                  f"within {spell_key(low)} to {spell_key(high)}")
    print(f"  {len(played)} chairs play, {len(plan['passage'])} passages")
    faults += [f"{chair} never plays" for chair in chairs if chair not in played]
    faults += [f"{chair} plays before bar 53" for first, chair in reserve if first < 53]
    return faults


def main():
    lines, pad, bass, chords, tune = compose()
    text = musicxml(lines)
    path = HERE / "night-ferry.musicxml"
    if "--check" in sys.argv:
        faults = check(lines, pad, bass, chords, tune)
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            faults.append("night-ferry.musicxml is not what this file writes")
        print("\n".join(faults) or "all right")
        sys.exit(1 if faults else 0)
    HERE.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
