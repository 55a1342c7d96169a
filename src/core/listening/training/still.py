"""The last steps of the training: a third of each step's clips are tones that nothing moves.

    python still.py CHECKPOINT OUT.pt --seconds 540 [--seed 1] [--rate 2e-4]

A network that looks back 394 frames takes a low A of few harmonics that is held perfectly still for longer for a drone
and tells nothing, because `playing.py` lets no player be as still as a computer. The batch norms stay as they are, so
that nine clips a step are enough, on a processor too.
"""

import argparse
import math
import time

import numpy as np
import torch

import network as nw
import playing
import train

SAMPLES, PLAYED, STILL = train.SAMPLES, 6, 3  # clips of a step


def still_tones(rng, clips):
    """Sound, notes and loss weights, as `playing.clips` gives them: held tones without a wobble, one phase for all."""
    sound, notes = np.zeros((clips, SAMPLES)), np.full((clips, SAMPLES), playing.NONE)
    for x, note in zip(sound, notes):
        ms = 12 if rng.random() < 0.62 else 24
        at = int(rng.uniform(0, 6000)) if rng.random() < 0.5 else 0
        cents = rng.normal(0, 8, 9) * (rng.random() < 0.5) + rng.normal(0, 6) * (rng.random() < 0.6)
        hz = nw.LOW_A * np.array(playing.RATIOS) * 2 ** (cents / 1200)
        top = int(rng.choice([3, 4, 5, 6, 7, 8, 9, 10, 12, 16, 24]))
        h, falls = np.arange(1, top + 1), rng.random()
        level = h ** -rng.uniform(0, 2) if falls < 0.6 else rng.uniform(0.6, 0.95) ** h
        if rng.random() < 0.3:
            level = level * np.exp(rng.normal(0, 0.4, top))
        kind = rng.random()  # all sines, all cosines, any phases
        begin = np.zeros(top) if kind < 0.35 else np.full(top, np.pi / 2) if kind < 0.55 else rng.uniform(0, 2 * np.pi, top)
        phase, before, long = rng.uniform(0, 1), -1, rng.random() < 0.6
        while at < SAMPLES:
            n = int(rng.integers(9)) if rng.random() < 0.75 else 1  # low A more often than others
            if n == before:
                continue
            lasts = rng.uniform(math.log(350), math.log(2800)) if long else rng.uniform(math.log(90), math.log(900))
            end = min(SAMPLES, at + int(np.exp(lasts) * ms))
            turns = phase + np.cumsum(np.full(end - at, hz[n] / nw.RATE))
            phase, before = turns[-1] % 1, n
            x[at:end] = sum(a * np.sin(2 * np.pi * k * turns + b) for k, a, b in zip(h, level, begin) if k * hz[n] < 5800)
            note[at:end] = n
            at = end
            if rng.random() < 0.08:
                at, before = at + int(rng.uniform(100, 600) * ms), -1
        x /= np.sqrt((x**2).mean()) + 1e-9
        if rng.random() < 0.5:
            x += rng.standard_normal(SAMPLES) * 10 ** (-rng.uniform(25, 70) / 20)
        x /= np.abs(x).max()
    frame = slice(nw.HOP // 2, SAMPLES, nw.HOP)
    return torch.tensor(sound, dtype=torch.float32), torch.tensor(notes[:, frame]), torch.ones(clips, SAMPLES // nw.HOP)


def main():
    p = argparse.ArgumentParser()
    p.add_argument("checkpoint"), p.add_argument("out"), p.add_argument("--seconds", type=float, default=540)
    p.add_argument("--seed", type=int, default=1), p.add_argument("--rate", type=float, default=2e-4)
    a = p.parse_args()
    torch.manual_seed(a.seed)
    rng = np.random.default_rng(a.seed)
    net = nw.Ear()
    net.load_state_dict(torch.load(a.checkpoint, map_location="cpu"))
    net.eval()
    optimiser = torch.optim.Adam(net.parameters(), lr=a.rate, betas=(0.9, 0.99))
    step, begun = 0, time.time()
    while (done := (time.time() - begun) / a.seconds) < 1:
        for g in optimiser.param_groups:
            g["lr"] = a.rate * min(1, (step + 1) / 10) * (1 - done)
        optimiser.zero_grad()
        for (sound, note, weight), share in ((playing.clips(PLAYED, SAMPLES, "cpu"), 0.67), (still_tones(rng, STILL), 0.33)):
            loss, right = train.loss_of(net, playing.loudness(sound), note.long(), weight)
            (share * loss).backward()
            if step % 10 == 0:
                print(step, "%.0f s" % (time.time() - begun), "loss %.4f right %.4f" % (loss.item(), right.item()), flush=True)
        torch.nn.utils.clip_grad_norm_(net.parameters(), 0.5)
        optimiser.step()
        step += 1
    torch.save(net.state_dict(), a.out)
    print("done:", step, "steps")


if __name__ == "__main__":
    main()
