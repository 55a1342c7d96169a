"""Trains the ear on random playing alone (`playing.py`).

    python train.py OUT_FOLDER --seeds 1,2 --steps 20000 [--channels 40] [--batch 256] [--until SECONDS] [--resume]

Several seeds train side by side in one process: each network has its own first weights, its own draws from the pool
of clips and its own levels; they share the clips, which take most of the time to make. OUT_FOLDER/seedS.pt is a
network's weights (for `export.py`), OUT_FOLDER/state.pt what `--resume` goes on from. The rate of learning falls along
a cosine over `--steps`, so the number of steps is part of the recipe; `--until` only interrupts it.
"""

import argparse
import math
import os
import random
import time

import torch
import torch.nn as nn
import torch.nn.functional as F

import network as nw
import playing

SAMPLES = 36000  # of a clip: 3 s of a practice chanter, 1.5 s of pipes
REUSE = 8  # steps for each batch that is made
POOL = 300  # batches kept to draw from
UNHEARD = 50  # frames at a clip's end that the network cannot look past
RATE_OF_LEARNING, WARM_UP = 3e-3, 300


def level_before(means):
    """What the level holds where a clip is cut out of a stream: nothing, or a past about as loud, louder, silent."""
    B, dev = means.shape[0], means.device
    r = playing.Draw(B, dev)
    a = math.exp(-1 / nw.LEVEL_FRAMES)
    past = torch.where(r.chance(0.6), r.log(30, 4000), 0.0)[:, 0].double()
    den = (1 - a**past) / (1 - a)
    mean = means.mean(1) + 0.5 * r.n()[:, 0]
    silent = 0.25 * math.log(nw.POWER_FLOOR) + 1
    mean = torch.where(r.chance(0.2)[:, 0], silent, mean.clamp(min=silent))
    return den * mean, den


def loss_of(net, x, note, weight):
    z = net.bands(x)
    means = z.mean(-1)
    with torch.no_grad():
        start = level_before(means)
    logits = net.after_level(z - nw.level_of(means, start)[..., None])[:, :-UNHEARD]
    note, weight = note[:, :-UNHEARD], weight[:, :-UNHEARD]
    each = F.cross_entropy(logits.reshape(-1, 10), note.reshape(-1), reduction="none", label_smoothing=0.01)
    right = (logits.argmax(-1) == note).float().mean()
    return (each * weight.reshape(-1)).sum() / weight.sum(), right.detach()


def main():
    p = argparse.ArgumentParser()
    p.add_argument("out")
    p.add_argument("--seeds", default="1")
    p.add_argument("--steps", type=int, default=20000)
    p.add_argument("--channels", type=int, default=nw.CHANNELS)
    p.add_argument("--batch", type=int, default=256)
    p.add_argument("--until", type=float, default=1e9)
    p.add_argument("--resume", action="store_true")
    p.add_argument("--plain", action="store_true", help="do not compile")
    a = p.parse_args()
    begun = time.time()
    os.makedirs(a.out, exist_ok=True)
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    torch.set_float32_matmul_precision("high")
    seeds, nets, optimisers = [int(s) for s in a.seeds.split(",")], [], []
    for s in seeds:
        torch.manual_seed(s)
        nets.append(nw.Ear(a.channels).to(dev))
        for m in nets[-1].modules():
            if isinstance(m, nn.BatchNorm1d):
                m.momentum = 0.01
        optimisers.append(torch.optim.AdamW(nets[-1].parameters(), lr=RATE_OF_LEARNING, weight_decay=1e-3, fused=dev == "cuda"))
    random.seed(seeds[0])
    torch.manual_seed(1000 + seeds[0])
    step, pool, shown = 0, [], [0.0] * len(nets)
    state = os.path.join(a.out, "state.pt")
    if a.resume and os.path.exists(state):
        s = torch.load(state, map_location=dev, weights_only=True)
        step, shown = s["step"], s["shown"]
        for n, o, ns, os_ in zip(nets, optimisers, s["nets"], s["optimisers"]):
            n.load_state_dict(ns), o.load_state_dict(os_)
        torch.manual_seed(1000 * (step + 1) + seeds[0])
    one = loss_of if a.plain else torch.compile(loss_of)

    def save():
        for s, n in zip(seeds, nets):
            torch.save({k: v.cpu() for k, v in n.state_dict().items()}, os.path.join(a.out, "seed%d.pt" % s))
        torch.save(dict(step=step, shown=shown, nets=[n.state_dict() for n in nets], optimisers=[o.state_dict() for o in optimisers]), state)

    making, since, first = 0.0, time.time(), step
    while step < a.steps and time.time() - begun < a.until:
        if step % REUSE == 0 or not pool:
            t = time.time()
            x, note, weight = playing.clips(a.batch, SAMPLES, dev)
            made = (x.half(), note.to(torch.int8), weight.half())
            if len(pool) < POOL:
                pool.append(made)
            else:
                pool[random.randrange(POOL)] = made
            if step % 500 == 0 and dev == "cuda":
                torch.cuda.synchronize()
            making += time.time() - t
        lr = RATE_OF_LEARNING * min(1, step / WARM_UP) * (0.5 + 0.5 * math.cos(math.pi * step / a.steps)) + 1e-6
        for i, (net, opt) in enumerate(zip(nets, optimisers)):
            x, note, weight = pool[random.randrange(len(pool))]
            for g in opt.param_groups:
                g["lr"] = lr
            net.train()
            loss, right = one(net, playing.loudness(x.float()), note.long(), weight.float())
            opt.zero_grad(set_to_none=True)
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 1.0)
            opt.step()
            if step % 100 == 0 or step < 3:
                v = loss.item()
                if not math.isfinite(v):
                    raise SystemExit("the loss is no number at step %d" % step)
                shown[i] = v if not shown[i] else 0.8 * shown[i] + 0.2 * v
                print(step, "%.0f s" % (time.time() - begun), "seed", seeds[i], "loss %.4f (%.4f) right %.4f" % (v, shown[i], right.item()), flush=True)
        step += 1
        if step == first + 20:
            since, making = time.time(), 0.0
        if step % 2000 == 0:
            save()
            print("%.1f ms a step, of it %.1f to make clips" % (1e3 * (time.time() - since) / (step - first - 20), 1e3 * making / (step - first - 20)), flush=True)
    save()
    print("%.1f ms a step, of it %.1f to make clips" % (1e3 * (time.time() - since) / max(1, step - first - 20), 1e3 * making / max(1, step - first - 20)))
    print("stopped at step", step, "of", a.steps, flush=True)


if __name__ == "__main__":
    main()
