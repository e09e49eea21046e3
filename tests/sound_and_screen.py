#!/usr/bin/env python3
"""Measures, from outside, how far the words on the floor change from the sound of their beat.

A click on every beat is led in a pseudo-terminal, while the monitor of the sound server's output is recorded. Every large
change of the screen (words come or go) falls on a beat; its time is compared with the onset of the nearest click.

Needs a running PulseAudio (or PipeWire with pactl and parec) whose default output has a monitor, and the example:

    cargo build --release --example floor_demo
    tests/sound_and_screen.py target/release/examples/floor_demo [-- arguments of the example]

SECONDS_TO_LEAD=600 leads for ten minutes, going round the first phrase; BUSY=1 keeps one core busy meanwhile; WINDOW=200x60 leads in
a window of 200 columns and 60 rows instead of 120 and 40.

Underruns are counted in three ways, each with its name: those that the device told the program of; gaps in the monitor, which are
clicks that come more than 5 ms of sound later after the one before than the beat is long (while the music is steady or goes
round); and, with SERVER_LOG=FILE, lines of a PulseAudio log at debug level (`pulseaudio -vvvv --log-target=newfile:FILE`) that
tell of an underrun and were written meanwhile. Those within a second of a stream's creation are told apart: the server calls it the
end of an underrun when the first sound of a new stream arrives, and nothing is lost then. How many streams were created is said too:
one to ask what the output can do and one that plays are due; more means that the program gave up a stream and opened another.
Lateness of this program's own screen is no underrun.

Where clicks are missing it says what else was: sound that the recorder never delivered (less sound than time), gaps that the
device told the program of, and silences in a recording that is whole, which then are the program's or the server's.

Both times are taken on this machine's monotonic clock. The recorder asks for 5 ms of latency, and the time of a sample is
that of the earliest delivery that the blocks of the 8 s around it allow, so what is left is an error of some 5 ms, the sound earlier
than the truth. Terminal emulator, graphics and screen come on top and are not measured.
"""
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import fcntl
import time

RATE = 48_000
BURST = 500  # bytes: more than a step of the leader and a stone crossed, less than a change of words


