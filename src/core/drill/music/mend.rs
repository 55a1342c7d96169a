//! Changes music written for other instruments so that a chanter can play it.
//!
//! Every change is reported. Knows written music only, not the format it came in.

use super::checks::misfits;
use super::order::body_order;
use crate::chanter::{NOTES, Note};
use crate::drill::problem::ProblemKind;
use crate::drill::written::{Bar, Gracenote, Group, Music, Written};
use crate::movement::{Context, is_playable};
use crate::units::{Beats, Fraction};

/// A change to the music.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mended {
    /// Index of the bar, counted before bars were added.
    pub bar: usize,
    /// Index of the note in the bar.
    pub note: usize,
    /// What was found there.
    pub found: String,
    /// What was done.
    pub done: String,
    /// The bar's number for the report; none for a mended bar line, which needs no number.
    pub number: Option<u16>,
}

impl Mended {
    /// The change as a problem for the list of problems.
    pub fn kind(&self) -> ProblemKind {
        let bars = self.number.into_iter().collect();
        ProblemKind::adopted(&self.found, &self.done, bars)
    }
}

/// The most rounds of mending. A repeat gives a note two notes before it, so mending one place may
/// spoil another.
const ROUNDS: usize = 6;

/// Makes written music playable where a rule of the chanter says how. Equal notes get a gracenote
/// between them. A gracenote that cannot sound is replaced by one that can. A tie to a different
/// note is removed. The bar before a pickup leaves room for it.
pub fn mend_music(music: &mut Music) -> Vec<Mended> {
    mend(music).0
}

/// Mends music as [`mend_music`] does, and also returns for each bar its index before mending.
pub(super) fn mend(music: &mut Music) -> (Vec<Mended>, Vec<usize>) {
    let mut mended = Vec::new();
    for _ in 0..ROUNDS {
        let found = mended.len();
        round(music, &mut mended);
        if mended.len() == found {
            break;
        }
    }
    let source = mend_bars(music, &mut mended);
    (mended, source)
}

fn round(music: &mut Music, mended: &mut Vec<Mended>) {
    let befores = befores(music);
    let numbers = music.bar_numbers();
    let mut before: Option<(Note, bool, usize, usize)> = None;
    for bar in music.order.clone() {
        let count = music.bars.get(bar).map_or(0, |bar| bar.notes.len());
        for note in 0..count {
            let mut tell = |found: String, done: String| {
                mended.push(Mended {
                    bar,
                    note,
                    found,
                    done,
                    number: numbers.get(bar).copied(),
                });
            };
            let others = if note == 0 {
                befores[bar].as_slice()
            } else {
                &[]
            };
            let here = music.bars[bar].notes[note].note;
            let mut tied = false;
            if let Some((from, true, at, place)) = before {
                tied = from == here;
                if !tied {
                    music.bars[at].notes[place].tied = false;
                    tell(
                        format!("{} is tied to {}", from.spoken(), here.spoken()),
                        "the tie is left out".to_owned(),
                    );
                }
            }
            let context = Context {
                before: before.map(|(note, ..)| note),
                after: here,
            };
            let written = &mut music.bars[bar].notes[note];
            if let Group::Spelled(gracenotes) = &mut written.group {
                // A lone gracenote is replaced by another one, as when it cannot sound.
                let dropped = if gracenotes.len() > 1 {
                    drop_equal(gracenotes, context)
                } else {
                    Vec::new()
                };
                for gracenote in dropped {
                    tell(
                        format!(
                            "a gracenote on {} stands beside the same note",
                            gracenote.spoken()
                        ),
                        "it is left out, because nothing would be heard".to_owned(),
                    );
                }
                if let [only] = gracenotes.as_mut_slice()
                    && !is_playable(&[only.note], context)
                {
                    let silent = only.note;
                    let found = if context.before == Some(silent) {
                        format!(
                            "the gracenote {} is the note that sounds already",
                            silent.spoken()
                        )
                    } else {
                        format!(
                            "the gracenote {} cannot sound on {}",
                            silent.spoken(),
                            here.spoken()
                        )
                    };
                    if let Some(other) = separator(context, others) {
                        only.note = other;
                        tell(found, format!("{} is played instead", other.spoken()));
                    } else {
                        gracenotes.clear();
                        tell(found, "it is left out".to_owned());
                    }
                }
                if gracenotes.is_empty() {
                    written.group = Group::None;
                }
            }
            if written.group == Group::None
                && !tied
                && context.before == Some(here)
                && let Some(gracenote) = separator(context, others)
            {
                written.group = Group::Spelled(vec![Gracenote {
                    note: gracenote,
                    held: None,
                }]);
                tell(
                    format!("{} follows {0} with nothing between", here.spoken()),
                    format!("the gracenote {} separates them", gracenote.spoken()),
                );
            }
            before = Some((here, written.tied, bar, note));
        }
    }
    if let Some((note, true, bar, place)) = before {
        music.bars[bar].notes[place].tied = false;
        mended.push(Mended {
            bar,
            note: place,
            found: format!("{} is tied to no note", note.spoken()),
            done: "the tie is left out".to_owned(),
            number: None,
        });
    }
}

