"""Random playing of a nine-note chanter, as sound at 12 kHz with low A near 240 Hz and a label for each frame.

The only training material: no sampled instrument, no measured room, no recorded noise or speech is in it. Everything
is drawn at random for each clip and made on the device that trains. Times are in samples of the scaled sound: pipes
lie at half speed, so a millisecond is 12 samples of a practice chanter and 24 of pipes (`ms`), and what does not
belong to the chanter (speech, hum, rooms) is scaled with it.
"""

import math

import torch
import torch.nn.functional as F

from network import HOP, RATE

RATIOS = (7 / 8, 1, 9 / 8, 5 / 4, 4 / 3, 3 / 2, 5 / 3, 7 / 4, 2)
NONE = 9
BEFORE = 4960  # samples made and cut off, so that rooms ring and voices speak when a clip begins
MELODY, GRACE, CROSSING, SILENCE, HELD = range(5)
SHARE = (0.30, 0.50, 0.14, 0.02, 0.04)
LENGTH_MS = ((70, 900), (15, 115), (4.5, 24), (60, 1500), (700, 2500))
LOSS_WEIGHT = (1.0, 1.3, 2.0, 1.0, 1.0)
NOBODY = 0.2  # share of clips in which nobody plays
JOINED = 0.4  # share of clips whose tones overlap, each with its own phase; in the others one tone glides
EVENTS = 96


class Draw:
    """Random numbers, one a clip."""

    def __init__(self, B, dev):
        self.B, self.dev = B, dev

    def u(self, lo, hi, *shape):
        return lo + (hi - lo) * torch.rand(self.B, *(shape or (1,)), device=self.dev)

    def log(self, lo, hi, *shape):
        return torch.exp(self.u(math.log(lo), math.log(hi), *shape))

    def n(self, *shape):
        return torch.randn(self.B, *(shape or (1,)), device=self.dev)

    def chance(self, p, *shape):
        return torch.rand(self.B, *(shape or (1,)), device=self.dev) < p

    def db(self, lo, hi):
        return 10 ** (self.u(lo, hi) / 20)

    def slow(self, T, step, lo, hi):
        """A random curve: straight lines between knots `step` samples apart."""
        knots = self.u(lo, hi, 1, int(T / step) + 3)
        return F.interpolate(knots, size=T, mode="linear", align_corners=True)[:, 0]


def convolve(x, h):
    n = 1 << math.ceil(math.log2(x.shape[-1] + h.shape[-1] - 1))
    return torch.fft.irfft(torch.fft.rfft(x, n) * torch.fft.rfft(h, n), n)[..., : x.shape[-1]]


