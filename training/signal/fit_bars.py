#!/usr/bin/env python3
"""Fit the odds that a beat starts a bar: fit_bars.py BARS_DIR   (files as examples/bar_features writes them)

Prints weights to two digits, and the AUC within pieces not fitted on.
"""
import glob
import sys

import numpy as np
from sklearn.linear_model import LogisticRegression

NAMES = ["heard", "chroma", "chroma over two", "bass", "bass level", "level", "density"]


def main():
    pieces = []
    for path in sorted(glob.glob(sys.argv[1] + "/*.f32")):
        table = np.fromfile(path, np.float32)
        if len(table) >= 8 * 20:
            table = table.reshape(-1, len(NAMES) + 1)
            if 0 < table[:, -1].mean() < 0.7:
                pieces.append(table)
    who = np.concatenate([np.full(len(p), n) for n, p in enumerate(pieces)])
    table = np.concatenate(pieces)
    x, y = table[:, :-1], table[:, -1] > 0.5
    w = np.where(y, 0.5 / y.mean(), 0.5 / (1 - y.mean()))
    model = lambda m: LogisticRegression(C=1.0, max_iter=400).fit(x[m], y[m], sample_weight=w[m])
    ranks = []
    for fold in range(4):
        test = who % 4 == fold
        fitted = model(~test)
        score = x @ fitted.coef_[0]
        for n in np.unique(who[test]):
            a, z = score[(who == n) & y], score[(who == n) & ~y]
            ranks.append((a[:, None] > z[None]).mean())
    fitted = model(np.ones(len(y), bool))
    print("AUC within pieces:", round(float(np.mean(ranks)), 4))
    for name, weight in zip([*NAMES, "constant"], [*fitted.coef_[0], fitted.intercept_[0]]):
        print(f"    {name:16s} {weight:+.2f}")


main()
