"""Marked notes, picked by music21 from real scores: the performance's articulation is the marked one.

    marked_notes.py FILE...    at least 300 notes in all; exit 1 if one of them is played otherwise

music21 reads the file, up to its first repeat sign, and gives the sounding pitch; the program makes a cue of the file and
prints its intent. A note is picked if it carries one kind of mark alone, so that what is asked is beyond doubt:
dots, accents, slurs, trills, tremolo strokes too quick to be counted, and the words pizz., arco, con sord., senza sord.
"""

import collections
import sys
import tempfile
import tomllib
import warnings
from pathlib import Path

import music21
from music21 import articulations, chord, expressions, note, spanner, stream

from cue_tools import perform, run

warnings.simplefilter("ignore")
STRINGS = ("viol", "cello", "bass", "bratsch", "kontrabass", "alto")


def words(part):
    """(offset, state, on) of the words that change the playing."""
    found = []
    for text in part.recurse().getElementsByClass(expressions.TextExpression):
        content = text.content.lower()
        at = text.getOffsetInHierarchy(part)
        french = "sourd" in content or "mute" in content
        if french:
            off = any(w in content for w in ("ôtez", "otez", "enlevez", "sans", "off", "out", "unmute"))
            found.append((at, "sord", not off))
        if any(w in content for w in ("bouch", "gest", "stopped", "+", "tasto", "touche", "chevalet", "flatt", "flutter",
                                      "vibr", "legato", "stacc", "marc", "ten.", "tenuto", "spicc", "portato")):
            found.append((at, "other", True))
        for word, state, on in (
            ("pizz", "pizz", True),
            ("arco", "pizz", False),
            ("con sord", "sord", True),
            ("senza sord", "sord", False),
            ("sul pont", "other", True),
            ("col legno", "other", True),
            ("harm", "other", True),
            ("trem", "other", True),
        ):
            if word in content:
                found.append((at, state, on))
    # Pizz. and arco at one place are for two desks of a divided part: nobody can say which note is whose.
    both = {at for at, state, on in found if state == "pizz" and on} & {
        at for at, state, on in found if state == "pizz" and not on}
    return sorted(found + [(at, "other", True) for at in both])


def picked(part, bars):
    """(bar, beat, key, expected) of the notes that carry one kind of mark."""
    text = words(part)
    slurred = set()
    for slur in part.recurse().getElementsByClass(spanner.Slur):
        try:
            ends = [e.getOffsetInHierarchy(part) for e in slur.getSpannedElements()]
        except music21.sites.SitesException:
            continue
        if len(ends) >= 2:
            slurred.add((min(ends), max(ends)))
    many_voices = len(list(part.recurse().getElementsByClass(stream.Voice))) > 0
    for measure, number in bars:
        unit = 4.0 / measure.timeSignature.denominator if measure.timeSignature else bars_unit(measure)
        for element in measure.recurse().notes:
            if not isinstance(element, (note.Note, chord.Chord)) or element.duration.isGrace:
                continue
            if element.tie is not None and element.tie.type != "start":
                continue
            at = element.getOffsetInHierarchy(part)
            state = {}
            for place, name, on in text:
                if place <= at:
                    state[name] = on
            if state.get("other"):
                continue
            if element.getSpannerSites("TremoloSpanner"):
                continue  # a tremolo between two notes has two kinds of sign
            marks = set()
            for mark in element.articulations:
                kind = type(mark)
                if kind is articulations.Staccato:
                    marks.add("staccato")
                elif kind is articulations.Accent:
                    marks.add("accent")
                elif kind not in (articulations.Fingering, articulations.StringIndication):
                    marks.add("more")
            for sign in element.expressions:
                if isinstance(sign, expressions.Trill):
                    marks.add("trill")
                elif isinstance(sign, expressions.Tremolo):
                    marks.add(f"tremolo-{sign.numberOfMarks}")
                elif not isinstance(sign, expressions.TextExpression):
                    marks.add("more")
            inside = [s for s in slurred if s[0] <= at <= s[1]]
            if inside and element.tie is not None:
                continue  # a slur over a tie may join nothing
            if inside and not many_voices:
                marks.add("slur")
            elif inside:
                continue
            beat = 1 + element.getOffsetInHierarchy(measure) / unit
            colour = "con-sord" if state.get("sord") else None
            if state.get("pizz"):
                if marks <= {"staccato", "accent"}:
                    yield number, beat, element, "pizzicato", colour
                continue
            if marks == {"staccato"}:
                yield number, beat, element, "staccato", colour
            elif marks == {"accent"}:
                yield number, beat, element, "accent", colour
            elif marks == {"slur"}:
                yield number, beat, element, "legato", colour
            elif marks == {"trill"}:
                yield number, beat, element, "trill", colour
            elif marks in ({"tremolo-3"}, {"tremolo-4"}):
                yield number, beat, element, "tremolo", colour
            elif not marks and colour:
                yield number, beat, element, None, colour


