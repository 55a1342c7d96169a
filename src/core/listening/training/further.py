"""Goes on from trained weights with clips of today's `playing.py`, on a processor without a GPU.

    python further.py IN.pt OUT.pt --steps 450 [--batch 16] [--rate 4e-4] [--seed 78]

For a generator that was mended after a long training: a few hundred steps unlearn what was wrong in it. The batch norms
keep what they have counted; the rate of learning falls along a cosine. About 1.5 s a step on one core.
"""

import argparse
import math
import random
import time

import torch
import torch.nn as nn

import network as nw
import playing
import train

SAMPLES = 24000  # of a clip: 2 s of a practice chanter, 1 s of pipes
REUSE, POOL, WARM_UP = 3, 60, 20


def main():
    p = argparse.ArgumentParser()
    p.add_argument("weights")
    p.add_argument("out")
    p.add_argument("--steps", type=int, default=450)
    p.add_argument("--batch", type=int, default=16)
    p.add_argument("--rate", type=float, default=4e-4)
    p.add_argument("--seed", type=int, default=78)
    a = p.parse_args()
    torch.manual_seed(a.seed), random.seed(a.seed)
    net = nw.Ear()
    net.load_state_dict(torch.load(a.weights, map_location="cpu", weights_only=True))
    net.train()
    for m in net.modules():
        if isinstance(m, nn.BatchNorm1d):
            m.eval()
    optimiser = torch.optim.AdamW(net.parameters(), lr=a.rate, weight_decay=1e-4)
    pool, begun, shown = [], time.time(), None
    for step in range(a.steps):
        if step % REUSE == 0:
            pool = (pool + [playing.clips(a.batch, SAMPLES, "cpu")])[-POOL:]
            x, note, weight = pool[-1]
        else:
            x, note, weight = random.choice(pool)
        for g in optimiser.param_groups:
            g["lr"] = a.rate * min(1, (step + 1) / WARM_UP) * (0.5 + 0.5 * math.cos(math.pi * step / a.steps)) + 1e-6
        loss, right = train.loss_of(net, playing.loudness(x), note.long(), weight)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 0.5)
        optimiser.step()
        shown = loss.item() if shown is None else 0.95 * shown + 0.05 * loss.item()
        if step % 10 == 0:
            print("%d: %.0f s, loss %.4f, right %.4f" % (step, time.time() - begun, shown, right), flush=True)
            torch.save(net.state_dict(), a.out)
    torch.save(net.state_dict(), a.out)


if __name__ == "__main__":
    main()
