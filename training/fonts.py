#!/usr/bin/env python3
"""Make a small sound font for rendering at 22.05 kHz out of a large one: fonts.py IN.sf2|IN.sf3 OUT.sf2

Keeps the presets that performance.py plays (and the standard drum kit), drops unused samples, halves the rate of samples above
22.05 kHz (their upper octave cannot be rendered) and unpacks the Ogg samples of .sf3. Short loops keep their rate, because their length is their pitch.
Format: SoundFont Technical Specification 2.04.
"""
import io
import struct
import sys

import numpy as np
import soundfile
from scipy.signal import resample_poly

import performance as p

PROGRAMS = set(p.KEYS + p.STRINGS + p.WINDS + p.BRASS + p.PLUCKED + p.MALLETS + p.SUSTAINED + p.SAXES + p.BASSES + [0, 19, 48, 52, 89])
GENERATOR_INSTRUMENT, GENERATOR_SAMPLE = 41, 53
# Generators that move a sample's start, end or loop: in sample points, so they halve with the rate.
ADDRESS_OFFSETS = {0, 1, 2, 3}
COARSE_OFFSETS = {4, 12, 45, 50}


def chunks(data, start, end):
    at = start
    while at + 8 <= end:
        name, size = data[at:at + 4], struct.unpack("<I", data[at + 4:at + 8])[0]
        yield name, at + 8, size
        at += 8 + size
        if size & 1 and data[at:at + 4] != b"LIST":     # some .sf3 files leave out the padding byte
            at += 1


def records(blob, size):
    return [blob[i:i + size] for i in range(0, len(blob), size)]