/// Removes gracenotes that equal a neighbouring note, and returns them.
fn drop_equal(gracenotes: &mut Vec<Gracenote>, context: Context) -> Vec<Note> {
    let mut dropped = Vec::new();
    let mut last = context.before;
    gracenotes.retain(|gracenote| {
        let keep = last != Some(gracenote.note);
        if keep {
            last = Some(gracenote.note);
        } else {
            dropped.push(gracenote.note);
        }
        keep
    });
    while let Some(end) = gracenotes.pop_if(|end| end.note == context.after) {
        dropped.push(end.note);
    }
    dropped
}

/// The gracenote to play where none is written or the written one cannot sound. It is the first
/// that can be played there of high G, the thumb's high A, E and D, and then of the other notes
/// from low to high. So from D it is a high G gracenote instead of D, from high G the thumb's high
/// A (common practice, no source).
///
/// A gracenote that also sounds after each of `others` is preferred, because a repeat comes to the
/// note from those notes.
fn separator(context: Context, others: &[Note]) -> Option<Note> {
    let choices = || {
        [Note::HighG, Note::HighA, Note::E, Note::D]
            .into_iter()
            .chain(NOTES)
            .filter(|gracenote| is_playable(&[*gracenote], context))
    };
    let everywhere = |gracenote: &Note| {
        others.iter().all(|other| {
            let before = Some(*other);
            is_playable(&[*gracenote], Context { before, ..context })
        })
    };
    choices().find(everywhere).or_else(|| choices().next())
}

/// For each bar, the notes from which its first note is reached in one playing.
fn befores(music: &Music) -> Vec<Vec<Note>> {
    let mut befores = vec![Vec::new(); music.bars.len()];
    let mut last = None;
    for bar in &music.order {
        if let Some(note) = last
            && !befores[*bar].contains(&note)
        {
            befores[*bar].push(note);
        }
        last = music.bars[*bar].notes.last().map(|note| note.note).or(last);
    }
    befores
}

/// Makes the ends of parts add up. The bar before a pickup leaves room for it; otherwise the ends
/// are changed by [`Ends::mend`]. When neither works, only the room before pickups is kept. Returns
/// for each bar its index before mending.
fn mend_bars(music: &mut Music, mended: &mut Vec<Mended>) -> Vec<usize> {
    let mut roomy = music.clone();
    let mut told = Vec::new();
    make_room(&mut roomy, &mut told);
    let mut ends = Ends {
        source: (0..music.bars.len()).collect(),
        music: music.clone(),
        mended: Vec::new(),
    };
    if !misfits(&roomy, &[]).is_empty() {
        ends.mend();
        if misfits(&ends.music, &[]).is_empty() {
            *music = ends.music;
            mended.extend(ends.mended);
            return ends.source;
        }
    }
    *music = roomy;
    mended.extend(told);
    (0..music.bars.len()).collect()
}

/// Music with mended last bars of its parts.
struct Ends {
    music: Music,
    /// For each bar, its index before mending.
    source: Vec<usize>,
    mended: Vec<Mended>,
}

impl Ends {
    /// Gives the last bar of each part the length that is needed: a full bar less the pickup that
    /// follows. When a pickup follows one time and none the other time, the bar is written as two
    /// endings. A bar that is short by at most half a bar is filled by its last note. A bar that
    /// leaves no room for a pickup gives it time from its last note or, if that is too short, from
    /// its last notes. Then the two bars are one bar, as printed, and no bar is added.
    fn mend(&mut self) {
        let needs = self.needs();
        for bar in (0..self.music.bars.len()).rev() {
            let own = &self.music.bars[bar];
            let differ = needs[bar].windows(2).any(|pair| pair[0] != pair[1]);
            if differ && own.repeat_ends && own.ending.is_none() && !own.repeat_begins {
                self.two_endings(bar);
            }
        }
        self.music.order = body_order(&self.music.bars).0;
        let needs = self.needs();
        for bar in (0..self.music.bars.len()).rev() {
            if let [first, rest @ ..] = needs[bar].as_slice()
                && rest.iter().all(|need| need == first)
            {
                self.fit(bar, *first);
            }
        }
        self.music.order = body_order(&self.music.bars).0;
    }

