#!/usr/bin/env python3
"""Make performances with their truth: generate.py SCORES.jsonl SEED COUNT TRUTH.jsonl [--held-out] [--free SHARE]  (jobs go to standard output)

One in forty has no beat at all (notes at random, a drone, noise) so that the network learns to hear none.
A share of the examples is free: composed and played as whoever plays alone may do it (`freer.py`, `freely.py`). The others are the same
whatever the share is, because which are free is drawn apart from everything else.
With --held-out only scores that training never sees are played; without it only the others.
"""
import argparse
import json
import sys
import zlib

import numpy as np

from freer import broken
from performance import SECONDS, play, surroundings
from pieces import from_score, invented


def held_out(source):
    """Whether a score belongs to the tenth kept for validation; whole files go together."""
    return zlib.crc32(source.split("#")[0].encode()) % 10 == 0


def beatless(rng):
    """Sound without a beat."""
    kind, notes = rng.integers(3), []
    if kind == 0:                                      # scattered notes
        when = 0.5
        while when < SECONDS:
            when += float(rng.exponential(rng.uniform(0.15, 0.6)))
            notes.append((when, when + float(rng.uniform(0.1, 2)), int(rng.integers(40, 84)), int(rng.integers(30, 110)), 0))
    elif kind == 1:                                    # a drone
        notes = [(k * 12.0, k * 12.0 + 13.0, p, 70, 0) for k in range(6) for p in (41, 48, 53)]
    else:                                              # hardly anything but noise
        notes = [(30.0, 30.5, 60, 8, 0)]
    around = surroundings(rng)
    if kind == 2:
        around["noise"] = 0.5
    job = dict(notes=notes, programs={0: int(rng.choice([0, 19, 48, 52, 89, 122, 126]))}, controls=[], seconds=SECONDS, **around)
    return job, dict(beats=[], downs=[], halves=[], division=2, per_bar=0, bpm=[], kind="none", family="none", heard=SECONDS)


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("scores")
    options.add_argument("seed", type=int)
    options.add_argument("count", type=int)
    options.add_argument("truth")
    options.add_argument("--held-out", action="store_true")
    options.add_argument("--free", type=float, default=0.5, help="share of free examples")
    options = options.parse_args()
    scores = [json.loads(line) for line in open(options.scores)]
    scores = [s for s in scores if held_out(s["source"]) == options.held_out]
    # Collections differ in size by a hundred to one: draw the collection's weight from the square root of its size.
    groups = {}
    for s in scores:
        groups.setdefault(s["source"].split("/")[0], []).append(s)
    names = sorted(groups)
    weight = np.array([min(len(groups[n]), 60) ** 0.5 for n in names])
    weight /= weight.sum()
    with open(options.truth, "w") as truth:
        made = 0
        for k in range(options.count * 3):
            rng = np.random.default_rng([options.seed, k])
            free = bool(np.random.default_rng([options.seed, k, 1]).random() < options.free)
            u = rng.random()
            if u < 0.025:
                job, answer = beatless(rng)
            else:
                piece = from_score(rng, groups[names[rng.choice(len(names), p=weight)]], free) if u < 0.55 else invented(rng, free)
                if piece and free:
                    piece = broken(rng, piece)
                result = piece and play(rng, piece, free)
                if result is None:
                    continue
                job, answer = result
            print(json.dumps(job, separators=(",", ":")))
            truth.write(json.dumps(answer, separators=(",", ":")) + "\n")
            made += 1
            if made == options.count:
                break
    sys.stdout.flush()


main()
