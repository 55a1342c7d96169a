//! Scores a listener by precision, recall and errors, from counts added over recordings.
//!
//! A note is right when its name is right and its onset is within the tolerance; ends are ignored
//! (mir_eval.transcription with note names for pitches, offset_ratio=None; Raffel et al., ISMIR
//! 2014). For errors and extra notes, as many notes of the same name as possible are paired within
//! 50 ms.

use super::takes::{Kind, Sounding, Take};
use gracerung::chanter::NOTES;

/// The tolerances of the onset in seconds.
pub(crate) const WITHIN: [f64; 3] = [0.005, 0.010, 0.025];
const WIDE: f64 = 0.050;

/// A note that the listener reports.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Predicted {
    pub note: gracerung::chanter::Note,
    pub start_s: f64,
    pub end_s: f64,
}

/// The counts of a group.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tally {
    /// The number of right notes, as [tolerance][all, melody, grace, crossing].
    pub right: [[usize; 4]; 3],
    pub wrong: [[usize; 4]; 3],
    pub truth: [usize; 4],
    pub errors: Vec<f64>,
    pub grace_lengths: Vec<f64>,
    pub extra: usize,
    pub seconds: f64,
    pub movements: (usize, usize),
}

fn class(kind: Kind) -> usize {
    match kind {
        Kind::Melody => 1,
        Kind::Grace => 2,
        Kind::Crossing => 3,
    }
}

/// As many pairs of one name within a tolerance as possible. In order of time the first pair that
/// fits is as good as any, because all windows have the same width.
fn pairs(truth: &[Sounding], heard: &[Predicted], within: f64) -> Vec<(usize, usize)> {
    let mut found = Vec::new();
    for note in NOTES {
        let mine: Vec<usize> = (0..truth.len())
            .filter(|i| truth[*i].note == note)
            .collect();
        let theirs: Vec<usize> = (0..heard.len())
            .filter(|i| heard[*i].note == note)
            .collect();
        let mut next = 0;
        for a in mine {
            while next < theirs.len()
                && heard[theirs[next]].start_s < truth[a].start_s - within - 1e-6
            {
                next += 1;
            }
            if next < theirs.len()
                && heard[theirs[next]].start_s <= truth[a].start_s + within + 1e-6
            {
                found.push((a, theirs[next]));
                next += 1;
            }
        }
    }
    found.sort_unstable();
    found
}

/// The notes that were invented or missed, in words.
pub(crate) fn slips(take: &Take, heard: &[Predicted]) -> Vec<String> {
    let truth = &take.notes;
    let found = pairs(truth, heard, 0.010);
    let wide = pairs(truth, heard, WIDE);
    let mut words = Vec::new();
    for (b, note) in heard.iter().enumerate() {
        if wide.iter().all(|pair| pair.1 != b) {
            let among: Vec<String> = truth
                .iter()
                .filter(|t| t.end_s > note.start_s - 0.03 && t.start_s < note.end_s + 0.03)
                .map(|t| format!("{} {:.3}-{:.3}", t.note, t.start_s, t.end_s))
                .collect();
            words.push(format!(
                "invented {} {:.3}-{:.3} among {}",
                note.note,
                note.start_s,
                note.end_s,
                among.join(", ")
            ));
        }
    }
    for (a, note) in truth.iter().enumerate() {
        if found.iter().all(|pair| pair.0 != a) {
            let length = 1e3 * (note.end_s - note.start_s);
            let off = wide
                .iter()
                .find(|pair| pair.0 == a)
                .map_or_else(String::new, |pair| {
                    format!(
                        ", {:.0} ms off",
                        1e3 * (heard[pair.1].start_s - note.start_s)
                    )
                });
            words.push(format!(
                "not heard {:?} {} at {:.3} for {length:.0} ms{off}",
                note.kind, note.note, note.start_s
            ));
        }
    }
    words
}

/// How often notes of a confidence are right, in fifteen bins (expected calibration error: Naeini,
/// Cooper & Hauskrecht, AAAI 2015). A note is right when a true note of its name begins within 50
/// ms.
#[derive(Debug, Clone, Default)]
pub(crate) struct Calibration {
    /// For each bin: the sum of confidences, the number of right notes, and the number of notes.
    bins: [(f64, f64, f64); 15],
}

