#!/usr/bin/env python3
"""Take public-domain scores out of music21's corpus as plain note lists.

    corpus.py OUT.jsonl [--seconds N]

Each line: {"source", "parts": [[[onset, length, midi pitch], ...], ...], "bars": [[onset, "3/4"], ...]}, times in quarter notes.
Only collections whose music is out of copyright and whose files carry no notice against use are read; README.md lists them.
Files with any rights notice are skipped, whatever the collection.
"""
import argparse
import json
import random
import re
import time
import warnings
import zipfile
from pathlib import Path

from music21 import converter, corpus, harmony, stream

warnings.filterwarnings("ignore")

# Collection -> how many files to read at most (opus files hold many tunes each).
COLLECTIONS = {
    "beethoven": 40, "haydn": 20, "mozart": 40, "schumann_robert": 10, "schumann_clara": 5, "weber": 2, "handel": 2,
    "corelli": 10, "joplin": 1, "airdsAirs": 4, "oneills1850": 9, "ryansMammoth": 230, "bach": 70,
}
TUNES_PER_FILE = 45


def rights_notice(path: Path) -> bool:
    """Whether the file itself states a right that is not an open licence or a dedication to the public domain."""
    if path.suffix == ".mxl":
        with zipfile.ZipFile(path) as archive:
            text = "".join(archive.read(n).decode("utf8", "replace") for n in archive.namelist() if n.endswith(".xml"))
    else:
        text = path.read_text(errors="replace")
    notices = re.findall(r"<rights[^>]*>(.*?)</rights>", text, re.S) + re.findall(r"^!!!Y[EO][CMR][^\n]*", text, re.M)
    return any(n.strip() and not re.search(r"CC-BY\b|Public Domain", n) for n in notices)


def note_lists(score):
    """(parts, bars) of one score, or None when it has no bars or no notes."""
    parts = []
    for part in score.parts:
        notes = []
        for element in part.stripTies().flatten().notes:
            if isinstance(element, harmony.ChordSymbol) or element.duration.isGrace:
                continue
            for pitch in element.pitches:
                notes.append([round(float(element.offset), 4), round(float(element.quarterLength), 4), int(pitch.midi)])
        if notes:
            parts.append(notes)
    bars = []
    for bar in score.parts[0].getElementsByClass("Measure"):
        signature = bar.timeSignature or bar.getContextByClass("TimeSignature")
        bars.append([round(float(bar.offset), 4), signature.ratioString if signature else "4/4"])
    return (parts, bars) if parts and len(bars) >= 8 else None


def choose(names=COLLECTIONS):
    """The files that are read, collection by collection: always the same ones. What is left over may measure us."""
    random.seed(1)
    by_collection = {}
    for path in map(Path, corpus.getCorePaths()):
        by_collection.setdefault(path.as_posix().split("/corpus/")[1].split("/")[0], []).append(path)
    chosen = []
    for name in names:
        limit = COLLECTIONS[name]
        paths = sorted(by_collection[name])
        random.shuffle(paths)
        chosen += [p for p in paths if not rights_notice(p)][:limit]
    return chosen


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("out")
    options.add_argument("--seconds", type=float, default=3600.0)
    options.add_argument("--collections", default=",".join(COLLECTIONS), help="only these, separated by commas")
    options = options.parse_args()
    chosen = choose(options.collections.split(","))
    random.shuffle(chosen)
    # The long many-voiced works first: they are the rarest kind of texture here.
    chosen.sort(key=lambda p: any(n in p.as_posix() for n in ("bach/", "ryans", "oneills", "airds")))
    start, kept = time.time(), 0
    with open(options.out, "w") as out:
        for k, path in enumerate(chosen):
            if time.time() - start > options.seconds:
                break
            try:
                parsed = converter.parse(path)
                scores = list(parsed.scores)[:TUNES_PER_FILE] if isinstance(parsed, stream.Opus) else [parsed]
                for n, score in enumerate(scores):
                    lists = note_lists(score)
                    if lists:
                        source = path.as_posix().split("/corpus/")[1] + (f"#{n}" if len(scores) > 1 else "")
                        out.write(json.dumps(dict(source=source, parts=lists[0], bars=lists[1])) + "\n")
                        kept += 1
            except Exception as error:  # a file that music21 cannot read is left out
                print("skipped", path.name, repr(error)[:80])
            if k % 20 == 0:
                out.flush()
                print(k, len(chosen), kept, int(time.time() - start), flush=True)
    print("kept", kept)


if __name__ == "__main__":
    main()
