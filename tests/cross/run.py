"""Runs the cross-checks against other readers, and counts them. `--long`: every corpus file.

Each check is a program of its own in this folder; here is only which files it gets. The scores in `../shared/scores` are used
where that folder stands beside the project.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
EXAMPLES = Path(os.environ.get("RIPIENO", ROOT / "target" / "release" / "ripieno")).parent / "examples"
SCORES = ROOT.parent / "shared" / "scores"
# A fixed sample of the music21 corpus: strings, choirs with brass and timpani, ornaments, text, percussion.
CORPUS = [
    "bach/bwv190.7-inst.mxl", "bach/bwv248.64-6.mxl", "bach/bwv41.6.mxl", "bach/bwv59.3.mxl", "bach/bwv195.6.mxl",
    "bach/bwv248.23-2.mxl", "bach/bwv171.6.mxl", "bach/bwv66.6.mxl", "haydn/opus74no1/movement1.mxl",
    "haydn/opus1no1/movement2.mxl", "haydn/opus1no1/movement4.mxl", "beethoven/opus18no1/movement1.mxl",
    "beethoven/opus59no1/movement4.mxl", "mozart/k80/movement2.mxl", "mozart/k155/movement1.mxl",
    "schumann_robert/opus41no1/movement1.mxl", "schumann_clara/polonaise_op1n3.mxl",
    "schumann_clara/polonaise_op1n4.mxl", "monteverdi/madrigal.5.7.mxl", "schubert/Lindenbaum.xml",
    "handel/rinaldo/Lascia_chio_pianga.mxl", "verdi/laDonnaEMobile.mxl", "demos/drum_sample.xml",
]


def corpus_files():
    import music21

    folder = Path(music21.__file__).parent / "corpus"
    found = [folder / name for name in CORPUS if (folder / name).exists()]
    if len(found) < 20:
        raise SystemExit(f"only {len(found)} of the corpus sample are there: has the package moved its files?")
    return found


def main():
    long = "--long" in sys.argv[1:]
    # Built beside the program.
    os.environ.setdefault("RIPIENO_NOTES", str(EXAMPLES / "single_notes"))
    os.environ.setdefault("RIPIENO_LOUDNESS", str(EXAMPLES / "loudness"))
    sample = corpus_files()
    real = sorted(SCORES.glob("*.mxl"))
    if not real:
        print(f"no scores at {SCORES.relative_to(ROOT.parent)}: the checks on real scores are left out")
    with tempfile.TemporaryDirectory() as scratch:
        demo = Path(scratch) / "night-ferry"
        script = lambda name, *words: [sys.executable, str(HERE / name), *map(str, words)]
        xml = lambda *words: script("musicxml_music21.py", "--dump", EXAMPLES / "notes", *words)
        checks = [
            ("the demo's music", [sys.executable, str(ROOT / "demo" / "compose.py"), "--check"]),
            ("the demo", script("demo_cue.py", demo)),
            ("articulations of the demo", script("oracle.py", demo)),
            ("articulations, corpus", script("oracle.py", "--music", *sample[: None if long else 8])),
            ("MIDI against other readers", script("midi_readers.py", "--program", EXAMPLES / "midi_notes",
                                                  "--generated", 3000 if long else 300)),
            ("MusicXML against another reader", xml(*(["--all"] if long else sample))),
            ("halls against another simulator", script("rooms.py", *([] if long else ["--rate", 48000]))),
            ("loudness: published signals, two other meters", script("loudness.py")),
            ("loudness of the demo", script("loudness.py", "--file", demo / "mix.wav", demo / "listening.wav")),
            ("hearing: ISO 532-1, ISO 226, a second writing of ISO 532-2", script(
                "hearing.py", "--program", EXAMPLES / "hearing", *(["--long"] if long else []))),
            ("passages of arrangements with known seams", script("passages.py", EXAMPLES / "reading", "--seed", 2)),
            ("the measuring tools", script("sound/check_tools.py")),
        ]
        figures = ["modes", "vowels", "brightness", "levels", "aliasing", "articulations"] + ["pitch"] * long
        checks += [(f"house orchestra: {what}", script("sound/figures.py", what)) for what in figures]
        checks += [(f"rendering: {what}", script("rendering.py", what))
                   for what in ["stems", "change", "clip", "cancel", "prints", "soundfont"]]
        if long:
            checks += [(f"rendering: {what}", script("rendering.py", what)) for what in ["speed", "growth"]]
            checks.append(("house orchestra: likeness", script("sound/likeness.py")))
        if real:
            few = [p for p in real if p.stat().st_size < 400_000] if not long else real
            checks += [
                ("articulations, real scores", script("oracle.py", "--music", *(real if long else few[:5]))),
                ("marked notes", script("marked_notes.py", *(real if long else few))),
                ("MusicXML, real scores", xml(*(real if long else few))),
                ("every note comes back from `new`", script("new_cast.py", *(["--long"] if long else []))),
                ("the tune, real scores", script("tune.py", EXAMPLES / "reading", SCORES)),
                ("rendering: real scores", script("rendering.py", "scores")),
            ]
        passed, failed = 0, []
        for name, words in checks:
            print(f"\n-- {name}", flush=True)
            start = time.monotonic()
            ok = subprocess.run(words).returncode == 0
            print(f"   {'passed' if ok else 'FAILED'} in {time.monotonic() - start:.0f} s", flush=True)
            passed += ok
            failed += [] if ok else [name]
    print(f"\n{passed} passed, {len(failed)} failed")
    for name in failed:
        print(f"failed: {name}")
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
