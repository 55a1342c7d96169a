//! Keys at their ticks to one line of the chanter's notes, and that to music: for files that say
//! nothing of how they are written.

use super::file::{File, Key};
use super::places::{Places, UNITS, bar_length};
use super::played::Played;
use super::reading::MOST_GRACENOTES;
use super::recognise::{Recognised, recognise};
use crate::chanter::{NOTES, Note};
use crate::drill::{MOST_BARS, Music, Place, Problem, ProblemKind, mend_music};
use crate::exchange::piece::adopted;
use crate::movement::{Context, is_movement, is_playable};
use crate::rhythm::Metre;
use crate::wording;

/// Two tempi that differ by a smaller share than this are one: MIDI writes a tempo in whole
/// microseconds.
const SAME_TEMPO: f64 = 0.01;
/// The most notes that are read: twenty to each bar that a stage can have.
const MOST_NOTES: usize = 20 * MOST_BARS;
/// Bars that are named where something is not sure; more are counted.
const BARS_NAMED: usize = 8;

/// Written music from a file's notes alone, those from the tick `origin` on, at which a bar begins.
pub(super) fn by_ear(
    file: &File,
    keys: &[Key],
    origin: u64,
    problems: &mut Vec<Problem>,
) -> Option<Music> {
    let clock = Clock::of(file);
    let some = &keys[..keys.len().min(MOST_NOTES)];
    if some.len() < keys.len() {
        problems.push(adopted(
            format!("{} notes", keys.len()),
            format!("only the first {MOST_NOTES} are read"),
        ));
    }
    let notes = one_line(some, problems);
    let (places, said) = places(file, origin, &clock, problems);
    let first = clock.units(notes.first()?.0.from.saturating_sub(origin));
    // a bar of count-in, or whole bars of silence, lead to the same downbeats
    let full = bar_length(places.first());
    let skipped = if places.stays() {
        (first / full as f64 + 1.0 / 64.0).floor() as i64 * full
    } else {
        0
    };
    let played: Vec<Played> = notes
        .iter()
        .enumerate()
        .map(|(place, (key, note))| {
            let next = match notes.get(place + 1) {
                Some(next) => next.0.from,
                None => key.to.unwrap_or(file.end).max(key.from),
            };
            let at = clock.milliseconds(key.from);
            Played {
                start: clock.units(key.from.saturating_sub(origin)) - skipped as f64,
                at,
                lasts: clock.milliseconds(next) - at,
                unit: clock.unit(key.from),
                note: *note,
            }
        })
        .collect();
    // hours of silence are no music: refused before they are written out bar by bar
    let end = played
        .last()
        .map_or(0.0, |last| last.start + last.lasts / last.unit);
    let bars = end / places.shortest() as f64;
    if bars > MOST_BARS as f64 {
        problems.push(Problem::new(
            Place::WHOLE_FILE,
            ProblemKind::TooManyBars {
                found: bars as usize,
                most: MOST_BARS,
            },
        ));
        return None;
    }
    let silent = first - skipped as f64;
    let sure = said || silent > UNITS as f64 / 64.0;
    let recognised = recognise(&played, &places, sure);
    tell(&recognised, problems);
    let mut music = recognised.music;
    problems.extend(
        mend_music(&mut music)
            .into_iter()
            .map(|mended| Problem::new(Place::WHOLE_FILE, mended.kind())),
    );
    Some(music)
}