def main():
    program, arguments = sys.argv[1], sys.argv[2:]
    arguments = [a for a in arguments if a != "--"]
    log = ServerLog(os.environ.get("SERVER_LOG"))
    seconds = float(os.environ.get("SECONDS_TO_LEAD", "53"))
    columns, rows = map(int, os.environ.get("WINDOW", "120x40").split("x"))
    recorder = subprocess.Popen(
        ["parec", "-d", "@DEFAULT_MONITOR@", "--raw", "--format=s16le", "--channels=1",
         f"--rate={RATE}", "--latency-msec=5"], stdout=subprocess.PIPE)
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(int(os.environ.get("BUSY", "0")))]
    child, screen = pty.fork()
    if child == 0:
        os.environ.update(TERM="xterm-256color", COLORTERM="truecolor")
        os.execv(program, [program, "--clicks-only", *arguments])
    fcntl.ioctl(screen, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
    sound, blocks, delivered = bytearray(), [], []
    writes = []  # (time, bytes)
    started = time.monotonic()
    pressed = repeated = False
    cpu_from = None
    while time.monotonic() - started < seconds:
        ready, _, _ = select.select([screen, recorder.stdout], [], [], 0.1)
        now = time.monotonic()
        log.read(now)
        if recorder.stdout in ready:
            block = os.read(recorder.stdout.fileno(), 65536)
            sound += block
            delivered.append(now)
            # When sample 0 was, if this block came without delay.
            blocks.append((len(sound) / 2 / RATE, now - len(sound) / 2 / RATE))
        if screen in ready:
            try:
                data = os.read(screen, 65536)
            except OSError:
                break
            writes.append((now, len(data)))
        if not pressed and now - started > 2.0:
            os.write(screen, b" ")
            pressed = True
        if seconds > 60 and not repeated and now - started > 7.0:
            os.write(screen, b"r")  # the example lasts under a minute: go round its first phrase
            repeated = True
        if cpu_from is None and now - started > 5.0:
            cpu_from = (cpu(child), now)
    cpu_share = (cpu(child) - cpu_from[0]) / (time.monotonic() - cpu_from[1])
    os.write(screen, b" ")  # paused, the floor says how often the sound broke off
    shown = b""
    while select.select([screen], [], [], 1.0)[0]:
        shown += os.read(screen, 65536)
    gaps = re.search(rb"broke off (once|\d+ times)", shown)
    os.write(screen, b"qq")
    recorder.terminate()
    os.waitpid(child, 0)
    for process in busy:
        process.kill()

    samples = struct.unpack(f"<{len(sound) // 2}h", sound[: len(sound) // 2 * 2])
    clicks, places, last = [], [], -RATE
    for index, sample in enumerate(samples):
        if abs(sample) > 3000:
            if index - last > RATE // 20:
                at = index / RATE
                places.append(index)
                clicks.append(at + min(first for end, first in blocks if abs(end - at) < 4))
            last = index
    # Writes that follow each other within 4 ms are one picture.
    pictures = []
    for at, size in writes:
        if pictures and at - pictures[-1][2] < 0.004:
            pictures[-1][1] += size
            pictures[-1][2] = at
        else:
            pictures.append([at, size, at])
    changes = [last for first, size, last in pictures if size >= BURST and first - started > 3.0]
    late = []
    for change in changes:
        nearest = min(clicks, key=lambda click: abs(click - change), default=None)
        if nearest is not None and abs(nearest - change) < 0.25:
            late.append(1000 * (change - nearest))
    if not late:
        sys.exit(f"nothing to compare: {len(clicks)} clicks, {len(changes)} changes of words")
    order = sorted(late)
    at = lambda share: order[min(len(order) - 1, int(share * len(order)))]
    half = len(late) // 2
    mean = lambda values: sum(values) / max(1, len(values))
    print(f"{len(clicks)} clicks, {len(changes)} changes of words, {len(late)} compared")
    print(f"screen after sound, ms: median {at(0.5):+.1f}, 5 % {at(0.05):+.1f}, 95 % {at(0.95):+.1f}, "
          f"least {order[0]:+.1f}, most {order[-1]:+.1f}")
    away = sorted(abs(value) for value in late)
    print(f"apart, ms: median {away[len(away) // 2]:.1f}, p99 {away[min(len(away) - 1, int(0.99 * len(away)))]:.1f}")
    print(f"drift, second half less first: {mean(late[half:]) - mean(late[:half]):+.1f} ms")
    print(f"processor while leading at {columns}x{rows}: {100 * cpu_share:.1f} % of one core; "
          f"{len(writes)} writes, {sum(size for _, size in writes)} bytes")
    load = os.getloadavg()
    # In samples of the recording, so that the recorder's own lateness counts for nothing. The beat is as long as the middle
    # of the first eight; it only ever becomes shorter.
    apart = [(b - a) / RATE for a, b in zip(places, places[1:])]
    beat = sorted(apart[5:13])[4] if len(apart) > 13 else 0.0
    gapped = [1000 * (span - beat) for span in apart[5:] if span > beat + 0.005]
    print(f"underruns: {gaps.group(1).decode() if gaps else 'none'} told of by the device; {len(gapped)} gaps in the monitor"
          + (f" (ms: {' '.join(f'{gap:.0f}' for gap in gapped[:20])})" if gapped else "") + "; "
          + log.summary())
    print(f"load at the end {load[0]:.1f}, "
          f"{load[1]:.1f} over five minutes")
    if len(delivered) > 1:
        lacking = delivered[-1] - delivered[0] - (len(sound) / 2 / RATE - blocks[0][0])
        longest = max(b - a for a, b in zip(delivered, delivered[1:]))
        print(f"recorder: {1000 * lacking:+.0f} ms of sound lacking, longest wait between deliveries {1000 * longest:.0f} ms")
    missed = [b - a for a, b in zip(clicks, clicks[1:]) if b - a > 0.8]
    print(f"silences over 0.8 s between clicks: {len(missed)}")
    print("histogram, ms after the sound:")
    for low in range(3 * int(min(late) // 3), int(max(late)) + 1, 3):
        count = sum(low <= value < low + 3 for value in late)
        print(f"{low:+5d} to {low + 3:+d}  {count:4d}  {'#' * round(60 * count / len(late))}")
    print("all, ms:", " ".join(f"{value:+.0f}" for value in late))


class ServerLog:
    """What a sound server's log says from now on, with the time at which it was read: four times a second."""

    def __init__(self, path):
        self.file = open(path, errors="replace") if path else None
        self.looked, self.created, self.streams, self.starting, self.starved = 0.0, -9.0, 0, 0, 0
        if self.file:
            self.file.seek(0, os.SEEK_END)

    def read(self, now):
        if not self.file or now - self.looked < 0.25:
            return
        self.looked = now
        for line in self.file.read().splitlines():
            if "Created input" in line:
                self.created, self.streams = now, self.streams + 1
            elif "nderrun" in line:
                new = now - self.created < 1.0
                self.starting, self.starved = self.starting + new, self.starved + (not new)

    def summary(self):
        if not self.file:
            return "the server's log was not looked at (SERVER_LOG)"
        return (f"in the server's log {self.starved} in a stream that played, {self.starting} at the start of one; "
                f"{self.streams} streams created")


def cpu(process):
    fields = open(f"/proc/{process}/stat").read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


main()
