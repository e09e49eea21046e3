"""What a freely written piece has beyond `pieces.py`: rhythms and textures that hide the beat, silences, tunes that break off.

All times are beats. Nothing here moves a beat: these pieces differ in which notes there are.
"""
from dataclasses import replace

# Rhythms drawn bar by bar by `rhythm` below.
STYLES = ["passages", "passages", "sighs", "tied", "cadenza", "wide"]
# Textures drawn bar by bar by `texture_bar` below.
TEXTURES = ["syncopated", "syncopated", "against", "against", "afterbeat", "afterbeat", "silent", "silent", "across", "figure", "late"]

# For pieces whose beats pass faster than their notes.
SPARSE_STYLES = ["wide", "wide", "wide", "long", "even"]
SPARSE_TEXTURES = ["oompah", "oompah", "block", "held", "silent", "drone"]


def rhythm(rng, style, per_bar, division):
    """[(onset, length)] of one bar."""
    half = 1 / division if division == 2 or rng.random() < 0.5 else 2 / 3
    if style == "passages":                              # even runs; how many notes a beat has may change from beat to beat
        many = int(rng.choice([3, 4, 4, 5, 6, 6, 7, 8, 8] if division == 2 else [3, 3, 6, 6, 4, 8, 9]))
        out, begin = [], int(rng.integers(0, per_bar)) if rng.random() < 0.25 else 0
        if begin:
            out.append((0.0, float(begin)))
        for beat in range(begin, per_bar):
            if rng.random() < 0.12:
                many = int(rng.integers(3, 9))
            out += [(beat + k / many, 1 / many) for k in range(many)]
        return out
    if style == "sighs":                                 # pairs that lean on their first note, on the beat or over it
        over = rng.random() < 0.4
        out = []
        for beat in range(per_bar):
            if rng.random() < 0.15:
                out.append((float(beat), 1.0))
            elif over:
                out += [(beat + half, 1 - half)] + ([(float(beat), half * 0.8)] if beat else [])
            else:
                first = float(rng.choice([0.5, 0.5, 0.75])) if division == 2 else float(rng.choice([2 / 3, 1 / 3]))
                out += [(float(beat), first), (beat + first, (1 - first) * 0.7)]
        return sorted(out)
    if style == "tied":                                  # begun off the beat and held over it, over the bar line too
        at = half if division == 3 else float(rng.choice([0.5, 0.5, 0.25, 0.75]))
        out = [(0.0, at)] if rng.random() < 0.3 else []
        while at < per_bar:
            length = float(rng.choice([1, 1, 1, 2]))
            out.append((at, length))
            at += length
        return out
    if style == "cadenza":                               # a long note, then small ones, as many as there are
        held = int(rng.integers(1, per_bar + 1)) if per_bar > 1 else 1
        out = [(0.0, float(held))]
        if held < per_bar:
            span = per_bar - held if rng.random() < 0.5 else 1
            many = int(rng.integers(5 * span, 11 * span))
            out[0] = (0.0, float(per_bar - span))
            out += [(per_bar - span + span * k / many, span / many) for k in range(many)]
        return out
    at = float(rng.choice([0, 0, 0, 1])) if per_bar > 1 else 0.0   # wide: hardly a note a bar
    if rng.random() < 0.12:
        return []
    return [(at, per_bar - at)] if per_bar < 4 or rng.random() < 0.6 else [(at, 2.0 - at), (2.0, per_bar - 2.0)]


def run(rng, degree, direction):
    """(degree, direction) of a quick note: runs keep their direction, mostly."""
    if rng.random() < 0.1 or degree >= 13 or degree <= -6:
        direction = -1 if degree > 4 else 1
    return degree + direction * (1 if rng.random() < 0.85 else 2), direction


