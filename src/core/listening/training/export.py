"""Writes the weights that `listening/` reads, and a vector of inputs and outputs to hold its inference to.

    python export.py CHECKPOINT OUT_FOLDER [WORD=VALUE ...]     # words go into the header: seed=1 steps=30000

CHECKPOINT is what `train.py` saves (or `random`). OUT_FOLDER gets `ear.weights` and `ear-vector.bin`.

ear.weights: the line `gracerung ear 1`, a line of JSON, then little-endian f16 without gaps (f32 where the JSON's
`number` says so), arrays in this order:
for each bank its taps [2n][k] (n cosines, n sines); scale and bias of each band (the first batch norm folded:
z·scale + bias); input [C][bands], bias [C]; for each block depthwise [C][7] (tap j hears frame t + look - (6 - j)·
dilation), bias [C], expand [2C][C], bias [2C], project [C][2C], bias [C]; output [10][C], bias [10].

ear-vector.bin: the line `gracerung ear vector 1`, a line of JSON, then `samples` little-endian i16 (divided by 32768
they are the input), then `frames`·10 little-endian f32: log-probabilities of each frame, reckoned in float64 from the
weights of the file, as a stream gives them that begins with the first sample and goes on in digital silence.
"""

import json
import sys

import numpy as np
import torch

import network as nw

MAGIC, VECTOR_MAGIC = b"gracerung ear 1\n", b"gracerung ear vector 1\n"
KINDS = {"f16": "<f2", "f32": "<f4"}


def fnv1a64(data):
    h = 0xCBF29CE484222325
    for b in data:
        h = ((h ^ b) * 0x100000001B3) & 0xFFFFFFFFFFFFFFFF
    return "%016x" % h


def fold(norm):
    scale = norm.weight / torch.sqrt(norm.running_var + norm.eps)
    return scale, norm.bias - norm.running_mean * scale


def arrays(ear):
    """Name and values of every array of the file, in its order, batch norms folded in."""
    ear = ear.double().eval()
    for (n, k), taps in zip(nw.BANKS, ear.taps):
        yield "bank %dx%d" % (n, k), taps
    scale, bias = fold(ear.norm)
    yield "input scale", scale
    yield "input bias", bias
    yield "input", ear.input.weight
    yield "input offset", ear.input.bias
    for i, b in enumerate(ear.blocks):
        scale, bias = fold(b.norm1)
        yield "block %d depthwise" % i, b.depthwise * scale[:, None]
        yield "block %d depthwise bias" % i, bias
        yield "block %d expand" % i, b.expand.weight
        yield "block %d expand bias" % i, b.expand.bias
        scale, bias = fold(b.norm2)
        yield "block %d project" % i, b.project.weight * scale[:, None]
        yield "block %d project bias" % i, bias
    yield "output", ear.output.weight
    yield "output bias", ear.output.bias


def weights_file(ear, words):
    named = [(name, a.detach().numpy().astype(KINDS["f16"])) for name, a in arrays(ear)]
    payload = b"".join(a.tobytes() for _, a in named)
    head = dict(
        rate=nw.RATE, hop=nw.HOP, low_a_hz=nw.LOW_A, notes=nw.NOTES + ["none"], banks=nw.BANKS, channels=ear.channels,
        taps=nw.TAPS, blocks=nw.BLOCKS, power_floor=nw.POWER_FLOOR, level_frames=nw.LEVEL_FRAMES,
        level_floor=nw.LEVEL_FLOOR, number="f16", count=sum(a.size for _, a in named), fnv1a64=fnv1a64(payload),
        order="taps of each bank, input scale, input bias, input, its bias; each block: depthwise, bias, expand, bias, "
        "project, bias; output, bias", **words)
    return MAGIC + json.dumps(head).encode() + b"\n" + payload


