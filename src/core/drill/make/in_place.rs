//! A bar or a movement of a tune as a drill: it is repeated with the bars around it, and the
//! movement is taken apart in its place.

mod alone;

use super::body::body;
use super::budget::{Spent, spend};
use super::phrase::{Tune, ground};
use super::{CannotMake, read_back, usual_tempo};
use crate::chanter::Note;
use crate::drill::document::{DrillDocument, Exact, StageDocument};
use crate::drill::written::{Bar, Gracenote, Group, Music, Written};
use crate::movement::{Context, Lengths, Part, Role, Schools, explain, place_group};
use crate::rhythm::{Metre, Pointing, WrittenLength};
use crate::units::{Beats, Bpm, Fraction, spell_fraction};
use crate::wording::capital;

/// A place in written music.
#[derive(Debug, Clone, Copy)]
pub struct InPlace<'a> {
    /// The tune.
    pub tune: Tune<'a>,
    /// Index of the written bar.
    pub bar: usize,
    /// Index of the melody note in the bar whose movement is taken apart. None repeats the bar
    /// only.
    pub note: Option<usize>,
}

impl<'a> InPlace<'a> {
    fn music(&self) -> &'a Music {
        &self.tune.stage.music
    }
}

/// The drill of a place: the bar with the bar before it and the bar after it, where they exist. The
/// tones of its movement are written out in stages. They take their time from the note that gives
/// the movement its time, so no other note moves. The last stage is as written. When that note is
/// too short, the movement is taken apart by itself first, as in its own drill.
///
/// # Errors
/// There is no such bar or note, or the bar cannot stand alone.
pub fn make_in_place(place: &InPlace) -> Result<DrillDocument, CannotMake> {
    if place.bar >= place.music().bars.len() {
        return Err(CannotMake("the tune has no such bar".to_owned()));
    }
    let last = place.music().bars.len() - 1;
    let (before, after) = (place.bar.saturating_sub(1), (place.bar + 1).min(last));
    // A pickup or a short last bar cannot always stand beside the other bars.
    let windows = [
        (before, after),
        (place.bar, after),
        (before, place.bar),
        (place.bar, place.bar),
    ];
    let as_written = windows.map(|window| (window, false));
    let filled = windows.map(|window| (window, true));
    as_written
        .into_iter()
        .chain(filled)
        .map(|((first, last), filled)| document(place, first, last, filled))
        .find(|document| read_back(document).is_some())
        .ok_or_else(|| {
            CannotMake(
                "this bar cannot be looped by itself: it is no full bar, or its first note needs \
                 a gracenote before it"
                    .to_owned(),
            )
        })
}

fn document(place: &InPlace, first: usize, last: usize, filled: bool) -> DrillDocument {
    let metres = &place.music().metres()[first..=last];
    let metre = metres[0];
    let mut bars: Vec<Bar> = place.music().bars[first..=last]
        .iter()
        .enumerate()
        .map(|(at, bar)| Bar {
            notes: bar.notes.clone(),
            // The metre of the first bar is the metre of the drill.
            metre: bar.metre.filter(|_| at > 0),
            ..Bar::default()
        })
        .collect();
    if filled {
        let next = place.music().bars.get(last + 1);
        let next = next.and_then(|bar| bar.notes.first());
        fill(&mut bars, metres[last - first], next);
    }
    let first_bar = first_bar(place, metre, &bars, first);
    let stage = |name: &str, bars: &[Bar]| StageDocument {
        first_bar,
        ..stage(metre, name, bars)
    };
    let taken = place
        .note
        .map(|note| taken_apart(place, metre, &bars, (place.bar - first, note), &stage));
    let (mut stages, said) = match taken {
        Some((stages, said)) => (stages, Some(said)),
        None => (Vec::new(), None),
    };
    stages.push(stage("as written", &bars));
    let whole = stages.len() - 1;
    let goal = place.tune.drill.ladder.to();
    let Spent {
        stages,
        ladder,
        clean,
    } = spend(stages, whole, false, (begin(metre, &place.tune), goal));
    let number = place.music().bar_numbers()[place.bar];
    let about = format!(
        "A bar of the tune with the bars around it, up to {}, which is the tempo of the tune.{}",
        spell_fraction(&goal.value()),
        said.map_or_else(String::new, |said| format!(" {said}"))
    );
    DrillDocument {
        title: capital(&format!("{}, bar {number}", place.tune.drill.title)),
        about: Some(about),
        listen_for: Some(format!(
            "{}, and the bars around it as steady as before",
            heard_of(place).unwrap_or_else(|| "the movement clean".to_owned())
        )),
        metre: Some(metre.printed()),
        beat: metre.own_beat().map(|beat| Exact::of(&beat)),
        stages: Some(stages),
        ladder: Some(ladder),
        clean: Some(clean),
        ..ground(&place.tune)
    }
}