/// Says what is not sure, with the bars where it stands.
fn tell(recognised: &Recognised, problems: &mut Vec<Problem>) {
    let mut told = |places: &[i64], one: &str, several: &str, done: &str| {
        if places.is_empty() {
            return;
        }
        let mut bars: Vec<i64> = places.iter().map(|at| recognised.bar(*at)).collect();
        bars.dedup();
        let more = bars.len().saturating_sub(BARS_NAMED);
        let mut named: Vec<String> = bars.iter().take(BARS_NAMED).map(i64::to_string).collect();
        if more > 0 {
            named.push(format!("{more} more"));
        }
        let bar = if bars.len() == 1 { "bar" } else { "bars" };
        problems.push(adopted(
            format!(
                "{} in {bar} {}",
                wording::count(places.len(), one, several),
                wording::list(&named)
            ),
            done,
        ));
    };
    told(
        &recognised.doubtful,
        "note that may be a gracenote or written",
        "notes that may be gracenotes or written",
        "what is likelier there was taken: look at them",
    );
    told(
        &recognised.unknown,
        "run of short notes that is no known movement",
        "runs of short notes that are no known movement",
        "they are gracenotes: look at them",
    );
    told(
        &recognised.moved,
        "note beside the beat",
        "notes beside the beat",
        "moved to the nearest likely place",
    );
    told(
        &recognised.lost,
        "note that another leaves no time",
        "notes that others leave no time",
        "left out",
    );
    if recognised.pickup > 0 {
        problems.push(adopted(
            "the file does not say where its first bar begins",
            "its first notes are read as a pickup",
        ));
    }
}

/// The places of bars by the file's time signatures, counted from `origin`; true with it where they
/// tell a pickup.
fn places(file: &File, origin: u64, clock: &Clock, problems: &mut Vec<Problem>) -> (Places, bool) {
    let metres = file.metres_of(problems);
    let index = metres.partition_point(|metre| metre.0 <= origin);
    let now = metres[index.saturating_sub(1)].1;
    let mut changes: Vec<(i64, Metre)> = vec![(0, now)];
    for (tick, metre) in &metres[index..] {
        let at = clock.units(tick - origin).round() as i64;
        match changes.last_mut() {
            Some(last) if last.0 == at => last.1 = *metre,
            _ => changes.push((at, *metre)),
        }
    }
    if let [first, second, ..] = changes.as_slice() {
        // a pickup that is given as a bar of its own
        if second.0 < bar_length(second.1) && second.0 <= bar_length(first.1) {
            changes.remove(0);
            tempi(file, &changes, origin, clock, problems);
            return (Places::new(changes), true);
        }
    }
    tempi(file, &changes, origin, clock, problems);
    (Places::new(changes), false)
}

/// Says where the tempo is another than the one that the music begins with: in beats, as a drill has
/// it, where the metre changes.
fn tempi(
    file: &File,
    changes: &[(i64, Metre)],
    origin: u64,
    clock: &Clock,
    problems: &mut Vec<Problem>,
) {
    let beat = |units: i64| {
        let index = changes.partition_point(|change| change.0 <= units);
        let beat = changes[index.saturating_sub(1)].1.beat_of_semibreve();
        *beat.numer() as f64 / *beat.denom() as f64
    };
    let of = |tick: u64| {
        let units = clock.units(tick.saturating_sub(origin)).round() as i64;
        clock.unit(tick) * beat(units)
    };
    let first = of(origin);
    let mut ticks: Vec<u64> = file.tempi.iter().map(|tempo| tempo.0).collect();
    ticks.extend(changes.iter().map(|change| origin + clock.ticks(change.0)));
    ticks.sort_unstable();
    ticks.dedup();
    let others = ticks
        .iter()
        .filter(|tick| **tick > origin && (of(**tick) / first - 1.0).abs() > SAME_TEMPO)
        .count();
    if others > 0 {
        problems.push(adopted(
            wording::count(
                others,
                "place with another tempo",
                "places with another tempo",
            ),
            "left out: a drill has one tempo, and the beat stays where the metre changes",
        ));
    }
}

/// Ticks to milliseconds by the file's tempi.
struct Clock {
    /// Ticks a semibreve.
    semibreve: f64,
    /// A tick, the milliseconds up to it, the milliseconds of each tick from it on.
    tempi: Vec<(u64, f64, f64)>,
}

impl Clock {
    fn of(file: &File) -> Self {
        let a_tick = |value: u32| f64::from(value) / f64::from(file.division) / 1000.0;
        let mut tempi = vec![(0, 0.0, a_tick(500_000))];
        for (tick, value) in &file.tempi {
            let (from, time, each) = tempi[tempi.len() - 1];
            let now = time + tick.saturating_sub(from) as f64 * each;
            tempi.push((*tick, now, a_tick(*value)));
        }
        Self {
            semibreve: 4.0 * f64::from(file.division),
            tempi,
        }
    }

