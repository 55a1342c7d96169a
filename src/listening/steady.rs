//! Drones that hold their pitch, taken off: what goes on through a whole stretch of sound at the
//! same frequencies.
//!
//! It knows that drones are multiples of a quarter of low A, as [`super::drones`] says, and that no
//! note of the chanter goes on through a stretch. Each multiple, a line, is a sum of up to three
//! sines: two tenors and a bass that are nearly in tune beat. They are fitted by weighted least
//! squares to the line's amplitude in frames, with weights that follow what is left (Cauchy's:
//! Holland & Welsch, Robust regression using iteratively reweighted least-squares, 1977), so that
//! frames in which a note of the chanter lies on the line do not count. Drones that wander are left
//! in, and [`super::drones`] reckons with them.

use super::clicks::summit;
use super::drones::COVERED;
use super::harmonics::TOP;
use super::intake::RATE;
use microfft::Complex32;
use microfft::complex::cfft_1024;
use microfft::real::rfft_1024;
use pulp::num_complex::Complex;
use std::f64::consts::TAU;

/// Samples in a frame: 128 ms, and from frame to frame.
const FRAME: usize = 1024;
const HOP: usize = 256;
/// Frames at most: 32 s.
const MOST: usize = 1024;
/// Fewest frames that tell a line: 3 s.
const FEWEST: usize = 96;
/// How far drones may lie off a quarter of low A, as a part of it: 20 cents, of which their mean is
/// found first and then each by itself, 7 cents around it.
const FAR: f64 = 0.0116;
const ASIDE: f64 = 0.004;
/// The lines that tell the mean: high enough to tell, low enough not to be taken for a neighbour.
const TELLING: usize = 10;
/// The lowest line that the intake lets through.
const LOWEST: usize = 2;
/// Sines in a line at most.
const SINES: usize = 3;
/// Frames that are the drones' alone, as a share of all.
const ALONE: f64 = 0.35;
/// The same where one note sounds most of the time.
const HARDLY_ALONE: [f64; 4] = [0.25, 0.125, 0.06, 0.03];
/// What is left of a line's power in those frames, at most; from where on nothing is to be mended.
const LEFT: f64 = 0.15;
const LEFT_UNDER_A_NOTE: f64 = 0.1;
const NOTHING_LEFT: f64 = 1e-5;
/// Power of a line that is none, against full scale.
const NOTHING: f64 = 1e-12;
/// Share of the frames that lack the line, at most: a note that is held for a while does.
const LACKING: f64 = 0.08;
/// Fewest lines of drones that no one note has too, and what a line needs to count, as a share of
/// the sound's power.
const LINES: usize = 3;
const COUNTS: f64 = 5e-4;

type Amplitude = Complex<f64>;

fn turned(turns: f64) -> Amplitude {
    Complex::cis(TAU * turns.fract())
}

/// The value that a share of the values lies under.
fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    let rank = (values.len() as f64 * share) as usize;
    *sorted.select_nth_unstable_by(rank, f64::total_cmp).1
}

/// The transform of a frame's Hann window, bins from its middle; its phase is that of its start.
fn main_lobe(bins: f64) -> Amplitude {
    let rectangle = |bins: f64| -> Amplitude {
        let turns = bins / FRAME as f64;
        if turns.abs() < 1e-9 {
            return Complex::new(FRAME as f64, 0.0);
        }
        (1.0 - turned(bins)) / (1.0 - turned(turns))
    };
    0.5 * rectangle(bins) - 0.25 * (rectangle(bins + 1.0) + rectangle(bins - 1.0))
}

/// How a line is read from a frame's spectrum.
struct Line {
    /// Its number: the multiple of a quarter of low A.
    number: usize,
    /// Turns a sample.
    step: f64,
    /// The first of the four bins of its main lobe, and their weights.
    first: usize,
    weights: [Amplitude; 4],
}

