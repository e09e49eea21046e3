"""Two- and three-strain dance tunes of Ryan's Mammoth Collection (1883) as strains of whole bars.

Repeat marks tell where a strain ends, so that what is played twice, and where it begins again, is known.
"""
from dataclasses import dataclass, field
from pathlib import Path

from music21 import bar, converter, corpus, spanner

# Beat in quarter notes by notated metre: what feet do.
BEAT = {"2/4": 1.0, "2/2": 2.0, "4/4": 1.0, "3/4": 1.0, "6/8": 1.5, "9/8": 1.5}


@dataclass
class Strain:
    """`notes` (onset, length, midi pitch) in quarter notes from the first full bar; a pickup has negative onsets."""
    notes: list
    bars: int


@dataclass
class Tune:
    name: str
    metre: str
    bar: float
    beat: float
    key: int                # pitch class of the tonic
    minor: bool
    strains: list = field(default_factory=list)


def read(path: Path):
    """The tune, or None when its repeats leave room for doubt."""
    score = converter.parse(path)
    if not hasattr(score, "parts") or len(score.parts) != 1:
        return None
    part = score.parts[0]
    if list(part.recurse().getElementsByClass(spanner.RepeatBracket)):
        return None
    measures = list(part.getElementsByClass("Measure"))
    signatures = {m.timeSignature.ratioString for m in measures if m.timeSignature}
    if len(signatures) != 1 or (metre := signatures.pop()) not in BEAT:
        return None
    full = measures[0].timeSignature.barDuration.quarterLength
    ends = [i for i, m in enumerate(measures) if isinstance(m.rightBarline, bar.Repeat)]
    if len(ends) not in (2, 3) or ends[-1] != len(measures) - 1:
        return None
    key = part.analyze("key")
    tune = Tune(path.stem, metre, float(full), BEAT[metre], key.tonic.pitchClass, key.mode == "minor")
    start = 0
    for end in ends:
        inside = measures[start:end + 1]
        lengths = [float(m.duration.quarterLength) for m in inside]
        pickup = lengths[0] if lengths[0] < full else 0.0
        body = lengths[1:] if pickup else lengths
        # Every bar whole, the last one short by the pickup at most.
        if any(abs(x - full) > 1e-6 for x in body[:-1]) or not full - pickup - 1e-6 <= body[-1] <= full + 1e-6:
            return None
        if len(body) not in (4, 5, 6, 7, 8, 9, 10, 12, 16):
            return None
        notes, at = [], -pickup
        for measure, length in zip(inside, lengths):
            for element in measure.flatten().notes:
                if element.duration.isGrace or element.duration.quarterLength == 0:
                    continue
                top = max(p.midi for p in element.pitches)
                notes.append((at + float(element.offset), float(element.duration.quarterLength), int(top)))
            at += length
        if not notes:
            return None
        tune.strains.append(Strain(notes, len(body)))
        start = end + 1
    return tune


def shortened(strain, bar, rng):
    """The strain without one to three of its inner bars."""
    lost = rng.choice([1, 2, 2, 3])
    first = rng.randrange(1, strain.bars - lost)
    cut, back = first * bar, lost * bar
    notes = [(o if o < cut else o - back, min(n, cut - o) if o < cut else n, p)
             for o, n, p in strain.notes if o < cut or o >= cut + back]
    return Strain(notes, strain.bars - lost)


def library(skip):
    """Paths of all tunes that are not in `skip`, in a fixed order."""
    return sorted(p for p in map(Path, corpus.getCorePaths()) if "/ryansMammoth/" in p.as_posix() and p not in skip)


def chords(tune, strain):
    """One (onset, length, root pitch class, third) a half bar: the triad of the key that agrees best with the tune."""
    degrees = [(0, 3), (5, 3), (7, 4), (3, 4), (8, 4), (10, 4)] if tune.minor else [(0, 4), (5, 4), (7, 4), (9, 3), (2, 3)]
    fond = [.5, .3, .4, 0, 0, 0]
    step = tune.bar / 2 if tune.metre in ("4/4", "2/2") else tune.bar
    out, at = [], 0.0
    while at < strain.bars * tune.bar - 1e-6:
        weights = [0.0] * 12
        for onset, length, pitch in strain.notes:
            shared = min(onset + length, at + step) - max(onset, at)
            if shared > 0:
                weights[pitch % 12] += shared * (1.5 if abs(onset - at) < 1e-6 else 1.0)
        best = max(range(len(degrees)), key=lambda d: fond[d] * step + sum(
            weights[(tune.key + degrees[d][0] + k) % 12] for k in (0, degrees[d][1], 7)))
        if at + step >= strain.bars * tune.bar - 1e-6:
            best = 0
        root, third = degrees[best]
        out.append((at, step, (tune.key + root) % 12, third))
        at += step
    return out