def main():
    data = open(sys.argv[1], "rb").read()
    parts, info = {}, b""
    for name, at, size in chunks(data, 12, len(data)):
        if name == b"LIST":
            kind = data[at:at + 4]
            if kind == b"INFO":
                info = data[at:at + size]
            for inner, a, s in chunks(data, at + 4, at + size):
                if kind in (b"pdta", b"sdta"):
                    parts[inner.decode()] = data[a:a + s]
    presets, instruments = records(parts["phdr"], 38), records(parts["inst"], 22)
    pbag, ibag = records(parts["pbag"], 4), records(parts["ibag"], 4)
    pgen, igen = records(parts["pgen"], 4), records(parts["igen"], 4)
    headers = records(parts["shdr"], 46)
    bag = lambda b: struct.unpack("<HH", b)[0]

    def generators(bags, gens, first, last):
        for k in range(first, last):
            for g in range(bag(bags[k]), bag(bags[k + 1])):
                yield struct.unpack("<HH", gens[g])

    used_presets, used_samples, seen = [], set(), set()
    for k, preset in enumerate(presets[:-1]):
        number, bank, first = struct.unpack("<HHH", preset[20:26])
        wanted = (bank == 0 and number in PROGRAMS) or (bank == 128 and number == 0)
        if not wanted or (bank, number) in seen:
            continue
        seen.add((bank, number))
        used_presets.append(k)
        last = struct.unpack("<H", presets[k + 1][24:26])[0]
        for oper, amount in generators(pbag, pgen, first, last):
            if oper == GENERATOR_INSTRUMENT:
                i0, i1 = (struct.unpack("<H", instruments[j][20:22])[0] for j in (amount, amount + 1))
                used_samples |= {a for o, a in generators(ibag, igen, i0, i1) if o == GENERATOR_SAMPLE}
    moved = set()   # samples whose address generators are in use keep their rate
    for inst, after in zip(instruments[:-1], instruments[1:]):
        i0, i1 = struct.unpack("<H", inst[20:22])[0], struct.unpack("<H", after[20:22])[0]
        for z in range(i0, i1):
            zone = list(generators(ibag, igen, z, z + 1))
            if any(o in ADDRESS_OFFSETS | COARSE_OFFSETS and a for o, a in zone):
                moved |= {a for o, a in zone if o == GENERATOR_SAMPLE}
                if not any(o == GENERATOR_SAMPLE for o, _ in zone):
                    moved |= {a for o, a in generators(ibag, igen, i0, i1) if o == GENERATOR_SAMPLE}
    # Samples that nothing plays share one long silence, so that offsets into them stay inside it.
    silence = np.zeros(200_000, np.int16)
    pool, new_headers, at = [silence], [], len(silence)
    for k, header in enumerate(headers[:-1]):
        start, end, loop0, loop1, rate = struct.unpack("<IIIII", header[20:40])
        pitch, correction, link, kind = struct.unpack("<BbHH", header[40:46])
        if k not in used_samples:
            new_headers.append(header[:20] + struct.pack("<IIIII", 70_000, 140_000, 80_000, 120_000, rate) + struct.pack("<BbHH", pitch, correction, 0, 1))
            continue
        if kind & 0x10:
            wave = soundfile.read(io.BytesIO(parts["smpl"][start:end]), dtype="int16")[0]
            l0, l1, kind = loop0, loop1, kind & ~0x10
        else:
            wave = np.frombuffer(parts["smpl"][2 * start:2 * end], np.int16)
            l0, l1 = loop0 - start, loop1 - start
        if rate > 24000 and k not in moved and len(wave) > 64 and (l1 - l0 > 1500 or l1 - l0 < 8 or l0 >= len(wave)):
            wave = np.clip(resample_poly(wave.astype(np.float32), 1, 2), -32768, 32767).astype(np.int16)
            rate, l0, l1 = rate // 2, l0 // 2, l1 // 2
        l0, l1 = min(max(l0, 0), len(wave) - 1), min(max(l1, 0), len(wave) - 1)
        new_headers.append(header[:20] + struct.pack("<IIIII", at, at + len(wave), at + l0, at + l1, rate) + struct.pack("<BbHH", pitch, correction, 0, 1))
        pool += [wave, np.zeros(46, np.int16)]
        at += len(wave) + 46
    new_headers.append(headers[-1])
    # Unused presets are left out of phdr; their bags stay, unreferenced, so that every index stays true.
    # A preset's bags end where the next preset's begin, so bags are copied preset by preset.
    new_phdr, new_pbag, new_pgen = [], [], []
    for k in used_presets:
        first, last = struct.unpack("<H", presets[k][24:26])[0], struct.unpack("<H", presets[k + 1][24:26])[0]
        new_phdr.append(presets[k][:24] + struct.pack("<H", len(new_pbag)) + presets[k][26:])
        for z in range(first, last):
            new_pbag.append(struct.pack("<HH", len(new_pgen), 0))
            new_pgen += pgen[bag(pbag[z]):bag(pbag[z + 1])]
    new_phdr.append(presets[-1][:24] + struct.pack("<H", len(new_pbag)) + presets[-1][26:])
    new_pbag.append(struct.pack("<HH", len(new_pgen), 0))
    new_pgen.append(b"\0" * 4)

    def chunk(name, body):
        return name + struct.pack("<I", len(body)) + body + (b"\0" if len(body) & 1 else b"")

    pdta = b"pdta" + chunk(b"phdr", b"".join(new_phdr)) + chunk(b"pbag", b"".join(new_pbag)) + chunk(b"pmod", b"\0" * 10) + chunk(b"pgen", b"".join(new_pgen))
    for name in ("inst", "ibag", "imod", "igen"):
        pdta += chunk(name.encode(), parts[name])
    pdta += chunk(b"shdr", b"".join(new_headers))
    sdta = b"sdta" + chunk(b"smpl", np.concatenate(pool).tobytes())
    body = b"sfbk" + chunk(b"LIST", info) + chunk(b"LIST", sdta) + chunk(b"LIST", pdta)
    open(sys.argv[2], "wb").write(chunk(b"RIFF", body))
    print(sys.argv[2], len(used_presets), "presets", len(used_samples), "samples", round(len(body) / 1e6, 1), "MB")


main()