def folded_ear(data):
    """The network of a weights file, in float64, its batch norms those that change nothing."""
    assert data.startswith(MAGIC)
    line, payload = data[len(MAGIC):].split(b"\n", 1)
    head = json.loads(line)
    assert fnv1a64(payload) == head["fnv1a64"]
    flat = torch.tensor(np.frombuffer(payload, KINDS[head["number"]]).astype(np.float64))
    assert len(flat) == head["count"]
    ear, at = nw.Ear(head["channels"], head["blocks"]).double().eval(), 0

    def take(like):
        nonlocal at
        at += like.numel()
        return flat[at - like.numel() : at].view_as(like)

    def still(norm, scale=None, bias=None):
        norm.eps = 0.0
        norm.running_mean.zero_(), norm.running_var.fill_(1.0)
        norm.weight.data.copy_(torch.ones_like(norm.weight) if scale is None else scale)
        norm.bias.data.copy_(bias)

    for taps in ear.taps:
        taps.data.copy_(take(taps))
    scale = take(ear.norm.weight)
    still(ear.norm, scale, take(ear.norm.bias))
    ear.input.weight.data.copy_(take(ear.input.weight)), ear.input.bias.data.copy_(take(ear.input.bias))
    for b in ear.blocks:
        b.depthwise.data.copy_(take(b.depthwise))
        still(b.norm1, bias=take(b.norm1.bias))
        b.expand.weight.data.copy_(take(b.expand.weight)), b.expand.bias.data.copy_(take(b.expand.bias))
        b.project.weight.data.copy_(take(b.project.weight))
        still(b.norm2, bias=take(b.norm2.bias))
    ear.output.weight.data.copy_(take(ear.output.weight)), ear.output.bias.data.copy_(take(ear.output.bias))
    assert at == len(flat)
    return ear


def log_probabilities(ear, samples):
    """[frames, 10] of a stream of samples that goes on in digital silence for a second."""
    x = torch.cat([torch.as_tensor(samples, dtype=torch.float64), torch.zeros(nw.RATE, dtype=torch.float64)])
    frames = len(samples) // nw.HOP
    with torch.no_grad():
        return torch.log_softmax(ear(x[None].to(ear.output.weight.dtype))[0, :frames], -1)


def vector_sound():
    """2 s by formula: silence, a cold start of noise, notes with harmonics at three levels, gracenotes, hiss, silence."""
    state = 1

    def noise():  # a linear congruential generator (Numerical Recipes), so that any language can make the same
        nonlocal state
        state = (1664525 * state + 1013904223) & 0xFFFFFFFF
        return state / 2**31 - 1.0

    ratios = [7 / 8, 1, 9 / 8, 5 / 4, 4 / 3, 3 / 2, 5 / 3, 7 / 4, 2]
    # (milliseconds, note or None, level of the note, level of the noise)
    plan = [(150, None, 0, 0), (100, None, 0, 0.002), (250, 1, 0.2, 0.002), (40, 7, 0.2, 0.002), (160, 4, 0.2, 0.002),
            (30, 0, 0.2, 0.02), (250, 8, 0.25, 0.02), (20, 3, 0.25, 0.02), (200, 2, 0.02, 0.02), (150, None, 0, 0.05),
            (250, 5, 0.001, 0.0), (200, 6, 0.3, 0.001), (200, None, 0, 0)]
    out, phase = [], 0.0
    for ms, note, level, hiss in plan:
        for _ in range(ms * 12):
            v = hiss * noise()
            if note is not None:
                phase += 2 * np.pi * 240 * ratios[note] / nw.RATE
                v += level * sum(np.sin(h * phase) / h**0.5 for h in range(1, 13)) / 3
            out.append(int(round(max(-1.0, min(1.0, v)) * 32767)))
    return np.array(out, "<i2")


def vector_file(data):
    samples = vector_sound()
    out = log_probabilities(folded_ear(data), samples / 32768.0).numpy().astype("<f4")
    head = dict(rate=nw.RATE, samples=len(samples), frames=len(out), weights=fnv1a64(data))
    return VECTOR_MAGIC + json.dumps(head).encode() + b"\n" + samples.tobytes() + out.tobytes()


def main():
    checkpoint, folder, words = sys.argv[1], sys.argv[2], dict(w.split("=", 1) for w in sys.argv[3:])
    if checkpoint == "random":
        torch.manual_seed(0)
        ear = nw.Ear()
    else:
        state = torch.load(checkpoint, map_location="cpu", weights_only=True)
        ear = nw.Ear(state["input.bias"].numel())
        ear.load_state_dict(state)
    data = weights_file(ear, words)
    open(folder + "/ear.weights", "wb").write(data)
    open(folder + "/ear-vector.bin", "wb").write(vector_file(data))
    print(len(data), "bytes of weights,", json.loads(data[len(MAGIC):].split(b"\n", 1)[0])["count"], "numbers")


if __name__ == "__main__":
    main()
