//! A simulated player who makes one fault at a time, as exact notes without sound, in contexts of
//! no built-in drill; and the check whether the verdict names the fault.
//!
//! Clean playing varies as follows (facts: professional drummers' mean error is 2 to 10 ms, Fujii
//! et al. 2011; untrained taps lead the click by 30 to 50 ms, Aschersleben & Prinz 1995). Each take
//! has a constant lead of 30 to 50 ms. Each landing is off by a normal of 10 ms. Each movement is
//! faster or slower by a normal of 8 %, each tone in it longer or shorter by one of 6 ms, and each
//! gracenote by one of 5 ms. Nothing is cut off, so that some values lie beyond any threshold. The
//! length of a fault is exact; its place varies like landings.

use fastrand::Rng;
use gracerung::drill::{Drill, read};
use gracerung::listening::{ExpectedStage, HeardNote, align};
use gracerung::practice::{FaultKind, Mark, NoteKind, Thresholds, Verdict, judge};
use gracerung::score::resolve_music;
use gracerung::timeline::{Layout, lay};
use gracerung::units::{Bpm, Fraction, SampleRate, Seconds};
use std::collections::BTreeMap;

/// The tempi that are played, in beats a minute.
pub(super) const TEMPI: [i128; 3] = [50, 63, 80];
/// The number of repetitions in a take, and the index of the one that has the fault.
const REPETITIONS: usize = 5;
const FAULTY: usize = 2;

/// A kind of fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Plant {
    /// Every tone of the movement lasts 0.3 of its length.
    AllTones,
    /// One tone lasts 0.35 of its length.
    OneTone,
    /// One tone lasts twice its length.
    Doubled,
    /// One gracenote lasts 95 ms.
    LongGracenote,
    /// The movement comes 120 ms early.
    Early,
    /// The movement comes 120 ms late.
    Late,
    /// A dotted note and its cut are played as two equal notes.
    Round,
    /// Every dot of a tune with a pointing, or every snap, is played 2 to 1.
    AllRound,
}

impl Plant {
    /// Every kind of fault.
    pub(super) const ALL: [Self; 8] = [
        Self::AllTones,
        Self::OneTone,
        Self::Doubled,
        Self::LongGracenote,
        Self::Early,
        Self::Late,
        Self::Round,
        Self::AllRound,
    ];

    /// The kind in words, for a table.
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::AllTones => "all tones × 0.3",
            Self::OneTone => "one tone × 0.35",
            Self::Doubled => "one tone × 2",
            Self::LongGracenote => "a gracenote of 95 ms",
            Self::Early => "movement 120 ms early",
            Self::Late => "movement 120 ms late",
            Self::Round => "dot and cut round",
            Self::AllRound => "all dots 2 to 1",
        }
    }

    fn accepts(self, kind: FaultKind) -> bool {
        use FaultKind as F;
        match self {
            Self::AllTones | Self::OneTone => matches!(kind, F::Crushed | F::Swallowed),
            Self::Doubled => matches!(kind, F::Dragged | F::Unlike),
            Self::LongGracenote => kind == F::TooLong,
            Self::Early => kind == F::Early,
            Self::Late => kind == F::Late,
            Self::Round | Self::AllRound => kind == F::Pointing,
        }
    }
}

/// Movements in contexts of no built-in drill: name, note before, note that it closes on.
const MOVEMENTS: [(&str, &str, &str); 12] = [
    ("grip", "E", "B"),
    ("grip", "LA", "F"),
    ("taorluath", "F", "B"),
    ("crunluath", "B", "E"),
    ("doubling", "LA", "D"),
    ("doubling", "B", "F"),
    ("doubling", "E", "LA"),
    ("throw-on-d", "F", "D"),
    ("birl", "C", "LA"),
    ("shake", "C", "E"),
    ("double-strike", "LA", "C"),
    ("catch", "E", "C"),
];

/// Pointed rhythms, with dotted notes before and after their cuts, with and without gracenotes.
const POINTED: [&str; 5] = [
    "{g}A3B {d}c3e|{g}f4 e4|",
    "{g}c3d {g}e3f|{g}e3c A4|",
    "e3f g3e|{g}f3d {g}B4|",
    "{g}e3A {gcd}c3A|{g}B3A {g}A4|",
    "{g}ce3 {g}fe3|{g}c4 {g}A4|",
];

