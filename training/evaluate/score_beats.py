#!/usr/bin/env python3
"""Score beats and bar starts with mir_eval, side by side: score_beats.py SET TRACKER... [--each] [--only PREFIX]

SET as public_set.py builds it: NAME.wav beside NAME.json with `beats` and `downbeats`. A TRACKER is NAME:COMMAND, the
command given the recording in place of {} (it prints `hear_grid`'s JSON, or one time in seconds a line), or `librosa`
(beat.beat_track, as it comes). For aubio's own program: "aubio:aubiotrack {}" (Debian's aubio-tools).

F within 70 ms, CMLt and AMLt as mir_eval has them, the first 5 s left out; F of bar starts likewise; `off`: median distance of
matched beats from the truth in ms, sign kept and sign dropped; CPU seconds a minute of sound, children's time.
"""
import argparse
import json
import re
import resource
import shlex
import subprocess
import sys
import warnings
from pathlib import Path

import mir_eval
import numpy as np

warnings.filterwarnings("ignore")


def hear(tracker, wav):
    """(beats, bar starts or None) in seconds."""
    name, _, command = tracker.partition(":")
    if not command:
        if name != "librosa":
            sys.exit(f"no command for {name}: write NAME:COMMAND")
        code = ("import sys, librosa; y, sr = librosa.load(sys.argv[1], sr=None); "
                "print(*librosa.beat.beat_track(y=y, sr=sr, units='time')[1], sep='\\n')")
        words = [sys.executable, "-c", code, str(wav)]
    else:
        words = [str(wav) if word == "{}" else word for word in shlex.split(command)]
    done = subprocess.run(words, capture_output=True, text=True)
    if done.returncode:
        sys.exit(f"{tracker}: {done.stderr}")
    if done.stdout.lstrip().startswith("{"):
        heard = json.loads(done.stdout)
        return np.array(heard["beats"], float), np.array(heard["downbeats"], float)
    return np.array([float(x) for x in re.findall(r"^\d+(?:\.\d+)?", done.stdout, re.M)]), None


def scores(truth, beats, bars):
    """F, CMLt, AMLt, F of bars, and the distances of matched beats in ms."""
    real, found = (mir_eval.beat.trim_beats(np.asarray(x, float)) for x in (truth["beats"], beats))
    f = mir_eval.beat.f_measure(real, found)
    _, correct, _, any_level = mir_eval.beat.continuity(real, found)
    down = np.nan
    if bars is not None:
        down = mir_eval.beat.f_measure(*(mir_eval.beat.trim_beats(np.asarray(x, float)) for x in (truth["downbeats"], bars)))
    off = [1e3 * (found[e] - real[r]) for r, e in mir_eval.util.match_events(real, found, .07)] if len(found) else []
    return [f, correct, any_level, down], off


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("set", type=Path)
    options.add_argument("trackers", nargs="+")
    options.add_argument("--each", action="store_true")
    options.add_argument("--only", default="")
    options = options.parse_args()
    cases = [(path, json.loads(path.read_text())) for path in sorted(options.set.glob(f"{options.only}*.json"))]
    minutes = sum(truth["end"] for _, truth in cases) / 60
    print("tracker kind n | F CMLt AMLt bar F | off, median: with sign, without | CPU s a minute, all kinds")
    for tracker in options.trackers:
        rows, far, began = {}, {}, resource.getrusage(resource.RUSAGE_CHILDREN)
        for path, truth in cases:
            row, off = scores(truth, *hear(tracker, path.with_suffix(".wav")))
            kind = path.stem.split("-")[0]
            rows.setdefault(kind, []).append(row)
            far.setdefault(kind, []).extend(off)
            if options.each:
                print(path.stem, " ".join(f"{x:.3f}" for x in row), truth.get("shape"), truth.get("style", ""), truth["source"])
        spent = resource.getrusage(resource.RUSAGE_CHILDREN)
        cpu = (spent.ru_utime + spent.ru_stime - began.ru_utime - began.ru_stime) / minutes
        for kind, found in rows.items():
            means = [f"{x:.3f}" for x in np.mean(found, axis=0)]
            off = f"{np.median(far[kind]):+.0f} {np.median(np.abs(far[kind])):.0f}" if far[kind] else "-"
            print(tracker.partition(":")[0], kind, len(found), "|", *means, "|", off, "|", f"{cpu:.2f}")


if __name__ == "__main__":
    main()