/// The stages that take the movement apart before the bars are played as written, and a sentence
/// that describes them.
fn taken_apart(
    place: &InPlace,
    metre: Metre,
    bars: &[Bar],
    at: (usize, usize),
    stage: &dyn Fn(&str, &[Bar]) -> StageDocument,
) -> (Vec<StageDocument>, String) {
    let schools = &place.tune.drill.schools;
    let pairs = |bars: &[Bar]| Music::straight(metre, bars.to_vec()).pairs();
    let pointed = place.music().pointing != Pointing::default();
    let mut stages = Vec::new();
    for (name, tone) in tone_lengths(metre) {
        if let Some(apart) = apart(metre, bars, at, tone, schools) {
            // A tone and the rest of its note may look like a dot and its cut.
            let even = pointed && pairs(&apart) != pairs(bars);
            stages.push(StageDocument {
                pointing: even.then(|| "as written".to_owned()),
                ..stage(name, &apart)
            });
        }
    }
    // A single stage has only the shortest tones, which are nearly at full speed, so it is not
    // enough to begin with.
    if stages.len() > 1 {
        let said = "Only the note that gives the movement its time grows shorter.";
        return (stages, said.to_owned());
    }
    match alone::alone(metre, bars, at, schools) {
        Ok((mut apart, said)) => {
            apart.append(&mut stages);
            (apart, said)
        }
        Err(why) => (stages, why),
    }
}

/// The number that the first full bar of a window has in the tune; none when the window numbers its
/// bars differently.
fn first_bar(place: &InPlace, metre: Metre, bars: &[Bar], first: usize) -> Option<u16> {
    let there = place.music().bar_numbers();
    let own = Music::straight(metre, bars.to_vec()).bar_numbers();
    let counted = own.iter().zip(&there[first..]).filter(|(own, _)| **own > 0);
    let mut ahead = counted.map(|(own, there)| there.saturating_sub(*own));
    let shift = ahead.next().filter(|shift| *shift > 0)?;
    ahead.all(|other| other == shift).then_some(shift + 1)
}

