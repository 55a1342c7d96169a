//! Notes at their times to written music: which are gracenotes, and where the others are written.
//!
//! What a run of notes is, the catalogue says: gracenotes that are a movement between the notes
//! around them are likely, others are not. Where a note is written, the metre says: on a beat
//! sooner than on a 64th. Of all ways to read the notes the one with the least that is unusual is
//! taken, and where another is nearly as good, that is told.

use super::places::{Places, UNITS, bar_length};
use super::played::Played;
use super::reading::{Reading, Style, UNKNOWN, kind, least};
use crate::chanter::Note;
use crate::drill::{Gracenote, Group, Music, Written};
use crate::movement::Context;
use crate::units::Beats;

/// Another reading is nearly as good where it is no more unusual by this.
const DOUBT: f64 = 0.5;
/// Notes from which a pickup is found.
const ENOUGH: usize = 400;

/// Music that was recognised, and what is not sure of it: notes by their index.
pub(super) struct Recognised {
    pub(super) music: Music,
    /// Melody notes that another reading has as gracenotes, or the other way round, by where they
    /// are written.
    pub(super) doubtful: Vec<i64>,
    /// Runs of gracenotes that are no movement where they stand.
    pub(super) unknown: Vec<i64>,
    /// Notes that were moved by more than 30 ms.
    pub(super) moved: Vec<i64>,
    /// Notes that no time was left to, where they sounded.
    pub(super) lost: Vec<i64>,
    /// The pickup in units, where the file does not say and one was found.
    pub(super) pickup: i64,
    places: Places,
}

impl Recognised {
    /// The number of the bar, from 1, that a place lies in.
    pub(super) fn bar(&self, place: i64) -> i64 {
        self.places.number(place)
    }
}

/// Recognises the notes. `sure` says that bars begin where the file says so; else it begins with
/// its first note, which may be a pickup.
pub(super) fn recognise(played: &[Played], places: &Places, sure: bool) -> Recognised {
    // how long the gracenotes are does not depend on the pickup, so it is found first
    let style = style(played, places);
    let pickup = if sure {
        0
    } else {
        pickup(played, places, style)
    };
    let places = places.with_pickup(pickup);
    let mut reading = Reading::new(played, &places, style);
    let states = reading.forward(played.len());
    let best = Reading::best(&states);
    let margins = reading.margins(&states);
    written(&reading, &best, &margins, pickup)
}

/// How long the gracenotes are by the least unusual reading.
fn style(played: &[Played], places: &Places) -> Option<Style> {
    let mut reading = Reading::new(played, places, None);
    let states = reading.forward(played.len());
    // some programs let a gracenote have half of its note, however long that is
    reading.style = Some(Style::Halves);
    let halves = reading.forward(played.len());
    if least(&halves) < least(&states) {
        return reading.style;
    }
    reading.style_of(&Reading::best(&states))
}

/// The pickup with which the notes are least unusual.
fn pickup(played: &[Played], places: &Places, style: Option<Style>) -> i64 {
    let some = &played[..played.len().min(ENOUGH)];
    let full = bar_length(places.first());
    // semiquavers, or what is as much of a longer bar
    let step = (UNITS / 16).max(full / 32);
    let mut found = (f64::INFINITY, 0);
    for pickup in (0..full).step_by(usize::try_from(step).unwrap_or(1)) {
        let shifted = places.with_pickup(pickup);
        let mut reading = Reading::new(some, &shifted, style);
        let states = reading.forward(some.len());
        let best = Reading::best(&states);
        let mut cost = least(&states);
        for pair in best.windows(2) {
            let (from, to) = (reading.snapped[pair[0].1].0, reading.snapped[pair[1].1].0);
            let gracenotes = pair[0].0 - pair[0].1;
            cost -= shifted.weight(from, to, gracenotes);
        }
        // no pickup is likelier than one, a short one than a long one
        if pickup > 0 {
            cost += 1.0 + pickup as f64 / full as f64 + places.strangeness(full - pickup);
        }
        if cost < found.0 {
            found = (cost, pickup);
        }
    }
    found.1
}

/// The best reading as music.
fn written(reading: &Reading, best: &[(usize, usize)], margins: &[f64], pickup: i64) -> Recognised {
    let mut notes = Vec::with_capacity(best.len());
    let (mut doubtful, mut unknown) = (Vec::new(), Vec::new());
    let (mut moved, mut lost) = (Vec::new(), Vec::new());
    let mut next_gracenote = 0;
    let mut before = None;
    for (index, (note, at)) in best.iter().enumerate() {
        let from = reading.snapped[*at].0;
        let own = &reading.played[*note];
        let to = match best.get(index + 1) {
            Some((_, at)) => reading.snapped[*at].0,
            None => {
                let wanted = own.lasts.max(1.0) / own.unit;
                let steps = (wanted / (UNITS as f64 / 16.0)).round().max(1.0);
                from + steps as i64 * (UNITS / 16)
            }
        };
        let gracenotes: Vec<Note> = reading.played[next_gracenote..*note]
            .iter()
            .map(|own| own.note)
            .collect();
        let context = Context {
            before,
            after: own.note,
        };
        if !gracenotes.is_empty() && kind(&gracenotes, context) >= UNKNOWN {
            unknown.push(from);
        }
        let sure = |margin: &f64| margin.abs() >= DOUBT;
        if !margins[next_gracenote..=*note].iter().all(sure) {
            doubtful.push(from);
        }
        let off = reading.played[*at].start - from as f64;
        if off.abs() * reading.played[*at].unit > 30.0 {
            moved.push(from);
        }
        if to <= from {
            lost.push(from);
        }
        let spelled = gracenotes
            .into_iter()
            .map(|note| Gracenote { note, held: None });
        let group = if next_gracenote == *note {
            Group::None
        } else {
            Group::Spelled(spelled.collect())
        };
        let written = Written {
            note: own.note,
            length: Beats::ONE,
            tied: false,
            group,
        };
        notes.push((from, to, written));
        next_gracenote = note + 1;
        before = Some(own.note);
    }
    Recognised {
        music: reading.places.in_bars(notes),
        doubtful,
        unknown,
        moved,
        lost,
        pickup,
        places: reading.places.clone(),
    }
}
