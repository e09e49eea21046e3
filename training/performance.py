"""How a piece is played: tempo, loudness, touch, instruments, a room and a worn disc. Beats become seconds here."""
import numpy as np

import freely
from pieces import Piece

SECONDS = 72.0          # length aimed at
FASTEST_NOTES = 17.0    # distinct onsets a second that players can still manage

# General MIDI programs by how they are used together.
KEYS = [0, 1, 0, 0, 2, 3, 6]
STRINGS = [48, 49, 50, 40, 41, 42, 43, 44, 45]
WINDS = [68, 69, 70, 71, 72, 73, 74, 75]
BRASS = [56, 57, 58, 60, 61, 59, 62]
PLUCKED = [24, 25, 26, 27, 46, 45, 6, 105, 106, 15]
MALLETS = [8, 9, 10, 11, 12, 13, 14, 108]
SUSTAINED = [16, 19, 20, 21, 22, 23, 52, 53, 54, 89, 91, 109]
SAXES = [64, 65, 66, 67]
SOLOS = [40, 40, 73, 72, 74, 21, 22, 0, 105]     # who plays a dance tune alone: fiddle, flutes, free reeds, piano, banjo
BASSES = [32, 33, 34, 35, 43, 58, 42, 70]
DECAYING = {0, 1, 2, 3, 6, 24, 25, 26, 27, 45, 46, 105, 106, 15, 8, 9, 10, 11, 12, 13, 14, 108, 32, 33, 34}


def onsets_per_beat(piece):
    """Distinct onsets a beat, over the piece's first 160 beats."""
    onsets = {round(o * 24) for _, v in piece.voices for o, _, _ in v if o < 160}
    return len(onsets) / max(1.0, min(piece.end, 160.0))


def base_tempo(rng, density):
    """Beats a minute at which so dense a piece would be played."""
    bpm = 108.0
    for _ in range(30):
        bpm = float(np.exp(rng.normal(np.log(106), 0.40)))
        if not 36 <= bpm <= 220:
            continue
        rate = density * bpm / 60
        if rng.random() < np.exp(-0.5 * ((np.log(rate) - np.log(4.4)) / 0.6) ** 2) + 0.03:
            break
    return min(max(bpm, 36.0), 220.0)


