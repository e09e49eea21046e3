#!/usr/bin/env python3
"""Fit the odds of a beat, a subdivision and a bar's first beat: fit.py FEATURES_DIR TRUTH.jsonl [--look]

FEATURES_DIR/NNNN.f32 as examples/signal_features writes them, line NNNN of TRUTH.jsonl as ../generate.py writes it.
Logistic regression on standardised inputs; beats against the places that a wrong reading would take for beats.
Prints weights to two digits as Rust tables, and the share of pairs ranked rightly (AUC) in pieces not fitted on.
"""
import json
import sys

import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, uniform_filter1d
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import roc_auc_score

NAMES = "onset g0 g1 g2 g3 g4 g5 g6 hc20 hc40 hc80 br15 br30 accent swell ag25 ag45 before energy hfc specflux kl mkl complex phase".split()
AUBIO = NAMES[18:]
KNEES = {"onset": [0.7, 2.0, 3.0], "ag45": [1.25, 3.0]}


def levelled(x):
    r = np.sqrt(uniform_filter1d(x**2, 601, mode="nearest"))
    return x / (r + 0.1 * np.sqrt((x**2).mean()) + 1e-12)


def rising(x):
    """A level-like descriptor as an attack curve: positive growth over 20 ms, levelled."""
    d = np.zeros_like(x)
    d[2:] = np.maximum(0, np.log(x[2:] + 1e-6 * x.max() + 1e-12) - np.log(x[:-2] + 1e-6 * x.max() + 1e-12))
    return levelled(gaussian_filter1d(d, 1))


def design(raw, names):
    columns, labels = [], []
    for name in names:
        x = raw[:, NAMES.index(name)].astype(float)
        if name in ("energy", "hfc"):
            x = rising(x)
        elif name in AUBIO:
            x = gaussian_filter1d(x, 1)
            x = levelled(np.maximum(0, x - uniform_filter1d(x, 41)))
        if name != "before":
            x = maximum_filter1d(x, 5)
        if name in ("onset", "ag45"):
            x = np.minimum(x, 4)
            columns.append(x); labels.append(name)
            for knee in KNEES[name]:
                columns.append(np.maximum(0, x - knee)); labels.append(f"{name}>{knee}")
        elif name == "accent":
            columns.append(np.clip(x, -2, 2)); labels.append(name)
        else:
            columns.append(np.minimum(np.sqrt(np.maximum(x, 0)), 2)); labels.append(name)
    return np.stack(columns, 1), labels


def places(truth, rng, frames):
    """{kind: frames} of one piece."""
    b = np.array(truth["beats"])
    b = b[b < frames / 100 - 1]
    d = truth["division"]
    at = lambda p: np.interp(p, np.arange(len(b)), b)
    n = np.arange(len(b) - 1)
    out = {"beat": b, "half": at(n + 0.5), "third": np.r_[at(n + 1 / 3), at(n + 2 / 3)], "quarter": np.r_[at(n + 0.25), at(n + 0.75)]}
    out["sub"] = out["half"] if d == 2 else out["third"]
    out["finer"] = np.r_[out["third"], out["quarter"]] if d == 2 else np.r_[out["half"], at(n + 1 / 6), at(n + 5 / 6)]
    r = rng.uniform(b[0], b[-1], 2 * len(b))
    grid = np.sort(np.r_[b, out["sub"]])
    near = np.abs(r[:, None] - grid[np.clip(np.searchsorted(grid, r)[:, None] + np.arange(-1, 1), 0, len(grid) - 1)]).min(1)
    out["random"] = r[near > 0.05]
    downs = np.array([x for x in truth["downs"] if x < frames / 100 - 1])
    out["down"] = downs
    out["other"] = np.array([x for x in b if not len(downs) or np.abs(downs - x).min() > 0.03])
    return {k: np.clip(np.round(v * 100).astype(int), 0, frames - 1) for k, v in out.items()}


BEAT = {"half": 0.25, "third": 0.2, "quarter": 0.2, "random": 0.35}
SUB = {"finer": 0.5, "random": 0.5}


