#!/usr/bin/env python3
"""Train the network: train.py DATA OUT --seconds N [--shape full|separable] [--channels C]

Heads, 50 steps a second: beat, bar start and half-beat (thirds in compound time), each for the two 10 ms halves of a step; the period of
the beat (37 classes, a semitone apart in log time); whether beats fall into halves or thirds. Writes OUT/NAME.npz (weights with
the normalisation folded in), OUT/NAME.fixture.npz (an input and the network's own answer) and prints its validation figures.
"""
import argparse
import collections
import contextlib
import math
import multiprocessing
import os
import threading
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

from examples import FINE, QUICK, STEPS, VALUES, load, read, stems_in
from teachers import Teachers

BYTES_PER_UNIT = 28.0
PERIODS = 37                    # 0.24 s to 1.92 s, twelve an octave
HEADS = 6 + PERIODS + 1
POSITIVE = torch.tensor([2.0, 4.0, 1.5])  # how much more a missed event weighs than a false one; taken out of the exported biases


def tensors(rows):
    """What `examples.read` gives, as tensors."""
    return {k: torch.from_numpy(v) for k, v in rows.items()}


def with_rises(x):
    """The features and what rose in them: quick bands over one step, fine bands over two."""
    quick, fine = x[..., :2 * QUICK], x[..., 2 * QUICK:]
    rise_quick = F.relu(quick - F.pad(quick, (0, 0, 1, 0))[:, :-1])
    rise_fine = F.relu(fine - F.pad(fine, (0, 0, 2, 0))[:, :-2])
    return torch.cat([x, rise_quick, rise_fine], -1)


class Growing:
    """Training examples on the device; with `follow`, a thread adds files as the renderer finishes them.

    With teachers each example keeps what they say of it, log odds `t` (100 a second, three kinds): they hear it once, whole and unvaried.
    """

    def __init__(self, folder, device, room, teachers=None):
        stems = stems_in(folder)
        first = tensors(load(folder, stems))
        self.folder, self.known, self.device, self.teachers = folder, set(stems), device, teachers
        self.count, self.ended = len(first["n"]), threading.Event()
        self.rows = {k: torch.zeros((max(room, self.count), *v.shape[1:]), dtype=v.dtype, device=device) for k, v in first.items()}
        if teachers:
            self.rows["t"] = torch.zeros((len(self.rows["n"]), 2 * STEPS, 3), dtype=torch.float16, device=device)
        self.stream = torch.cuda.Stream() if device == "cuda" else None
        if self.stream:                                  # the zeros lie there before anything is copied over them
            torch.cuda.synchronize()
        self.add(first)

    def add(self, more, at=0):
        """Copy examples to place `at` and on, on a stream of their own so that training goes on meanwhile."""
        take = min(len(more["n"]), len(self.rows["n"]) - at)
        with torch.cuda.stream(self.stream) if self.stream else contextlib.nullcontext():
            for k, v in more.items():
                self.rows[k][at:at + take].copy_(v[:take])
            if self.teachers:
                for some in torch.arange(at, at + take, device=self.device).split(12):
                    with torch.no_grad(), torch.autocast(self.device, dtype=torch.bfloat16):
                        said = self.teachers.answer(with_rises(self.rows["x"][some].float() / BYTES_PER_UNIT))
                    self.rows["t"][some] = said.reshape(len(some), STEPS, 3, 2).transpose(2, 3).reshape(len(some), 2 * STEPS, 3).half()
        if self.stream:
            self.stream.synchronize()
        return take

    def follow(self, readers=2):
        """Look for new files until the room is full; runs in its own thread, and `readers` processes read for it."""
        while self.count < len(self.rows["n"]) and not self.ended.is_set():
            waiting = collections.deque()
            try:
                with ProcessPoolExecutor(readers, mp_context=multiprocessing.get_context("spawn")) as pool:
                    self._follow(pool, waiting, 2 * readers)
            except Exception:                            # a reader was killed, say: begin again with what it had
                traceback.print_exc()
                self.known -= {stem for stem, _ in waiting}
                time.sleep(1.0)

    def _follow(self, pool, waiting, most):
        while self.count < len(self.rows["n"]) and not self.ended.is_set():
            for stem in [s for s in stems_in(self.folder) if s not in self.known][:most - len(waiting)]:
                self.known.add(stem)
                waiting.append((stem, pool.submit(read, self.folder, stem)))
            if not waiting:
                self.ended.wait(0.5)
                continue
            stem, reading = waiting[0]
            try:
                more = tensors(reading.result())
            except BrokenProcessPool:
                raise
            except Exception:                            # a bad file is left out, and said so
                traceback.print_exc()
                print("left out:", stem, flush=True)
            else:
                self.count += self.add(more, self.count)
            waiting.popleft()