/// Tunes whose kind decides how they are pointed (from experience, 55 to 65 % sure): kind, metre
/// and music. A jig is even, and nothing in it can be too round.
const TUNES: [(&str, &str, &str); 3] = [
    (
        "march",
        "2/4",
        "{g}A>B {g}c>d|{g}e>c {GdGe}A>c|{g}e>f {gef}e>c|{g}B>c {g}A2|",
    ),
    (
        "strathspey",
        "4/4",
        "{g}A>B {g}c<e {g}f>e {g}c<A|{g}c>e {g}d<f {gef}e>c {g}B<A|{g}A>c {g}e4 {g}A2|",
    ),
    (
        "jig",
        "6/8",
        "{g}A B c {gef}e d c|{g}d e f {g}e c B|{g}A B c {g}d3|",
    ),
];

/// The drills: each movement in real time, and each rhythm at half the tempo of the movements.
pub(super) fn drills() -> Vec<(String, Drill)> {
    let movements = MOVEMENTS.iter().map(|(name, from, to)| {
        let text = format!(
            "title: x\nmovement: {name}\nfrom: {from}\nto: {to}\nstages: [{{name: real time}}]\n\
             ladder: {{from: 50, to: 80, step: 4%}}\n"
        );
        (format!("{name} from {from} to {to}"), text)
    });
    let pointed = POINTED.iter().map(|music| {
        let text = format!(
            "title: x\nunit: 1/8\nmetre: 4/4\nstages: [{{name: x, music: \"{music}\"}}]\n\
             ladder: {{from: 50, to: 80, step: 4%}}\n"
        );
        ((*music).to_owned(), text)
    });
    let tunes = TUNES.iter().map(|(kind, metre, music)| {
        let text = format!(
            "title: x\nkind: {kind}\nunit: 1/8\nmetre: {metre}\nmusic: \"{music}\"\n\
             ladder: {{from: 50, to: 80, step: 4%}}\n"
        );
        (format!("{kind} in {metre}"), text)
    });
    movements
        .chain(pointed)
        .chain(tunes)
        .map(|(name, text)| {
            let (drill, problems) = read(text.as_bytes());
            (
                name,
                drill.unwrap_or_else(|| panic!("{text}: {problems:?}")),
            )
        })
        .collect()
}

/// A drill's last stage at a tempo, as the judging expects it.
pub(super) fn piece(drill: &Drill, tempo: Bpm) -> ExpectedStage {
    let stage = drill.stages.last().expect("a drill has a stage");
    let breath = drill.metre.bar() * Fraction::from_integer(i128::from(drill.breath));
    let score = resolve_music(&stage.music, breath, &drill.schools);
    let layout = Layout {
        lengths: drill.lengths,
        ..Layout::at(tempo, SampleRate::USUAL)
    };
    ExpectedStage::of(&score, &lay(&score, &layout))
}

/// A melody note with its gracenotes.
struct Figure {
    at: usize,
    before: Vec<usize>,
    on: Vec<usize>,
}

fn figures(piece: &ExpectedStage) -> Vec<Figure> {
    let mut all = Vec::new();
    let mut waiting: Vec<usize> = Vec::new();
    for (at, note) in piece.notes.iter().enumerate() {
        if note.part == NoteKind::Melody {
            let on = waiting.split_off(waiting.len() - note.begun_by.min(waiting.len()));
            let before = std::mem::take(&mut waiting);
            all.push(Figure { at, before, on });
        } else {
            waiting.push(at);
        }
    }
    all
}

/// The places where a fault is possible: the figure, and the notes that may be named for it.
fn places(piece: &ExpectedStage, plant: Plant) -> Vec<(usize, Vec<usize>)> {
    let figures = figures(piece);
    let mut places = Vec::new();
    if plant == Plant::AllRound {
        for long_first in [true, false] {
            let own = |figure: &&Figure| {
                let pair = piece.notes[figure.at].pair;
                pair.is_some_and(|pair| pair.long_first == long_first)
            };
            let all: Vec<usize> = figures.iter().filter(own).map(|figure| figure.at).collect();
            if !all.is_empty() {
                places.push((usize::MAX, all));
            }
        }
        return places;
    }
    for (number, figure) in figures.iter().enumerate() {
        let parts: Vec<usize> = figure.before.iter().chain(&figure.on).copied().collect();
        let tones: Vec<usize> = parts
            .iter()
            .copied()
            .filter(|at| piece.notes[*at].part == NoteKind::Tone)
            .collect();
        let gracenotes = parts
            .iter()
            .copied()
            .filter(|at| piece.notes[*at].part == NoteKind::Gracenote && !piece.notes[*at].tap);
        let movement = piece.notes[figure.at].movement.is_some();
        match plant {
            Plant::AllTones if !tones.is_empty() => places.push((number, tones)),
            Plant::OneTone | Plant::Doubled => {
                places.extend(tones.into_iter().map(|tone| (number, vec![tone])));
            }
            Plant::LongGracenote if movement => {
                places.extend(gracenotes.map(|at| (number, vec![at])));
            }
            Plant::Early | Plant::Late if movement => {
                let begins = if figure.on.len() > 1 {
                    figure.on[0]
                } else {
                    figure.at
                };
                places.push((number, vec![begins]));
            }
            Plant::Round => {
                let place = |number: usize| {
                    let at = figures
                        .get(number)
                        .map(|figure| piece.notes[figure.at].place_s);
                    at.unwrap_or(piece.length.0)
                };
                if number == 0 || piece.notes[figure.at].on_click {
                    continue;
                }
                let first = place(number) - place(number - 1);
                let second = place(number + 1) - place(number);
                let next = figures.get(number + 1);
                let taken =
                    !figure.before.is_empty() || next.is_some_and(|next| !next.before.is_empty());
                // a dotted note that gives time to a movement is not judged
                let judged = piece.notes[figure.at].pair.is_none() || !taken;
                if judged && (first > 1.9 * second || second > 1.9 * first) {
                    places.push((number, vec![figure.at]));
                }
            }
            _ => {}
        }
    }
    places
}

