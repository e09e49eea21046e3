#!/usr/bin/env python3
"""Render jobs to WAV: render.py JOBS.jsonl OUT_DIR FONT.sf2...

One job a line, as ../generate.py prints them: notes (start s, end s, pitch, velocity, channel), programs, controls
(s, channel, controller, value), seconds, font. Rendered by fluidsynth at 44.1 kHz; noise at the level that the job
states is mixed in. Needs mido, numpy, soundfile and fluidsynth.
"""
import json
import os
import subprocess
import sys

import mido
import numpy as np
import soundfile

TICKS = 1000  # ticks a second: 500 a quarter at 120 BPM


def midi(job):
    events = [(0.0, 0, mido.Message("program_change", channel=int(c), program=p)) for c, p in job["programs"].items() if int(c) != 9]
    events += [(t, 1, mido.Message("control_change", channel=c, control=n, value=v)) for t, c, n, v in job["controls"]]
    for start, end, pitch, velocity, channel in job["notes"]:
        events.append((start, 3, mido.Message("note_on", channel=channel, note=pitch, velocity=velocity)))
        events.append((end, 2, mido.Message("note_off", channel=channel, note=pitch)))
    events.sort(key=lambda e: e[:2])
    file = mido.MidiFile(ticks_per_beat=TICKS // 2)
    track = mido.MidiTrack()
    file.tracks.append(track)
    now = 0
    for at, _, message in events:
        tick = max(now, round(at * TICKS))
        track.append(message.copy(time=tick - now))
        now = tick
    return file


def main():
    jobs, out, fonts = sys.argv[1], sys.argv[2], sys.argv[3:]
    os.makedirs(out, exist_ok=True)
    for n, line in enumerate(open(jobs)):
        job, stem = json.loads(line), os.path.join(out, f"{n:04d}")
        if os.path.exists(stem + ".wav"):
            continue
        midi(job).save(stem + ".mid")
        gain = ["-g", "0.5", "-R", "1" if job.get("room", 0) or job.get("reverb", 0) else "0"]
        font = fonts[job["font"] % len(fonts)]
        subprocess.run(["fluidsynth", "-ni", "-q", *gain, "-r", "44100", "-T", "wav", "-F", stem + ".raw.wav", font, stem + ".mid"],
                       check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        sound, rate = soundfile.read(stem + ".raw.wav", dtype="float32", always_2d=True)
        sound = sound[: int(job["seconds"] * rate)].mean(1)
        sound += np.random.default_rng(n).normal(0, max(job.get("noise", 0), 1e-6), len(sound)).astype(np.float32)
        soundfile.write(stem + ".wav", np.clip(sound, -1, 1), rate, subtype="PCM_16")
        os.remove(stem + ".mid")
        os.remove(stem + ".raw.wav")


main()
