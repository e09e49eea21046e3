"""Pieces to be played: from public-domain scores, or invented.

A piece knows beats only, never seconds: `voices` hold (onset, length, pitch) in beats, `bars` the beats on which bars start.
"""
import math
from dataclasses import dataclass, field

import numpy as np

import freer

SCALES = {"major": [0, 2, 4, 5, 7, 9, 11], "minor": [0, 2, 3, 5, 7, 8, 11], "dorian": [0, 2, 3, 5, 7, 9, 10], "mixolydian": [0, 2, 4, 5, 7, 9, 10]}
# Chord roots as scale degrees, one a bar: common-practice successions.
PROGRESSIONS = [[0, 3, 4, 0], [0, 0, 4, 4], [0, 4, 0, 4], [0, 5, 3, 4], [0, 3, 0, 4], [0, 1, 4, 0], [5, 3, 0, 4], [0, 4, 5, 3], [0, 0, 3, 4],
                [0, 2, 3, 4], [0, 5, 1, 4], [0, 0, 0, 4], [0, 6, 5, 4], [0, 3, 6, 2, 5, 1, 4, 0]]
# Fillings of one beat in parts of that beat, for simple and compound time.
CELLS_SIMPLE = {
    "long": [[1.0]],
    "even": [[0.5, 0.5], [1.0], [0.5, 0.5]],
    "mixed": [[1.0], [0.5, 0.5], [0.75, 0.25], [0.5, 0.25, 0.25], [0.25, 0.25, 0.5], [0.25] * 4, [-0.5, 0.5]],
    "dotted": [[0.75, 0.25], [1.0], [0.75, 0.25], [0.5, 0.5]],
    "running": [[0.25] * 4, [0.25] * 4, [0.25] * 4, [0.5, 0.25, 0.25], [0.5, 0.5]],
    "triplets": [[1 / 3] * 3, [1 / 3] * 3, [1.0], [2 / 3, 1 / 3]],
    "adagio": [[0.25] * 4, [0.5, 0.25, 0.125, 0.125], [0.125] * 8, [0.75, 0.125, 0.125], [1 / 6] * 6, [1.0], [0.5, 0.5], [0.25, 0.25, 0.125, 0.125, 0.25]],
    "syncopated": [[0.25, 0.5, 0.25], [0.5, 0.5], [-0.5, 0.5], [0.75, 0.25], [-0.25, 0.5, 0.25]],
}
CELLS_COMPOUND = {
    "long": [[1.0], [2 / 3, 1 / 3]],
    "even": [[1 / 3] * 3, [2 / 3, 1 / 3], [1.0]],
    "mixed": [[1 / 3] * 3, [2 / 3, 1 / 3], [0.5, 1 / 6, 1 / 3], [1 / 6] * 6, [1.0], [1 / 3, 2 / 3]],
    "running": [[1 / 3] * 3, [1 / 3] * 3, [1 / 3] * 3, [2 / 3, 1 / 3]],
    "fast": [[1 / 6] * 6, [1 / 3] * 3, [1 / 3, 1 / 6, 1 / 6, 1 / 3]],
}


@dataclass
class Piece:
    voices: list            # [(role, [(onset, length, pitch)])]; role: melody, bass, chords, part
    bars: list              # beats on which a bar starts, ascending
    per_bar: int            # beats in most bars
    division: int           # 2: beats halve, 3: beats fall into thirds
    end: float              # beats
    sections: list = field(default_factory=list)  # beats on which a new section starts


def beat_of(signature):
    """(quarter notes in a beat, beats in a bar, division) of a time signature, or None for one this recipe leaves out."""
    above, below = map(int, signature.split("/"))
    if below == 8 and above in (6, 9, 12):
        return 1.5, above // 3, 3
    if below == 8 and above == 3:
        return 0.5, 3, 2
    if below in (2, 4) and 2 <= above <= 6:
        return 4.0 / below, above, 2
    return None


