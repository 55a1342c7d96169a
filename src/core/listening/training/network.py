"""The network of the ear: what `train.py` trains, `export.py` writes and `listening/` runs.

Sound at 12 kHz whose low A lies at 240 Hz goes in, every 12 samples come ten logits out: LG LA B C D E F HG HA
none. A frame is one step of 12 samples, 1 ms of a practice chanter and half a millisecond of pipes. Frame t stands
for samples 12t to 12t + 11; every window of the front is centred on the middle of its frame.
"""

import math

import torch
import torch.nn as nn
import torch.nn.functional as F

RATE, HOP, LOW_A = 12000, 12, 240.0
NOTES = ["LG", "LA", "B", "C", "D", "E", "F", "HG", "HA"]
BANKS = ((40, 360), (32, 144), (16, 48))  # pairs of filters, taps: 30, 12 and 4 ms of a practice chanter
CHANNELS = 56
# dilation and look-ahead of each block, in frames. The looks come to 26 frames: with half a window of 15 ms and 4 ms
# for the resampler that is 45 ms at practice pitch. Looking back 394 frames tells what has sounded all along.
BLOCKS = ((1, 3), (2, 4), (4, 6), (8, 6), (16, 4), (32, 0), (1, 1), (2, 1), (4, 1))
TAPS = 7
POWER_FLOOR = 1e-11  # added to squared magnitudes: -104 dB below a full-scale sine in the middle of a filter
LEVEL_FRAMES = 400.0  # time constant of the causal level
# The level is never taken to be lower than this (a squared magnitude of 1e-10, about -70 dBFS of playing): in digital
# silence all bands then lie at -0.58, where no noise can hold them all at once.
LEVEL_FLOOR = -4.75


def level_of(means, start=None):
    """The causal level of each frame: sum of exp(-n/400)·mean over the past, divided by the sum of the weights.

    `start`, if given, is (sum of weighted means, sum of weights) of what came before the first frame. The recursion
    is exact; it is reckoned in float64, 2,000 frames at once, which keeps exp(n/400) below 150.
    """
    B, T = means.shape
    a = math.exp(-1.0 / LEVEL_FRAMES)
    m = means.double()
    num, den = (m.new_zeros(B), m.new_zeros(B)) if start is None else (s.double() for s in start)
    out = []
    for i in range(0, T, 2000):
        c = m[:, i : i + 2000]
        n = torch.arange(1, c.shape[1] + 1, device=m.device, dtype=torch.float64)
        decay = a**n
        top = decay * (num[:, None] + torch.cumsum(c / decay, 1))
        bottom = decay * (den[:, None] + torch.cumsum(1.0 / decay, 0))
        out.append(top / bottom)
        num, den = top[:, -1], bottom[:, -1]
    return torch.cat(out, 1).clamp(min=LEVEL_FLOOR).to(means.dtype)


class Block(nn.Module):
    def __init__(self, channels, dilation, look):
        super().__init__()
        self.dilation, self.look = dilation, look
        self.depthwise = nn.Parameter(torch.empty(channels, TAPS).uniform_(-1, 1) / math.sqrt(TAPS))
        self.norm1, self.norm2 = nn.BatchNorm1d(channels), nn.BatchNorm1d(channels)
        self.expand = nn.Linear(channels, 2 * channels)
        self.project = nn.Linear(2 * channels, channels, bias=False)

    def forward(self, x):  # [B, frames, C]
        B, T, C = x.shape
        p = F.pad(x, (0, 0, self.dilation * (TAPS - 1) - self.look, self.look))
        y = sum(p[:, j * self.dilation : j * self.dilation + T] * self.depthwise[:, j] for j in range(TAPS))
        y = self.norm1(y.reshape(-1, C))
        y = self.norm2(self.project(F.relu(self.expand(y))))
        return x + y.view(B, T, C)


class Ear(nn.Module):
    def __init__(self, channels=CHANNELS, blocks=BLOCKS):
        super().__init__()
        self.channels = channels
        self.taps = nn.ParameterList()
        for n, k in BANKS:
            t = (torch.arange(k) - k / 2) / RATE
            hz = torch.exp(torch.linspace(math.log(150), math.log(4500), n))[:, None]
            w = torch.hann_window(k)
            pair = torch.cat([w * torch.cos(2 * math.pi * hz * t), w * torch.sin(2 * math.pi * hz * t)]) / w.sum()
            self.taps.append(nn.Parameter(pair))  # [2n, k]: the cosines, then the sines
        bands = sum(n for n, _ in BANKS)
        self.norm = nn.BatchNorm1d(bands)
        self.input = nn.Linear(bands, channels)
        self.blocks = nn.ModuleList([Block(channels, d, look) for d, look in blocks])
        self.output = nn.Linear(channels, 10)

    def bands(self, x):
        """[B, samples] to [B, frames, bands]: a logarithm of each filter pair's squared magnitude."""
        frames, out = x.shape[-1] // HOP, []
        for (n, k), taps in zip(BANKS, self.taps):
            past = k // 2 - HOP // 2
            windows = F.pad(x, (past, k)).unfold(-1, k, HOP)[:, :frames]
            y = windows @ taps.t()
            out.append(0.25 * torch.log(y[..., :n] ** 2 + y[..., n:] ** 2 + POWER_FLOOR) + 1.0)
        return torch.cat(out, -1)

    def after_level(self, z):
        """[B, frames, bands], the level taken away, to logits [B, frames, 10]."""
        B, T, K = z.shape
        h = F.relu(self.input(self.norm(z.reshape(-1, K)))).view(B, T, -1)
        for b in self.blocks:
            h = b(h)
        return self.output(F.relu(h))

    def forward(self, x, start=None):
        z = self.bands(x)
        return self.after_level(z - level_of(z.mean(-1), start)[..., None])
