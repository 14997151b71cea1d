"""Score and parts as MusicXML: valid, and read back note for note by music21 and by Ripieno's own reader.

    notation.py --ripieno PROGRAM --dump PATH-OF-THE-EXAMPLE-notes [--all] [FILE | CUE-FOLDER ...]

For each music file a cue is made (`ripieno new`) and printed (`ripieno score`), at concert pitch and transposed; a folder that is
a cue is printed as it is. Checked of every file:
* it is valid against the published schema of MusicXML 4.0 (W3C Community Final Specification, 2021; the copy of the package
  `musicxml`, with `xml.xsd` and `xlink.xsd` of the package `xmlschema`);
* music21 and Ripieno's reader find the notes of the cast score (the example `printed_notes` lists them): pitch, onset and duration,
  from the concert score, the transposed score, and the parts, which stand transposed. Ripieno's reader exactly, music21 within
  two thousandths of a quarter, as it rounds fractions.
"""

import argparse
import collections
import fractions
import json
import pathlib
import subprocess
import sys
import tempfile
import warnings

from lxml import etree

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

Fraction = fractions.Fraction


def schema():
    import musicxml
    import xmlschema

    xsd = pathlib.Path(musicxml.__file__).parent / "generate_classes" / "musicxml_4_0.xsd"
    schemas = pathlib.Path(xmlschema.__file__).parent / "schemas"

    class Local(etree.Resolver):
        def resolve(self, url, public_id, context):
            for end, path in (("/xml.xsd", "XML/xml.xsd"), ("/xlink.xsd", "XLINK/xlink.xsd")):
                if url.endswith(end):
                    return self.resolve_filename(str(schemas / path), context)
            return None

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Local())
    return etree.XMLSchema(etree.parse(str(xsd), parser))


def dump(program, path):
    run = subprocess.run([program, str(path)], capture_output=True, text=True)
    if run.returncode:
        raise RuntimeError(run.stderr.strip())
    data = json.loads(run.stdout)
    tracks = []
    for track in data["tracks"]:
        tracks.append(sorted((Fraction(n["on"]), Fraction(n["dur"]), n["midi"] if n["midi"] is not None else -1.0)
                             for n in track["notes"]))
    return tracks


def by_music21(path):
    """Notes by part, ties joined, tremolos between two notes joined, at sounding pitch."""
    from music21 import converter

    import musicxml_music21 as other

    warnings.simplefilter("ignore")
    score = converter.parse(path, forceSource=True)
    score.toSoundingPitch(inPlace=True)
    parts, _ = other.by_part(score)
    grid, divisions = [Fraction(0)], 1
    for bar in etree.parse(str(path)).getroot().find("part").findall("measure"):
        length, divisions = bar_length(bar, divisions)
        grid.append(grid[-1] + length)
    found = []
    for name in sorted(parts):
        pieces, _graces = parts[name]
        found.append(sorted((on, length, pitch if pitch is not None else -1.0)
                            for on, length, pitch, _ in other.joined(pieces, grid)))
    return found


def bar_length(bar, divisions):
    """How far a bar's notes and steps reach, in quarters, and the divisions in force after it."""
    said = bar.find("attributes/divisions")
    divisions = int(said.text) if said is not None else divisions
    at = most = 0
    for item in bar:
        if item.tag == "forward" or (item.tag == "note" and item.find("chord") is None and item.find("grace") is None):
            at += int(item.find("duration").text)
        elif item.tag == "backup":
            at -= int(item.find("duration").text)
        most = max(most, at)
    return Fraction(most, divisions), divisions


def differences(ours, theirs, tolerance=0.002):
    """Notes that only one of two lists has; both sorted."""
    key = lambda n: (round(float(n[0]) * 500), round(float(n[1]) * 500), round(float(n[2]) * 100))
    left = collections.Counter()
    for n in ours:
        left[key(n)] += 1
    right = []
    for n in theirs:
        k = key(n)
        near = [(k[0] + a, k[1] + b, k[2]) for a in (0, 1, -1) for b in (0, 1, -1)]
        hit = next((c for c in near if left[c] > 0), None)
        if hit is None:
            right.append(n)
        else:
            left[hit] -= 1
    return [k for k, count in left.items() for _ in range(count)], right


def tremolos_of(document):
    """How many tremolos between two notes: over a barline music21 reads two pairs and not one."""
    return len(document.findall(".//tremolo[@type='start']"))


