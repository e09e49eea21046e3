#!/usr/bin/env python3
"""Render training and validation examples on many cores until the time is up.

    make_data.py OUT --seconds N --render BINARY --scores SCORES.jsonl --fonts A.sf2 B.sf2 ...

Writes OUT/train/*.u8 with OUT/train/*.jsonl beside them, and OUT/valid likewise (held-out scores only): half of the validation files
hold no free example, the others, whose names end in -free, nothing else.
"""
import argparse
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

HERE = os.path.dirname(os.path.abspath(__file__))


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("out")
    options.add_argument("--seconds", type=float, required=True)
    options.add_argument("--render", required=True)
    options.add_argument("--scores", required=True)
    options.add_argument("--fonts", nargs="+", required=True)
    options.add_argument("--examples", type=int, default=60, help="examples in a file")
    options.add_argument("--free", type=float, default=0.5, help="share of free examples in training")
    options.add_argument("--valid", type=int, default=180, help="examples of each manner for validation")
    options.add_argument("--workers", type=int, default=os.cpu_count(), help="files made at a time")
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--most", type=int, default=10**9, help="files at most: with enough seconds this makes the result repeatable")
    options = options.parse_args()
    until = time.time() + options.seconds
    for kind in ("train", "valid"):
        os.makedirs(os.path.join(options.out, kind), exist_ok=True)

    def shard(number, held_out, free):
        left = until - time.time()
        if left < 5:
            return 0
        stem = os.path.join(options.out, "valid" if held_out else "train", f"{number:05d}" + ("-free" if held_out and free else ""))
        make = [sys.executable, os.path.join(HERE, "generate.py"), options.scores, str(options.seed * 100_000 + number),
                str(options.examples), stem + ".part.jsonl", "--free", str(free)] + (["--held-out"] if held_out else [])
        generator = subprocess.Popen(make, stdout=subprocess.PIPE, env=dict(os.environ, OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1"))
        renderer = subprocess.Popen([options.render, "render", stem + ".part.u8", *options.fonts], stdin=generator.stdout)
        generator.stdout.close()
        try:
            if renderer.wait(timeout=left) != 0 or generator.wait(timeout=5) != 0:
                print("failed:", stem, flush=True)
                return 0
        except subprocess.TimeoutExpired:
            renderer.kill()
            generator.kill()
            return 0
        os.rename(stem + ".part.jsonl", stem + ".jsonl")
        os.rename(stem + ".part.u8", stem + ".u8")
        return options.examples

    with ThreadPoolExecutor(options.workers) as pool:
        each = max(1, -(-options.valid // options.examples))
        valid = [pool.submit(shard, 90_000 + k, True, k // each) for k in range(2 * each)]
        count, number, waiting = 0, 0, []
        while time.time() < until - 5 and number < options.most:
            count += sum(w.result() for w in waiting if w.done())
            waiting = [w for w in waiting if not w.done()]
            if len(waiting) < 2 * options.workers:
                waiting.append(pool.submit(shard, number, False, options.free))
                number += 1
            else:
                time.sleep(0.05)
        count += sum(w.result() for w in waiting)
    print("examples:", count, "for training,", sum(v.result() for v in valid), "for validation", flush=True)


main()
