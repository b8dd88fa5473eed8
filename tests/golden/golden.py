"""Golden renders: the demo's chain on twenty seconds of the demo mix, at three rates.

    golden.py check PROGRAM BUNDLE DEMO_MIX SHEET FOLDER     against FOLDER/digests.txt
    golden.py renew PROGRAM BUNDLE DEMO_MIX SHEET FOLDER     by hand alone: says what changed

A digest of all samples says that nothing changed at all. Where it differs, as it may on another
kind of machine, one frame in STRIDE of the former render (FOLDER/RATE.wav, 24 bit) is nulled
against the new one: at or under -100 dB it is the same to any ear.
"""
import hashlib
import math
import os
import struct
import subprocess
import sys
import tempfile
import wave

RATES = (44100, 48000, 96000)
STRIDE = 97
FROM, TO = 20, 40
SAME = -100.0  # dB


def render(program, bundle, mix, sheet, rate, folder):
    """The frames as (left, right), without landing: an excerpt does not land."""
    own_sheet = os.path.join(folder, f"{rate}.yaml")
    with open(sheet, encoding="utf-8") as file:
        text = file.read()
    with open(own_sheet, "w", encoding="utf-8") as file:
        file.write(text.replace("planish: 1\n", f"planish: 1\nrate: {rate}\n", 1))
    out = os.path.join(folder, f"{rate}.wav")
    subprocess.run([program, "render", "--float", "--no-recall", f"--from={FROM}", f"--to={TO}",
                    own_sheet, mix, out], check=True, stdout=subprocess.DEVNULL,
                   env=dict(os.environ, PLANISH_BUNDLE=bundle))
    with open(out, "rb") as file:
        data = file.read()
    at = 12
    while data[at:at + 4] != b"data":
        at += 8 + struct.unpack("<I", data[at + 4:at + 8])[0]
    size = struct.unpack("<I", data[at + 4:at + 8])[0]
    return data[at + 8:at + 8 + size]


def coarse(samples):
    """One frame in STRIDE, as 24 bit."""
    count = len(samples) // 8
    frames = [struct.unpack_from("<2f", samples, 8 * n) for n in range(0, count, STRIDE)]
    return [tuple(max(-8388608, min(8388607, round(8388608 * x))) for x in frame)
            for frame in frames]


def write_coarse(path, frames, rate):
    with wave.open(path, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(3)
        file.setframerate(rate)
        file.writeframes(b"".join(struct.pack("<i", x)[:3] for frame in frames for x in frame))


def read_coarse(path):
    with wave.open(path, "rb") as file:
        data = file.readframes(file.getnframes())
    values = [int.from_bytes(data[n:n + 3], "little", signed=True) for n in range(0, len(data), 3)]
    return list(zip(values[0::2], values[1::2]))


def null_of(new, old):
    """dB re the old one; no number where the lengths differ."""
    if len(new) != len(old):
        return math.inf
    power = sum(x * x for frame in old for x in frame)
    apart = sum((x - y) ** 2 for a, b in zip(new, old) for x, y in zip(a, b))
    return 10.0 * math.log10((apart + 1e-9) / (power + 1e-9))


def read_digests(folder):
    path = os.path.join(folder, "digests.txt")
    if not os.path.exists(path):
        return {}
    with open(path, encoding="ascii") as file:
        return {int(rate): digest for rate, digest in (line.split() for line in file)}


def main():
    command, program, bundle, demo_mix, sheet, folder = sys.argv[1:]
    digests = read_digests(folder)
    worst = True
    new_digests = {}
    with tempfile.TemporaryDirectory() as place:
        mix = os.path.join(place, "mix.wav")
        subprocess.run([demo_mix, mix], check=True)
        for rate in RATES:
            samples = render(program, bundle, mix, sheet, rate, place)
            new_digests[rate] = hashlib.sha256(samples).hexdigest()
            path = os.path.join(folder, f"{rate}.wav")
            frames = coarse(samples)
            if new_digests[rate] == digests.get(rate):
                print(f"{rate} Hz: the same samples")
                continue
            null = null_of(frames, read_coarse(path)) if os.path.exists(path) else math.inf
            told = "nothing to compare with" if math.isinf(null) else f"{null:.1f} dB"
            print(f"{rate} Hz: other samples; they differ by {told} re the former")
            worst = worst and null <= SAME
            if command == "renew":
                write_coarse(path, frames, rate)
    if command == "renew":
        with open(os.path.join(folder, "digests.txt"), "w", encoding="ascii") as file:
            file.writelines(f"{rate} {digest}\n" for rate, digest in new_digests.items())
        return 0
    if not worst:
        print("If that is meant: tests/golden/renew, and say in the change why they differ.")
    return 0 if worst else 1


sys.exit(main())