    /// The length that each bar must have, for each time that a part begins after it.
    fn needs(&self) -> Vec<Vec<Beats>> {
        let music = &self.music;
        let metres = music.metres();
        let pickups = music.pickups();
        let mut needs = vec![Vec::new(); music.bars.len()];
        for (place, bar) in music.order.iter().enumerate() {
            let next = music.order.get(place + 1).copied().unwrap_or(0);
            if let Some(pickup) = pickups[next].filter(|_| !metres[*bar].is_free()) {
                needs[*bar].push(metres[*bar].bar() - pickup);
            }
        }
        needs
    }

    fn two_endings(&mut self, bar: usize) {
        let mut second = self.music.bars[bar].clone();
        self.music.bars[bar].ending = Some(1);
        second.ending = Some(2);
        second.repeat_ends = false;
        second.part_ends = true;
        self.insert(bar, second);
        self.tell(
            bar,
            "a pickup follows the last bar of a part once, and none the other time",
            "the bar stands in two endings",
        );
    }

    fn insert(&mut self, behind: usize, bar: Bar) {
        self.music.bars.insert(behind + 1, bar);
        self.source.insert(behind + 1, self.source[behind]);
    }

    fn tell(&mut self, bar: usize, found: &str, done: &str) {
        self.mended.push(Mended {
            bar: self.source[bar],
            note: self.music.bars[bar].notes.len().saturating_sub(1),
            found: found.to_owned(),
            done: done.to_owned(),
            number: None,
        });
    }

    fn fit(&mut self, bar: usize, need: Beats) {
        let full = self.music.metres()[bar].bar();
        let own = &mut self.music.bars[bar];
        let length = own.length();
        let (lacks, over) = (need - length, length - need);
        let Some(last) = own.notes.last_mut() else {
            return;
        };
        if lacks > Beats::ZERO && lacks + lacks <= full {
            last.length = last.length + lacks;
            self.tell(
                bar,
                "the last bar of a part is short",
                "its last note is lengthened to fill it",
            );
        } else if over > Beats::ZERO && last.length > over {
            last.length = last.length - over;
            self.tell(
                bar,
                "a full bar stands before a pickup",
                "its last note is shortened by the pickup",
            );
        } else if over > Beats::ZERO && length == full {
            shorten_last_notes(&mut own.notes, over);
            self.tell(
                bar,
                "the last note leaves the pickup no room",
                "the last notes are shortened by the pickup",
            );
        }
    }
}

/// Shortens the last notes by a length that the very last note cannot give. The nearest longer note
/// before it gives it alone. When there is none, the notes needed to collect the length share what
/// is left of them: each takes half of the remainder, and the last two are equal. Chosen because
/// the notes before them keep their place on the beat and every length can be written.
fn shorten_last_notes(notes: &mut [Written], by: Beats) {
    let mut found = Beats::ZERO;
    let first = notes.iter().rposition(|note| {
        found = found + note.length;
        found > by
    });
    let Some((first, rest)) = first.and_then(|at| notes[at..].split_first_mut()) else {
        return;
    };
    if first.length > by {
        first.length = first.length - by;
        return;
    }
    let mut left = found - by;
    let count = rest.len();
    for (place, note) in std::iter::once(first).chain(rest).enumerate() {
        if place < count {
            left = left * Fraction::new(1, 2);
        }
        note.length = left;
    }
}

/// Shortens the last note of a full bar before a pickup, so that the pickup has room. This includes
/// the bar before a repeat that starts with a pickup.
fn make_room(music: &mut Music, mended: &mut Vec<Mended>) {
    let metres = music.metres();
    let pickup = music.pickup();
    let pickups = music.pickups();
    let lengths: Vec<Beats> = music.bars.iter().map(super::Bar::length).collect();
    let mut shorter = vec![Beats::ZERO; music.bars.len()];
    for (place, bar) in music.order.iter().copied().enumerate() {
        if metres[bar].is_free() {
            continue;
        }
        let full = metres[bar].bar();
        let next = match music.order.get(place + 1) {
            Some(next) => lengths[*next],
            None if pickup.is_zero() => full,
            None => pickup,
        };
        let begins = music
            .order
            .get(place + 1)
            .is_none_or(|next| pickups[*next].is_some());
        if lengths[bar] == full && next < full && begins {
            shorter[bar] = next;
        }
    }
    for (bar, by) in shorter.into_iter().enumerate() {
        let written = &mut music.bars[bar];
        let note = written.notes.len().saturating_sub(1);
        if let Some(last) = written.notes.last_mut()
            && !by.is_zero()
            && last.length > by
        {
            last.length = last.length - by;
            mended.push(Mended {
                bar,
                note,
                found: "a full bar stands before a pickup".to_owned(),
                done: "its last note is shortened by the pickup".to_owned(),
                number: None,
            });
        }
    }
}