def smooth(x, sigma):
    """x [B, C, T] under a Gaussian of sigma [B] samples."""
    T = x.shape[-1]
    n = -(-(T + 512) // 1024) * 1024
    f = torch.fft.rfftfreq(n, device=x.device)
    G = torch.exp(-2 * (math.pi * f[None] * sigma[:, None]) ** 2)
    p = F.pad(x, (256, n - T - 256), mode="replicate")
    return torch.fft.irfft(torch.fft.rfft(p, n) * G[:, None], n)[..., 256 : 256 + T]


def unit(x):
    return x / x.pow(2).mean(-1, keepdim=True).sqrt().clamp(min=1e-6)


def envelope(r, f, db, bumps):
    """Random smooth logarithmic gain at the frequencies f [B, ...]."""
    one = (r.B,) + (1,) * (f.dim() - 1)
    lg, octave = torch.zeros_like(f), torch.log2(f.clamp(min=30))
    for _ in range(bumps):
        c, w, g = (x.view(one) for x in (torch.log2(r.log(150, 6000)), r.u(0.12, 0.7), r.u(-db, db)))
        lg = lg + g * torch.exp(-0.5 * ((octave - c) / w) ** 2)
    return lg / 20 * math.log(10)


def coloured(r, T, grains=False):
    """Noise of any colour: white to deeper than red, with and without bands; with `grains`, some of it falls apart
    into drops, as applause does, or beats evenly, as an engine does."""
    f = torch.fft.rfftfreq(T, 1 / RATE, device=r.dev).clamp(min=20)[None]
    slope = torch.where(r.chance(0.25), r.u(-0.1, 0.1), r.u(-0.5, 2.6))
    lg = -slope * torch.log2(f / 500) * 0.5
    for _ in range(3):
        c, w, g = r.log(60, 5500), r.u(0.05, 0.8), r.u(-2, 3) * r.chance(0.4)
        lg = lg + g * torch.exp(-0.5 * (torch.log2(f / c) / w) ** 2)
    white = torch.randn(r.B, T, device=r.dev)
    if grains:
        density = r.log(0.003, 0.3)
        drops = (torch.rand(r.B, T, device=r.dev) < density) * r.log(0.3, 3, T)
        white = torch.where(r.chance(0.2), white * drops, white)
        beat = torch.cos(2 * math.pi * (r.log(4, 40) * torch.arange(T, device=r.dev) / RATE + r.u(0, 1) + r.slow(T, 6000, -0.3, 0.3)))
        white = torch.where(r.chance(0.15), white * torch.exp(r.u(0.3, 2.5) * beat), white)
    y = torch.fft.irfft(torch.fft.rfft(white) * torch.exp2(lg), T)
    return unit(y)


def phases(B, top, dev):
    """Where each harmonic begins, radians [B, top]: anywhere, or all together as a reed's or a voice's pulses do,
    turned by one angle and spread by a curve (Schroeder, 1970). Without both for players and bystanders alike the
    network takes the alignment itself for a sign of who sounds: one trained so told nothing of aligned notes."""
    h = torch.arange(1, top + 1, device=dev).float()
    one = lambda: 2 * math.pi * torch.rand(B, 1, device=dev)
    curve = 0.3 * (2 * torch.rand(B, 1, device=dev) - 1) * (torch.rand(B, 1, device=dev) < 0.6)
    together = one() + curve * h * h
    return torch.where(torch.rand(B, 1, device=dev) < 0.4, 2 * math.pi * torch.rand(B, top, device=dev), together)


def harmonics(phase, amplitude, top, scale_hz):
    """Sum over h of amplitude[:, h-1] (knots over time) times the sine of h·phase (in turns), aliases left out."""
    T, y = phase.shape[-1], torch.zeros_like(phase)
    begin = phases(len(phase), top, phase.device) / (2 * math.pi)
    for h in range(1, top + 1):
        a = F.interpolate(amplitude[:, h - 1 : h], size=T, mode="linear", align_corners=True)[:, 0]
        y += a * torch.sin(2 * math.pi * torch.frac(h * phase + begin[:, h - 1 : h])) * (h * scale_hz < 5800)
    return y


def turns(hz):
    return torch.frac(torch.cumsum(hz.double() / RATE, -1)).float()


# ------------------------------------------------------------------ what is played


def events(r, ms, T):
    """The note of every sample [B, T], the place of every sample's event in its clip, and the events' kinds."""
    B, N, dev = r.B, EVENTS, r.dev
    kind = torch.multinomial(torch.tensor(SHARE, device=dev), B * N, True).view(B, N)
    kind = torch.where((r.chance(0.15)) & (kind == CROSSING), GRACE, kind)
    nobody = r.chance(NOBODY)
    lengths = torch.stack([r.log(lo, hi, N) for lo, hi in LENGTH_MS])
    length = torch.gather(lengths, 0, kind[None])[0]
    opening = r.chance(0.4)[:, 0]
    kind[:, 0] = torch.where(opening, SILENCE, kind[:, 0])
    length[:, 0] = torch.where(opening, r.log(300, 2200)[:, 0], length[:, 0])
    kind = torch.where(nobody, SILENCE, kind)
    end = torch.cumsum((length * ms).round().clamp(min=8), 1)
    note = torch.zeros(B, N, dtype=torch.long, device=dev)
    before, previous = (torch.full((B,), NONE, device=dev) for _ in range(2))
    melody = torch.ones(10, device=dev)
    grace = torch.tensor([2.2, 1, 0.8, 0.8, 1.8, 1.4, 0.5, 2.2, 1.0, 0], device=dev)
    melody[NONE] = 0
    # Weights of an event's note, then the Gumbel trick, so that the loop over the events stays short.
    draw = torch.where((kind == GRACE)[..., None], grace, melody).log() - torch.log(-torch.log(torch.rand(B, N, 10, device=dev)))
    returns = r.chance(0.25, N)  # as in alternating movements: the note before the last one again
    for i in range(N):
        c = draw[:, i].scatter(1, previous[:, None], -1e9).argmax(1)
        c = torch.where(returns[:, i] & (before < NONE) & (before != previous), before, c)
        c = torch.where(kind[:, i] == SILENCE, NONE, c)
        note[:, i] = c
        before, previous = previous, c
    t = torch.arange(T, device=dev).float()[None].expand(B, T).contiguous()
    at = torch.searchsorted(end.contiguous(), t, right=True).clamp(max=N - 1)
    return torch.gather(note, 1, at), at, kind, nobody


def tuning(r):
    """Pitch of the nine notes [B, 9]: the tables in use, mistuned."""
    rat = torch.tensor(RATIOS, device=r.dev).repeat(r.B, 1)
    high_g = torch.rand(r.B, device=r.dev)
    rat[:, 7] = torch.where(high_g < 0.3, 16 / 9, torch.where(high_g < 0.4, 9 / 5, rat[:, 7]))
    rat[:, 4] = torch.where(r.chance(0.2)[:, 0], 27 / 20, rat[:, 4])
    cents = (r.n(9) * 12).clamp(-34, 34) + r.n() * 9
    return 240 * rat * torch.exp2(cents / 1200)


def timbre(r, hz, top):
    """Complex amplitude of each note's harmonics [B, 9, top], real and imaginary part."""
    h = torch.arange(1, top + 1, device=r.dev).float()
    f = hz[..., None] * h
    one = lambda x: x.view(r.B, 1, 1)
    lg = envelope(r, f, 14, 7) - one(r.u(0, 1.5)) * torch.log(h)
    lg = lg + r.n(9, top) * one(r.u(0.1, 0.9))
    lg = lg + one(r.chance(0.3) * r.u(-1.8, 0.5)) * (h % 2 == 0)
    # A bassoon's tone can have its even harmonics 20 dB above the odd ones, and on some of its notes only.
    # The two lowest notes have others an octave above them, for which they are then taken. A sampled bagpipe's low G
    # is so above its sixth harmonic alone, a reed organ's third harmonics can stand out.
    some = torch.tensor([0.24, 0.24] + 7 * [0.13], device=r.dev)[None, :, None]
    some = torch.rand(r.B, 9, 1, device=r.dev) < some
    edge, where = torch.sigmoid(1.5 * (h - one(r.log(1.5, 10)))), one(r.u(0, 1))
    where = torch.where(where < 0.4, torch.ones_like(edge), torch.where(where < 0.85, edge, 1 - edge))
    lg = lg + where * (one(r.chance(0.2) * r.u(-2.8, 0.3)) + some * r.u(-2.8, 0.6, 9, 1)) * (h % 2 == 1)
    lg = lg + one(r.chance(0.12) * r.u(0, 1.6)) * (h % 3 == 0)
    lg = lg + one(r.chance(0.3) * r.u(-2.5, 0)) * (h == 1) + r.n(9, 1) * 0.25
    lg = torch.where(f < 5900, lg, -12.0)
    lg = lg - torch.logsumexp(2 * lg, -1, keepdim=True) / 2 * one(r.u(0.6, 1))
    angle = r.u(0, 2 * math.pi, 9, top) * one(r.chance(0.4)) + phases(r.B, top, r.dev)[:, None]
    return torch.exp(lg) * torch.cos(angle), torch.exp(lg) * torch.sin(angle)


def pitch_path(r, note, hz, sigma, wander):
    """Hz of every sample: what sounds, glided over by a Gaussian, carried through rests, times the wandering."""
    sounds = (note < NONE).float()
    f = torch.gather(F.pad(hz, (0, 1)), 1, note)
    s = smooth(torch.stack([f, sounds], 1), sigma)
    f = s[:, 0] / s[:, 1].clamp(min=0.05)
    return torch.where(f < 150, 240.0, f).clamp(150, 520) * torch.exp2(wander / 1200)


def sung(weight, phase, real, imag):
    """Tones of the nine notes, weight [B, 9, T], on one phase in turns."""
    y, top = torch.zeros_like(phase), real.shape[-1]
    a = 2 * math.pi * phase
    c1, s1 = torch.cos(a), torch.sin(a)
    c, s = c1, s1
    for k in range(top):
        amp = torch.stack([real[..., k], imag[..., k]], 1) @ weight  # [B, 2, T]
        y += amp[:, 0] * c - amp[:, 1] * s
        c, s = c * c1 - s * s1, s * c1 + c * s1
    return y


def chanter(r, ms, T):
    """The dry chanter [B, T] at power 1 while it sounds, with its notes, loss weights and who does not play."""
    B, dev = r.B, r.dev
    note, at, kind, nobody = events(r, ms, T)
    t = torch.arange(T, device=dev).float()
    hz, sigma = tuning(r), (r.log(0.2, 1.8) * ms)[:, 0]
    wander = r.slow(T, 4000, -14, 14) * r.u(0, 1)
    wander = wander + r.u(0, 12) * torch.sin(2 * math.pi * r.u(3, 8) * t / RATE) * r.chance(0.2)
    wander = wander + r.slow(T, 120, -25, 25) * r.chance(0.15) * r.u(0, 1)
    # a tone that begins after a rest comes up to its pitch
    begins = torch.zeros(B, T, device=dev)
    begins[:, 1:] = ((note[:, 1:] < NONE) & (note[:, :-1] == NONE)) * t[1:]
    since = t - torch.cummax(begins, 1).values
    wander = wander - r.chance(0.2) * r.u(0, 90) * torch.exp(-since / (r.log(8, 60) * ms))
    real, imag = timbre(r, hz, 24)
    onehot = F.one_hot(note, 10).float().permute(0, 2, 1)[:, :9].contiguous()
    y = torch.zeros(B, T, device=dev)
    J = int(B * JOINED)
    glide = slice(J, B)
    weight = smooth(onehot, sigma).clamp(min=0)
    path = pitch_path(r, note, hz, sigma * r.u(0.3, 1.5)[:, 0], wander)
    phase = turns(path)
    y[glide] = sung(weight[glide], phase[glide], real[glide], imag[glide])
    odd = (at[:J] % 2).bool()
    for voice in (odd, ~odd):  # every other event has its own pitch and phase; they overlap while one fades
        w = smooth(onehot[:J] * voice[:, None], sigma[:J]).clamp(min=0)
        f = torch.gather(F.pad(hz[:J], (0, 1), value=240.0), 1, note[:J])
        # the pitch of a voice is held until its next event has begun to sound, less the fading
        index = torch.cummax(torch.where(voice, t[None].expand(J, T), -1.0), 1).values.clamp(min=0).long()
        back = (t[None] - (3 * sigma[:J, None])).clamp(min=0).long().expand(J, T)
        ahead = (t[None] + (3 * sigma[:J, None])).clamp(max=T - 1).long().expand(J, T)
        own = torch.gather(index, 1, back)
        coming = torch.gather(index, 1, ahead)
        now = torch.where(torch.gather(voice, 1, back), own, coming)
        held = torch.gather(f, 1, torch.where(voice, t[None].long().expand(J, T), now)) * torch.exp2(wander[:J] / 1200)
        y[:J] += sung(w, torch.frac(turns(held) + torch.rand(J, 1, device=dev)), real[:J], imag[:J])
    playing = weight.sum(1)
    change = torch.zeros(B, T, device=dev)
    change[:, 1:] = (note[:, 1:] != note[:, :-1]).float()
    # dips and unsteady blowing, taps of fingers, growl and gurgle
    rough = r.chance(0.4)
    dip = smooth((change * torch.rand(B, T, device=dev))[:, None], r.log(0.8, 4)[:, 0] * ms[:, 0])[:, 0]
    y = y * (1 - rough * r.u(0, 0.95) * dip / dip.amax(-1, keepdim=True).clamp(min=1e-6))
    y = y * torch.exp(r.slow(T, 1500, -0.35, 0.35) * r.u(0, 1))
    now_and_then = torch.sigmoid(4 * r.slow(T, 5000, -1.5, 1.5))
    am = torch.where(r.chance(0.5), torch.sin(2 * math.pi * r.log(12, 120) * 12 / ms * t / RATE + r.slow(T, 800, -2, 2)),
                     torch.where(r.chance(0.4), torch.sin(math.pi * turns(path / 2) * 2), r.slow(T, 150, -1, 1)))
    y = y * (1 + r.chance(0.2) * now_and_then * r.u(0.1, 0.9) * am)
    rms = (y.pow(2).sum(-1, keepdim=True) / playing.sum(-1, keepdim=True).clamp(min=1)).sqrt()
    y = torch.where(nobody, torch.zeros_like(y), y / rms.clamp(min=1e-3))
    knock = torch.exp(-torch.arange(400, device=dev) / r.u(3, 60)) * torch.randn(B, 400, device=dev)
    y = y + (rough & r.chance(0.7)) * 0.3 * convolve(change * torch.randn(B, T, device=dev) * r.log(0.2, 4), knock)
    y = y + coloured(r, T) * playing * r.db(-60, -18)  # the breath in the tone
    loss = torch.gather(torch.tensor(LOSS_WEIGHT, device=dev)[kind], 1, at)
    return y, note, loss, nobody, hz


# ------------------------------------------------------------------ what stands around it


def room(r, ms, y):
    """The chanter in a random room: early reflections ever denser, a tail that decays faster above."""
    L = 65536 - y.shape[-1]
    t = torch.arange(L, device=r.dev)[None] / (ms * 1000)  # seconds
    t60, f = r.log(0.1, 2.0), torch.fft.rfftfreq(L, 1 / RATE, device=r.dev)[None]
    density = (0.002 + 0.05 * (t / r.log(0.01, 0.08)) ** 2).clamp(max=1)
    hits = (torch.rand(r.B, L, device=r.dev) < density) * torch.randn(r.B, L, device=r.dev)
    hits = torch.where(r.chance(0.3), hits.abs(), hits) / density.sqrt()
    split = 1 / torch.sqrt(1 + (f / (r.log(300, 4000) * 12 / ms)) ** 2)
    low = torch.fft.irfft(torch.fft.rfft(hits) * split, L)
    tail = low * torch.exp(-6.9 * t / t60) + (hits - low) * torch.exp(-6.9 * t / (t60 * r.u(0.25, 1)))
    tail = tail * (t > r.log(0.0008, 0.02))
    tail = tail / tail.pow(2).sum(-1, keepdim=True).sqrt().clamp(min=1e-6) * r.db(-16, 9) * r.chance(0.6)
    tail[:, 0] += 1
    return convolve(y, tail)


def speech(r, ms, T, nobody):
    """Somebody talks, or sings: syllables with moving formants, hisses, pauses; nothing of it is recorded.

    Where nobody plays, half of the voices hold their vowels for 0.2 to 1 s at 180 to 260 Hz, where a practice
    chanter's lowest notes lie; beside playing, three in ten."""
    B, dev, k = r.B, r.dev, 12 / ms  # k: hertz of the scaled sound to one of the room's
    K, top = int(T / 120) + 2, 40  # knots 10 ms apart (5 for pipes)
    holds = torch.where(nobody, r.chance(0.5), r.chance(0.3))
    speed = torch.where(holds, r.log(0.17, 0.8), r.log(0.7, 1.6))
    syllable = (torch.cumsum((torch.rand(B, K, device=dev) < speed * 0.06 * k).float(), 1)).long() % 48
    pick = lambda lo, hi: torch.gather(r.u(lo, hi, 48), 1, syllable)
    def glided(x, n=5):
        return F.avg_pool1d(F.pad(x[:, None], (n // 2, n // 2), mode="replicate"), n, 1)[:, 0]
    sings = r.chance(0.15)
    base = torch.where(r.chance(0.45), r.u(165, 300), r.log(75, 320))
    base = torch.where(holds, r.u(180, 260), base)
    tune = torch.where(sings, torch.round(pick(-4, 8)), pick(-3, 4) + r.slow(K, 12, -1.5, 1.5))
    f0 = base * torch.exp2(glided(tune) / 12) * k
    f0 = F.interpolate(f0[:, None], size=T, mode="linear", align_corners=True)[:, 0]
    f0 = f0 * torch.exp2((r.slow(T, 150, -1, 1) * r.u(0, 0.3) + sings * 0.4 * torch.sin(
        2 * math.pi * 5.5 * k * torch.arange(T, device=dev) / RATE)) / 12)
    size = r.u(0.85, 1.25)
    formants = [glided(pick(*lohi)) * size * k for lohi in ((250, 850), (800, 2400), (2200, 3100), (3200, 4200))]
    h = torch.arange(1, top + 1, device=dev).float()[None, :, None]
    fh = h * F.interpolate(f0[:, None], size=K, mode="linear", align_corners=True)
    lg = -torch.log(h) * r.u(0.6, 1.5)[..., None] * torch.ones_like(fh)
    for f, width, g in zip(formants, (70, 100, 140, 200), (1.0, 0.9, 0.7, 0.5)):
        x = (fh - f[:, None]) / (width * k * r.u(0.7, 1.6))[..., None]
        lg = lg + g * 1.2 * torch.log1p(12 / (1 + x * x))
    voiced = torch.gather((torch.rand(B, 48, device=dev) < 0.72).float(), 1, syllable)
    loud = torch.exp(glided(pick(-2.5, 0.3), 3))
    pause = torch.sigmoid(9 * r.slow(K, 90, -0.6, 1.4))
    y = harmonics(turns(f0), torch.exp(lg) * (glided(voiced, 3) * loud * pause)[:, None], top, f0)
    hiss = F.interpolate(((1 - glided(voiced, 3)) * loud * pause)[:, None], size=T, mode="linear", align_corners=True)[:, 0]
    y = unit(unit(y) + coloured(r, T) * hiss * r.u(0, 1.2))
    # two in five through a telephone or a small loudspeaker
    f = torch.fft.rfftfreq(T, 1 / RATE, device=dev)[None]
    lg = torch.log1p((r.log(120, 400) * k / f.clamp(min=5)) ** 4) + torch.log1p((f / (r.log(2500, 4000) * k)) ** 16)
    return torch.fft.irfft(torch.fft.rfft(y) * torch.exp(-0.5 * lg * r.chance(0.4)), T)


def drones(r, _, T):
    """Two tenors and a bass, one set in eight in another key than the chanter's, of any reed: a bassoon's even
    harmonics can lie 20 dB above the odd ones."""
    y = torch.zeros(r.B, T, device=r.dev)
    key = 240 * torch.where(r.chance(0.12), torch.exp2(r.u(-0.5, 0.5)), 1.0)
    for below in (2, 2, 4):
        f0 = key / below * torch.exp2((r.n() * 4 + r.slow(T, 6000, -3, 3)) / 1200)
        top = 40 if below == 4 else 24
        h = torch.arange(1, top + 1, device=r.dev).float()[None]
        a = torch.exp(envelope(r, key / below * h, 12, 4) + r.n(top) * r.u(0, 0.8)) * h ** -r.u(0.2, 1.6)
        a = a * torch.exp(r.chance(0.35) * r.u(-2.5, 1) * (h % 2 == 1))
        y = y + unit(harmonics(turns(f0), a[..., None].expand(-1, -1, 2), top, f0)) * r.u(0.2, 1) * torch.exp(
            r.slow(T, 3000, -0.3, 0.3) * r.u(0, 1))
    return y


def steady_lines(r, ms, T):
    """Mains hum with its harmonics, and the whine of fans and machines."""
    f0 = (torch.where(r.chance(0.6), r.u(49, 61), r.log(30, 400)) * 12 / ms).expand(r.B, T)
    h = torch.arange(1, 25, device=r.dev).float()[None]
    a = torch.exp(envelope(r, f0[:, :1] * h, 12, 4) + r.n(24) * 0.5) * h ** -r.u(0.3, 1.6)
    return harmonics(turns(f0), a[..., None].expand(-1, -1, 2), 24, f0)


def clicks(r, ms, T, hz):
    """Clicks, beeps and knocks on a grid."""
    t = torch.arange(T, device=r.dev)[None]
    n = (t - r.u(0, 1) * 18000) / (r.u(200, 1500) * ms)
    hit = torch.zeros(r.B, T, device=r.dev)
    hit[:, 1:] = (torch.floor(n[:, 1:]) > torch.floor(n[:, :-1])).float()
    tc = torch.arange(1200, device=r.dev)[None]
    decay, f = r.log(8, 500), r.log(80, 5500) * 12 / ms
    f = torch.where(r.chance(0.15), torch.gather(hz, 1, torch.randint(0, 9, (r.B, 1), device=r.dev)), f)
    beep = (tc < decay * 2) * (tc / 12).clamp(max=1) * ((decay * 2 - tc) / 24).clamp(0, 1)
    tone = torch.sin(2 * math.pi * f * tc / RATE) + r.u(0, 0.5) * torch.sin(2 * math.pi * 2.76 * f * tc / RATE)
    tone = tone + r.chance(0.3) * r.u(0, 1) * torch.sin(2 * math.pi * r.u(1.5, 4) * f * tc / RATE) * torch.exp(-tc / (decay * 0.4))
    k = torch.where(r.chance(0.5), torch.exp(-tc / decay), beep) * torch.where(r.chance(0.25), torch.randn(r.B, 1200, device=r.dev), tone)
    accent = 1 - 0.5 * (torch.rand(r.B, T, device=r.dev) < 0.4)
    return convolve(hit * accent, k / k.abs().amax(-1, keepdim=True).clamp(min=1e-6)) * 1.414


def surroundings(r, ms, T, nobody, hz):
    """All that sounds beside the chanter [B, T], against a chanter of power 1."""
    def add(z, lo, hi, p, alone=None):
        here = torch.where(nobody, r.chance(p if alone is None else alone), r.chance(p))
        return unit(z) * r.db(-hi, -lo) * here
    noise = coloured(r, T, True) * torch.where(r.chance(0.4), torch.exp(r.slow(T, 2500, -1.5, 1.5)), 1.0)
    y = torch.where(r.chance(0.3), add(noise, -2, 14, 0.75, 0.6), add(noise, -2, 40, 0.6, 0.6))
    talk = speech(r, ms, T, nobody)
    shifted = lambda: torch.roll(torch.roll(talk, int(torch.randint(1, r.B, ())), 0), int(torch.randint(1, T, ())), 1)
    y = y + torch.where(r.chance(0.5), add(talk, -5, 12, 0.3, 0.65), add(talk, -5, 30, 0.3, 0.65))
    crowd = talk * r.u(0, 1) + sum(shifted() * r.u(0.2, 1) for _ in range(4))
    y = y + torch.where(r.chance(0.5), add(crowd, -4, 12, 0.18, 0.3), add(crowd, -4, 28, 0.18, 0.3))
    for make, lo, hi, p, alone in ((steady_lines, -2, 30, 0.2, 0.25), (drones, -5, 20, 0.32, 0.2)):
        some = torch.randperm(r.B, device=r.dev)[: (r.B + 2) // 3]  # made for a third of the clips, to save time
        z = torch.zeros_like(y)
        z[some] = make(Draw(len(some), r.dev), ms[some], T)
        y = y + torch.where(r.chance(0.4), add(z, lo, 8, 3 * p, 3 * alone), add(z, lo, hi, 3 * p, 3 * alone))
    return y + clicks(r, ms, T, hz) * r.db(-14, 12) * r.chance(0.3)


def microphone(r, y):
    """Colour of the microphone, its own noise, the edge of the resampler, overload."""
    T = y.shape[-1]
    f = torch.fft.rfftfreq(T, 1 / RATE, device=r.dev)[None].expand(r.B, -1)
    lg = envelope(r, f, 9, 4) * r.chance(0.7)
    lg = lg - r.chance(0.35) * torch.log1p((r.log(60, 420) / f.clamp(min=5)) ** 4) / 2
    lg = lg - r.chance(0.6) * torch.log1p((f / r.u(2800, 6000)) ** 16) / 2
    y = torch.fft.irfft(torch.fft.rfft(y) * torch.exp(lg), T)
    y = y / y.abs().amax(-1, keepdim=True).clamp(min=1e-6)
    k = r.log(0.5, 5)
    return torch.where(r.chance(0.15), torch.tanh(k * y) / k, y)


def silences(r, y, note, loss):
    """Pieces of digital silence before, in and after the sound, as in recordings that are cut or muted."""
    T, B = y.shape[-1], r.B
    t = torch.arange(T, device=r.dev)[None]
    for p in (0.16, 0.08):
        length = r.log(200, 20000)
        start = torch.where(r.chance(0.4), BEFORE * 1.0, r.u(0, 1) * T)
        start = torch.where(r.chance(0.3), T - length, start)
        gone = (t >= start) & (t < start + length) & r.chance(p)
        y, note = torch.where(gone, torch.zeros_like(y), y), torch.where(gone, NONE, note)
    return y, note, loss


@torch.no_grad()
def clips(B, samples, dev):
    """Sound [B, samples] with peaks of about 1, notes and loss weights [B, samples / 12]. Loudness comes later."""
    r, T = Draw(B, dev), samples + BEFORE
    ms = torch.where(r.chance(0.38), 24.0, 12.0)
    y, note, loss, nobody, hz = chanter(r, ms, T)
    y = room(r, ms, y)
    clean = r.chance(0.2) & ~nobody
    y = y + surroundings(r, ms, T, nobody, hz) * ~clean
    y = y + unit(coloured(r, T)) * r.db(-75, -38) * r.chance(0.7)
    y, note, loss = silences(r, microphone(r, y), note, loss)
    frame = slice(BEFORE + HOP // 2, BEFORE + samples, HOP)
    return y[:, BEFORE:], note[:, frame], loss[:, frame]


@torch.no_grad()
def loudness(x):
    """Any level from -62 dBFS to a little overload, either sign, and mostly as 16-bit numbers."""
    r = Draw(x.shape[0], x.device)
    gain = torch.where(r.chance(0.5), r.db(-30, 3), r.db(-62, 0))
    x = (x * gain * torch.sign(r.n())).clamp(-1, 1)
    return torch.where(r.chance(0.7), torch.round(x * 32768) / 32768, x)
