"""What real scores say of the rules of playing: music that is played every day has little in it that cannot be done.

Reads scores through the read-through (the test `scores_that_are_named`) and counts findings. A string quartet that is written for
its instruments has nothing impossible. Quick: the quartets of the music21 corpus by Haydn, four movements; --long: all of them by
Haydn, Mozart and Beethoven. Other scores may be named; they are listed and not judged.
"""

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def quartets(long: bool) -> list[Path]:
    from music21 import converter, corpus

    out = []
    for composer in ["haydn", "mozart", "beethoven"] if long else ["haydn"]:
        for path in sorted(corpus.getComposer(composer)):
            path = Path(path)
            if path.suffix not in {".mxl", ".xml", ".musicxml"}:
                continue
            names = " ".join(str(p.partName).lower() for p in converter.parse(path).parts)
            if not ("viol" in names and "cello" in names):
                continue
            out.append(path)
            if not long and len(out) == 4:
                return out
    return out


def main() -> int:
    arguments = [a for a in sys.argv[1:] if a != "--long"]
    named = [Path(a).resolve() for a in arguments]
    judged = [] if named else quartets("--long" in sys.argv)
    paths = named or judged
    environment = dict(os.environ, RIPIENO_SCORES=":".join(map(str, paths)))
    command = "cargo test -q -p ripieno-readthrough --test playable scores_that -- --nocapture".split()
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    if done.returncode:
        print(done.stdout[-2000:], done.stderr[-2000:])
        return 1
    counts = re.findall(r"^(.*?): (\d+) impossible, (\d+) hard, (\d+) advice$", done.stdout, re.M)
    bad = 0
    for path, impossible, hard, advice in counts:
        name = "/".join(Path(path).parts[-2:])
        print(f"{name}: {impossible} impossible, {hard} hard, {advice} advice")
        bad += int(impossible)
    for line in done.stdout.splitlines():
        if line.startswith("  impossible"):
            print(line[:240])
    print(f"{len(counts)} scores of {len(paths)} read; {bad} findings say impossible")
    return 1 if len(counts) != len(paths) or (judged and bad) else 0


if __name__ == "__main__":
    sys.exit(main())