fn normal(rng: &mut Rng) -> f64 {
    let radius = (-2.0 * (1.0 - rng.f64()).ln()).sqrt();
    radius * (std::f64::consts::TAU * rng.f64()).cos()
}

/// Plays a take in which one repetition has the fault.
fn play(
    rng: &mut Rng,
    piece: &ExpectedStage,
    planted: Option<(Plant, usize, &[usize])>,
) -> Vec<HeardNote> {
    let figures = figures(piece);
    let lead = 0.03 + 0.02 * rng.f64();
    let begins = 1.0 + rng.f64();
    let mut starts: Vec<(f64, usize)> = Vec::new();
    for repetition in 0..REPETITIONS {
        let start = begins - lead + repetition as f64 * piece.cycle.0;
        let here = planted.filter(|_| repetition == FAULTY);
        for (number, figure) in figures.iter().enumerate() {
            let fault = here.filter(|(plant, place, which)| {
                let all = *plant == Plant::AllRound && which.contains(&figure.at);
                all || *place == number
            });
            let mut lands = start + piece.notes[figure.at].place_s + 0.010 * normal(rng);
            match fault {
                Some((Plant::Early, ..)) => lands -= 0.12,
                Some((Plant::Late, ..)) => lands += 0.12,
                Some((plant @ (Plant::Round | Plant::AllRound), ..)) => {
                    let place = |number: usize| {
                        let at = figures
                            .get(number)
                            .map(|figure| piece.notes[figure.at].place_s);
                        at.unwrap_or(piece.length.0)
                    };
                    let whole = place(number + 1) - place(number - 1);
                    let share = match (plant, piece.notes[figure.at].pair) {
                        (Plant::AllRound, Some(pair)) if pair.long_first => 2.0 / 3.0,
                        (Plant::AllRound, _) => 1.0 / 3.0,
                        _ => 0.5,
                    };
                    lands += place(number - 1) + share * whole - place(number);
                }
                _ => {}
            }
            let whole = (1.0 + 0.08 * normal(rng)).max(0.5);
            let mut length = |at: usize| {
                let note = &piece.notes[at];
                let off = if note.part == NoteKind::Tone {
                    0.006
                } else {
                    0.005
                };
                let planted = fault.filter(|(_, _, which)| which.contains(&at));
                match planted {
                    Some((Plant::AllTones, ..)) => 0.3 * note.length_s,
                    Some((Plant::OneTone, ..)) => 0.35 * note.length_s,
                    Some((Plant::Doubled, ..)) => 2.0 * note.length_s,
                    Some((Plant::LongGracenote, ..)) => 0.095,
                    _ => (note.length_s * whole + off * normal(rng)).max(0.015),
                }
            };
            let before: Vec<f64> = figure.before.iter().map(|at| length(*at)).collect();
            let on: Vec<f64> = figure.on.iter().map(|at| length(*at)).collect();
            let mut at_s = lands - before.iter().sum::<f64>();
            for (at, length) in figure
                .before
                .iter()
                .chain(&figure.on)
                .zip(before.iter().chain(&on))
            {
                starts.push((at_s, *at));
                at_s += length;
            }
            starts.push((at_s, figure.at));
        }
    }
    let end = begins + REPETITIONS as f64 * piece.cycle.0;
    starts
        .iter()
        .enumerate()
        .map(|(row, (start_s, at))| {
            let end_s = starts.get(row + 1).map_or(end, |next| next.0);
            HeardNote::known(piece.notes[*at].note, Seconds(*start_s), Seconds(end_s))
        })
        .collect()
}

