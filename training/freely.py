"""How whoever plays alone plays freely: tempo, two hands, chords broken, one hand in the shade of the other.

`tempo` tells where the beats lie, which is what the network is taught; `Player` adds only what belongs to playing them: hands
that do not quite meet, rolled chords, a melody ahead of its accompaniment.
"""
import numpy as np

SLOWEST, QUICKEST = 28.0, 255.0     # beats a minute that the network's period head still tells
NOTES_A_SECOND = 18.0               # in the densest beats
BREATH_AT = 0.96                    # where in a beat a breath before the next begins
ALONE = ("piano", "harp", "guitar", "organ", "solo")
GROUPS = {"piano": [0, 0, 0, 0, 0, 0, 1, 1, 6], "harp": [46], "guitar": [24, 24, 25, 26], "organ": [19, 19, 16, 20], "solo": [40, 40, 41, 42, 42]}
SINGERS = [40, 40, 41, 42, 73, 71, 68, 60, 56, 52]     # who is accompanied at the piano
KEPT = 12                           # parts of a score that one player takes


def scoring(rng, piece):
    """[(role, notes, program)] and the family's name; None when it is for an ensemble, which performance.py knows."""
    family = [*ALONE, "duo", None][rng.choice(7, p=[0.60, 0.05, 0.07, 0.04, 0.04, 0.07, 0.13])]
    if family is None:
        return None
    voices = list(piece.voices)[:KEPT]
    if family == "duo":
        if len(voices) < 2:
            family = "piano"
        else:
            first = next((k for k, (role, _) in enumerate(voices) if role == "melody"), 0)
            singer = int(rng.choice(SINGERS))
            return [(*v, singer if k == first else 0) for k, v in enumerate(voices)][:8], family
    program = int(rng.choice(GROUPS[family]))
    if family == "solo":
        voices = voices[:1 if rng.random() < 0.7 else 2]
    return [(*v, program) for v in voices][:8], family


def base_tempo(rng, piece, density):
    """Beats a minute, spread as among ensembles: wider, and the network no longer knows which of two levels is the usual one.

    `density`: onsets a beat; where there are few, beats are mostly quick, as they are notated.
    """
    counts = np.bincount([int(o) for o in {round(n[0] * 24) / 24 for _, v in piece.voices for n in v} if 0 <= o < 400])
    most = max(1.0, float(np.percentile(counts, 95))) if len(counts) else 1.0
    highest = float(np.clip(NOTES_A_SECOND * 60 / most, 40, 240))
    bpm = 96.0
    for _ in range(30):
        bpm = float(np.exp(rng.normal(np.log(104) - 0.3 * np.log(max(density, 0.3) / 4), 0.40)))
        if not 34 <= bpm <= highest:
            continue
        if rng.random() < np.exp(-0.5 * ((np.log(density * bpm / 60) - np.log(4.2)) / 0.75) ** 2) + 0.05:
            break
    return float(np.clip(bpm, 34, highest))