impl Line {
    fn new(number: usize, hertz: f64) -> Self {
        let step = hertz / f64::from(RATE);
        let bin = step * FRAME as f64;
        let first = (bin as usize).max(1) - 1;
        let lobe: [Amplitude; 4] = std::array::from_fn(|at| main_lobe(bin - (first + at) as f64));
        let whole: f64 = lobe.iter().map(Complex::norm_sqr).sum();
        Self {
            number,
            step,
            first,
            weights: lobe.map(|value| value.conj() / whole),
        }
    }

    /// The lines of drones up to a number and under a frequency, hertz.
    fn all(quarter: f64, last: usize, highest: f64) -> Vec<Self> {
        (LOWEST..=last)
            .take_while(|number| quarter * (*number as f64) < highest)
            .map(|number| Self::new(number, quarter * number as f64))
            .collect()
    }

    /// The amplitude in a frame whose first sample has a number, turned back to sample 0.
    fn read(&self, spectrum: &[Complex32], start: usize) -> Amplitude {
        let lobe = spectrum[self.first..].iter().zip(&self.weights);
        let sum: Amplitude = lobe
            .map(|(bin, weight)| Complex::new(f64::from(bin.re), f64::from(bin.im)) * weight)
            .sum();
        sum * turned(-self.step * start as f64)
    }

    /// What [`Self::read`] makes of a sine of amplitude 1, so many turns a sample aside.
    fn response(&self, aside: f64) -> Amplitude {
        let bin = (self.step + aside) * FRAME as f64;
        let lobe = (self.first..).map(|at| main_lobe(bin - at as f64));
        lobe.zip(&self.weights)
            .map(|(value, weight)| value * weight)
            .sum()
    }
}

/// The amplitudes of lines in all frames.
fn read(sound: &[f32], lines: &[Line]) -> Vec<Vec<Amplitude>> {
    let turn = std::f32::consts::TAU / FRAME as f32;
    let window: [f32; FRAME] = std::array::from_fn(|i| 0.5 - 0.5 * (turn * i as f32).cos());
    let mut amplitudes = vec![Vec::new(); lines.len()];
    for (number, frame) in sound.windows(FRAME).step_by(HOP).take(MOST).enumerate() {
        let mut input = [0.0; FRAME];
        for (place, (sample, weight)) in input.iter_mut().zip(frame.iter().zip(&window)) {
            *place = sample * weight;
        }
        let spectrum = rfft_1024(&mut input);
        for (line, amplitudes) in lines.iter().zip(&mut amplitudes) {
            amplitudes.push(line.read(spectrum, number * HOP));
        }
    }
    amplitudes
}

/// A sine in a line.
#[derive(Debug, Clone, Copy)]
struct Sine {
    /// How far it lies beside the line, turns from frame to frame.
    aside: f64,
    /// As the line reads it.
    amplitude: Amplitude,
}

/// The sum of sines, frame by frame.
fn sum(sines: &[Sine]) -> impl Iterator<Item = Amplitude> {
    let mut parts: Vec<(Amplitude, Amplitude)> = sines
        .iter()
        .map(|sine| (sine.amplitude, turned(sine.aside)))
        .collect();
    std::iter::repeat_with(move || {
        let mut sum = Complex::ZERO;
        for (part, step) in &mut parts {
            sum += *part;
            *part *= *step;
        }
        sum
    })
}

/// The power that sines leave in each frame.
fn left(sines: &[Sine], amplitudes: &[Amplitude]) -> Vec<f64> {
    let both = amplitudes.iter().zip(sum(sines));
    both.map(|(own, sum)| (own - sum).norm_sqr()).collect()
}

/// Weights of frames by what is left in them, where a share of them has nothing else.
fn weights(left: &[f64], alone: f64) -> Vec<f64> {
    let scale = 4.0 * quantile(left, alone).max(1e-30);
    left.iter().map(|left| 1.0 / (1.0 + left / scale)).collect()
}