class Check:
    def __init__(self, options):
        self.program, self.dump = options.ripieno, options.dump
        self.schema = schema()
        self.faults = []
        self.files = self.notes = self.agree = self.theirs = self.their_notes = 0

    def fault(self, text):
        self.faults.append(text)
        print(f"  {text}", flush=True)

    def valid(self, path, label):
        self.files += 1
        document = etree.parse(str(path))
        if not self.schema.validate(document):
            first = self.schema.error_log[0]
            self.fault(f"{label}: not valid, line {first.line}: {first.message[:160]} "
                       f"({len(self.schema.error_log)} in all)")
        return document

    def compare(self, expected, found, label, exact):
        if len(expected) != len(found):
            self.fault(f"{label}: {len(expected)} parts expected, {len(found)} found")
            return
        for i, (want, have) in enumerate(zip(expected, found)):
            if exact:
                left = list((collections.Counter(want) - collections.Counter(have)).elements())
                right = list((collections.Counter(have) - collections.Counter(want)).elements())
            else:
                left, right = differences(want, have)
            if left or right:
                show = lambda l: [tuple(map(str, n)) for n in l[:3]]
                self.fault(f"{label}, part {i + 1}: {len(left)} missing {show(left)}, {len(right)} more {show(right)}")
            if exact:
                self.notes += len(want)
                self.agree += len(want) - len(left)
            else:
                self.their_notes += len(want)
                self.theirs += len(want) - len(left)

    def cue(self, folder, label, music21_too=True):
        cast = self.cast(folder)
        for way in ([], ["--transposed"]):
            with tempfile.TemporaryDirectory() as scratch:
                run = subprocess.run([self.program, "score", str(folder), "-o", scratch, *way],
                                     capture_output=True, text=True)
                if run.returncode:
                    self.fault(f"{label}: ripieno score: {run.stderr.strip()[:300]}")
                    return
                score = pathlib.Path(scratch) / "score.musicxml"
                parts = sorted((pathlib.Path(scratch) / "parts").glob("*.musicxml"))
                # The names of the parts say the order of the score.
                names = [p.stem.split("-", 1)[1] for p in parts]
                if sorted(names) != sorted(cast):
                    self.fault(f"{label}: parts of {names}, but {sorted(cast)} play")
                    return
                witness = [cast[name] for name in names]
                document = self.valid(score, f"{label}, score {' '.join(way)}")
                self.read(score, document, witness, f"{label}, score {' '.join(way)}", music21_too)
                if way:
                    continue
                for part, notes in zip(parts, witness):
                    document = self.valid(part, f"{label}, {part.name}")
                    self.read(part, document, [notes], f"{label}, {part.name}", music21_too)

    def read(self, path, document, witness, label, music21_too):
        self.compare(witness, dump(self.dump, path), label, True)
        tremolos = tremolos_of(document)
        if music21_too:
            theirs = by_music21(path)
            if tremolos:
                # The pair is two notes for music21: the sum of all lengths still has to be the same.
                for i, (want, have) in enumerate(zip(witness, theirs)):
                    if abs(float(sum(n[1] for n in want) - sum(n[1] for n in have))) > 0.5:
                        self.fault(f"{label}, part {i + 1}, music21: with tremolos, lengths differ in all")
                return
            self.compare(witness, theirs, f"{label}, music21", False)

    def cast(self, folder):
        """The cast score, chair by chair."""
        run = subprocess.run([str(pathlib.Path(self.dump).parent / "printed_notes"), str(folder)],
                             capture_output=True, text=True)
        if run.returncode:
            raise RuntimeError(run.stderr.strip()[:300])
        data = json.loads(run.stdout)
        return {chair: sorted((Fraction(on), Fraction(length), float(midi)) for on, length, midi in notes)
                for chair, notes in data.items()}

    def music(self, path, music21_too=True):
        label = "/".join(path.parts[-3:])
        with tempfile.TemporaryDirectory() as scratch:
            folder = pathlib.Path(scratch) / "cue"
            run = subprocess.run([self.program, "new", str(folder), "--music", str(path)], capture_output=True, text=True)
            if run.returncode:
                self.fault(f"{label}: ripieno new: {run.stderr.strip()[:200]}")
                return
            self.cue(folder, label, music21_too)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--ripieno", required=True)
    parser.add_argument("--dump", required=True)
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--quick", action="store_true", help="by Ripieno's own reader and the schema alone")
    parser.add_argument("--sample", type=int)
    parser.add_argument("files", nargs="*", type=pathlib.Path)
    options = parser.parse_args()
    files = list(options.files)
    if options.all or options.sample:
        import musicxml_music21 as other

        every = [pathlib.Path(p) for p in other.corpus()]
        files += every[:: max(1, len(every) // options.sample) if options.sample else 1]
    check = Check(options)
    for path in files:
        try:
            if path.is_dir():
                check.cue(path, path.name, not options.quick)
            else:
                check.music(path, not options.quick)
        except Exception as error:  # noqa: BLE001 (any error of a reader is a finding)
            check.fault(f"{path.name}: {type(error).__name__}: {error}"[:300])
    print(f"{len(files)} pieces, {check.files} files; {check.agree} of {check.notes} notes read back exactly by Ripieno, "
          f"{check.theirs} of {check.their_notes} by music21; {len(check.faults)} faults")
    return bool(check.faults)


if __name__ == "__main__":
    sys.exit(main())