def texture_bar(rng, texture, at, bar, per_bar, division, density, bass, fifth, notes):
    """(bass notes, chord notes) of the bar that starts on beat `bar`, which is the `at`-th beat of the piece.

    `density` in .5 .. 1 is drawn once a piece and picks among variants, so that a texture stays what it is from bar to bar.
    """
    low, mid = [], []

    def chord(when, length):
        mid.extend((bar + when, length, p) for p in notes)

    third = division == 3
    off = 0.5 if not third else 2 / 3 if density > 0.75 else 1 / 3
    if texture == "syncopated":                          # chords off the beat, tied over it; hardly a bass
        for b in range(per_bar):
            chord(b + off, 1.0 if density > 0.65 else 0.45)
        if density > 0.85 or rng.random() < 0.15:
            low.append((bar, float(per_bar), bass))
    elif texture == "against":                           # two against three, three against four
        if third:
            span, many = 1, 2 if density < 0.75 else 4
        elif density < 0.65 or per_bar == 5:
            span, many = 1, 3
        elif per_bar % 2 == 0:
            span, many = 2, 3
        else:
            span, many = per_bar, 4 if density < 0.8 else 2
        for g in range(per_bar // span):
            for k in range(many):
                mid.append((bar + g * span + k * span / many, span / many, notes[k % 3]))
        low.append((bar, float(per_bar), bass))
    elif texture == "afterbeat":                         # bass on the beat (or the bar), chords after
        after = 2 if third or density < 0.7 else 3
        if density < 0.85 or per_bar < 3:
            for b in range(per_bar):
                low.append((bar + b, 0.9 / (after + 1), bass if b % 2 == 0 else fifth))
                for k in range(1, after + 1):
                    chord(b + k / (after + 1), 0.8 / (after + 1))
        else:
            low.append((bar, 0.9, bass))
            for b in range(1, per_bar):
                chord(b, 0.4)
                chord(b + off, 0.4)
    elif texture == "across":                            # groups that take no notice of the bar
        unit = 1 / division if density < 0.8 else 0.5 / division
        size = 3 if not third else 2 if density < 0.7 else 4
        for k in range(round(per_bar / unit)):
            place = round(at / unit) + k
            if place % size == 0:
                low.append((bar + k * unit, unit, bass if place // size % 2 == 0 else fifth))
            else:
                chord(k * unit, 0.9 * unit)
    elif texture == "figure":                            # quick figuration whose top notes are not the beats
        per = (4 if density < 0.7 else 6 if density < 0.8 else 8) if not third else 6
        size = 5 if density > 0.85 else 3 if per % 3 else 4
        for k in range(per_bar * per):
            place = round(at * per) + k
            mid.append((bar + k / per, 1 / per, notes[-1] + 12 if place % size == size // 2 else notes[place % size % len(notes)]))
        if density < 0.75:
            low.append((bar, float(per_bar), bass))
    elif texture == "late":                              # a rest on the beat, then the figure
        per = 3 if third else 4 if density > 0.6 else 2
        for b in range(per_bar):
            for k in range(1, per):
                mid.append((bar + b + k / per, (per - k) / per, notes[(k - 1) % len(notes)]))
        if rng.random() < 0.3:
            low.append((bar + off, per_bar - off, bass))
    return low, mid                                      # silent: nothing


def broken(rng, piece):
    """The piece with, now and then, stretches in which only the melody plays, and places where everyone stops for 1-3 beats."""
    voices = [(role, list(notes)) for role, notes in piece.voices]
    if len(piece.bars) > 12 and rng.random() < 0.3 and len(voices) > 1:
        main = next((k for k, (role, _) in enumerate(voices) if role == "melody"), 0)
        for _ in range(int(rng.integers(1, 5))):
            k = int(rng.integers(0, len(piece.bars) - 8))
            begin, until = piece.bars[k], piece.bars[k + int(rng.integers(2, 8))]
            voices = [(role, notes if v == main else cut(notes, begin, until)) for v, (role, notes) in enumerate(voices)]
    if rng.random() < 0.3:
        places = [s for s in piece.sections if s > 8] if rng.random() < 0.6 else piece.bars[4:]
        for _ in range(int(rng.integers(1, 6))):
            if places:
                until = places[rng.integers(len(places))]
                if rng.random() < 0.3:                   # in the midst of it
                    until += int(rng.integers(1, piece.per_bar + 1))
                begin = until - int(rng.integers(1, 4))
                voices = [(role, cut(notes, begin, until)) for role, notes in voices]
    return replace(piece, voices=[(role, notes) for role, notes in voices if notes])


def cut(notes, begin, until):
    """The notes without those that begin in begin .. until; those that sound into it end there."""
    out = []
    for onset, length, pitch in notes:
        if onset < begin - 1e-6:
            out.append((onset, min(length, begin - onset), pitch))
        elif onset >= until - 1e-6:
            out.append((onset, length, pitch))
    return out