/// Finds the sines' amplitudes by weighted least squares, and with `bend` mends their frequencies
/// too (Gauss-Newton).
fn fit(sines: &mut [Sine], amplitudes: &[Amplitude], weights: &[f64], bend: bool) {
    const WIDTH: usize = 2 * SINES + 1;
    let each = if bend { 2 } else { 1 };
    let count = each * sines.len();
    let middle = amplitudes.len() as f64 / 2.0;
    let mut turns = [Complex::ZERO; SINES];
    let mut steps = [Complex::ZERO; SINES];
    for ((turn, step), sine) in turns.iter_mut().zip(&mut steps).zip(&*sines) {
        (*turn, *step) = (Complex::ONE, turned(sine.aside));
    }
    let mut rows = [[Complex::ZERO; WIDTH]; WIDTH - 1];
    for (frame, (amplitude, weight)) in amplitudes.iter().zip(weights).enumerate() {
        let along = frame as f64 / middle - 1.0;
        let mut columns = [Complex::ZERO; WIDTH];
        for at in 0..sines.len() {
            columns[each * at] = turns[at];
            if bend {
                columns[each * at + 1] = turns[at] * along;
            }
            turns[at] *= steps[at];
        }
        columns[count] = *amplitude;
        for (row, own) in rows[..count].iter_mut().zip(&columns) {
            let own = own.conj() * *weight;
            for (place, other) in row[..=count].iter_mut().zip(&columns) {
                *place += own * other;
            }
        }
    }
    let solution = solved(&mut rows, count);
    for (at, sine) in sines.iter_mut().enumerate() {
        sine.amplitude = solution[each * at];
        if bend && sine.amplitude.norm_sqr() > 0.0 {
            // a sine that turns faster by a little grows sideways on; its middle stays
            let limit = 0.25 / middle;
            let faster = (solution[2 * at + 1] / sine.amplitude).im / TAU / middle;
            let faster = faster.clamp(-limit, limit);
            sine.aside += faster;
            sine.amplitude *= turned(-faster * middle);
        }
    }
}

/// The solution of `count` equations, right sides after the last column (Gauss & Jordan). A little is
/// added to the diagonal: two sines can be nearly one.
fn solved<const WIDTH: usize, const ROWS: usize>(
    rows: &mut [[Amplitude; WIDTH]; ROWS],
    count: usize,
) -> [Amplitude; ROWS] {
    for (at, row) in rows[..count].iter_mut().enumerate() {
        row[at] *= 1.0 + 1e-6;
    }
    for at in 0..count {
        let pivot = rows[at];
        for (number, row) in rows[..count].iter_mut().enumerate() {
            if number == at || pivot[at].norm_sqr() == 0.0 {
                continue;
            }
            let factor = row[at] / pivot[at];
            for (place, above) in row.iter_mut().zip(&pivot) {
                *place -= factor * above;
            }
        }
    }
    std::array::from_fn(|at| {
        if at < count && rows[at][at].norm_sqr() > 0.0 {
            rows[at][count] / rows[at][at]
        } else {
            Complex::ZERO
        }
    })
}

/// A line's sines where it goes on through all frames.
struct Steady {
    sines: Vec<Sine>,
    /// Mean power, as the line reads it.
    power: f64,
    /// Share of its power that is left in the frames that are its own.
    left: f64,
}