class Block(nn.Module):
    """x + W relu(norm(conv x)), x being examples, steps, channels: the convolution full, or by channel and then across channels."""

    def __init__(self, channels, dilation, shape, kernel=5, drop=0.0):
        super().__init__()
        self.dilation, self.kernel = dilation, kernel
        if shape == "full":
            self.first = nn.Conv1d(channels, channels, kernel, padding=dilation * (kernel // 2), dilation=dilation, bias=False)
            self.across = None
        else:
            self.first = nn.Conv1d(channels, channels, kernel, dilation=dilation, groups=channels, bias=False)
            self.across = nn.Conv1d(channels, channels, 1, bias=False)
        self.norm = nn.BatchNorm1d(channels)
        self.second = nn.Conv1d(channels, channels, 1)
        self.drop = nn.Dropout1d(drop)

    def forward(self, x):
        if self.across is None:
            h = self.first(x.transpose(1, 2)).transpose(1, 2)
        else:                                            # five shifted products: a compiler makes one pass of them, a grouped convolution is slow
            reach, steps = self.dilation * (self.kernel // 2), x.shape[1]
            padded, taps = F.pad(x, (0, 0, reach, reach)), self.first.weight[:, 0]
            h = sum(padded[:, k * self.dilation:k * self.dilation + steps] * taps[:, k] for k in range(self.kernel))
            h = F.linear(h, self.across.weight[:, :, 0])
        h = F.relu(self.norm(h.reshape(-1, h.shape[-1])).reshape(h.shape))
        h = self.drop(h.transpose(1, 2)).transpose(1, 2) if self.drop.p else h
        return x + F.linear(h, self.second.weight[:, :, 0], self.second.bias)


class Network(nn.Module):
    """Features (examples, steps, VALUES) to answers (examples, steps, HEADS)."""

    def __init__(self, channels, blocks, shape, mean, deviation, drop):
        super().__init__()
        self.register_buffer("mean", mean)
        self.register_buffer("deviation", deviation)
        self.entry = nn.Conv1d(2 * VALUES, channels, 1)
        self.blocks = nn.ModuleList([Block(channels, 2 ** k, shape, drop=drop) for k in range(blocks)])
        self.heads = nn.Conv1d(channels, HEADS, 1)

    def forward(self, x):
        x = (with_rises(x) - self.mean) / self.deviation
        x = F.relu(F.linear(x, self.entry.weight[:, :, 0], self.entry.bias))
        for block in self.blocks:
            x = block(x)
        return F.linear(F.relu(x), self.heads.weight[:, :, 0], self.heads.bias)


def folded(net, shape):
    """Plain arrays for a program: input scaling in the entry, normalisation in the blocks' first weights."""
    state = {k: v.detach().double().cpu() for k, v in net.state_dict().items()}
    out = {}
    w = state["entry.weight"][:, :, 0] / state["deviation"]
    out["entry.weight"] = w
    out["entry.bias"] = state["entry.bias"] - w @ state["mean"]
    for k in range(len(net.blocks)):
        b = f"blocks.{k}."
        scale = state[b + "norm.weight"] / torch.sqrt(state[b + "norm.running_var"] + 1e-5)
        last = "across" if shape == "separable" else "first"
        if shape == "separable":
            out[b + "first.weight"] = state[b + "first.weight"]
        out[b + last + ".weight"] = state[b + last + ".weight"] * scale[:, None, None]
        out[b + last + ".bias"] = state[b + "norm.bias"] - state[b + "norm.running_mean"] * scale
        out[b + "second.weight"] = state[b + "second.weight"][:, :, 0]
        out[b + "second.bias"] = state[b + "second.bias"]
    out["heads.weight"] = state["heads.weight"][:, :, 0]
    bias = state["heads.bias"].clone()
    bias[:6] -= torch.log(POSITIVE.double()).repeat_interleave(2)
    out["heads.bias"] = bias
    return {k: v.float().numpy() for k, v in out.items()}


def targets(distance):
    """Distances in 10 ms frames to targets of 1 at the event, falling off within some 20 ms."""
    return torch.exp(-0.5 * (distance / 1.2) ** 2)


def sample(data, index, steps, device, taught=0.0):
    """A batch: crops, stretched in time by up to a fifth, with level, tone and gaps varied. Of its targets a share of `taught` is what teachers say."""
    count = len(index)
    stretched = torch.rand(count, device=device) < 0.6
    stretch = torch.where(stretched, torch.exp(torch.randn(count, device=device).clamp(-2, 2) * 0.1), 1.0)
    spare = (data["n"][index] - steps * stretch).clamp(min=0)
    start = torch.rand(count, device=device) * spare
    place = start[:, None] + torch.arange(steps, device=device) * stretch[:, None]
    low = place.floor().long().clamp(max=STEPS - 2)
    part = (place - low).clamp(0, 1)[..., None]
    rows = index[:, None]
    x = (data["x"][rows, low].float() * (1 - part) + data["x"][rows, low + 1].float() * part) / BYTES_PER_UNIT
    fast = torch.stack([place * 2, place * 2 + stretch[:, None]], -1).reshape(count, -1)
    near = fast.round().long().clamp(max=2 * STEPS - 1)
    distance = data["d"][rows, near].float() / 8
    far = distance.abs() > 15.8
    distance = torch.where(far, 99.0, (distance + (fast - near)[..., None]) / stretch[:, None, None])
    y = targets(distance)
    if taught:
        before = fast.floor().long().clamp(max=2 * STEPS - 2)
        after = (fast - before).clamp(0, 1)[..., None]
        said = data["t"][rows, before].float() * (1 - after) + data["t"][rows, before + 1].float() * after
        y = (1 - taught) * y + taught * said.sigmoid()
    y = y.reshape(count, steps, 2, 3).permute(0, 1, 3, 2)                         # step, kind, half
    period = data["p"][rows, low].float() - 12 * torch.log2(stretch)[:, None]
    valid = (place < data["n"][index][:, None]).float()
    level = torch.randn(count, 1, 1, device=device) * 0.35
    tone = torch.randn(count, 1, 1, device=device) * 0.5
    wave = torch.randn(count, 4, device=device) * 0.25
    axis_quick, axis_fine = torch.linspace(-1, 1, QUICK, device=device), torch.linspace(-1, 0.6, FINE, device=device)
    axis = torch.cat([axis_quick, axis_quick, axis_fine])
    curve = level[:, 0] + tone[:, 0] * axis + sum(wave[:, k:k + 1] * torch.cos((k + 1.5) * 2 * axis + k) for k in range(4))
    x = torch.log1p(torch.expm1(x) * torch.exp(curve)[:, None])
    edge = torch.rand(count, 1, device=device) * 2 - 1
    width = torch.rand(count, 1, device=device) * 0.5 * (torch.rand(count, 1, device=device) < 0.3)
    x = torch.where(((axis > edge) & (axis < edge + width))[:, None], torch.zeros_like(x), x)
    x = (x + torch.randn_like(x) * 0.03).clamp(min=0)
    return x, y, period, valid


def loss_of(out, y, period, valid, third, has_beat):
    events = out[..., :6].float().reshape(*out.shape[:2], 3, 2)
    weight = POSITIVE.to(out.device)[:, None]
    each = F.binary_cross_entropy_with_logits(events, y, pos_weight=weight, reduction="none").mean(-1)
    total = valid.sum().clamp(min=1)
    parts = [(each[..., k] * valid).sum() / total for k in range(3)]
    classes = torch.arange(PERIODS, device=out.device)
    soft = torch.exp(-0.5 * ((classes - period[..., None]) / 0.8) ** 2) + 1e-6
    soft = soft / soft.sum(-1, keepdim=True)
    steady = valid * has_beat[:, None]
    tempo = -(soft * F.log_softmax(out[..., 6:6 + PERIODS].float(), -1)).sum(-1)
    tempo = (tempo * steady).sum() / steady.sum().clamp(min=1)
    division = F.binary_cross_entropy_with_logits(out[..., -1].float(), third[:, None].expand(out.shape[:2]), reduction="none")
    division = (division * steady).sum() / steady.sum().clamp(min=1)
    return parts[0] + parts[1] + 0.4 * parts[2] + 0.03 * tempo + 0.02 * division, (*parts, tempo, division)


@torch.no_grad()
def validate(net, data, device):
    """(mean losses, F, share): F of plain peak picking within 30 ms at even odds; share of steps whose period is right within a class."""
    net.eval()
    losses, hits, found, wanted, right, steps = [], np.zeros(2), np.zeros(2), np.zeros(2), 0.0, 0.0
    for at in range(0, len(data["n"]), 40):
        rows = torch.arange(at, min(at + 40, len(data["n"])), device=device)
        x = data["x"][rows].float() / BYTES_PER_UNIT
        y = targets(data["d"][rows].float() / 8).reshape(len(rows), STEPS, 2, 3).permute(0, 1, 3, 2)
        valid = (torch.arange(STEPS, device=device)[None] < data["n"][rows][:, None]).float()
        with torch.autocast(device, dtype=torch.bfloat16):
            out = net(x)
        total, parts = loss_of(out, y, data["p"][rows].float(), valid, data["third"][rows], data["beat"][rows])
        losses.append([float(total)] + [float(p) for p in parts])
        best = out[..., 6:6 + PERIODS].argmax(-1)
        steady = valid * data["beat"][rows][:, None]
        right += float((((best - data["p"][rows].float()).abs() < 1.01) * steady).sum())
        steps += float(steady.sum())
        for k in range(2):
            p = out[..., 2 * k:2 * k + 2].float().reshape(len(rows), 1, -1) - math.log(POSITIVE[k])
            v = valid.repeat_interleave(2, 1)[:, None] > 0
            peak = (p == F.max_pool1d(p, 15, 1, 7)) & (p > -0.7) & v
            truth = (data["d"][rows][..., k].abs() <= 4)[:, None] & v
            wide = lambda z: F.max_pool1d(z.float(), 7, 1, 3) > 0
            hits[k] += float((peak & wide(truth)).sum())
            found[k] += float(peak.sum())
            wanted[k] += float(truth.sum())
    net.train()
    f = 2 * hits / np.maximum(1, found + wanted)
    return np.mean(losses, 0), f, right / max(1, steps)


def report(net, valid, device):
    """The figures of each manner's validation examples, as text."""
    parts = []
    for name, rows in valid.items():
        losses, f, right = validate(net, rows, device)
        parts.append(f"{name} {np.round(losses, 4).tolist()} F beat %.3f bar %.3f tempo %.3f" % (*f, right))
    return " | ".join(parts)


def save(net, shape, stem, crop, device):
    """The weights as they are, and an example of what comes of them."""
    net.eval()
    torch.save(net.state_dict(), stem + ".part.pt")
    np.savez(stem + ".part.npz", shape=shape, **folded(net, shape))
    exact = torch.backends.cuda.matmul.allow_tf32, torch.backends.cudnn.allow_tf32
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = False
    with torch.no_grad():
        answer = net(crop.float() / BYTES_PER_UNIT)[0]
    torch.backends.cuda.matmul.allow_tf32, torch.backends.cudnn.allow_tf32 = exact
    answer[:, :6] -= torch.log(POSITIVE.to(device)).repeat_interleave(2)
    np.savez(stem + ".part.fixture.npz", features=crop[0].cpu().numpy(), answer=answer.float().cpu().numpy())
    for kind in (".pt", ".npz", ".fixture.npz"):           # whoever copies them finds whole files
        os.replace(stem + ".part" + kind, stem + kind)
    net.train()


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("data")
    options.add_argument("out")
    options.add_argument("--seconds", type=float, required=True)
    options.add_argument("--shape", choices=("full", "separable"), default="full")
    options.add_argument("--channels", type=int, default=64)
    options.add_argument("--blocks", type=int, default=10)
    options.add_argument("--batch", type=int, default=32)
    options.add_argument("--rate", type=float, default=3e-3)
    options.add_argument("--name", default="network")
    options.add_argument("--drop", type=float, default=0.05, help="share of channels left out while training")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--start", default="", help="weights (.pt) to go on from")
    options.add_argument("--teach", nargs="*", default=[], help="finished networks to learn from, as FILE.bin:WEIGHT")
    options.add_argument("--taught", type=float, default=0.5, help="how much of the events' targets is the teachers' word")
    options.add_argument("--compile", action="store_true", help="have PyTorch compile a step (twice as fast on a GPU, after half a minute)")
    options.add_argument("--room", type=int, default=0, help="keep room for so many examples and load what is still being rendered")
    options = options.parse_args()
    began, device = time.time(), "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(options.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    teachers = Teachers(options.teach, device) if options.teach else None
    growing = Growing(os.path.join(options.data, "train"), device, options.room, teachers)
    train, folder = growing.rows, os.path.join(options.data, "valid")
    both = tensors(load(folder, stems_in(folder)))
    crop = both["x"][3:4, 400:1000].to(device)
    valid = {name: {k: v[both["free"] == free].to(device) for k, v in both.items()} for name, free in (("plain", 0), ("free", 1))}
    valid = {name: rows for name, rows in valid.items() if len(rows["n"])}
    following = threading.Thread(target=growing.follow, daemon=True)
    if options.room:
        following.start()
    print(options.name, "examples", growing.count, "validation", {k: len(v["n"]) for k, v in valid.items()}, "loaded in", round(time.time() - began, 1), flush=True)
    some = with_rises(train["x"][:min(200, growing.count)].float() / BYTES_PER_UNIT).reshape(-1, 2 * VALUES)
    net = Network(options.channels, options.blocks, options.shape, some.mean(0), some.std(0) + 0.02, options.drop).to(device)
    del some
    if options.start:
        net.load_state_dict(torch.load(options.start, map_location=device))
    print(options.name, "weights", sum(p.numel() for p in net.parameters()), flush=True)

    def step_loss(x, y, period, ok, third, beat):
        with torch.autocast(device, dtype=torch.bfloat16):
            out = net(x)
        return loss_of(out, y, period, ok, third, beat)[0]

    batch = sample
    if options.compile:
        batch, step_loss = torch.compile(batch), torch.compile(step_loss)
    optimiser = torch.optim.AdamW(net.parameters(), lr=options.rate, weight_decay=0.01, fused=device == "cuda")
    os.makedirs(options.out, exist_ok=True)
    stem = os.path.join(options.out, options.name)
    steps, done, shown = 3072, 0, 0.0
    started = time.time()
    while True:
        share = (time.time() - started) / max(1.0, options.seconds - (started - began))
        if share >= 1:
            break
        for group in optimiser.param_groups:
            group["lr"] = options.rate * min(1, done / 200) * (0.5 + 0.5 * math.cos(math.pi * share)) + 1e-6
        index = torch.randint(0, growing.count, (options.batch,), device=device)
        x, y, period, ok = batch(train, index, steps, device, options.taught if teachers else 0.0)
        total = step_loss(x, y, period, ok, train["third"][index], train["beat"][index])
        optimiser.zero_grad(set_to_none=True)
        total.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        done += 1
        if share - shown > 0.1 or done == 50:
            shown = share
            print(options.name, done, round(time.time() - began), "examples", growing.count, "train %.4f" % total.item(), report(net, valid, device), flush=True)
            if share > 0.5:                              # in case the machine goes before the end comes
                save(net, options.shape, stem, crop, device)
    print(options.name, "END", done, "examples", growing.count, round(time.time() - began), report(net, valid, device), flush=True)
    save(net, options.shape, stem, crop, device)
    print(options.name, "saved", flush=True)
    growing.ended.set()
    if options.room:
        following.join(20)


if __name__ == "__main__":                               # readers import this file anew
    main()