/// The results of the takes with one kind of fault.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Counts {
    /// The number of faults played, named among the two worst, and named at the right note.
    pub(super) planted: usize,
    pub(super) told: usize,
    pub(super) right: usize,
    /// The number of false reports in the same repetitions.
    pub(super) vain: usize,
    /// The number of repetitions without a fault, and of those called clean.
    pub(super) clean: usize,
    pub(super) called_clean: usize,
}

impl Counts {
    fn share(part: usize, of: usize) -> f64 {
        part as f64 / of.max(1) as f64
    }

    /// Share of the faults that were named.
    pub(super) fn recall(&self) -> f64 {
        Self::share(self.told, self.planted)
    }

    /// Share of the faults that were named at the right note.
    pub(super) fn at_the_right_note(&self) -> f64 {
        Self::share(self.right, self.planted)
    }

    /// Share of the clean repetitions that were called clean.
    pub(super) fn clean_called_clean(&self) -> f64 {
        Self::share(self.called_clean, self.clean)
    }

    /// Adds the counts of another result.
    pub(super) fn join(&mut self, other: &Self) {
        self.planted += other.planted;
        self.told += other.told;
        self.right += other.right;
        self.vain += other.vain;
        self.clean += other.clean;
        self.called_clean += other.called_clean;
    }
}

/// The counts by fault and by drill, with the wrong verdicts in words.
#[derive(Debug, Default)]
pub(super) struct Outcome {
    pub(super) by_plant: BTreeMap<Plant, Counts>,
    pub(super) by_drill: BTreeMap<String, Counts>,
    pub(super) wrong: Vec<String>,
}

impl Outcome {
    /// The sum of all counts.
    pub(super) fn all(&self) -> Counts {
        let mut all = Counts::default();
        for counts in self.by_plant.values() {
            all.join(counts);
        }
        all
    }
}

fn verdicts(piece: &ExpectedStage, heard: &[HeardNote], limits: &Thresholds) -> Vec<Verdict> {
    align(piece, heard)
        .repetitions
        .iter()
        .map(|found| judge(&found.measured, limits))
        .collect()
}

/// Plays every fault at every possible place, `takes` times at each tempo.
pub(super) fn bench(takes: usize, seed: u64) -> Outcome {
    let mut outcome = Outcome::default();
    let mut rng = Rng::with_seed(seed);
    for (name, drill) in drills() {
        for tempo in TEMPI {
            let tempo = Bpm::whole(tempo).expect("a usual tempo");
            let piece = piece(&drill, tempo);
            let limits = Thresholds::default().at(tempo, &[drill.ladder.from(), drill.ladder.to()]);
            for plant in Plant::ALL {
                for (number, which) in places(&piece, plant) {
                    for _ in 0..takes {
                        let heard = play(&mut rng, &piece, Some((plant, number, &which)));
                        let found = verdicts(&piece, &heard, &limits);
                        let label = format!("{name} at {tempo}, {plant:?} at {which:?}");
                        let counts = count(plant, &which, &found, &label, &mut outcome.wrong);
                        outcome.by_plant.entry(plant).or_default().join(&counts);
                        let own = outcome.by_drill.entry(name.clone()).or_default();
                        own.join(&counts);
                    }
                }
            }
        }
    }
    outcome
}

fn count(
    plant: Plant,
    which: &[usize],
    found: &[Verdict],
    label: &str,
    wrong: &mut Vec<String>,
) -> Counts {
    let said = |verdict: &Verdict| {
        let words: Vec<&str> = verdict
            .faults
            .iter()
            .map(|fault| fault.words.as_str())
            .collect();
        words.join(" | ")
    };
    let mut counts = Counts {
        planted: 1,
        clean: REPETITIONS - 1,
        ..Counts::default()
    };
    if found.len() != REPETITIONS {
        wrong.push(format!("{label}: {} repetitions found", found.len()));
        return counts;
    }
    for (number, verdict) in found.iter().enumerate() {
        if number != FAULTY {
            let clean = verdict.mark == Some(Mark::Clean);
            counts.called_clean += usize::from(clean);
            if !clean {
                wrong.push(format!("{label}: clean {number}: {}", said(verdict)));
            }
            continue;
        }
        let ours = |id: Option<u32>| id.is_some_and(|id| which.contains(&(id as usize)));
        let told: Vec<_> = verdict
            .work_on()
            .iter()
            .filter(|fault| plant.accepts(fault.kind))
            .collect();
        counts.told += usize::from(!told.is_empty());
        let right = told.iter().any(|fault| ours(fault.id));
        counts.right += usize::from(right);
        counts.vain += verdict
            .faults
            .iter()
            .filter(|fault| !(plant.accepts(fault.kind) && ours(fault.id)))
            .count();
        if !right || verdict.faults.len() > which.len() {
            wrong.push(format!("{label}: faulty: {}", said(verdict)));
        }
    }
    counts
}
