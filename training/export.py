#!/usr/bin/env python3
"""Write trained weights as the program reads them: export.py NAME.npz OUT.bin [FIXTURE.npz FIXTURE.bin]

Layout, little endian: the 8 bytes "FARNET2\\n"; u32 inputs, channels, blocks, kernel, heads; then entry, each block's spread
(channels x kernel f32) followed by its two dense layers, and heads. A dense layer is: outputs f32 scales, outputs f32 biases,
outputs x inputs i16; a weight is its number times its output's scale. Only the separable shape is written.
The fixture: u32 steps, then the features as bytes, then the network's own answers as f32.
"""
import struct
import sys

import numpy as np


def dense(weight, bias):
    scale = np.maximum(np.abs(weight).max(1), 1e-12) / 32767
    code = np.clip(np.round(weight / scale[:, None]), -32767, 32767).astype("<i2")
    return scale.astype("<f4").tobytes() + bias.astype("<f4").tobytes() + code.tobytes(), code * scale[:, None]


def main():
    net = dict(np.load(sys.argv[1]))
    assert str(net["shape"]) == "separable"
    channels, inputs = net["entry.weight"].shape
    blocks = sum(k.endswith("second.weight") for k in net)
    heads, kernel = len(net["heads.bias"]), net["blocks.0.first.weight"].shape[2]
    out = b"FARNET2\n" + struct.pack("<5I", inputs, channels, blocks, kernel, heads)

    def add(name, weight):
        nonlocal out
        blob, kept = dense(weight, net[name + ".bias"])
        out += blob
        net[name + ".weight"] = kept.reshape(net[name + ".weight"].shape).astype(np.float32)

    add("entry", net["entry.weight"])
    for k in range(blocks):
        out += net[f"blocks.{k}.first.weight"][:, 0].astype("<f4").tobytes()
        add(f"blocks.{k}.across", net[f"blocks.{k}.across.weight"][:, :, 0])
        add(f"blocks.{k}.second", net[f"blocks.{k}.second.weight"])
    add("heads", net["heads.weight"])
    open(sys.argv[2], "wb").write(out)
    np.savez(sys.argv[2] + ".check.npz", **net)      # the same weights as the program sees them, for comparison
    print(sys.argv[2], len(out), "bytes")
    if len(sys.argv) > 4:
        fixture = np.load(sys.argv[3])
        with open(sys.argv[4], "wb") as f:
            f.write(struct.pack("<I", len(fixture["features"])) + fixture["features"].tobytes() + fixture["answer"].astype("<f4").tobytes())


main()
