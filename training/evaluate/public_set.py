#!/usr/bin/env python3
"""Build a listening set that anyone can build: works of music21's corpus, played with a tempo that breathes.

    public_set.py OUT --font FILE.sf2 [--part check|fit] [--dances N] [--chorales N] [--madrigals N]

Each case is NAME.wav with NAME.json: `beats`, `downbeats` (seconds), `source`, and for dances and chorales `sections`
([start, letter], seconds; every strain of a dance as often as it is played, every line of a chorale). No work is among those
that the network learnt from (`corpus.choose`). `--part fit` takes other dances than `--part check`.
"""
import argparse
import json
import random
import sys
import warnings
from pathlib import Path

from music21 import converter, corpus, expressions

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
import corpus as learnt  # noqa: E402
import playing  # noqa: E402
import tunes  # noqa: E402

warnings.filterwarnings("ignore")
FORMS = {2: ["AABB", "AABB", "AABBA", "AABA", "ABAB", "AABBAB"], 3: ["AABBCC", "ABACA", "AABBA", "AABCA"]}
SHAPES = ["steady", "steady", "rubato", "surge", "steps"]


def dance(rng, tune, wav, font):
    """A tune with company, strain by strain."""
    beats_of = [round(s.bars * tune.bar / tune.beat) for s in tune.strains]
    per_bar = tune.bar / tune.beat
    form = [ord(c) - 65 for c in rng.choice(FORMS[len(tune.strains)])]
    bpm = rng.uniform(92, 128) if per_bar != 3 or tune.beat != 1 else rng.uniform(108, 150)
    lead_in = rng.choice([0, 0, 0, 2]) * round(per_bar)
    starts, at = [], lead_in
    for strain in form:
        starts.append(at)
        at += beats_of[strain]
    total = at
    shape = rng.choice(SHAPES)
    times = playing.beat_times(rng, total, bpm, shape, starts[1:] + [total])
    band = playing.Band(rng)
    lead = rng.sample(playing.MELODIES, 2)
    company = rng.choice(playing.COMPANY)
    style = rng.choice(["oom-pah", "oom-pah", "chords", "drone", "bass", "alone"])
    second = lambda b: playing.at(times, b)
    if lead_in:
        for n in range(lead_in):
            band.note(0, second(n), second(n) + .1, 76, 80 if n % round(per_bar) == 0 else 60, drum=True)
    played = {}
    for index, (strain, start) in enumerate(zip(form, starts)):
        notes, turn = tune.strains[strain], played.setdefault(strain, 0)
        played[strain] += 1
        change = rng.random() < .35
        program = lead[(turn + strain) % 2] if change else lead[0]
        loud = rng.choice([70, 85, 95]) if rng.random() < .5 else 82
        for onset, length, pitch in notes.notes:
            here = start + onset / tune.beat
            if here < 0 and not lead_in and index == 0:
                here = max(here, -0.9)
            lean = 8 if abs(onset % tune.bar) < 1e-6 else 0
            band.note(program, second(here), second(here + .92 * length / tune.beat), pitch, loud + lean)
            if turn and rng.random() < .02:
                band.note(program, second(here) - .05, second(here), pitch + 2, loud - 20)
        for onset, length, root, third in tunes.chords(tune, notes):
            low, here = 36 + root, start + onset / tune.beat
            triad = [48 + root, 48 + root + third, 55 + root]
            count = max(1, round(length / tune.beat))
            if style in ("oom-pah", "bass"):
                band.note(32 if style == "bass" else company, second(here), second(here + .6), low, loud - 6)
                for k in range(1, count if style == "oom-pah" else 0):
                    for p in triad:
                        band.note(company, second(here + k), second(here + k + .5), p, loud - 22)
            elif style == "chords":
                for p in [low] + triad:
                    band.note(company, second(here), second(here + count * .95), p, loud - 20)
        if style == "drone":
            for p in (36 + tune.key, 43 + tune.key):
                band.note(109 if company == 0 else company, second(start), second(start + beats_of[strain]), p, loud - 24)
    band.render(wav, font)
    return dict(source=f"ryansMammoth/{tune.name}", bars=[s.bars for s in tune.strains], shape=shape, style=style, beats=times[:total],
                downbeats=[times[n] for n in range(0, total, round(per_bar))],
                sections=([[times[0], "i"]] if lead_in else [])
                + [[times[s], chr(65 + f)] for f, s in zip(form, starts)], end=times[total])