    fn at(&self, tick: u64) -> (u64, f64, f64) {
        let index = self.tempi.partition_point(|tempo| tempo.0 <= tick);
        self.tempi[index.saturating_sub(1)]
    }

    fn milliseconds(&self, tick: u64) -> f64 {
        let (from, time, each) = self.at(tick);
        time + (tick - from) as f64 * each
    }

    /// Milliseconds of a unit.
    fn unit(&self, tick: u64) -> f64 {
        (self.at(tick).2 * self.semibreve / UNITS as f64).max(1e-6)
    }

    fn units(&self, ticks: u64) -> f64 {
        ticks as f64 * UNITS as f64 / self.semibreve
    }

    fn ticks(&self, units: i64) -> u64 {
        (units.max(0) as f64 * self.semibreve / UNITS as f64).round() as u64
    }
}

/// The chanter's notes in order, moved as a whole to where the most keys are the chanter's. Notes
/// that begin at one moment stay where they are gracenotes, else the highest stays.
fn one_line(keys: &[Key], problems: &mut Vec<Problem>) -> Vec<(Key, Note)> {
    let shift = shift(keys, problems);
    let mut line: Vec<(Key, Note)> = keys
        .iter()
        .map(|key| {
            let wanted = i32::from(key.key) + shift;
            let note = note_of(wanted).unwrap_or_else(|| {
                let near = nearest(wanted);
                problems.push(adopted(
                    format!("the key {} is not one of the chanter's nine notes", key.key),
                    format!("moved to {}", near.spoken()),
                ));
                near
            });
            (*key, note)
        })
        .collect();
    // in the order of the file where they begin together
    line.sort_by_key(|own| own.0.from);
    let mut before = None;
    let (mut movements, mut chords) = (0_usize, 0_usize);
    for together in line.chunk_by(|one, other| one.0.from == other.0.from) {
        let [gracenotes @ .., last] = together else {
            continue;
        };
        let notes: Vec<Note> = gracenotes.iter().map(|own| own.1).collect();
        let context = Context {
            before,
            after: last.1,
        };
        if !notes.is_empty() {
            let known =
                is_movement(&notes, context) || notes.len() == 1 && is_playable(&notes, context);
            *(if known { &mut movements } else { &mut chords }) += 1;
        }
        before = Some(last.1);
    }
    let most = line.chunk_by(|one, other| one.0.from == other.0.from);
    if movements > chords
        && most
            .map(<[_]>::len)
            .all(|count| count <= MOST_GRACENOTES + 1)
    {
        return line;
    }
    let mut single: Vec<(Key, Note)> = Vec::new();
    for own in line {
        match single.last_mut() {
            Some(last) if last.0.from == own.0.from => {
                problems.push(adopted("notes at once", "the highest is kept"));
                if own.1 > last.1 {
                    *last = own;
                }
            }
            _ => single.push(own),
        }
    }
    single
}

/// By how many semitones most keys are moved to the chanter's written ones.
fn shift(keys: &[Key], problems: &mut Vec<Problem>) -> i32 {
    let fits = |shift: i32| {
        keys.iter()
            .filter(|key| note_of(i32::from(key.key) + shift).is_some())
            .count()
    };
    let shift = (-36..=36)
        .max_by_key(|shift| (fits(*shift), -i32::abs(*shift)))
        .unwrap_or(0);
    if shift != 0 && shift % 12 != 0 {
        problems.push(adopted(
            format!("keys {} semitones from the chanter's written ones", -shift),
            "moved to those",
        ));
    }
    shift
}

fn note_of(key: i32) -> Option<Note> {
    NOTES
        .into_iter()
        .find(|note| i32::from(note.midi_key()) == key)
}

/// The nearest of the nine, an octave away if need be.
fn nearest(key: i32) -> Note {
    let folded = [key, key - 12, key + 12, key - 24, key + 24]
        .into_iter()
        .find(|key| (67..=81).contains(key))
        .unwrap_or(key);
    NOTES
        .into_iter()
        .min_by_key(|note| (i32::from(note.midi_key()) - folded).abs())
        .unwrap_or(Note::LowA)
}
