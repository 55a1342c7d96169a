"""Trains the ear on random playing alone (`playing.py`).

    python train.py OUT_FOLDER --seed 1 --steps 40000 [--begin CHECKPOINT] [--rate 3e-3] [--batch 192] [--resume]

OUT_FOLDER/seedS.pt is the network's weights (for `export.py`), OUT_FOLDER/state.pt what `--resume` goes on from. The
rate of learning falls along a cosine over `--steps`, so the number of steps is part of the recipe. `--seconds` finds
the number of steps that fit: it is settled after 400 steps, printed, and what `--steps` takes to do the same again.
`--begin` takes the first weights from an earlier network, which may have fewer channels and blocks (`grown`).
"""

import argparse
import json
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
REUSE = 16  # steps for each batch that is made
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


def grown(net, old, blocks):
    """Puts an earlier network's weights into a larger one, which then tells the same as it: what is new feeds no old
    channel. `blocks` are the earlier one's; one that it had not adds nothing at first."""
    own, kept = net.state_dict(), list(blocks)
    places = {}
    for i, b in enumerate(nw.BLOCKS):
        if kept and b == kept[0]:
            places[i] = len(places)
            kept.pop(0)
    if kept:
        raise SystemExit("the earlier network has blocks that this one has not: %s" % kept)
    for name, value in own.items():
        word = name.split(".")
        if word[0] == "blocks":
            if int(word[1]) not in places:
                if word[2:] == ["norm2", "weight"]:
                    value.zero_()
                continue
            word[1] = str(places[int(word[1])])
        was = old[".".join(word)]
        corner = tuple(slice(n) for n in was.shape)
        if was.dim() == 2 and word[0] not in ("taps", "input") and word[-1] == "weight":
            value[: was.shape[0]] = 0
        value[corner] = was
    net.load_state_dict(own)


def main():
    p = argparse.ArgumentParser()
    p.add_argument("out")
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--steps", type=int, default=40000)
    p.add_argument("--seconds", type=float)
    p.add_argument("--begin")
    p.add_argument("--began-with", default="[[1,3],[2,4],[4,6],[8,6],[16,4],[1,1],[2,1],[4,1]]", help="the blocks of --begin")
    p.add_argument("--rate", type=float, default=RATE_OF_LEARNING)
    p.add_argument("--batch", type=int, default=192)
    p.add_argument("--resume", action="store_true")
    p.add_argument("--plain", action="store_true", help="do not compile")
    a = p.parse_args()
    begun = time.time()
    os.makedirs(a.out, exist_ok=True)
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    torch.set_float32_matmul_precision("high")
    torch.manual_seed(a.seed)
    net = nw.Ear().to(dev)
    for m in net.modules():
        if isinstance(m, nn.BatchNorm1d):
            m.momentum = 0.01
    if a.begin:
        blocks = [tuple(b) for b in json.loads(a.began_with)]
        grown(net, torch.load(a.begin, map_location=dev, weights_only=True), blocks)
    opt = torch.optim.AdamW(net.parameters(), lr=a.rate, weight_decay=1e-3, **(dict(fused=True) if dev == "cuda" else {}))
    random.seed(a.seed)
    torch.manual_seed(1000 + a.seed)
    step, pool, shown, steps = 0, [], 0.0, a.steps
    state = os.path.join(a.out, "state.pt")
    if a.resume and os.path.exists(state):
        s = torch.load(state, map_location=dev, weights_only=True)
        step, shown, steps = s["step"], s["shown"], s["steps"]
        net.load_state_dict(s["net"]), opt.load_state_dict(s["optimiser"])
        a.seconds = None
        torch.manual_seed(1000 * (step + 1) + a.seed)
    one = loss_of if a.plain else torch.compile(loss_of)

    def save():
        torch.save({k: v.cpu() for k, v in net.state_dict().items()}, os.path.join(a.out, "seed%d.part" % a.seed))
        os.replace(os.path.join(a.out, "seed%d.part" % a.seed), os.path.join(a.out, "seed%d.pt" % a.seed))
        torch.save(dict(step=step, shown=shown, steps=steps, net=net.state_dict(), optimiser=opt.state_dict()), state + ".part")
        os.replace(state + ".part", state)

    making, since, first = 0.0, time.time(), step
    while step < steps:
        if step % REUSE == 0 or not pool:
            t = time.time()
            x, note, weight = playing.clips(a.batch, SAMPLES, dev)
            made = (x.half(), note.to(torch.int8), weight.half())
            if len(pool) < POOL:
                pool.append(made)
            else:
                pool[random.randrange(POOL)] = made
            if step % 400 == 0 and dev == "cuda":
                torch.cuda.synchronize()
                print("a batch of clips in %.0f ms" % (1e3 * (time.time() - t)), flush=True)
        lr = a.rate * min(1, step / WARM_UP) * (0.5 + 0.5 * math.cos(math.pi * step / steps)) + 1e-6
        x, note, weight = pool[random.randrange(len(pool))]
        for g in opt.param_groups:
            g["lr"] = lr
        net.train()
        loss, right = one(net, playing.loudness(x.float()), note.long(), weight.float())
        opt.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        opt.step()
        if step % 200 == 0 or step < 3:
            v = loss.item()
            if not math.isfinite(v):
                raise SystemExit("the loss is no number at step %d" % step)
            shown = v if not shown else 0.8 * shown + 0.2 * v
            print(step, "%.0f s" % (time.time() - begun), "loss %.4f (%.4f) right %.4f" % (v, shown, right.item()), flush=True)
        step += 1
        if step == first + 100:
            torch.cuda.synchronize() if dev == "cuda" else None
            since = time.time()
        if step == first + 400:
            torch.cuda.synchronize() if dev == "cuda" else None
            each = (time.time() - since) / 300
            if a.seconds:
                steps = int((a.seconds - (time.time() - begun)) / each) + step
            print("%.1f ms a step, %d steps" % (1e3 * each, steps), flush=True)
        if step % 1000 == 0:
            save()
    save()
    print("done: step", step, "of", steps, flush=True)


if __name__ == "__main__":
    main()
