#!/usr/bin/env python3
"""Score phrases and letters with mir_eval: score_form.py SET HEAR_GRID [--each] [--only PREFIX]

SET as public_set.py builds it (cases with `sections`); HEAR_GRID is examples/hear_grid, built for release. A strain that is
heard as two phrases counts against precision and not against recall. `median`: median deviation of the truth's boundaries.
Letters are compared without primes, 20 times a second, over the time that the truth speaks of.
"""
import argparse
import json
import subprocess
import sys
from pathlib import Path

import mir_eval
import numpy as np


def intervals(starts, letters, end):
    edges = np.append(np.asarray(starts, float), end)
    keep = np.diff(edges) > 1e-6
    return np.column_stack([edges[:-1], edges[1:]])[keep], [x for x, k in zip(letters, keep) if k]


def hear(command, wav):
    done = subprocess.run([command, str(wav)], capture_output=True, text=True)
    if done.returncode:
        sys.exit(done.stderr)
    return json.loads(done.stdout)


def score(truth, phrases):
    """hit rates at .5 s and 3 s without the first and last boundary, deviation, pairwise and entropy scores."""
    end = truth["end"]
    t_int, t_lab = intervals([s for s, _ in truth["sections"]], [x for _, x in truth["sections"]], end)
    inside = [(max(s, t_int[0, 0]), x.strip("'")) for s, x in phrases if s < end - .3]
    if not inside or inside[0][0] > t_int[0, 0] + 1e-6:
        inside = [(t_int[0, 0], "none")] + inside
    # Of the phrases that begin before the truth does, only the last is going on there.
    while len(inside) > 1 and inside[1][0] <= t_int[0, 0] + .3:
        inside = [(t_int[0, 0], inside[1][1])] + inside[2:]
    e_int, e_lab = intervals([s for s, _ in inside], [x for _, x in inside], end)
    t_int, e_int = t_int - t_int[0, 0], e_int - e_int[0, 0]
    half = mir_eval.segment.detection(t_int, e_int, window=.5, trim=True)
    three = mir_eval.segment.detection(t_int, e_int, window=3, trim=True)
    off = mir_eval.segment.deviation(t_int, e_int, trim=True)[0] if len(t_int) > 1 and len(e_int) > 1 else np.nan
    if "?" in t_lab:
        return (*half, three[2], off, np.nan, np.nan, np.nan, np.nan)
    pair = mir_eval.segment.pairwise(t_int, t_lab, e_int, e_lab, frame_size=.05)
    nce = mir_eval.segment.nce(t_int, t_lab, e_int, e_lab, frame_size=.05)
    return (*half, three[2], off, *pair, nce[2])


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("set", type=Path)
    options.add_argument("hear")
    options.add_argument("--each", action="store_true")
    options.add_argument("--only", default="")
    options = options.parse_args()
    rows = {}
    for path in sorted(options.set.glob(f"{options.only}*.json")):
        truth = json.loads(path.read_text())
        if not truth.get("sections"):
            continue
        heard = hear(options.hear, path.with_suffix(".wav"))
        row = score(truth, heard["phrases"])
        rows.setdefault(path.stem.split("-")[0], []).append(row)
        if options.each:
            print(path.stem, " ".join(f"{x:.2f}" for x in row), [x for _, x in truth["sections"]], [x for _, x in heard["phrases"]])
    print("kind n | boundaries .5 s P R F | 3 s F | median s | pairwise P R F | NCE F")
    for kind, found in rows.items():
        p, r, f, f3, off, pp, pr, pf, n = np.nanmean(np.array(found, float), axis=0)
        off = np.nanmedian([row[4] for row in found])
        print(f"{kind} {len(found)} | {p:.3f} {r:.3f} {f:.3f} | {f3:.3f} | {off:.2f} | {pp:.3f} {pr:.3f} {pf:.3f} | {n:.3f}")


if __name__ == "__main__":
    main()