def bars_unit(measure):
    signature = measure.getContextByClass(music21.meter.TimeSignature)
    return 4.0 / signature.denominator if signature else 1.0


def main(paths):
    seen, wrong = collections.Counter(), []
    unmatched = 0
    for path in paths:
        score = music21.converter.parse(path, forceSource=True)
        score.toSoundingPitch(inPlace=True)
        with tempfile.TemporaryDirectory() as scratch:
            cue = Path(scratch) / "cue"
            run("new", cue, "--music", path)
            lines = tomllib.loads((cue / "cue.toml").read_text())["lines"]
            notes = collections.defaultdict(list)
            for n in perform(cue, str(Path(scratch) / "out.mid"))["notes"]:
                notes[(n["chair"], n["bar"], n["key"])].append(n)
        by_track = {}
        for name, line in lines.items():
            by_track.setdefault(line["track"].lower(), []).append(name)
        names = collections.Counter((p.partName or "").lower() for p in score.parts)
        for part in score.parts:
            name = (part.partName or "").lower()
            chairs = by_track.get(name, [])
            if len(chairs) != 1 or names[name] != 1:
                continue  # names that repeat, or several staves
            measures = list(part.getElementsByClass(stream.Measure))
            if not measures:
                continue
            pick_up = measures[0].number == 0 or measures[0].paddingLeft > 0
            # Bars after a repeat sign have other numbers once it is unfolded.
            signs = [i for i, m in enumerate(measures) if m.getElementsByClass(music21.bar.Repeat)
                     or isinstance(m.leftBarline, music21.bar.Repeat) or isinstance(m.rightBarline, music21.bar.Repeat)]
            measures = measures[: signs[0] + 1] if signs else measures
            bars = [(m, i + (0 if pick_up else 1)) for i, m in enumerate(measures)]
            for bar, beat, element, expected, colour in picked(part, bars):
                for pitch in element.pitches:
                    near = [
                        n for n in notes[(chairs[0], bar, int(pitch.ps))] if abs(n["beat"] - beat) < 0.01
                    ]
                    if not near:
                        unmatched += 1
                        continue
                    got = {(n["articulation"].rstrip("-12") if expected == "trill" else n["articulation"]) for n in near}
                    if expected == "tremolo":
                        got = {"tremolo" if g == "roll" else g for g in got}
                    if expected == "trill":
                        got = {"trill" if g == "roll" else g for g in got}
                    ok = (expected is None or expected in got) and colour in {n["colour"] for n in near}
                    kind = expected or "con-sord"
                    seen[kind] += 1
                    if not ok:
                        wrong.append((Path(path).name, name, bar, beat, pitch.nameWithOctave, kind, colour, sorted(got), sorted({str(n['colour']) for n in near})))
    total = sum(seen.values())
    print(f"marked notes: {total} picked, {total - len(wrong)} played as marked; {unmatched} not found at their place")
    print("  " + ", ".join(f"{kind} {count}" for kind, count in sorted(seen.items())))
    for row in wrong[:20]:
        print("  ", row)
    return bool(wrong) or total < 300 or unmatched > 0.02 * total


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