impl Steady {
    /// Mends sines until what is left changes no more; none where they do not go on through all
    /// frames.
    fn settled(
        mut sines: Vec<Sine>,
        amplitudes: &[Amplitude],
        mut weights_now: Vec<f64>,
        alone: f64,
        bend: bool,
    ) -> Option<Self> {
        const ROUNDS: usize = 6;
        let mut rest = Vec::new();
        let mut power = 0.0;
        for _ in 0..ROUNDS {
            if bend {
                fit(&mut sines, amplitudes, &weights_now, true);
            }
            fit(&mut sines, amplitudes, &weights_now, false);
            rest = left(&sines, amplitudes);
            let whole: f64 = sum(&sines)
                .take(amplitudes.len())
                .map(|sum| sum.norm_sqr())
                .sum();
            power = whole / amplitudes.len() as f64;
            if quantile(&rest, alone) < NOTHING_LEFT * power {
                break;
            }
            weights_now = weights(&rest, alone);
        }
        let lacking = amplitudes
            .iter()
            .zip(sum(&sines))
            .filter(|(here, sum)| {
                let sum = sum.norm_sqr();
                sum > 0.5 * power && here.norm_sqr() < 0.1 * sum
            })
            .count();
        let left = quantile(&rest, alone) / power.max(NOTHING);
        let whole = lacking as f64 <= LACKING * amplitudes.len() as f64;
        (whole && power > NOTHING && left < LEFT).then_some(Self { sines, power, left })
    }

    /// Finds a line's sines within turns a frame beside it.
    fn find(amplitudes: &[Amplitude], widest: f64) -> Option<Self> {
        let powers: Vec<f64> = amplitudes.iter().map(Complex::norm_sqr).collect();
        let by = weights(&powers, ALONE);
        let usual = quantile(&powers, ALONE);
        let mut sines: Vec<Sine> = Vec::new();
        while sines.len() < SINES {
            let aside = strongest(&sines, amplitudes, &by, widest);
            sines.push(Sine {
                aside,
                amplitude: Complex::ZERO,
            });
            for bend in [false, true, false] {
                fit(&mut sines, amplitudes, &by, bend);
            }
            if quantile(&left(&sines, amplitudes), ALONE) < NOTHING_LEFT * usual {
                break;
            }
        }
        let by = weights(&left(&sines, amplitudes), ALONE);
        Self::settled(sines, amplitudes, by, ALONE, true)
    }

    /// The same for a line that a note covers most of the time: the sines lie as those of another
    /// line of the same drones do, `times` as far aside, and are heard where the note sounds least.
    fn find_under_a_note(
        &self,
        amplitudes: &[Amplitude],
        times: f64,
        sounds: &[f64],
    ) -> Option<Self> {
        let sines = || -> Vec<Sine> {
            let moved = |sine: &Sine| Sine {
                aside: sine.aside * times,
                ..*sine
            };
            self.sines.iter().map(moved).collect()
        };
        HARDLY_ALONE
            .into_iter()
            .filter_map(|alone| {
                let most = quantile(sounds, 2.0 * alone);
                let by = sounds
                    .iter()
                    .map(|sounds| f64::from(u8::from(*sounds <= most)));
                Self::settled(sines(), amplitudes, by.collect(), alone, false)
            })
            .min_by(|a, b| a.left.total_cmp(&b.left))
            .filter(|best| best.left < LEFT_UNDER_A_NOTE)
    }
}

/// Where the strongest sine lies in what others leave, turns a frame.
fn strongest(sines: &[Sine], amplitudes: &[Amplitude], weights: &[f64], widest: f64) -> f64 {
    let mut input = [Complex32::default(); MOST];
    let values = amplitudes.iter().zip(sum(sines)).zip(weights);
    for (place, ((own, sum), weight)) in input.iter_mut().zip(values) {
        let rest = (own - sum) * *weight;
        (place.re, place.im) = (rest.re as f32, rest.im as f32);
    }
    let spectrum = cfft_1024(&mut input);
    let most = MOST as i32;
    let size = |bin: i32| f64::from(spectrum[bin.rem_euclid(most) as usize].norm_sqr()).sqrt();
    let range = ((widest * MOST as f64) as i32).clamp(2, most / 2 - 2);
    let top = (-range..=range)
        .max_by(|a, b| size(*a).total_cmp(&size(*b)))
        .unwrap_or(0);
    let off = summit(size(top - 1), size(top), size(top + 1));
    (f64::from(top) + off) / MOST as f64
}