def voices(rng, path, wav, font, beat, longest=75.0):
    """A work in several voices; fermatas are held, and end lines."""
    score = converter.parse(path)
    parts = [p for p in score.parts][:6]
    measures = list(parts[0].getElementsByClass("Measure"))
    bars = [float(m.offset) for m in measures]
    first = measures[0].barDuration.quarterLength - measures[0].duration.quarterLength
    top = parts[0].flatten().notes
    held = sorted({float(n.offset + n.quarterLength) for n in top
                   if any(isinstance(e, expressions.Fermata) for e in n.expressions)})
    end = max(float(p.highestTime) for p in parts)
    bpm = rng.uniform(66, 100)
    end = min(end, longest * bpm / 60 * beat)
    total = int(end / beat)
    ends = [round(h / beat) for h in held if h / beat <= total] or [total]
    times = playing.beat_times(rng, total, bpm, "rubato", ends)
    for stop in ends:
        longer = rng.uniform(.2, 1.2) * 60 / bpm
        if 0 < stop <= total:
            times[stop:] = [t + longer for t in times[stop:]]
    band = playing.Band(rng)
    programs = rng.choice(playing.CHOIRS)
    for n, part in enumerate(parts):
        for note in part.stripTies().flatten().notes:
            at = float(note.offset) / beat
            if note.duration.isGrace or at >= total:
                continue
            for p in note.pitches:
                close = playing.at(times, min(total, at + .96 * float(note.quarterLength) / beat))
                band.note(programs[n % 4], playing.at(times, at), close, p.midi, 76 + 6 * (n == 0))
    band.render(wav, font)
    pickup = float(first) if first and measures[0].number == 0 else 0.0
    down = [playing.at(times, b / beat) for b in bars if b / beat < total and not (pickup and b == 0)]
    # A line mostly begins with a pickup: its count one is the bar start that follows.
    ones = sorted({min((d for d in down if d > playing.at(times, s) - .01), default=None) or 0 for s in [0] + ends if s < total} - {0})
    sections = [[one, "?"] for one in ones] if held else None
    return dict(source=path.as_posix().split("/corpus/")[1], shape="rubato", beats=times[:total], held=[times[e] for e in ends] if held else [],
                downbeats=down, sections=sections, end=times[total])


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("out", type=Path)
    options.add_argument("--font", required=True)
    options.add_argument("--part", choices=["check", "fit"], default="check")
    options.add_argument("--dances", type=int, default=40)
    options.add_argument("--chorales", type=int, default=10)
    options.add_argument("--madrigals", type=int, default=6)
    options = options.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    skip = set(learnt.choose())
    rng = random.Random(f"public set, {options.part}")
    library = tunes.library(skip)
    library = library[::2] if options.part == "check" else library[1::2]
    rng.shuffle(library)
    done = 0
    for path in library:
        if done >= options.dances:
            break
        tune = tunes.read(path)
        if not tune or sum(s.bars for s in tune.strains) < 12:
            continue
        # Strains of eight bars are the rule; every fourth tune is made crooked, as fiddlers call it.
        if done % 4 == 3:
            tune.strains = [tunes.shortened(s, tune.bar, rng) for s in tune.strains]
        write(options.out / f"dance-{done:02d}", lambda wav: dance(rng, tune, wav, options.font))
        done += 1
    for kind, folder, count, beat in (("chorale", "/bach/", options.chorales, 1.0),
                                      ("madrigal", "/monteverdi/", options.madrigals, 2.0)):
        paths = sorted(p for p in map(Path, corpus.getCorePaths())
                       if folder in p.as_posix() and p.suffix in (".mxl", ".krn", ".xml") and p not in skip)
        rng.shuffle(paths)
        done = 0
        for path in paths:
            if done >= count:
                break
            if learnt.rights_notice(path):
                continue
            try:
                write(options.out / f"{kind}-{done:02d}", lambda wav: voices(rng, path, wav, options.font, beat))
                done += 1
            except Exception as error:  # a score without bars, or that music21 cannot read
                print("left out", path.name, repr(error)[:80])


def write(stem, make):
    truth = make(stem.with_suffix(".wav"))
    if len(truth["beats"]) < 24:
        raise ValueError("too short")
    stem.with_suffix(".json").write_text(json.dumps(truth))
    print(stem.name, truth["source"], round(truth["end"]), "s", flush=True)


if __name__ == "__main__":
    main()