def whole_bars(starts, per_bar):
    """The starts at which a whole bar begins: not a pickup, nor the second half of a bar that a repeat mark divides.

    None when the bars do not lie a whole number of beats apart, so that nobody could count through them.
    """
    if len(starts) < 3:
        return None
    whole, due = [], starts[1] if starts[1] - starts[0] < per_bar - 1e-3 else starts[0]
    for start in starts:
        if start < due - 1e-3:
            continue
        if whole and abs((start - whole[0]) - round(start - whole[0])) > 1e-3:
            return None
        whole.append(start)
        due = start + per_bar
    return whole


def from_score(rng, scores, free=False):
    """A piece from a score with one time signature throughout; short tunes are repeated, sometimes given an accompaniment.

    None when none of them has one that this recipe knows.
    """
    for _ in range(60):
        score = scores[rng.integers(len(scores))]
        signatures = {s for _, s in score["bars"]}
        measure = beat_of(next(iter(signatures))) if len(signatures) == 1 else None
        if not measure:
            continue
        unit, per_bar, division = measure
        starts = whole_bars([o / unit for o, _ in score["bars"]], per_bar)
        if not starts or len(starts) < 6:
            continue
        # Beats are counted from the first whole bar: a pickup of less than a beat must not move them.
        ahead = math.ceil(starts[0] - 1e-3) - starts[0]
        starts = [float(round(b + ahead)) for b in starts]
        voices = [[(o / unit + ahead, d / unit, p) for o, d, p in part if d > 0] for part in score["parts"]]
        voices = [v for v in voices if v]
        if not voices:
            continue
        end = max(o + d for v in voices for o, d, _ in v)
        bars = list(starts)
        if end < 150:                                   # a tune: play it again, as tunes are
            span = starts[-1] + per_bar - starts[0]
            times = int(min(9, math.ceil(200 / span)))
            pickup = max(0.0, starts[0] - min(o for v in voices for o, _, _ in v))
            again = starts[0] - (pickup if end < starts[0] + span - pickup + 1e-3 else 0.0)
            voices = [[(o + k * span, d, p) for k in range(times) for o, d, p in v if k == 0 or o >= again - 1e-6] for v in voices]
            bars = [b + k * span for k in range(times) for b in starts]
            end = times * span
            sections = [starts[0] + k * span for k in range(times)]
        else:
            sections = [bars[k] for k in range(0, len(bars), 8)]
        if len(voices) == 1:
            voices = [("melody", voices[0])]
            if rng.random() < 0.65:
                voices += accompany(rng, voices[0][1], bars, per_bar, division, sections, free)
        elif rng.random() < 0.12:                       # one line alone
            voices = [("melody", voices[0])]
        else:
            voices = [("part", v) for v in voices]
            if rng.random() < 0.1:
                voices += accompany(rng, voices[0][1], bars, per_bar, division, sections, free)[-1:]
        return Piece(voices, bars, per_bar, division, end, sections)
    return None


def accompany(rng, melody, bars, per_bar, division, sections, free=False):
    """Bass and chords that fit the tune, bar by bar."""
    weight = np.zeros(12)
    for _, length, pitch in melody:
        weight[pitch % 12] += length
    key = max(range(12), key=lambda k: sum(weight[(k + s) % 12] for s in SCALES["major"]) + 0.6 * weight[k])
    triads = [[(key + SCALES["major"][(d + i) % 7]) % 12 for i in (0, 2, 4)] for d in (0, 3, 4, 5, 1)]
    by_bar = np.zeros((len(bars), 12))
    index = np.clip(np.searchsorted(bars, [o + 1e-6 for o, _, _ in melody]) - 1, 0, len(bars) - 1)
    for k, (_, length, pitch) in zip(index, melody):
        by_bar[k, pitch % 12] += length
    bias = (0.3, 0.1, 0.2, 0.05, 0.0)
    chords = [max(triads, key=lambda t: by_bar[k, t].sum() + bias[triads.index(t)]) for k in range(len(bars))]
    return textures(rng, bars, per_bar, division, chords, sections, free)