/// The lengths with which tones are written out, the longest first, and the names of their stages.
/// The longest is a beat, or a crotchet when a beat is shorter.
fn tone_lengths(metre: Metre) -> [(&'static str, Beats); 4] {
    let tones = |name: &'static str, above, below| (name, Beats::new(above, below));
    if metre.is_compound() {
        return [
            tones("tones of a full beat", 1, 1),
            tones("tones of a third of a beat", 1, 3),
            tones("tones of a sixth of a beat", 1, 6),
            tones("tones of a twelfth of a beat", 1, 12),
        ];
    }
    let all = [
        tones("tones of four beats", 4, 1),
        tones("tones of two beats", 2, 1),
        tones("tones of a full beat", 1, 1),
        tones("tones of half a beat", 1, 2),
        tones("tones of a quarter beat", 1, 4),
        tones("tones of an eighth of a beat", 1, 8),
    ];
    match metre.beats_in_a_crotchet().to_integer() {
        1 => [all[2], all[3], all[4], all[5]],
        2 => [all[1], all[2], all[3], all[4]],
        _ => [all[0], all[1], all[2], all[3]],
    }
}

/// The first tempo at which a place of a tune is practised. It is in the same ratio to the tune's
/// tempo as in the drill of a movement, but not above the tune's own first tempo.
fn begin(metre: Metre, tune: &Tune) -> Bpm {
    /// The first and last tempo of a movement's drill of the usual length.
    const USUAL: (i128, i128) = (46, 80);
    let ladder = &tune.drill.ladder;
    let usual = metre.beats_in_a_crotchet() * Fraction::from_integer(USUAL.0);
    let of_goal = ladder.to().value() * Fraction::new(USUAL.0, USUAL.1);
    let whole = usual.min(of_goal).round();
    Bpm::new(whole).unwrap_or(ladder.from()).min(ladder.from())
}

/// Makes bars that are not full stand alone. A short last bar is filled by its last note. When the
/// bars begin with a pickup, they end on the following note, which leaves room for the pickup.
fn fill(bars: &mut Vec<Bar>, metre: Metre, next: Option<&Written>) {
    if metre.is_free() {
        return;
    }
    let full = metre.bar();
    let pickup = match bars.as_slice() {
        [first, _, ..] if first.length() < full => first.length(),
        _ => Beats::ZERO,
    };
    let wanted = full - pickup;
    let Some(last) = bars.last_mut() else { return };
    let length = last.length();
    match (last.notes.last_mut(), next) {
        (Some(closing), _) if length < wanted => {
            closing.length = closing.length + wanted - length;
            closing.tied = false;
        }
        (Some(_), Some(next)) if length == full && !pickup.is_zero() => bars.push(Bar {
            notes: vec![Written {
                length: wanted,
                tied: false,
                ..next.clone()
            }],
            ..Bar::default()
        }),
        _ => {}
    }
}

/// What to listen for in the movement at this place; none when no movement of the catalogue stands
/// there.
fn heard_of(place: &InPlace) -> Option<String> {
    let bars = &place.music().bars;
    let (at, written) = (place.note?, bars.get(place.bar)?.notes.get(place.note?)?);
    let before = match at.checked_sub(1) {
        Some(before) => bars[place.bar].notes.get(before),
        None => bars.get(place.bar.checked_sub(1)?)?.notes.last(),
    };
    let context = Context {
        before: before.map(|before| before.note),
        after: written.note,
    };
    let movement = match &written.group {
        Group::None | Group::Opening => None,
        Group::Movement(resolved) => Some(resolved.movement),
        Group::Spelled(gracenotes) => {
            let notes: Vec<Note> = gracenotes.iter().map(|gracenote| gracenote.note).collect();
            place_group(&notes, context, &place.tune.drill.schools).movement
        }
    }?;
    let lengths = Lengths::default();
    let explained = explain(
        movement,
        context,
        &place.tune.drill.schools,
        usual_tempo(),
        &lengths,
    );
    explained.listen_for.into_iter().next()
}

fn stage(metre: Metre, name: &str, bars: &[Bar]) -> StageDocument {
    StageDocument {
        name: name.to_owned(),
        music: Some(body(metre, bars)),
        ..StageDocument::default()
    }
}

/// The bars with the movement's tones as written notes of `tone` beats. None when it has no tones
/// or the note that gives the time is too short.
fn apart(
    metre: Metre,
    bars: &[Bar],
    (bar, note): (usize, usize),
    tone: Beats,
    schools: &Schools,
) -> Option<Vec<Bar>> {
    let written = bars.get(bar)?.notes.get(note)?;
    let giver = giver(bars, (bar, note));
    let before = giver.map(|(bar, note)| bars[bar].notes[note].note);
    let (parts, before_beat) = parts(&written.group, before, written.note, schools)?;
    let mut waiting = Vec::new();
    let early = tones(&parts[..before_beat], tone, &mut waiting);
    let late = tones(&parts[before_beat..], tone, &mut waiting);
    if early.is_empty() && late.is_empty() {
        return None;
    }
    let mut apart = bars.to_vec();
    let closing = Written {
        group: if waiting.is_empty() {
            Group::None
        } else {
            Group::Spelled(waiting)
        },
        ..written.clone()
    };
    let taken: Beats = late.iter().map(|written| written.length).sum();
    let mut here = late;
    here.extend(shortened(metre, &closing, taken)?);
    apart[bar].notes.splice(note..=note, here);
    if !early.is_empty() {
        let (bar, note) = giver?;
        let taken: Beats = early.iter().map(|written| written.length).sum();
        let mut there = shortened(metre, &bars[bar].notes[note], taken)?;
        there.extend(early);
        apart[bar].notes.splice(note..=note, there);
    }
    Some(apart)
}

/// The bar and index of the note before another one; none when there is none.
fn giver(bars: &[Bar], (bar, note): (usize, usize)) -> Option<(usize, usize)> {
    match note.checked_sub(1) {
        Some(before) => Some((bar, before)),
        None => bar
            .checked_sub(1)
            .and_then(|bar| Some((bar, bars[bar].notes.len().checked_sub(1)?))),
    }
}

fn parts(
    group: &Group,
    before: Option<Note>,
    after: Note,
    schools: &Schools,
) -> Option<(Vec<Part>, usize)> {
    match group {
        Group::None | Group::Opening => None,
        Group::Movement(resolved) => Some((resolved.parts.clone(), resolved.before_beat)),
        Group::Spelled(gracenotes) => {
            let notes: Vec<Note> = gracenotes.iter().map(|gracenote| gracenote.note).collect();
            let placed = place_group(&notes, Context { before, after }, schools);
            Some((placed.parts, placed.before_beat))
        }
    }
}

/// The tones among the parts as written notes, each with the gracenotes before it.
fn tones(parts: &[Part], tone: Beats, waiting: &mut Vec<Gracenote>) -> Vec<Written> {
    let mut tones = Vec::new();
    for part in parts {
        if part.role == Role::Separating {
            waiting.push(Gracenote {
                note: part.note,
                held: None,
            });
        } else {
            let gracenotes = std::mem::take(waiting);
            tones.push(Written {
                note: part.note,
                length: tone,
                tied: false,
                group: if gracenotes.is_empty() {
                    Group::None
                } else {
                    Group::Spelled(gracenotes)
                },
            });
        }
    }
    tones
}

/// A note shorter by `taken`, as one note or as tied notes. None when nothing of it would be left.
fn shortened(metre: Metre, written: &Written, taken: Beats) -> Option<Vec<Written>> {
    let length = written.length - taken;
    if length <= Beats::ZERO {
        return None;
    }
    let values = WrittenLength::tied(metre.semibreves_of(length));
    let count = values.len();
    let notes: Vec<Written> = values
        .into_iter()
        .enumerate()
        .map(|(place, value)| Written {
            note: written.note,
            length: metre.beats_of(value.part_of_semibreve()),
            tied: if place + 1 < count {
                true
            } else {
                written.tied
            },
            group: if place == 0 {
                written.group.clone()
            } else {
                Group::None
            },
        })
        .collect();
    (!notes.is_empty()).then_some(notes)
}

#[cfg(test)]
mod tests;
