"""Networks that have learnt already, as teachers of another: the mean of their answers."""
import struct

import numpy as np
import torch
import torch.nn.functional as F

EVENTS = 6                      # the answers that are taught: beat, bar start and half-beat for the two halves of a step


def read(path):
    """The arrays of a file that `export.py` wrote, under the names it takes."""
    data = open(path, "rb").read()
    assert data[:8] == b"FARNET2\n", path
    inputs, channels, blocks, kernel, heads = struct.unpack("<5I", data[8:28])
    at = 28

    def take(kind, *shape):
        nonlocal at
        size = int(np.prod(shape)) * np.dtype(kind).itemsize
        at += size
        return np.frombuffer(data[at - size:at], kind).reshape(shape).astype(np.float32)

    def dense(name, outputs, width):
        scale, bias, code = take("<f4", outputs), take("<f4", outputs), take("<i2", outputs, width)
        return {name + ".weight": code * scale[:, None], name + ".bias": bias}

    out = dense("entry", channels, inputs)
    for k in range(blocks):
        out[f"blocks.{k}.first"] = take("<f4", channels, kernel)
        out |= dense(f"blocks.{k}.across", channels, channels) | dense(f"blocks.{k}.second", channels, channels)
    out |= dense("heads", heads, channels)
    assert at == len(data), path
    return out


class Teacher:
    """One finished network on a device."""

    def __init__(self, path, device):
        self.weights = {name: torch.from_numpy(v.copy()).to(device) for name, v in read(path).items()}
        self.blocks = sum(name.endswith("second.weight") for name in self.weights)

    def answer(self, x):
        """Log odds of the events (examples, steps, EVENTS) for features and their rises (examples, steps, values)."""
        w = self.weights
        x = F.relu(F.linear(x, w["entry.weight"], w["entry.bias"]))
        for k in range(self.blocks):
            spread = w[f"blocks.{k}.first"][:, None]
            reach = 2 ** k * (spread.shape[-1] // 2)
            h = F.conv1d(x.transpose(1, 2), spread, padding=reach, dilation=2 ** k, groups=len(spread)).transpose(1, 2)
            h = F.relu(F.linear(h, w[f"blocks.{k}.across.weight"], w[f"blocks.{k}.across.bias"]))
            x = x + F.linear(h, w[f"blocks.{k}.second.weight"], w[f"blocks.{k}.second.bias"])
        return F.linear(F.relu(x), w["heads.weight"][:EVENTS], w["heads.bias"][:EVENTS])


class Teachers:
    """Several finished networks, each with its weight: texts like `FILE:0.5`."""

    def __init__(self, texts, device):
        pairs = [text.rsplit(":", 1) for text in texts]
        total = sum(float(share) for _, share in pairs)
        self.members = [(Teacher(path, device), float(share) / total) for path, share in pairs]

    @torch.no_grad()
    def answer(self, x):
        """The weighted mean of their log odds, as `Teacher.answer` gives them."""
        return sum(share * teacher.answer(x) for teacher, share in self.members)
