"""Runs the cross-checks against other readers, and counts them. `--long`: every corpus file.

    run.py [--long] [--only WORD]    WORD: only checks whose name holds it, and what they need

Each check is a program of its own in this folder; here is only which files it gets. The scores in `../shared/scores` are used
where that folder stands beside the project. As many run side by side as there are processors (RIPIENO_JOBS says otherwise);
what measures time runs alone, after the others.
"""

import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor, wait
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


def run(name, words):
    """Runs one check to its end: name, whether it passed, seconds, processor seconds of it and all that it started, what it said."""
    start = time.monotonic()
    child = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    said = child.stdout.read().decode(errors="replace")
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    return name, child.returncode == 0, time.monotonic() - start, used.ru_utime + used.ru_stime, said


def tell(done):
    name, ok, seconds, processor, said = done
    print(f"\n-- {name}\n{said.rstrip()}\n   {'passed' if ok else 'FAILED'} in {seconds:.0f} s "
          f"({processor:.0f} s of processor time)", flush=True)
    return done


def main():
    only = sys.argv[sys.argv.index("--only") + 1] if "--only" in sys.argv[1:-1] else ""
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
        # Others read what this one makes.
        first = [("the demo", script("demo_cue.py", demo))]
        checks = [
            ("the demo's music", [sys.executable, str(ROOT / "demo" / "compose.py"), "--check"]),
            ("articulations of the demo", script("oracle.py", demo)),
            ("articulations, corpus", script("oracle.py", "--music", *sample[: None if long else 8])),
            ("MIDI against other readers", script("midi_readers.py", "--program", EXAMPLES / "midi_notes",
                                                  "--generated", 3000 if long else 300)),
            ("MusicXML against another reader", xml(*(["--all"] if long else sample))),
            ("score and parts as MusicXML: schema, two readers", script(
                "notation.py", "--ripieno", EXAMPLES.parent / "ripieno", "--dump", EXAMPLES / "notes", demo,
                *(["--all"] if long else sample[:3] + sample[-3:]))),
            ("transpositions of the instruments' table", script("transpositions.py")),
            ("halls against another simulator", script("rooms.py", *([] if long else ["--rate", 48000]))),
            ("loudness: published signals, two other meters", script("loudness.py")),
            ("loudness of the demo", script("loudness.py", "--file", demo / "mix.wav", demo / "listening.wav")),
            ("hearing: ISO 532-1, ISO 226, a second writing of ISO 532-2", script(
                "hearing.py", "--program", EXAMPLES / "hearing", *(["--long"] if long else []))),
            ("doublings of arrangements whose doublings are known", script(
                "doublings.py", "--ripieno", EXAMPLES.parent / "ripieno", "--dump", EXAMPLES / "notes", "--only", "generated",
                *(["--long"] if long else []))),
            ("passages of arrangements with known seams", script("passages.py", EXAMPLES / "reading", "--seed", 2)),
            ("handwork survives", script("handwork.py", "--ripieno", EXAMPLES.parent / "ripieno", "--edits", 1000 if long else 30,
                                         "--kills", 500 if long else 4, demo, *sample[: 20 if long else 1])),
            ("two versions of a cue", script("versions.py", "--ripieno", EXAMPLES.parent / "ripieno")),
            ("time codes of a day, and music fitted to a picture, against exact fractions", script(
                "timecode.py", "--program", EXAMPLES / "timecodes", "--cues", 120 if long else 6)),
            ("the measuring tools", script("sound/check_tools.py")),
        ]
        checks += [(f"delivering: {what}", script("delivery.py", *what.split(", "), *(["--long"] if long else [])))
                   for what in ["sums", "wave", "click, midi", "stopped"]]
        checks.append(("delivering: the demo", script("delivery.py", "--demo", demo, *(["--long"] if long else []))))
        figures = ["modes", "vowels", "brightness", "levels", "aliasing", "articulations"] + ["pitch"] * long
        checks += [(f"house orchestra: {what}", script("sound/figures.py", what)) for what in figures]
        checks += [(f"rendering: {what}", script("rendering.py", what, *(["--long"] if long else [])))
                   for what in ["stems", "change", "clip", "cancel", "prints", "soundfont"]]
        alone = []
        if long:
            alone = [(f"rendering: {what}", script("rendering.py", what)) for what in ["speed", "growth"]]
            checks.append(("house orchestra: likeness", script("sound/likeness.py")))
        if real:
            few = [p for p in real if p.stat().st_size < 400_000][::3] if not long else real
            # music21 takes long for a large file.
            quick = sorted(few, key=lambda p: p.stat().st_size)[:4] if not long else real
            checks += [
                ("articulations, real scores", script("oracle.py", "--music", *(real if long else few[:5]))),
                ("marked notes", script("marked_notes.py", *quick)),
                ("MusicXML, real scores", xml(*quick)),
                ("score and parts, real scores", script(
                    "notation.py", "--ripieno", EXAMPLES.parent / "ripieno", "--dump", EXAMPLES / "notes",
                    *(real if long else few[:2]))),
                ("every note comes back from `new`", script("new_cast.py", *(["--long"] if long else []))),
                ("a played mock-up read back", script("mockup.py", *([] if long else ["--quick", "--jitter", 8]))),
                ("the tune, real scores", script("tune.py", EXAMPLES / "reading", SCORES)),
                *([("what is said to be covered", script("covered.py", EXAMPLES / "reading", SCORES))] if long else []),
                ("rendering: real scores", script("rendering.py", "scores", *(["--long"] if long else []))),
            ]
        wanted = lambda named: [c for c in named if only in c[0]]
        reads = lambda check: any(str(demo) in str(word) for word in check[1])
        # Those that read the demo come last, and wait until it is there.
        ordered = sorted(wanted(checks), key=reads)
        needed = first if any(map(reads, ordered)) else wanted(first)
        with ThreadPoolExecutor(int(os.environ.get("RIPIENO_JOBS", os.cpu_count() or 1))) as pool:
            made = [pool.submit(run, *check) for check in needed]

            def in_turn(check):
                if reads(check):
                    wait(made)
                return run(*check)

            rest = pool.map(in_turn, ordered)
            done = [tell(one.result()) for one in made] + [tell(one) for one in rest]
        done += [tell(run(*check)) for check in wanted(alone)]
    failed = [name for name, ok, *_ in done if not ok]
    print("\nthe longest, by processor time: " + "; ".join(
        f"{name} {processor:.0f} s" for name, _, _, processor, _ in sorted(done, key=lambda d: -d[3])[:8]))
    print(f"{len(done) - len(failed)} passed, {len(failed)} failed")
    for name in failed:
        print(f"failed: {name}")
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
