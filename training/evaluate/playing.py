"""How the public set is played: a tempo that breathes, instruments, loudness. Nothing here is shared with the training material."""
import math
import subprocess

import pretty_midi

MELODIES = [40, 73, 21, 71, 0, 72, 105, 22, 56, 41]
COMPANY = [0, 24, 46, 48, 21, 45, 32]
CHOIRS = [(19, 19, 19, 19), (48, 48, 48, 48), (56, 60, 57, 58), (73, 68, 71, 70), (52, 52, 52, 52), (0, 0, 0, 0)]


def beat_times(rng, beats, bpm, shape, ends):
    """Seconds of each of `beats` + 1 beats. `shape`: steady, rubato, surge or steps; `ends`: beats at which a section ends."""
    times, drift = [0.5 + rng.random()], 0.0
    ratio = rng.uniform(1.5, 2.4)
    hold = rng.uniform(.1, .4) * beats
    steps = sorted(rng.sample(ends[:-1], min(2, len(ends) - 1))) if shape == "steps" else []
    speeds = [1.0] + [rng.choice([.7, .8, 1.3, 1.5]) for _ in steps]
    ease = 0.04 if shape == "steady" else 0.18
    for n in range(beats):
        drift = .9 * drift + rng.gauss(0, .004 if shape == "steady" else .022)
        now = bpm * math.exp(drift)
        if shape == "surge":
            now *= ratio ** max(0.0, (n - hold) / max(1.0, beats - hold))
        now *= speeds[sum(n >= s for s in steps)]
        left = min((e - n for e in ends if e > n), default=9)
        if left <= 2 and shape in ("steady", "rubato"):
            now *= 1 - ease * rng.random() * (3 - left) / 2
        if n >= beats - 4:
            now *= 1 - .06 * (n - beats + 5) * (shape != "surge")
        times.append(times[-1] + 60 / now)
    return times


def at(times, beat):
    """Seconds of a place between beats; before the first and after the last, the neighbouring beat's pace holds."""
    n = min(max(int(math.floor(beat)), 0), len(times) - 2)
    return times[n] + (beat - n) * (times[n + 1] - times[n])


class Band:
    """Notes by General MIDI program, written to a file by a synthesiser."""

    def __init__(self, rng):
        self.rng, self.parts = rng, {}

    def note(self, program, start, end, pitch, velocity, drum=False):
        part = self.parts.setdefault((program, drum), pretty_midi.Instrument(program, is_drum=drum))
        start = max(0.0, start + self.rng.gauss(0, .006))
        velocity = int(min(120, max(12, velocity + self.rng.gauss(0, 4))))
        part.notes.append(pretty_midi.Note(velocity, int(pitch), start, max(start + .04, end)))

    def render(self, wav, font):
        """A WAV file, 44.1 kHz, by fluidsynth."""
        midi = pretty_midi.PrettyMIDI(resolution=960, initial_tempo=120)
        midi.instruments += self.parts.values()
        scratch = f"{wav}.mid"
        midi.write(scratch)
        subprocess.run(["fluidsynth", "-ni", "-q", "-g", "0.5", "-r", "44100", "-T", "wav", "-F", str(wav), font, scratch],
                       check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        subprocess.run(["rm", scratch], check=True)
