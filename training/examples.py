"""Reading rendered examples. Nothing here needs a GPU, so that other processes can do it while one trains."""
import json
import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np

QUICK, FINE = 39, 69
VALUES = 2 * QUICK + FINE
STEPS = 3700                    # steps kept of an example: 74 s


def stems_in(folder):
    """The finished files of a folder, without their endings."""
    return sorted(f[:-3] for f in os.listdir(folder) if f.endswith(".u8") and ".part" not in f)


def load(folder, stems):
    """Several files' examples together, as `read` gives them."""
    with ThreadPoolExecutor(12) as pool:
        files = list(pool.map(lambda stem: read(folder, stem), stems))
    return {k: np.concatenate([f[k] for f in files]) for k in files[0]}


def read(folder, stem):
    """One file's examples: features `x` (u8), signed distance `d` to the nearest event of each kind (eighths of 10 ms), log2 period `p`,
    `third` (1: beats fall into thirds), valid steps `n`, `beat` (1: it has any), `free` (1: freely played)."""
    truth = [json.loads(line) for line in open(os.path.join(folder, stem + ".jsonl"))]
    raw = np.fromfile(os.path.join(folder, stem + ".u8"), np.uint8)
    count, at, frames = len(truth), 0, np.arange(2 * STEPS)
    x = np.zeros((count, STEPS, VALUES), np.uint8)
    distance = np.full((count, 2 * STEPS, 3), 127, np.int8)
    period, valid = np.zeros((count, STEPS), np.float16), np.zeros(count, np.int64)
    for row, t in enumerate(truth):
        steps = int.from_bytes(raw[at:at + 4].tobytes(), "little")
        n = min(steps, STEPS)
        x[row, :n] = raw[at + 4:at + 4 + n * VALUES].reshape(n, VALUES)
        at += 4 + steps * VALUES
        for k, name in enumerate(("beats", "downs", "halves")):
            events = np.array(t[name]) * 100
            if len(events):
                i = np.clip(np.searchsorted(events, frames), 1, max(1, len(events) - 1))
                before, after = frames - events[i - 1], frames - events[np.minimum(i, len(events) - 1)]
                nearest = np.where(np.abs(before) < np.abs(after), before, after)
                distance[row, :, k] = np.clip(np.round(nearest * 8), -127, 127)
        valid[row] = n
        if t["beats"]:
            i = np.clip(np.searchsorted(t["beats"], np.arange(STEPS) / 50, side="right") - 1, 0, len(t["bpm"]) - 1)
            period[row] = 12 * np.log2(6000 / np.array(t["bpm"])[i] / 24)
            valid[row] = min(n, int(t["beats"][-1] * 50) + 15)
    flags = {"third": [t["division"] == 3 for t in truth], "beat": [bool(t["beats"]) for t in truth], "free": [t.get("free", False) for t in truth]}
    return dict(x=x, d=distance, p=period, n=valid, **{k: np.array(v, np.float32) for k, v in flags.items()})