def tempo(rng, piece, count, first, base):
    """(smooth bpm a beat, seconds added after it, of these seconds those of silence before the next, bend of the beat's inside).

    Each habit has a chance of its own, so that they come in all mixtures. A bend of .2 puts a beat's middle at .45 of it.
    """
    x = np.arange(count)
    bars = np.array(piece.bars) - first
    origin = bars[bars >= 0][0] if (bars >= 0).any() else 0
    phrase = int(piece.per_bar * rng.choice([4, 4, 8, 2, 3, 6]))
    index = np.maximum(0, np.floor((x - origin) / phrase).astype(int) + 1)
    within = ((x - origin) % phrase) / phrase
    phrases = int(index.max()) + 2
    curve = np.zeros(count)                                # logarithm of the tempo against the base
    if rng.random() < 0.85:                                # every phrase rises and falls, its height and its peak its own
        depth = rng.uniform(0.04, 0.40) * rng.uniform(0.4, 1.3, phrases)[index]
        peak = rng.uniform(0.25, 0.75, phrases)[index] if rng.random() < 0.5 else np.full(count, 0.5)
        place = np.where(within < peak, 0.5 * within / peak, 0.5 + 0.5 * (within - peak) / (1 - peak))
        curve += np.clip(depth, 0, 0.45) * (2 * np.sin(np.pi * place) ** rng.choice([0.5, 1, 2]) - 1)
    if rng.random() < 0.35:                                # pressing on, or holding back, within a phrase
        slope = rng.uniform(-0.35, 0.35, phrases) * (rng.random(phrases) < rng.uniform(0.2, 0.8))
        curve += slope[index] * (within - 0.3)
    if rng.random() < 0.8:
        wander = np.cumsum(rng.normal(0, rng.uniform(0.005, 0.05), count))
        curve += wander - np.convolve(np.pad(wander, 16, mode="edge"), np.ones(33) / 33, "valid")
    sections = [int(round(s - first)) for s in piece.sections]
    if rng.random() < 0.35:                                # another tempo for another section
        ratios = np.log(rng.choice([0.6, 0.7, 0.8, 0.87, 1.0, 1.0, 1.15, 1.3, 1.5], len(sections) + 1))
        curve += ratios[np.searchsorted(sections, x, side="right")]
    if rng.random() < 0.12:                                # and sometimes the whole grows
        curve += np.log(rng.uniform(1.3, 2.4)) * (np.clip(x / (base * 1.2), 0, 1) - 0.5)
    if rng.random() < 0.5:                                 # phrases close slower
        last = rng.uniform(1.0, 4.0)
        closing = np.clip((within - 1) * phrase / last + 1, 0, 1)
        curve += np.log(1 - closing * rng.uniform(0.05, 0.45)) * (rng.random(phrases) < 0.6)[index]
    if rng.random() < 0.6:                                 # sections, and the end, still slower
        for at in sections + [count]:
            if 6 < at <= count and rng.random() < 0.6:
                span = np.arange(max(0, at - int(rng.integers(2, 9))), at)
                curve[span] += np.log(np.linspace(1, rng.uniform(0.35, 0.85), len(span)))
    bpm = np.clip(base * np.exp(curve), SLOWEST, QUICKEST)

    leaning = rng.normal(0, rng.uniform(0.0, 0.10), count)  # in beats
    inside = (bars >= 0) & (bars < count - 1)
    downs = np.round(bars[inside]).astype(int)
    if rng.random() < 0.4:
        leaning[downs] += rng.uniform(0, 0.15)
        leaning[np.maximum(downs - 1, 0)] += rng.uniform(-0.05, 0.10)
    if rng.random() < 0.35 and len(downs):                 # every bar bent like the other, as in a waltz or a mazurka
        pattern = rng.normal(0, rng.uniform(0.03, 0.15), piece.per_bar)
        places = x - downs[np.clip(np.searchsorted(downs, x, side="right") - 1, 0, None)]
        leaning += (pattern - pattern.mean())[places % piece.per_bar]
    beat = 60 / bpm
    extra = beat * np.clip(leaning, -0.4, 0.6)
    silence = np.zeros(count)
    if rng.random() < 0.5:                                 # a breath before a phrase
        starts = np.flatnonzero((within == 0) & (x > 2))
        starts = starts[rng.random(len(starts)) < rng.uniform(0.3, 0.95)]
        breath = beat[starts - 1] * rng.uniform(0.1, 0.6, len(starts))
        extra[starts - 1] += breath
        if rng.random() < 0.5:                             # as silence, else the last beat is stretched
            silence[starts - 1] += breath
    if rng.random() < 0.4:                                 # fermatas
        for _ in range(int(rng.integers(1, 4))):
            at = int(rng.integers(4, max(5, count - 4))) if rng.random() < 0.3 or not len(downs) else int(downs[rng.integers(len(downs))]) - 1
            if 3 < at < count:
                extra[at] += beat[at] * rng.uniform(0.4, 3.0)
    bend = np.zeros(count)
    if rng.random() < 0.4:
        bend = np.clip(rng.normal(rng.normal(0, 0.08), rng.uniform(0.02, 0.15), count), -0.5, 0.5)
    return bpm, extra, silence, bend