def tempo_curve(rng, piece, count, kind, first):
    """(smooth bpm a beat, seconds added after a beat): the tempo as meant, and agogics and rests on top of it."""
    density = onsets_per_beat(piece)
    base = base_tempo(rng, density)
    x = np.arange(count)
    bpm = np.full(count, base)
    extra = np.zeros(count)
    bars = np.array(piece.bars) - first
    phrase = piece.per_bar * float(rng.choice([4, 4, 8, 8, 2, 3]))
    origin = bars[bars >= 0][0] if (bars >= 0).any() else 0
    within = ((x - origin) % phrase) / phrase
    highest = min(250.0, FASTEST_NOTES * 60 / max(density, 0.3))
    if kind == "surge":                                    # the slow start that ends in a whirl
        ratio = float(rng.uniform(1.4, 3.2))
        low = float(np.clip(min(base, highest / ratio), 50, 125))
        top = min(low * ratio, 250.0)
        length = int(min(count, SECONDS * (low + top) / 120))
        hold = int(length * rng.uniform(0, 0.45))
        rise = np.clip((x - hold) / max(1, length - hold - rng.integers(0, 12)), 0, 1)
        bpm = low * (top / low) ** rise if rng.random() < 0.6 else low + (top - low) * rise
        if rng.random() < 0.15:
            bpm = bpm[::-1].copy() if length >= count else np.concatenate([bpm[:length][::-1], bpm[length:]])
    elif kind == "arcs":
        ratio = float(rng.uniform(1.2, 2.2))
        period = float(rng.choice([32, 48, 64, 96]))
        bpm = base * ratio ** (np.sin(2 * np.pi * (x / period + rng.random())) * 0.5)
    elif kind == "steps":
        now, out, change = base, [], int(rng.integers(16, 70))
        starts = set(np.round(bars).astype(int))
        for k in range(count):
            if k >= change and k in starts:
                now = float(np.clip(now * rng.choice([0.5, 0.6, 0.66, 0.75, 0.8, 1.25, 1.33, 1.5, 1.7, 2.0]), 48, max(60.0, highest)))
                change = k + int(rng.integers(14, 70))
            out.append(now)
        bpm = np.array(out)
    elif kind == "rubato":                                 # a pianist alone: every phrase breathes
        depth = float(rng.uniform(0.05, 0.28))
        shape = np.sin(np.pi * within) ** rng.choice([0.5, 1, 2])
        bpm = base * (1 + depth * (2 * shape - 1))
        wander = np.cumsum(rng.normal(0, rng.uniform(0.005, 0.03), count))
        wander -= np.convolve(np.pad(wander, 16, mode="edge"), np.ones(33) / 33, "valid")
        bpm *= np.exp(wander)
        closing = np.clip((within - (1 - 2.5 / phrase)) * phrase / 2.5, 0, 1)
        bpm *= 1 - closing * rng.uniform(0, 0.35) * (rng.random(count // int(phrase) + 2)[(x / phrase).astype(int)] < 0.6)
    # Slow drift and a slowing into section ends, whatever the plan.
    if kind not in ("rubato",):
        drift = np.cumsum(rng.normal(0, rng.choice([0.0005, 0.003, 0.008]), count))
        bpm = bpm * np.exp(np.clip(drift - drift.mean(), -0.15, 0.15))
    if rng.random() < 0.35:
        for section in piece.sections:
            at = int(round(section - first))
            if 6 < at <= count and rng.random() < 0.5:
                length = int(rng.integers(2, 9))
                span = np.arange(max(0, at - length), at)
                bpm[span] *= np.linspace(1, rng.uniform(0.5, 0.9), len(span))
    bpm = np.clip(bpm, 30, 260)
    agogic = np.zeros(count)
    strength = float(rng.choice([0, 0.01, 0.02, 0.04])) if kind != "rubato" else float(rng.uniform(0.01, 0.06))
    agogic += rng.normal(0, strength * 0.6, count)
    downs = np.round(bars[(bars >= 0) & (bars < count - 1)]).astype(int)
    if rng.random() < 0.4:                                 # leaning on the bar
        agogic[downs] += strength * rng.uniform(0, 1.5)
        agogic[np.maximum(downs - 1, 0)] += strength * rng.uniform(-0.3, 1.0)
    extra += 60 / bpm * agogic
    if rng.random() < (0.4 if kind == "rubato" else 0.18):  # fermatas and general pauses
        for _ in range(int(rng.integers(1, 4))):
            section = rng.integers(4, max(5, count - 4)) if rng.random() < 0.3 or not len(downs) else downs[rng.integers(len(downs))] - 1
            if 3 < section < count:
                extra[section] += 60 / bpm[section] * rng.uniform(0.4, 3.0)
    return bpm, extra


def loudness_curve(rng, bpm, count, kind, bars):
    """Decibels a beat, 0 the loudest; often goes with the tempo, as it does in music that grows."""
    x = np.arange(count) / max(1, count - 1)
    span = float(rng.uniform(4, 27))
    if kind == "surge" and rng.random() < 0.65:
        r = np.log(bpm / bpm.min()) / max(1e-6, np.log(bpm.max() / bpm.min()))
        return -span * (1 - r)
    if kind == "steps" and rng.random() < 0.5:
        change = np.concatenate([[0], np.cumsum(np.abs(np.diff(np.log(bpm))) > 0.12)]).astype(int)
        return rng.uniform(-span, 0, change.max() + 1)[change]
    shape = rng.integers(0, 6)
    if shape == 0:
        return np.zeros(count)
    if shape == 1:
        return -span * (1 - x)
    if shape == 2:
        return -span * x
    if shape == 3:
        return -span * np.abs(np.sin(np.pi * x * rng.choice([1, 2, 3, 5]) + rng.random()))
    if shape == 4:
        block = np.searchsorted(bars[:: int(rng.choice([4, 8, 12]))], np.arange(count), side="right")
        return rng.uniform(-span, 0, block.max() + 1)[block]
    wave = np.cumsum(rng.normal(0, 1.0, count))
    return np.clip(-np.abs(wave - wave.mean()), -span, 0)


def scoring(rng, piece):
    """[(voice, program, touch)] after spreading the piece over instruments, and the family's name."""
    family = ["piano", "strings", "winds", "brass", "plucked", "mallets", "sustained", "orchestra", "split", "any"][
        rng.choice(10, p=[0.27, 0.12, 0.05, 0.07, 0.06, 0.03, 0.05, 0.11, 0.14, 0.10])]
    pools = dict(piano=[0, 1, 0], strings=STRINGS, winds=WINDS + SAXES, brass=BRASS, plucked=PLUCKED, mallets=MALLETS, sustained=SUSTAINED)
    every = KEYS + STRINGS + WINDS + BRASS + PLUCKED + MALLETS + SUSTAINED + SAXES
    voices = list(piece.voices)[:8]
    if family == "split":                                  # a keyboard score given to a band by register
        notes = [n for _, v in voices for n in v]
        pitches = np.array([p for _, _, p in notes])
        cuts = np.quantile(pitches, [0.4, 0.72])
        groups = [[n for n in notes if n[2] < cuts[0]], [n for n in notes if cuts[0] <= n[2] < cuts[1]], [n for n in notes if n[2] >= cuts[1]]]
        voices = [(r, g) for r, g in zip(("bass", "chords", "melody"), groups) if g]
    out = []
    shared = int(rng.choice(pools[family])) if family in pools and rng.random() < 0.5 else None
    if len(voices) == 1 and voices[0][0] == "melody" and rng.random() < 0.6:
        return [(*voices[0], int(rng.choice(SOLOS)))], "solo"
    for role, notes in voices:
        if family in pools:
            program = shared if shared is not None else int(rng.choice(pools[family]))
            if family == "piano":
                program = shared if shared is not None else 0
        elif role == "bass":
            program = int(rng.choice(BASSES + [45, 0]))
        elif family == "orchestra":
            program = int(rng.choice(STRINGS + WINDS + BRASS))
        elif family == "split":
            program = int(rng.choice(STRINGS + STRINGS + WINDS + BRASS + [45, 46]))
        else:
            program = int(rng.choice(every))
        out.append((role, notes, program))
    return out, family


def play(rng, piece: Piece, free=False):
    """(job for the renderer, truth) of one performance; None when the piece is too short to play."""
    scored, family = free and freely.scoring(rng, piece) or scoring(rng, piece)
    kinds = ["steady", "surge", "arcs", "steps", "rubato"]
    weights = [0.25, 0.22, 0.08, 0.2, 0.25] if family != "piano" else [0.18, 0.12, 0.06, 0.12, 0.52]
    kind = "free" if free else kinds[rng.choice(5, p=weights)]
    # Start anywhere: often at the beginning, else at a bar.
    inner = [b for b in piece.bars if b < piece.end - 70]
    entry = 0.0 if rng.random() < 0.5 or not inner else float(inner[rng.integers(len(inner))])
    first = int(np.floor(entry + 1e-6))
    count = int(piece.end - first)
    if count < 24:
        return None
    silence = bend = np.zeros(count)
    if free:
        base = freely.base_tempo(rng, piece, onsets_per_beat(piece))
        bpm, extra, silence, bend = freely.tempo(rng, piece, count, first, base)
    else:
        bpm, extra = tempo_curve(rng, piece, count, kind, first)
    spans = 60 / bpm + extra
    start = float(rng.uniform(0.05, 1.5)) if rng.random() < 0.8 else float(rng.uniform(1.5, 4.0))
    beat_times = start + np.concatenate([[0], np.cumsum(spans[:-1])])
    played = min(int(np.searchsorted(beat_times, SECONDS - 1)), count - 1)
    if played < 20:
        return None
    grid, moments = freely.moments(beat_times, spans, silence, bend) if free else (np.arange(count), beat_times)

    def at(beat):
        return np.interp(beat - first, grid, moments)

    bars = np.array([b - first for b in piece.bars])
    level = loudness_curve(rng, bpm[:played + 1], played + 1, kind, bars)
    accents = _accents(rng, piece, free)
    swing = float(rng.uniform(0.54, 0.68)) if piece.division == 2 and rng.random() < 0.06 else 0.0
    velocity = float(rng.uniform(70, 112))
    scatter = float(rng.choice([0.002, 0.006, 0.010, 0.016]))
    notes, programs, transpose = [], {}, int(rng.integers(-5, 6))
    ornaments = rng.random() < (0.35 if family in ("piano", "winds", "strings") else 0.1)
    lead = float(rng.choice([0, 0, 0.012, 0.025]))
    pedal = family == "piano" and rng.random() < 0.5
    pedal_span = float(rng.choice([1, 2, piece.per_bar]))
    bar_set = set(np.round(np.array(piece.bars) * 48).astype(int))
    player = freely.Player(rng, family, scored, first, played, float(spans[:played].min())) if free else None
    swells = []
    doubled = None                                          # where it is loud, more players join in
    if family in ("split", "orchestra", "strings", "brass") and np.ptp(level) > 8 and rng.random() < 0.5:
        doubled = float(rng.uniform(-14, -3))
        scored.append(("double", [n for r, v, _ in scored if r != "bass" or rng.random() < 0.7 for n in v], int(rng.choice([48, 48, 49, 61, 60, 52, 19]))))
    for index, (role, voice, program) in enumerate(scored):
        channel = index if index < 9 else index + 1
        programs[channel] = program
        touch = float(rng.choice([0.3, 0.5, 0.75, 0.9, 0.98, 1.03])) if program not in (48, 49, 50, 52) or rng.random() < 0.5 else 0.95
        balance = {"melody": 1.0, "part": float(rng.uniform(0.8, 1.0)), "bass": float(rng.uniform(0.6, 1.0)), "chords": float(rng.uniform(0.5, 0.9)), "double": float(rng.uniform(0.6, 1.0))}[role]
        lag = float(rng.normal(0, 0.005))
        roll = float(rng.uniform(0.006, 0.035)) if program in DECAYING and rng.random() < 0.25 else 0.0
        arr = np.array(voice, dtype=float)
        arr = arr[(arr[:, 0] >= first - 1e-9) & (arr[:, 0] < first + played)]
        if not len(arr):
            continue
        arr = arr[np.lexsort((arr[:, 2], arr[:, 0]))]
        onset, length, pitch = arr[:, 0].copy(), arr[:, 1], arr[:, 2] + transpose
        if swing:
            fraction = onset % 1
            onset = np.where(np.abs(fraction - 0.5) < 0.02, onset - fraction + swing, onset)
        if player:
            begin = at(onset) + player.offsets(role, index, np.round((arr[:, 0] - first) * 48).astype(int))
        else:
            begin = at(onset) + rng.normal(0, scatter, len(onset)) + lag - (lead if role == "melody" else 0)
        release = onset + length
        if pedal:
            release = np.maximum(release, np.ceil((onset + 1e-3) / pedal_span) * pedal_span)
        if free:                                            # the hand is up before the next beat, and before a breath
            release = np.maximum(onset + 0.5 * length, release - 1 + freely.BREATH_AT)
        finish = begin + np.maximum(0.04, (at(release) - at(onset)) * (1.0 if pedal else touch))
        same = np.concatenate([[False], np.abs(np.diff(arr[:, 0])) < 1e-6])
        if roll and not player:
            order = np.zeros(len(onset))
            for k in np.flatnonzero(same):
                order[k] = order[k - 1] + 1
            rolled = rng.random(len(onset)) < 0.3 if rng.random() < 0.5 else np.ones(len(onset), bool)
            begin = begin + order * roll * rolled
        gain = np.interp(onset - first, np.arange(played + 1), level)
        key = np.round(arr[:, 0] * 48).astype(int)
        accent = np.array([accents(k, k in bar_set) for k in key])
        contour = (pitch - pitch.mean()) * float(rng.choice([0, 0.2, 0.5]))
        if player:
            balance *= player.shade(role, index)
        vel = (velocity * balance + contour) * 10 ** (gain / 40) * (1 + accent / 100) + rng.normal(0, rng.uniform(1, 9), len(onset))
        vel = np.clip(vel, 7, 126).astype(int)
        keep = (pitch > 22) & (pitch < 106)
        if role == "double":
            keep &= gain > doubled
        for b, f, p, v, o, d in zip(begin[keep], finish[keep], pitch[keep].astype(int), vel[keep], onset[keep], length[keep]):
            b = max(0.0, float(b))
            if ornaments and role in ("melody", "part"):
                u = rng.random()
                if u < 0.03:                               # a grace note takes its time from before
                    notes.append((max(0.0, b - rng.uniform(0.04, 0.09)), b, int(p + rng.choice([1, 2, -1, 12])), int(v * 0.8), channel))
                elif u < 0.06 and f - b > 0.35:            # a trill
                    rate, when, k = rng.uniform(9, 14), b, 0
                    while when < f - 0.08:
                        notes.append((when, when + 1 / rate, int(p + (2 if k % 2 else 0)), int(v * (1 if k == 0 else 0.8)), channel))
                        when, k = when + 1 / rate, k + 1
                    continue
            notes.append((b, float(f), int(p), int(v), channel))
        if program in SUSTAINED + STRINGS + WINDS + BRASS + SAXES and rng.random() < 0.4 and np.ptp(level) > 3:
            swells += [(float(beat_times[k]), channel, 11, int(np.clip(127 * 10 ** (level[k] / 60), 30, 127))) for k in range(0, played)]
        if program in STRINGS + WINDS + SAXES and rng.random() < 0.3:
            swells.append((0.0, channel, 1, int(rng.integers(10, 70))))
    alone = free and player.alone
    if not alone and (family not in ("piano",) and rng.random() < 0.3 or rng.random() < 0.04):
        notes += drums(rng, piece, first, played, at, level)
    if len(notes) < 30:
        return None
    beats = beat_times[:played]
    downs = [float(at(b)) for b in piece.bars if first - 1e-6 <= b < first + played]
    half = [float(at(k + first + (f if not swing else swing))) for k in range(played - 1) for f in ((0.5,) if piece.division == 2 else (1 / 3, 2 / 3))]
    length = float(min(beat_times[min(played, count - 1)] + 1.2, SECONDS + 1.5))
    truth = dict(beats=[round(float(b), 4) for b in beats], downs=[round(d, 4) for d in downs], halves=[round(h, 4) for h in half],
                 division=piece.division, per_bar=piece.per_bar, bpm=[round(float(b), 1) for b in bpm[:played]], kind=kind, family=family, heard=length)
    if free:
        truth["free"] = True
    # Notes that would sound past the end stop there.
    notes = sorted((round(b, 4), round(min(f, length), 4), p, v, c) for b, f, p, v, c in notes if b < length - 0.02)
    return dict(notes=notes, programs=programs, controls=sorted(swells), seconds=length, **surroundings(rng)), truth


def _accents(rng, piece, free=False):
    """Percent of velocity added at a place in the bar, given in 48ths of a beat."""
    down, beat, off = float(rng.choice([0, 4, 10, 22])), float(rng.choice([0, 0, 3, 8])), float(rng.choice([0, 0, 0, 8, -8]))
    random_share = float(rng.choice([0, 0, 0.03]))
    if free and rng.random() < 0.2:                        # accents that go their own way
        every, strength = int(rng.choice([16, 18, 30, 32, 36, 64, 72, 96])), float(rng.choice([10, 20, 35]))
        return lambda key, is_bar: strength if key % every == 0 else 0.0

    def accent(key, is_bar):
        if random_share and rng.random() < random_share:
            return 30.0
        return down if is_bar else beat if key % 48 == 0 else off
    return accent


def drums(rng, piece, first, played, at, level):
    """A drum part in one of several common patterns."""
    pattern = int(rng.integers(0, 7))
    bar_set = set(np.round(piece.bars).astype(int))
    out, loud = [], float(rng.uniform(50, 100))
    begin = int(rng.integers(0, max(1, played // 2))) if rng.random() < 0.3 else 0
    quietest = float(rng.uniform(-14, -3)) if rng.random() < 0.4 else -99.0
    place = 0
    for k in range(begin, played - 1):
        beat = first + k
        place = 0 if beat in bar_set else place + 1
        down = place == 0
        if level[k] < quietest:
            continue
        v = int(np.clip(loud * 10 ** (level[k] / 40) + rng.normal(0, 5), 8, 124))

        def hit(when, drum, scale=1.0):
            out.append((max(0.0, float(at(when)) + rng.normal(0, 0.004)), float(at(when)) + 0.1, drum, int(max(6, v * scale)), 9))

        if pattern == 0 and down:
            hit(beat, 36)
        elif pattern == 1:
            hit(beat, 36 if place % 2 == 0 else 38)
            for s in range(piece.division):
                hit(beat + s / piece.division, 42, 0.6)
        elif pattern == 2:
            hit(beat, [54, 70, 39, 37][k % 1 + int(loud) % 4])
        elif pattern == 3:                                  # a side drum marching
            hit(beat, 38, 1.0 if down else 0.8)
            for s in ([0.5, 0.75] if piece.division == 2 and place % 2 else [0.5] if piece.division == 2 else [1 / 3, 2 / 3]):
                hit(beat + s, 38, 0.55)
            if down:
                hit(beat, 36)
        elif pattern == 4:                                  # bass drum and off-beat
            hit(beat, 36)
            hit(beat + (0.5 if piece.division == 2 else 2 / 3), 42, 0.8)
        elif pattern == 5:
            if down:
                hit(beat, 49 if k % 32 == 0 else 36)
            hit(beat, 81, 0.6)
        elif pattern == 6 and (down or rng.random() < 0.4):
            hit(beat, [47, 45, 41][place % 3])
    return out


def surroundings(rng):
    """Room, noise and the loss of an old disc."""
    old = rng.random() < 0.2
    return dict(
        font=int(rng.integers(0, 1 << 20)), reverb=float(rng.choice([0, 0.1, 0.3, 0.6, 0.9])), room=float(rng.choice([0, 0, 0, 0.15, 0.35])),
        decay=float(rng.uniform(0.4, 2.5)), noise=float(rng.choice([0.01, 0.03, 0.08]) if old else rng.choice([0, 0, 0.001, 0.003, 0.01])),
        crackle=float(rng.uniform(2, 40) if old and rng.random() < 0.7 else 0), low_pass=float(rng.uniform(2500, 6000) if old else rng.choice([0, 0, 0, 7000, 4500])),
        high_pass=float(rng.uniform(80, 300) if old else rng.choice([0, 0, 0, 60, 120])), wow=float(rng.uniform(0, 0.004) if old else 0),
        drive=float(rng.choice([0, 0, 0, 1.0, 2.5])), tilt=float(rng.choice([0, 0, 0, 0.3, 0.6, -0.3])), seed=int(rng.integers(1 << 30)))