def gather(pieces, names, kinds):
    X, y, w, kind, who = [], [], [], [], []
    for n, (raw, place) in enumerate(pieces):
        D, labels = design(raw, names)
        for k in kinds:
            f = place[k]
            X.append(D[f]); kind += [k] * len(f); who += [n] * len(f)
    return np.concatenate(X), np.array(kind), np.array(who), labels


def fit(X, kind, positive, negatives, C=0.02):
    keep = np.isin(kind, [positive, *negatives])
    X, kind = X[keep], kind[keep]
    y = kind == positive
    w = np.zeros(len(y))
    w[y] = 1 / y.sum()
    for k, share in negatives.items():
        w[kind == k] = share / max(1, (kind == k).sum())
    mu, sd = X.mean(0), X.std(0) + 1e-9
    m = LogisticRegression(C=C * len(y) / 2e4, max_iter=400).fit((X - mu) / sd, y, sample_weight=w * len(y) / 2)
    c = m.coef_[0] / sd
    return c, m.intercept_[0] - c @ mu


def main():
    folder, truths = sys.argv[1], [json.loads(line) for line in open(sys.argv[2])]
    rng = np.random.default_rng(1)
    pieces = []
    for n, truth in enumerate(truths):
        if truth["kind"] == "none" or len(truth["beats"]) < 20:
            continue
        raw = np.fromfile(f"{folder}/{n:04d}.f32", np.float32).reshape(-1, len(NAMES))
        pieces.append((raw, places(truth, rng, len(raw))))
    base = [n for n in NAMES if n not in AUBIO and n != "hc80"]
    if "--look" in sys.argv:
        sets = {"onset": ["onset"], "base": base, **{f"base+{a}": base + [a] for a in AUBIO}, "base+all": base + AUBIO,
                "onset+aubio": ["onset", *AUBIO], "no agogic": [n for n in base if n[:2] != "ag"], "no harmony": [n for n in base if n[:2] not in ("hc", "br")]}
        for label, names in sets.items():
            X, kind, who, labels = gather(pieces, names, ["beat", *BEAT, "sub", "finer"])
            aucs = {k: [] for k in BEAT} | {"sub/finer": [], "sub/random": []}
            score, subs = np.zeros(len(kind)), np.zeros(len(kind))
            for fold in range(4):
                test = who % 4 == fold
                c, b = fit(X[~test], kind[~test], "beat", BEAT)
                score[test] = X[test] @ c + b
                c, b = fit(X[~test], kind[~test], "sub", SUB)
                subs[test] = X[test] @ c + b
            for n in range(len(pieces)):
                m = who == n
                for k in BEAT:
                    a, z = score[m & (kind == "beat")], score[m & (kind == k)]
                    aucs[k].append((a[:, None] > z[None]).mean())
                for k in ("finer", "random"):
                    a, z = subs[m & (kind == "sub")], subs[m & (kind == k)]
                    aucs[f"sub/{k}"].append((a[:, None] > z[None]).mean())
            print(f"{label:16s}", "  ".join(f"{k} {np.mean(v):.4f}" for k, v in aucs.items()), flush=True)
        return
    tables = {}
    down = ["onset", "g0", "g1", "g3", "g6", "hc20", "hc40", "hc80", "br15", "br30", "accent", "swell", "ag25"]
    for title, positive, negatives, names in (("beat", "beat", BEAT, base), ("sub", "sub", SUB, base), ("down", "down", {"other": 1.0}, down)):
        X, kind, who, labels = gather(pieces, names, [positive, *negatives])
        c, b = fit(X, kind, positive, negatives)
        tables[title] = dict(zip(labels, c), constant=b)
    print(f"{'':12s}   beat    sub   down")
    for label in ["constant", *design(pieces[0][0], base + ["hc80"])[1]]:
        print(f"{label:12s}", *(f"{t.get(label, 0):6.2f}" for t in tables.values()))


main()