def moments(beat_times, spans, silence, bend):
    """(beats, seconds) between which time runs evenly; whole beats lie at `beat_times`, each lasts `spans` and ends in `silence`."""
    parts = np.array([0, 0.25, 0.5, 0.75, BREATH_AT])
    inside = parts + bend[:, None] * parts * (1 - parts)
    sounding = (spans - silence)[:, None]
    seconds = beat_times[:, None] + inside * sounding
    grid = np.arange(len(beat_times))[:, None] + parts
    return grid.ravel(), seconds.ravel()


class Player:
    """One performance's hands. Offsets are seconds, shades are factors of velocity."""

    def __init__(self, rng, family, scored, first, beats, shortest):
        """`scored` as `scoring` gives it, played for `beats` from beat `first`; `shortest`: seconds of the shortest beat, of which a broken chord takes half at most."""
        self.alone = family in ALONE or family == "duo"
        self.rng = rng
        keys = int(beats * 48) + 49
        own = float(rng.choice([0.002, 0.004, 0.008]))
        common = float(rng.choice([0.004, 0.008, 0.012, 0.016])) if self.alone else 0.0
        self.own = own if self.alone else float(rng.choice([0.002, 0.006, 0.010, 0.016]))
        self.hands = rng.normal(0, common, (2, keys)) if common else np.zeros((2, keys))
        self.lag = float(np.clip(rng.normal(0, 0.013), -0.03, 0.03)) if self.alone and rng.random() < 0.6 else 0.0
        self.lead = float(rng.uniform(0.005, 0.035)) if rng.random() < 0.4 else 0.0
        self.roll = float(np.exp(rng.uniform(np.log(0.008), np.log(0.06)))) if self.alone and rng.random() < 0.45 else 0.0
        self.most = min(0.24, 0.5 * shortest)
        self.rolled = rng.random(keys) < rng.choice([0.1, 0.3, 0.6, 1.0])
        self.ends_on_beat = rng.random() < 0.3
        self.across = rng.random() < 0.4                   # both hands in one sweep, bass first and melody last
        # Where a note waits for others of the sweep, there must be others.
        self.bass, self.under = np.zeros(keys, bool), np.zeros(keys, bool)
        for role, voice, _ in scored:
            if role in ("bass", "chords"):
                places = np.round((np.array([n[0] for n in voice]) - first) * 48).astype(int)
                places = places[(places >= 0) & (places < keys)]
                self.under[places] = True
                if role == "bass":
                    self.bass[places] = True
        self.shades = {}
        if rng.random() < 0.5:
            softer = 10 ** (-float(rng.uniform(6, 14)) / 40)
            self.shades = {"melody": softer} if rng.random() < 0.2 else {"bass": softer * 10 ** (float(rng.uniform(0, 3)) / 40), "chords": softer}

    def shade(self, role, index):
        """Factor of velocity for a voice; of a score's parts the first counts as the melody."""
        if role == "part":
            role = "melody" if index == 0 else "chords"
        return self.shades.get(role, 1.0)

    def offsets(self, role, index, keys):
        """Seconds by which the notes of a voice leave their places; `keys`: 48ths of a beat from the start, ascending."""
        keys = np.clip(keys, 0, self.hands.shape[1] - 1)
        left = role in ("bass", "chords") or role == "part" and index > 1
        out = self.rng.normal(0, self.own, len(keys)) + self.hands[int(left), keys] + (self.lag if left else 0.0)
        if role == "melody" or role == "part" and index == 0:
            out -= self.lead
        if self.roll:
            fresh = np.concatenate([[True], np.diff(keys) > 0])
            group = np.cumsum(fresh) - 1
            order = np.arange(len(keys)) - np.flatnonzero(fresh)[group]
            size = np.bincount(group)[group]
            if self.across:
                start = self.bass[keys] if role == "chords" else 4 * self.under[keys] if role == "melody" else np.zeros(len(keys), int)
                order, size = order + start, np.where(self.under[keys], np.maximum(size + start, 5), size)
            step = np.minimum(self.roll, self.most / np.maximum(1, size - 1))
            late = order * step
            if self.ends_on_beat:
                late = late - (size - 1) * step
            out += np.where(self.rolled[keys], late, 0.0)
        return out