def textures(rng, bars, per_bar, division, chords, sections, free=False, sparse=False):
    """A bass voice and a chord voice; the texture changes at some sections."""
    low, middle = [], []
    bass_at = 36 + int(rng.integers(0, 10))
    chord_at = 52 + int(rng.integers(0, 10))
    names = ["oompah", "oompah", "alberti", "walking", "block", "beats", "tremolo", "arpeggio", "held", "offbeat", "drone", "stride", "octaves", "repeated"]
    if free:
        names = freer.SPARSE_TEXTURES if sparse else names + 2 * freer.TEXTURES
    texture, density = names[rng.integers(len(names))], float(rng.uniform(0.5, 1))
    boundaries = set(round(s, 3) for s in sections)
    sub = [k / division for k in range(division)]
    for bar, chord in zip(bars, chords):
        if round(bar, 3) in boundaries and rng.random() < (0.6 if free else 0.4):
            texture = names[rng.integers(len(names))]
        bass = bass_at + (chord[0] - bass_at) % 12
        fifth = bass + 7 if rng.random() < 0.7 else bass - 5
        notes = sorted(chord_at + (c - chord_at) % 12 for c in chord)
        low_notes, mid_notes = [], []

        def chord_on(at, length):
            mid_notes.extend((bar + at, length, p) for p in notes)

        if texture in freer.TEXTURES:
            low_notes, mid_notes = freer.texture_bar(rng, texture, bar - bars[0], bar, per_bar, division, density, bass, fifth, notes)
        elif texture in ("oompah", "stride"):
            step = 0.5 if (texture == "oompah" and per_bar in (2, 4) and division == 2 and density < 0.7) else 1
            if division == 3 and density < 0.75:
                for b in range(per_bar):
                    low_notes.append((bar + b, 0.5, bass if b % 2 == 0 else fifth))
                    chord_on(b + 2 / 3, 0.3)
                    if density < 0.6:
                        chord_on(b + 1 / 3, 0.3)
            elif step == 0.5:
                for b in range(per_bar):
                    low_notes.append((bar + b, 0.45, bass if b % 2 == 0 else fifth))
                    chord_on(b + 0.5, 0.4)
            else:
                for b in range(per_bar):
                    if b == 0 or (per_bar == 4 and b == 2):
                        low_notes.append((bar + b, 0.9, bass if b == 0 else fifth))
                        if texture == "stride":
                            low_notes.append((bar + b, 0.9, bass - 12 if b == 0 else fifth - 12))
                    else:
                        chord_on(b, 0.6)
        elif texture == "alberti":
            order = [0, 2, 1, 2] if division == 2 else [0, 1, 2]
            per = (2 if density < 0.75 else 4) if division == 2 else 3
            for k in range(per_bar * per):
                mid_notes.append((bar + k / per, 1 / per, notes[order[k % len(order)]]))
        elif texture == "walking":
            for b in range(per_bar):
                low_notes.append((bar + b, 0.9, bass + [0, 4, 7, 9, 12, 7][b % 6] if density > 0.7 else bass + [0, 2, 4, 5, 7, 9][b % 6]))
                if rng.random() < 0.25:
                    chord_on(b + (sub[-1] if rng.random() < 0.5 else 0), 0.4)
        elif texture == "block":
            half = per_bar / 2 if per_bar in (4, 6) and density < 0.8 else per_bar
            at = 0.0
            while at < per_bar - 1e-6:
                chord_on(at, half)
                low_notes.append((bar + at, half, bass))
                at += half
        elif texture == "beats":
            for b in range(per_bar):
                chord_on(b, 0.8)
                low_notes.append((bar + b, 0.8, bass))
        elif texture == "tremolo":
            per = division * (2 if density > 0.7 else 4)
            low_notes.append((bar, per_bar, bass))
            for k in range(per_bar * per):
                mid_notes.append((bar + k / per, 1 / per, notes[k % 2 * 2 if density < 0.8 else 1]))
        elif texture == "arpeggio":
            per = (4 if density > 0.6 else 2) if division == 2 else (3 if density < 0.8 else 6)
            ladder = [bass, bass + 12] + notes + [notes[0] + 12]
            ladder = ladder + ladder[-2:0:-1]
            for k in range(per_bar * per):
                mid_notes.append((bar + k / per, 1 / per, ladder[k % len(ladder)]))
        elif texture == "held":
            chord_on(0, per_bar)
            low_notes.append((bar, per_bar, bass))
        elif texture == "offbeat":
            for b in range(per_bar):
                chord_on(b + sub[-1], 0.3)
            low_notes.append((bar, per_bar * 0.5, bass))
            if per_bar >= 4:
                low_notes.append((bar + per_bar // 2, per_bar * 0.5, fifth))
        elif texture == "drone":
            low_notes += [(bar, per_bar, bass_at + (chords[0][0] - bass_at) % 12), (bar, per_bar, bass_at + (chords[0][0] - bass_at) % 12 + 7)]
        elif texture == "octaves":
            per = division
            for k in range(per_bar * per):
                low_notes.append((bar + k / per, 1 / per, bass + 12 * (k % 2)))
        elif texture == "repeated":
            for b in range(per_bar):
                for s in sub:
                    chord_on(b + s, 0.9 / division)
            low_notes.append((bar, per_bar, bass))
        low += low_notes
        middle += mid_notes
    return [(role, notes) for role, notes in (("bass", low), ("chords", middle)) if notes]


def invented(rng, free=False):
    """A piece of 4- to 8-bar phrases in two or three recurring sections, each with its rhythm cells and its texture."""
    per_bar, division = [(2, 2), (3, 2), (4, 2), (4, 2), (2, 3), (2, 3), (3, 3), (4, 3), (5, 2), (6, 2)][
        rng.choice(10, p=[0.14, 0.2, 0.2, 0.14, 0.1, 0.06, 0.05, 0.05, 0.03, 0.03])]
    sparse = free and rng.random() < 0.3                  # beats pass faster than notes: a quick waltz, mostly
    if sparse and rng.random() < 0.6:
        per_bar, division = 3, 2
    cells = CELLS_SIMPLE if division == 2 else CELLS_COMPOUND
    styles = list(cells) + (freer.STYLES if free else [])
    if sparse:
        styles = freer.SPARSE_STYLES
    scale = SCALES[list(SCALES)[rng.choice(4, p=[0.5, 0.3, 0.1, 0.1])]]
    key = int(rng.integers(0, 12))
    phrase_bars = int(rng.choice([4, 4, 4, 8, 8, 6, 5, 3]))
    form = ["AABB", "ABA", "AABA", "ABAC", "AB", "ABCA"][rng.integers(6)]
    made, melody, second, bars, chords, sections = {}, [], [], [], [], []
    counterpoint = rng.random() < 0.2
    upbeat = [[], [], [0.5], [0.0], [0.0, 0.5], [0.75], [0.5, 0.75]][rng.integers(7)] if division == 2 else [[], [2 / 3], [1 / 3, 2 / 3], [0.0]][rng.integers(4)]
    pickup = float(rng.choice([0, 0, 0.25, 0.5, 0.75, 1.0] if division == 2 else [0, 0, 1 / 6, 1 / 3, 2 / 3, 1.0]))
    home = key + 60 + int(rng.integers(0, 14))
    for letter in list("".join(form[k % len(form)] for k in range(40))):
        if letter not in made:
            style = styles[rng.integers(len(styles))]
            made[letter] = (style, PROGRESSIONS[rng.integers(len(PROGRESSIONS))], [_bar_rhythm(rng, cells, style, per_bar, division) for _ in range(2)], rng.integers(1 << 30))
        style, progression, motifs, seed = made[letter]
        local = np.random.default_rng(seed if rng.random() < 0.8 else rng.integers(1 << 30))
        start = len(bars) * per_bar
        sections.append(start)
        degree, direction = int(local.integers(0, 5)), 1
        walk = 0.75 if local.random() < 0.6 else 0.4     # how often the line moves by step
        for k in range(phrase_bars):
            bar = start + k * per_bar
            root = progression[k % len(progression)]
            bars.append(bar)
            chords.append([(key + scale[(root + i) % 7] + (12 if root + i >= 7 else 0)) % 12 for i in (0, 2, 4)])
            last = k == phrase_bars - 1
            rhythm = motifs[k % 2] if local.random() < 0.7 else _bar_rhythm(local, cells, style, per_bar, division)
            if last and local.random() < 0.8:            # a cadence rests, and an upbeat may lead on
                rhythm = [(0.0, max(1.0, per_bar - 1.0))] if local.random() < 0.7 or per_bar < 3 else [(0.0, 1.0), (1.0, per_bar - 2.0)]
                if upbeat:
                    rhythm = rhythm + [(per_bar - 1.0 + u, 1.0 - u if k == len(upbeat) - 1 else upbeat[k + 1] - u) for k, u in enumerate(upbeat)]
            for at, length in rhythm:
                quick = free and length < 0.26           # runs go on as they began
                strong = abs(at - round(at)) < 1e-6 and local.random() < 0.6
                if quick and not strong:
                    degree, direction = freer.run(local, degree, direction)
                elif strong:                             # chord notes fall on beats
                    degree = min((root + i + o for i in (0, 2, 4) for o in (-7, 0, 7)), key=lambda x: abs(x - degree) + 0.3 * local.random())
                elif local.random() < walk:
                    degree += int(local.choice([-1, 1]))
                else:
                    degree += int(local.choice([-4, -3, -2, 0, 2, 3, 4]))
                degree = int(np.clip(degree, -7, 14))
                pitch = home + scale[degree % 7] + 12 * (degree // 7)
                melody.append((bar + at, length, pitch))
                if counterpoint:
                    second.append((bar + at + per_bar * (1 if phrase_bars > 3 else 0.5), length, pitch - 12 - (5 if local.random() < 0.3 else 0)))
        if len(bars) * per_bar > 330:
            break
    end = len(bars) * per_bar
    voices = [("melody", melody)]
    if counterpoint:
        voices.append(("part", [n for n in second if n[0] < end]))
    kind = rng.random()
    if sparse and kind > 0.1:
        kind = 0.5
    if kind < 0.10:
        pass                                             # the line alone
    elif kind < 0.12:                                    # two lines that fill each other's gaps
        other = cells[list(cells)[rng.integers(len(cells))]]
        notes = [(b + at, d, home - 12 + int(rng.choice([0, 2, 4, 5, 7, -3, -5]))) for b in bars for at, d in _bar_rhythm(rng, {"x": other}, "x", per_bar, division)]
        voices.append(("part", notes))
    elif kind < 0.3:                                     # a prelude: one figure through the harmony, with or without a slow line
        figure = _figuration(rng, bars, per_bar, division, chords, home)
        slow = [(b, per_bar, home + 12 + int(rng.choice([0, 2, 4, 7]))) for b in bars] if rng.random() < 0.4 else []
        voices = figure + ([("melody", slow)] if slow else [])
    elif kind < 0.36:                                    # chorale: everyone in the melody's rhythm, slowed to beats
        voices = _chorale(rng, bars, per_bar, chords, home)
    else:
        voices += textures(rng, bars, per_bar, division, chords, sections, free, sparse)
    if kind > 0.9:                                       # a second line in thirds or octaves below
        voices.append(("melody", [(o, d, p - int(rng.choice([3, 4, 12, 8]))) for o, d, p in melody]))
    if pickup and pickup < per_bar:
        lead = [(-pickup, pickup, home + scale[4] - 12)] if pickup <= 0.5 else [(-pickup, pickup / 2, home - 5), (-pickup / 2, pickup / 2, home - 3)]
        voices[0] = (voices[0][0], lead + voices[0][1])
    shift = pickup if pickup < per_bar else 0.0
    # Beats stay whole numbers on the bar's beats: move everything by whole beats so that nothing is before zero.
    whole = math.ceil(shift)
    voices = [(r, [(o + whole, d, p) for o, d, p in v]) for r, v in voices]
    return Piece(voices, [b + whole for b in bars], per_bar, division, end + whole, [s + whole for s in sections])


def _figuration(rng, bars, per_bar, division, chords, home):
    """A keyboard figure of one or two beats repeated through the chords, its lowest notes held or struck as a bass."""
    per = int(rng.choice([2, 4, 4, 4, 6, 8, 3])) if division == 2 else int(rng.choice([3, 3, 6]))
    beats = 1 if per_bar % 2 or rng.random() < 0.6 else 2
    length = per * beats
    steps = [int(x) for x in rng.integers(0, 6, length)]
    if rng.random() < 0.6:                               # mostly a rising or a rising and falling figure
        steps = [k % 6 for k in range(length)] if rng.random() < 0.5 else [min(k, length - k) % 6 for k in range(length)]
    silent = {0} if rng.random() < 0.3 else set()        # the bass has the beat, the figure the rest
    bass_every = float(rng.choice([1, 2, per_bar])) if per_bar % 2 == 0 else float(rng.choice([1, per_bar]))
    upper, lower = [], []
    for bar, chord in zip(bars, chords):
        tones = sorted({home - 14 + (c - home + 14) % 12 + 12 * o for c in chord for o in (0, 1)})
        for k in range(per_bar * per):
            if k % length not in silent:
                upper.append((bar + k / per, 1 / per, tones[steps[k % length] % len(tones)]))
        at = 0.0
        while at < per_bar - 1e-6:
            lower.append((bar + at, bass_every, home - 24 + (chord[0] - home) % 12))
            at += bass_every
    return [("chords", upper)] + ([("bass", lower)] if silent or rng.random() < 0.7 else [])


def _bar_rhythm(rng, cells, style, per_bar, division):
    """[(onset, length)] of one bar from the style's cells; now and then a note held over several beats."""
    if style in freer.STYLES:
        return freer.rhythm(rng, style, per_bar, division)
    at, out, beat = 0.0, [], 0
    while beat < per_bar:
        left = per_bar - beat
        if style in ("long", "even", "mixed", "dotted") and left >= 2 and rng.random() < (0.45 if style == "long" else 0.13):
            length = 1.5 if (rng.random() < 0.4 and style != "long") else float(min(left, rng.choice([2, 2, 3])))
            out.append((beat, length))
            if length == 1.5:
                out.append((beat + 1.5, 0.5))
                length = 2.0
            beat += int(length)
            continue
        at = float(beat)
        options = cells[style]
        for part in options[rng.integers(len(options))]:
            if part > 0:
                out.append((at, part))
            at += abs(part)
        beat += 1
    return out


def _chorale(rng, bars, per_bar, chords, home):
    """Four voices in block chords, mostly a chord a beat with some passing notes."""
    voices = [[], [], [], []]
    centres = [home + 7, home + 2, home - 5, home - 15]
    for bar, chord in zip(bars, chords):
        beat = 0
        while beat < per_bar:
            length = 1 if rng.random() < 0.75 or beat + 2 > per_bar else 2
            for v, centre in enumerate(centres):
                tone = chord[rng.integers(3)] if v < 3 else chord[0]
                pitch = centre + (tone - centre + 6) % 12 - 6
                if length == 1 and rng.random() < 0.15:
                    voices[v] += [(bar + beat, 0.5, pitch), (bar + beat + 0.5, 0.5, pitch + int(rng.choice([-2, 2])))]
                else:
                    voices[v].append((bar + beat, length, pitch))
            beat += length
    return [("part", v) for v in voices]
