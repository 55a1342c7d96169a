"""What a trained ear makes of cases with a known truth, row by row.

    python figures.py EAR.weights CASES_FOLDER [...] [--lag MS] [--cost 10] [--shortest 3.5] [--stretch 150] [--out FOLDER]

A case is NAME.flac (or .wav) with NAME.json: `la_hz`, `notes` [{note, start_s, end_s, kind}], `movements`
[{start_s, end_s}], and `row` (or `group`), the row of the table it counts in. Low A is given. `--lag` shows notes
after so many milliseconds (a stream), without it the whole take is decoded at once. `--out` keeps the notes.

Measures: F1 of notes whose name is right and whose onset lies within 10 ms (maximum matching, ends ignored, summed
over a row's cases); invented: notes without a partner of the same name within 50 ms, a minute of playing (of sound,
where nobody plays); movements in which every note is paired within 25 ms and nothing is added; onset errors and
gracenote lengths of notes paired within 50 ms. ECE: the expected calibration error of the frames' most likely class
over 15 bins. An octave name counts as wrong like any other.
"""

import argparse
import functools
import glob
import json
import multiprocessing
import os

import numpy as np
import scipy.signal
import soundfile
import torch
from scipy.optimize import linear_sum_assignment
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_bipartite_matching

import export
import network as nw