/// Finds what goes on in each line, as a part of its pitch aside at most.
fn find(lines: &[Line], amplitudes: &[Vec<Amplitude>], aside: f64) -> Vec<Option<Steady>> {
    lines
        .iter()
        .zip(amplitudes)
        .map(|(line, amplitudes)| Steady::find(amplitudes, aside * line.step * HOP as f64))
        .collect()
}

/// How far the drones lie off on the whole, as a part of their pitch; none where no two lines go on.
fn off(sound: &[f32], quarter: f64) -> Option<f64> {
    let lines = Line::all(quarter, TELLING, TOP);
    let found = find(&lines, &read(sound, &lines), FAR);
    if found.iter().flatten().count() < 2 {
        return None;
    }
    let (mut sum, mut whole) = (0.0, 0.0);
    for (line, steady) in lines.iter().zip(&found) {
        for sine in steady.iter().flat_map(|steady| &steady.sines) {
            let weight = sine.amplitude.norm_sqr();
            sum += weight * sine.aside / HOP as f64 / line.step;
            whole += weight;
        }
    }
    (whole > 0.0).then_some(sum / whole)
}

/// The lines under notes that sound most of the time, by those that were found.
fn find_under_notes(
    lines: &[Line],
    amplitudes: &[Vec<Amplitude>],
    found: &[Option<Steady>],
) -> Vec<(usize, Steady)> {
    let missing: Vec<usize> = (0..lines.len()).filter(|at| found[*at].is_none()).collect();
    missing
        .iter()
        .filter_map(|at| {
            // a bass has every line, tenors every other
            let mut above = (at + 2..lines.len()).step_by(2);
            let mut below = (0..*at).rev().skip(1).step_by(2);
            let is_found = |at: &usize| found[*at].is_some();
            let other = above.find(is_found).or_else(|| below.find(is_found))?;
            let number = lines[*at].number;
            let times = number as f64 / lines[other].number as f64;
            let together = |of: &usize| -> Vec<&Vec<Amplitude>> {
                missing
                    .iter()
                    .filter(|line| lines[**line].number.is_multiple_of(*of))
                    .map(|line| &amplitudes[*line])
                    .collect()
            };
            let covered = COVERED
                .iter()
                .filter(|of| number.is_multiple_of(**of))
                .map(together)
                .max_by_key(Vec::len)?;
            let sounds: Vec<f64> = (0..amplitudes[*at].len())
                .map(|frame| {
                    let powers = covered.iter().map(|line| line[frame].norm_sqr());
                    powers.map(|power| power.max(1e-20).ln()).sum()
                })
                .collect();
            let other = found[other].as_ref()?;
            Some((
                *at,
                other.find_under_a_note(&amplitudes[*at], times, &sounds)?,
            ))
        })
        .collect()
}

/// Whether lines are too many for a note that is held all the while.
fn are_drones(sound: &[f32], lines: &[Line], found: &[Option<Steady>]) -> bool {
    let power = sound.iter().map(|s| f64::from(s * s)).sum::<f64>() / sound.len() as f64;
    let both = lines.iter().zip(found);
    let numbers: Vec<usize> = both
        // half of a sine's power is read at its frequency's negative
        .filter(|(_, steady)| {
            steady
                .as_ref()
                .is_some_and(|own| 2.0 * own.power > COUNTS * power)
        })
        .map(|(line, _)| line.number)
        .collect();
    COVERED.iter().all(|of| {
        let others = numbers.iter().filter(|number| !number.is_multiple_of(*of));
        others.count() >= LINES
    })
}

