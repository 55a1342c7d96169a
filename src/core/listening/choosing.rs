//! Chooses low A. Of the pitches that the spectra offer (`low_a`) it takes the one at which the
//! network hears notes most surely, and refines it by the pitches of those notes. It knows no files
//! and no microphone.

use super::align::likeness;
use super::heard::HeardNote;
use super::hearing::Listener;
use super::intake::RateError;
use super::low_a::{find_low_a, refined};
use super::piece::ExpectedStage;
use crate::chanter::{NOTES, Note, Tuning, TuningTable};
use crate::units::{Cents, Hertz, SampleRate};

/// A low A at which the sound is less like the piece than this is not taken for the piece's.
/// Chosen: twice the likeness that another piece may have.
const ALIKE: f64 = 0.4;

/// An octave too low, pipes are heard as surely as at their own low A, as notes with weak odd
/// harmonics; an octave too high, a practice chanter is not. So the higher of two low As an octave
/// apart counts unless it is worse by this much. On tuning takes pipes were surer an octave too low
/// by 0.03 at most, and practice chanters surer at their own by 0.57 at least.
const OCTAVE: f64 = 0.3;
/// Two low As nearer than this are one, cents: half of the least distance between two notes.
const SAME: f64 = 60.0;
/// The highest low A that a chanter could have, hertz: above what `--la` takes.
const HIGHEST: f64 = 540.0;

/// A low A that the ear was tried with.
#[derive(Debug, Clone, Copy)]
struct Tried {
    low_a: Hertz,
    /// How surely its notes sound, less what is unlikely about it.
    good: f64,
    /// The low A reckoned from the pitches of the notes that were heard with it.
    near: Hertz,
}

impl Tried {
    fn worse(&self, other: &Self) -> std::cmp::Ordering {
        self.good.total_cmp(&other.good)
    }
}

/// The low A that was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Chosen {
    pub low_a: Hertz,
    /// How surely notes of it sound, 0 to 1, silence counted as 0.
    pub sure: f64,
    /// How many different notes were held for long enough to have a pitch.
    pub notes: usize,
}

/// Finds low A in the first seconds of a recording: the pitch, of those that its spectra offer, at
/// which the network hears notes most surely.
pub(super) fn choose_low_a(
    rate: SampleRate,
    head: &[f32],
    table: TuningTable,
    piece: Option<&ExpectedStage>,
) -> Result<Option<Chosen>, RateError> {
    let notes: Vec<Note> = NOTES
        .into_iter()
        .filter(|note| {
            piece.is_none_or(|piece| piece.notes.iter().any(|expected| expected.note == *note))
        })
        .collect();
    let mut tried: Vec<Tried> = Vec::new();
    let hear_at = |low_a: Hertz, unlikely: f64| -> Result<Tried, RateError> {
        let (sure, heard) = judged(rate, low_a, table, head)?;
        // A drill played at one pitch may sound like other notes at another.
        let like = piece.map_or(0.0, |piece| f64::from(likeness(piece, &heard) > ALIKE));
        Ok(Tried {
            low_a,
            good: like + sure - unlikely,
            near: refined(low_a, &heard),
        })
    };
    for (coarse, unlikely) in find_low_a(rate, head, table, &notes)? {
        tried.push(hear_at(coarse, unlikely)?);
    }
    let Some(best) = tried.iter().copied().max_by(Tried::worse) else {
        return Ok(None);
    };
    let octave = best.low_a.0 * 2.0;
    let above = |one: &&Tried| Cents::between(Hertz(octave), one.low_a).0.abs() < SAME;
    let above = match tried.iter().find(above) {
        Some(above) => Some(*above),
        None if octave < HIGHEST => Some(hear_at(Hertz(octave), 0.0)?),
        None => None,
    };
    let near = above
        .filter(|above| above.good > best.good - OCTAVE)
        .map_or(best.near, |above| above.near);
    // Heard once more at the refined low A: a pitch is only looked for within half a semitone of
    // its note.
    let (sure, heard) = judged(rate, near, table, head)?;
    let held = |note: &&Note| {
        let of = |heard: &HeardNote| heard.note == **note && heard.cents.is_some();
        heard.iter().any(of)
    };
    Ok(Some(Chosen {
        low_a: refined(near, &heard),
        sure,
        notes: NOTES.iter().filter(held).count(),
    }))
}

/// How surely notes sound at a low A, and which notes.
fn judged(
    rate: SampleRate,
    low_a: Hertz,
    table: TuningTable,
    head: &[f32],
) -> Result<(f64, Vec<HeardNote>), RateError> {
    let mut listener = Listener::new(rate, Tuning::with_low_a(low_a, table))?;
    listener.push(head);
    listener.end();
    Ok((listener.sureness(), listener.heard()))
}