def intake(path, la_hz):
    """The sound with low A at 240 Hz and 12 kHz, and how many of its samples make a second of the take."""
    x, rate = soundfile.read(path, dtype="float64", always_2d=True)
    x, n = x.mean(1), len(x)
    x = np.pad(x, (rate // 10, rate // 10 + -(len(x) + 2 * (rate // 10)) % 1000))  # a length the transform likes
    m = round(len(x) * nw.RATE / nw.LOW_A * la_hz / rate)
    y = scipy.signal.resample(x, m)
    per_second = m / len(x) * rate
    cut = round(per_second * (rate // 10) / rate)
    return y[cut : cut + int(n * per_second / rate)], per_second


def listen(ear, x):
    """Log-probabilities [10, frames] of a whole take, in pieces that overlap by more than the network reaches."""
    with torch.no_grad():
        x = torch.tensor(x, dtype=torch.float32)[None]
        z = ear.bands(x)
        z = z - nw.level_of(z.mean(-1))[..., None]
        out, piece, over = [], 8000, 400
        for i in range(0, z.shape[1], piece):
            a, b = max(0, i - over), min(z.shape[1], i + piece + 60)
            out.append(ear.after_level(z[:, a:b])[0, i - a : i - a + piece])
        return torch.log_softmax(torch.cat(out), -1).numpy().T.astype(np.float64)


def path_of(lp, cost, lag=None):
    """The best path at one price for every change; with a lag in frames, as a stream shows it."""
    K, T = lp.shape
    back, score, path = np.zeros((T, K), np.int8), lp[:, 0].copy(), np.zeros(T, np.int8)
    stay = np.arange(K)
    for t in range(1, T):
        best = score.argmax()
        jump = score[best] - cost
        back[t] = np.where(score >= jump, stay, best)
        score = np.maximum(score, jump) + lp[:, t]
        if lag is not None and t >= lag:
            k = score.argmax()
            for u in range(t, t - lag, -1):
                k = back[u, k]
            path[t - lag] = k
    end, k = (T - 1, score.argmax())
    path[end] = k
    for t in range(end, 0 if lag is None else max(0, end - lag), -1):
        k = back[t, k]
        path[t - 1] = k
    return path


def notes_of(lp, per_second, cost, shortest, lag=None):
    p, out, start = path_of(lp, cost, lag), [], 0

    def edge(k):  # where the two posteriors cross, in frames
        if k <= 0 or k >= len(p):
            return k
        a, b = p[k - 1], p[k]
        d0, d1 = lp[a, k - 1] - lp[b, k - 1], lp[a, k] - lp[b, k]
        return k - 0.5 + (d0 / (d0 - d1) if d0 > 0 > d1 else 0.5)

    for t in range(1, len(p) + 1):
        if t == len(p) or p[t] != p[start]:
            if p[start] < 9:
                a, b = edge(start) * nw.HOP / per_second, edge(t) * nw.HOP / per_second
                if (b - a) * 1e3 >= shortest:
                    out.append((nw.NOTES[p[start]], a, b))
            start = t
    return out


def stretches(notes, least):
    """Without the stretches of playing (notes that follow each other) that last less than `least` seconds: what the
    network takes for notes in speech are single vowels, and a chanter sounds on."""
    out, run = [], []
    for n in [*notes, (None, 1e9, 1e9)]:
        if run and n[1] - run[-1][2] > 0.002:
            out += run if run[-1][2] - run[0][1] >= least else []
            run = []
        run.append(n)
    return out


def paired(truth, heard, within):
    d = np.abs(np.array([t[1] for t in truth])[:, None] - np.array([h[1] for h in heard])[None])
    same = np.array([t[0] for t in truth])[:, None] == np.array([h[0] for h in heard])[None]
    return d, same & (d <= within + 1e-9)


LENGTHS = (5, 8, 12, 20, 60, 160)


def measure(case, heard):
    """The counts of one case; rows add them."""
    truth = [(n["note"], n["start_s"], n["end_s"], n.get("kind", "melody")) for n in case["notes"]]
    one = [h for i, h in enumerate(heard) if not (i and h[0] == heard[i - 1][0] and h[1] - heard[i - 1][2] <= 0.002)]
    r = dict(cases=1, notes=len(truth), heard=len(one), hit=0, seconds=case.get("duration_s", 20.0), invented=len(one),
             movements=0, right=0, onset=[], length=[])
    if truth:
        r["seconds"] = truth[-1][2] - truth[0][1]
    for k in ("melody", "grace", "crossing"):
        r[k] = sum(t[3] == k for t in truth)
        r["hit " + k] = 0
        r["wrong " + k] = 0
    if not truth or not one:
        r["movements"] = len(case.get("movements", []))
        for h in one:
            r["wrong " + by_length(h)] += 1
        return r
    d, ok = paired(truth, one, 0.010)
    m = maximum_bipartite_matching(csr_matrix(ok), perm_type="column")
    r["hit"] = int((m >= 0).sum())
    for i, j in enumerate(m):
        pipe, ms = case.get("conditions", {}).get("pipe", False), (truth[i][2] - truth[i][1]) * 1e3
        if truth[i][3] == "crossing":
            key = "%s %d-%d ms" % ("pipes" if pipe else "practice", *next(((a, b) for a, b in zip(LENGTHS, LENGTHS[1:]) if ms < b), (60, 160)))
            r["n " + key] = r.get("n " + key, 0) + 1
            r["h " + key] = r.get("h " + key, 0) + (j >= 0)
        r["hit " + truth[i][3]] += j >= 0
    for j in set(range(len(one))) - set(m.tolist()):
        r["wrong " + by_length(one[j])] += 1
    d, ok = paired(truth, one, 0.050)
    i, j = linear_sum_assignment(np.where(ok, d, 1e3))
    pair = {a: b for a, b in zip(i, j) if ok[a, b]}
    r["invented"] = len(one) - len(pair)
    r["onset"] = [d[a, b] for a, b in pair.items()]
    r["length"] = [abs((one[b][2] - one[b][1]) - (truth[a][2] - truth[a][1])) for a, b in pair.items() if truth[a][3] == "grace"]
    for mv in case.get("movements", []):
        own = [a for a, t in enumerate(truth) if mv["start_s"] - 1e-4 <= t[1] <= mv["end_s"] + 1e-4]
        r["movements"] += 1
        good = own and all(a in pair and d[a, pair[a]] <= 0.025 for a in own)
        r["right"] += bool(good and pair[own[-1]] - pair[own[0]] == len(own) - 1)
    return r


def by_length(h):
    return "crossing" if h[2] - h[1] <= 0.020 else "grace" if h[2] - h[1] <= 0.160 else "melody"


def calibration(case, lp, per_second, bins):
    """Adds a take's frames to the bins [15, 3] of confidence, right answers and count."""
    label = np.full(lp.shape[1], 9)
    for n in case["notes"]:
        a, b = (round(n[k] * per_second / nw.HOP - 0.5) for k in ("start_s", "end_s"))
        label[max(0, a) : max(0, b)] = nw.NOTES.index(n["note"])
    p, top = np.exp(lp.max(0)), lp.argmax(0)
    b = np.minimum((p * 15).astype(int), 14)
    for k in range(15):
        here = b == k
        bins[k] += (p[here].sum(), (top[here] == label[here]).sum(), here.sum())


def f1(hit, truth, heard):
    return 2 * hit / (truth + heard) if truth + heard else float("nan")


def line(name, r, bins):
    pc = lambda v, q: 1e3 * float(np.percentile(v, q)) if len(v) else float("nan")
    kind = lambda k: f1(r["hit " + k], r[k], r["hit " + k] + r["wrong " + k])
    ece = np.abs(bins[:, 0] - bins[:, 1]).sum() / max(1, bins[:, 2].sum())
    s = "%-30s %3d %5d  all %.3f  grace %.3f  cross %.3f  invented/min %6.2f  movements %.3f  onset %.2f %.2f  length %.2f  ece %.3f" % (
        name, r["cases"], r["notes"], f1(r["hit"], r["notes"], r["heard"]), kind("grace"), kind("crossing"),
        60 * r["invented"] / max(1e-9, r["seconds"]), r["right"] / r["movements"] if r["movements"] else float("nan"),
        pc(r["onset"], 50), pc(r["onset"], 95), pc(r["length"], 50), ece)
    crossings = sorted(k[2:] for k in r if k.startswith("n "))
    if not r["notes"]:
        s = "%-30s %3d  nobody plays: %.2f notes in 20 s" % (name, r["cases"], 20 * r["invented"] / r["seconds"])
    return s + ("   recall " + ", ".join("%s %d/%d" % (k, r.get("h " + k, 0), r["n " + k]) for k in crossings) if crossings else "")


def one_take(path, a):
    """The rows a case counts in, its counts and its frames' calibration."""
    torch.set_num_threads(1)
    ear = export.folded_ear(open(a.weights, "rb").read()).float()
    case, name = json.load(open(path)), path[:-5]
    x, per_second = intake(name + (".flac" if os.path.exists(name + ".flac") else ".wav"), case["la_hz"])
    lp = listen(ear, x * 10 ** (a.gain / 20))
    lag = None if a.lag is None else round(a.lag * per_second / nw.RATE)
    heard = stretches(notes_of(lp, per_second, a.cost, a.shortest, lag), a.stretch / 1e3)
    if a.out:
        os.makedirs(a.out, exist_ok=True)
        json.dump(dict(notes=[dict(note=n, start_s=s, end_s=e) for n, s, e in heard]), open(a.out + "/" + os.path.basename(path), "w"))
    rows = [case.get("row") or case["group"], "all with playing" if case["notes"] else "all without"]
    bins = np.zeros((15, 3))
    calibration(case, lp, per_second, bins)
    return rows + [os.path.basename(name)] * a.each, measure(case, heard), bins


def main():
    p = argparse.ArgumentParser()
    p.add_argument("weights"), p.add_argument("cases", nargs="+"), p.add_argument("--lag", type=float)
    p.add_argument("--cost", type=float, default=10.0), p.add_argument("--shortest", type=float, default=3.5)
    p.add_argument("--stretch", type=float, default=150.0), p.add_argument("--out"), p.add_argument("--jobs", type=int, default=2)
    p.add_argument("--each", action="store_true", help="a row for every case too")
    p.add_argument("--gain", type=float, default=0.0, help="decibels by which the takes are made louder or softer")
    a = p.parse_args()
    paths = sorted(sum((glob.glob(c + "/*.json") for c in a.cases), []))
    rows, bins = {}, {}
    with multiprocessing.get_context("spawn").Pool(a.jobs) as pool:
        for of, one, b in pool.imap(functools.partial(one_take, a=a), paths):
            for row in of:
                into = rows.setdefault(row, {})
                for k, v in one.items():
                    into[k] = into[k] + v if k in into else v
                bins[row] = bins.get(row, 0) + b
    for row in rows:
        print(line(row, rows[row], bins[row]))


if __name__ == "__main__":
    main()