/// Takes drones off a stretch of sound; `quarter` is a quarter of low A, hertz. Whether there were
/// any.
pub(super) fn take_off(sound: &mut [f32], quarter: f64) -> bool {
    if sound.len() < FRAME + FEWEST * HOP {
        return false;
    }
    let Some(off) = off(sound, quarter) else {
        return false;
    };
    // the intake lets a little more through than the notes' harmonics
    let lines = Line::all(quarter * (1.0 + off), usize::MAX, 1.1 * TOP);
    let amplitudes = read(sound, &lines);
    let mut found = find(&lines, &amplitudes, ASIDE);
    if !are_drones(sound, &lines, &found) {
        return false;
    }
    for (at, steady) in find_under_notes(&lines, &amplitudes, &found) {
        found[at] = Some(steady);
    }
    let mut tones = Vec::new();
    for (line, steady) in lines.iter().zip(&found) {
        for sine in steady.iter().flat_map(|steady| &steady.sines) {
            let aside = sine.aside / HOP as f64;
            // a real sound has half of it at the frequency's negative
            tones.push((
                2.0 * sine.amplitude / line.response(aside),
                line.step + aside,
            ));
        }
    }
    subtract(sound, &tones);
    true
}

/// Takes tones off: amplitude at sample 0, turns a sample.
fn subtract(sound: &mut [f32], tones: &[(Amplitude, f64)]) {
    /// Samples over which single precision turns exactly enough.
    const PIECE: usize = 128;
    /// Tones in a vector.
    const LANE: usize = 8;
    let lanes = tones.len().div_ceil(LANE);
    let mut steps = vec![[[0.0f32; LANE]; 2]; lanes];
    for (at, (_, step)) in tones.iter().enumerate() {
        let step = turned(*step);
        steps[at / LANE][0][at % LANE] = step.re as f32;
        steps[at / LANE][1][at % LANE] = step.im as f32;
    }
    let mut values = vec![[[0.0f32; LANE]; 2]; lanes];
    for (number, piece) in sound.chunks_mut(PIECE).enumerate() {
        for (at, (amplitude, step)) in tones.iter().enumerate() {
            let here = amplitude * turned(step * (number * PIECE) as f64);
            values[at / LANE][0][at % LANE] = here.re as f32;
            values[at / LANE][1][at % LANE] = here.im as f32;
        }
        for sample in piece {
            let mut sums = [0.0f32; LANE];
            for ([real, imaginary], [cosine, sine]) in values.iter_mut().zip(&steps) {
                for lane in 0..LANE {
                    let (re, im) = (real[lane], imaginary[lane]);
                    sums[lane] += re;
                    real[lane] = re * cosine[lane] - im * sine[lane];
                    imaginary[lane] = re * sine[lane] + im * cosine[lane];
                }
            }
            *sample -= sums.iter().sum::<f32>();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use fastrand::Rng;

    const SECONDS: usize = 20;

    /// Two tenors and a bass that are not quite in tune, `wander` hertz at the most aside: how far
    /// they lie off low A 480 as a part of it.
    fn drones(off: f64, wander: f64) -> Vec<f32> {
        let rate = f64::from(RATE);
        let mut sound = vec![0.0f32; SECONDS * RATE as usize];
        for (number, hertz) in [(1, 240.0), (2, 240.3), (3, 120.0)] {
            let mut turns = 0.1 * f64::from(number);
            for (at, sample) in sound.iter_mut().enumerate() {
                let slow = (TAU * at as f64 / rate / 2.3).sin();
                turns += (hertz * (1.0 + off) + wander * slow) / rate;
                // the intake lets no bass through under its first octave
                let wave: f64 = (1 + u32::from(hertz < 200.0)..=26)
                    .take_while(|k| hertz * f64::from(*k) < 3300.0)
                    .map(|k| {
                        (TAU * (turns * f64::from(k) + 0.3 * f64::from(k * k))).sin() / f64::from(k)
                    })
                    .sum();
                *sample += (0.2 * wave) as f32;
            }
        }
        sound
    }

    /// Notes of chance, and of any length up to a second, but for those that are left out.
    fn chanter(seed: u64, notes: &[f64]) -> Vec<f32> {
        let mut rng = Rng::with_seed(seed);
        let mut sound = Vec::new();
        while sound.len() < SECONDS * RATE as usize {
            let hertz = notes[rng.usize(..notes.len())] * (1.0 + 0.008 * (rng.f64() - 0.5));
            let phase = rng.f64();
            for at in 0..rng.usize(300..8000) {
                let turns = phase + hertz * at as f64 / f64::from(RATE);
                let wave: f64 = (1..6).map(|k| (TAU * turns * f64::from(k)).sin()).sum();
                sound.push((0.4 * wave) as f32);
            }
        }
        sound.truncate(SECONDS * RATE as usize);
        sound
    }

    const NOTES: [f64; 8] = [420.0, 480.0, 540.0, 600.0, 640.0, 720.0, 800.0, 840.0];

    fn energy(sound: impl Iterator<Item = f32>) -> f32 {
        sound.map(|sample| sample * sample).sum()
    }

    /// What is left of drones beside a chanter, as a share of them.
    #[track_caller]
    fn left_of(drones: &[f32], chanter: &[f32]) -> f32 {
        let mut sound: Vec<f32> = drones.iter().zip(chanter).map(|(a, b)| a + b).collect();
        assert!(take_off(&mut sound, 120.0), "drones were not found");
        let left = sound.iter().zip(chanter).map(|(a, b)| a - b);
        energy(left) / energy(drones.iter().copied())
    }

    /// Without it held notes would drown in drones that beat: of tenors 0.3 Hz apart and a bass next
    /// to nothing is left, in tune with low A or 15 cents off it.
    #[test]
    fn drones_are_taken_off() {
        for (seed, off) in [(1, 0.0), (2, 0.0087), (3, -0.0087)] {
            let left = left_of(&drones(off, 0.0), &chanter(seed, &NOTES));
            assert!(left < 0.02, "{left:.3} left of drones {off} off");
        }
    }

    /// Without it the lines of a drill's one long note would stay in, the loudest of all: low A
    /// sounds nine times out of ten.
    #[test]
    fn drones_under_one_note_are_taken_off() {
        let notes = [
            480.0, 480.0, 480.0, 480.0, 480.0, 480.0, 480.0, 480.0, 720.0, 420.0,
        ];
        let left = left_of(&drones(0.001, 0.0), &chanter(4, &notes));
        assert!(left < 0.1, "{left:.3} left");
    }

    /// Without it the chanter itself would be taken for drones: notes of chance, one held note,
    /// silence and too little of anything are left as they are.
    #[test]
    fn without_drones_nothing_is_touched() {
        let held = |hertz: f64| -> Vec<f32> {
            let turns = (0..160_000).map(|at| hertz * f64::from(at) / f64::from(RATE));
            let wave =
                |turns: f64| -> f64 { (1..6).map(|k| (TAU * turns * f64::from(k)).sin()).sum() };
            turns.map(|turns| wave(turns) as f32).collect()
        };
        let mut sounds = vec![vec![0.0; 160_000], Vec::new(), vec![0.5; 5000]];
        sounds.extend((5..9).map(|seed| chanter(seed, &NOTES)));
        sounds.extend([480.0, 600.0, 720.0].map(held));
        for sound in sounds {
            let mut after = sound.clone();
            assert!(!take_off(&mut after, 120.0));
            assert!(after == sound);
        }
    }

    /// Without it drones that wander would be doubled by their own likeness: what is taken off makes
    /// the sound no louder.
    #[test]
    fn drones_that_wander_are_no_louder_afterwards() {
        let drones = drones(0.0, 0.4);
        let notes = chanter(10, &NOTES);
        let sound: Vec<f32> = drones.iter().zip(&notes).map(|(a, b)| a + b).collect();
        let mut after = sound.clone();
        take_off(&mut after, 120.0);
        let left = after.iter().zip(&notes).map(|(a, b)| a - b);
        assert!(energy(left) < 1.05 * energy(drones.iter().copied()));
    }
}