/// Seconds of sound that are searched for low A while somebody plays: a few bars, with most of the
/// notes.
pub const SEARCHED_S: f64 = 10.0;
/// A search that is surer than this counts. On tuning takes of ten seconds each it was 0.91 and
/// more where somebody played, and 0.04 at most where somebody talked. It lies lower than 0.91
/// because a player may breathe for a fifth of the time.
const SURE: f64 = 0.7;
/// A search counts only with so many different notes. Of a single held note nobody knows whether it
/// or low A is off, and a player who blows it evenly must not see low A follow him. Drills of grips
/// hold three.
const SURE_NOTES: usize = 3;
/// Two searches agree where they lie within so many cents. Each note is mistuned in its own way, so
/// that other notes of one tune gave another low A, by 10 cents at most.
const AGREE: f64 = 15.0;

/// Low A of the chanter that is played in some seconds of sound, if that is sure and the chanter is the
/// one of the tuning.
///
/// # Errors
/// A sample rate that cannot be resampled.
pub fn sure_low_a(
    rate: SampleRate,
    samples: &[f32],
    tuning: Tuning,
) -> Result<Option<Hertz>, RateError> {
    let chosen = choose_low_a(rate, samples, tuning.table, None)?;
    let own = |low_a| Tuning::with_low_a(low_a, tuning.table).instrument == tuning.instrument;
    Ok(chosen
        .filter(|chosen| chosen.sure > SURE && chosen.notes >= SURE_NOTES && own(chosen.low_a))
        .map(|chosen| chosen.low_a))
}

/// The low A that two searches agree on.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Agreement {
    last: Option<Hertz>,
}

impl Agreement {
    /// Takes what a search found, if anything. Gives low A once two searches one after the other
    /// agree.
    pub fn with(&mut self, found: Option<Hertz>) -> Option<Hertz> {
        let before = std::mem::replace(&mut self.last, found)?;
        let apart = Cents::between(before, found?);
        (apart.0.abs() < AGREE).then(|| before.shifted(Cents(0.5 * apart.0)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::Instrument;

    /// A reed by formula, half a second on each note.
    fn tune(low_a: f64) -> Vec<f32> {
        let tuning = Tuning::with_low_a(Hertz(low_a), TuningTable::Modern);
        let notes = [Note::LowA, Note::C, Note::E, Note::B, Note::D, Note::LowG];
        let mut phase = 0.0_f64;
        let mut samples = Vec::new();
        for note in notes {
            for _ in 0..12_000 {
                phase += tuning.hertz(note).0 / 24_000.0;
                let wave =
                    |k: i32| (std::f64::consts::TAU * phase * f64::from(k)).sin() * 0.7_f64.powi(k);
                samples.push((0.2 * (1..10).map(wave).sum::<f64>()) as f32);
            }
        }
        samples
    }

    /// Without it a chanter a quarter of a tone off would be listened for where it does not sound, or a
    /// talker's vowel would put the ear out of tune.
    #[test]
    fn low_a_is_sure_of_the_chanter_that_is_meant_and_of_nothing_else() {
        let practice = Tuning::default();
        let rate = SampleRate(24_000);
        let found = |sound: &[f32], tuning| sure_low_a(rate, sound, tuning).expect("a usual rate");
        let sharp = found(&tune(242.0), practice).expect("it plays");
        assert!(
            Cents::between(Hertz(242.0), sharp).0.abs() < 5.0,
            "{sharp:?}"
        );
        assert_eq!(
            found(&tune(242.0), Tuning::of(Instrument::PipeChanter)),
            None
        );
        assert_eq!(found(&vec![0.0; 72_000], practice), None);
        let held: Vec<f32> = tune(242.0)[..12_000].repeat(6);
        assert_eq!(found(&held, practice), None, "one note");
        let mut mostly_nothing = vec![0.0; 200_000];
        mostly_nothing.extend(tune(242.0));
        assert_eq!(
            found(&mostly_nothing, practice),
            None,
            "hardly anything played"
        );
    }

    #[test]
    fn two_searches_in_a_row_must_agree() {
        let mut agreed = Agreement::default();
        assert_eq!(agreed.with(Some(Hertz(240.0))), None);
        assert_eq!(agreed.with(None), None);
        assert_eq!(agreed.with(Some(Hertz(240.0))), None);
        assert_eq!(agreed.with(Some(Hertz(236.0))), None, "29 cents apart");
        let low_a = agreed.with(Some(Hertz(236.8))).expect("6 cents apart");
        assert!((low_a.0 - 236.4).abs() < 0.01, "{low_a:?}");
    }
}