impl Calibration {
    pub(crate) fn add(&mut self, take: &Take, heard: &[Predicted], confidence: &[f64]) {
        let wide = pairs(&take.notes, heard, WIDE);
        for (at, sure) in confidence.iter().enumerate() {
            let bin = &mut self.bins[((sure * 15.0) as usize).min(14)];
            bin.0 += sure;
            bin.1 += f64::from(u8::from(wide.iter().any(|pair| pair.1 == at)));
            bin.2 += 1.0;
        }
    }

    pub(crate) fn error(&self) -> f64 {
        let off: f64 = self.bins.iter().map(|bin| (bin.0 - bin.1).abs()).sum();
        off / self.bins.iter().map(|bin| bin.2).sum::<f64>().max(1.0)
    }
}

impl Tally {
    /// Adds the result of one recording.
    pub(crate) fn add(&mut self, take: &Take, heard: &[Predicted]) {
        let truth = &take.notes;
        let (Some(first), Some(last)) = (truth.first(), truth.last()) else {
            return;
        };
        self.seconds += last.end_s - first.start_s;
        for note in truth {
            self.truth[0] += 1;
            self.truth[class(note.kind)] += 1;
        }
        for (which, within) in WITHIN.iter().enumerate() {
            let found = pairs(truth, heard, *within);
            for (a, _) in &found {
                self.right[which][0] += 1;
                self.right[which][class(truth[*a].kind)] += 1;
            }
            for (b, note) in heard.iter().enumerate() {
                if found.iter().all(|pair| pair.1 != b) {
                    let length = note.end_s - note.start_s;
                    let class = if length <= 0.020 {
                        3
                    } else if length <= 0.160 {
                        2
                    } else {
                        1
                    };
                    self.wrong[which][0] += 1;
                    self.wrong[which][class] += 1;
                }
            }
        }
        let wide = pairs(truth, heard, WIDE);
        self.extra += heard.len() - wide.len();
        for (a, b) in &wide {
            self.errors
                .push((truth[*a].start_s - heard[*b].start_s).abs());
            if truth[*a].kind == Kind::Grace {
                let (mine, theirs) = (
                    truth[*a].end_s - truth[*a].start_s,
                    heard[*b].end_s - heard[*b].start_s,
                );
                self.grace_lengths.push((mine - theirs).abs());
            }
        }
        for (start, end) in &take.movements {
            let inside: Vec<usize> = (0..truth.len())
                .filter(|i| truth[*i].start_s >= start - 1e-4 && truth[*i].start_s <= end + 1e-4)
                .collect();
            let partners: Vec<Option<usize>> = inside
                .iter()
                .map(|i| {
                    wide.iter()
                        .find(|(a, b)| {
                            a == i && (truth[*a].start_s - heard[*b].start_s).abs() <= 0.025
                        })
                        .map(|(_, b)| *b)
                })
                .collect();
            let whole = partners
                .windows(2)
                .all(|two| matches!(two, [Some(a), Some(b)] if *b == a + 1));
            self.movements.1 += 1;
            self.movements.0 += usize::from(whole && partners.iter().all(Option::is_some));
        }
    }

    /// F1 at a tolerance for a class.
    pub(crate) fn f1(&self, which: usize, class: usize) -> f64 {
        let right = self.right[which][class] as f64;
        let (made, meant) = (
            right + self.wrong[which][class] as f64,
            self.truth[class] as f64,
        );
        if made + meant > 0.0 {
            2.0 * right / (made + meant)
        } else {
            1.0
        }
    }

    /// The number of invented notes a minute.
    pub(crate) fn extra_a_minute(&self) -> f64 {
        60.0 * self.extra as f64 / self.seconds.max(1e-9)
    }
}

/// The value below which `share` of all values lie, in milliseconds.
pub(crate) fn percentile_ms(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = ((sorted.len().max(1) - 1) as f64 * share).round() as usize;
    sorted.get(at).copied().unwrap_or(0.0) * 1e3
}
