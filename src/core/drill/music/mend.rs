//! What a chanter cannot play, made playable: for music that was written for other instruments.
//!
//! Every change is told. Knows written music only, not the format it came in.

use crate::chanter::{NOTES, Note};
use crate::drill::problem::Kind;
use crate::drill::written::{Gracenote, Group, Music};
use crate::movement::{Context, is_playable};
use crate::units::Beats;

/// A change that was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mended {
    /// Index of the bar.
    pub bar: usize,
    /// Index of the note in the bar.
    pub note: usize,
    /// What was found there.
    pub found: String,
    /// What was done about it.
    pub done: String,
}

impl Mended {
    /// The change as a note in a list of problems.
    pub fn kind(&self) -> Kind {
        Kind::Adopted {
            found: self.found.clone(),
            done: self.done.clone(),
            times: 1,
        }
    }
}

/// A repeat gives a note two notes before it, and what mends one place may spoil another: looked
/// through so often at most.
const ROUNDS: usize = 6;

/// Makes written music playable where a rule of the chanter says how: equal notes get a gracenote
/// between them, a gracenote that cannot sound gives way to one that can, a tie to another note
/// goes, and the bar before a pickup leaves it room.
pub fn mend_music(music: &mut Music) -> Vec<Mended> {
    let mut mended = Vec::new();
    for _ in 0..ROUNDS {
        let found = mended.len();
        round(music, &mut mended);
        if mended.len() == found {
            break;
        }
    }
    make_room(music, &mut mended);
    mended
}

fn round(music: &mut Music, mended: &mut Vec<Mended>) {
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
                });
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
                let dropped = drop_equal(gracenotes, context);
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
                    let found = format!(
                        "the gracenote {} cannot sound on {}",
                        silent.spoken(),
                        here.spoken()
                    );
                    if let Some(other) = separator(context) {
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
                && let Some(gracenote) = separator(context)
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
        });
    }
}

/// Takes away gracenotes that stand beside the same note, and gives them back.
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

/// The gracenote played where none or another is written: the high G gracenote, or the next one of
/// the scale downward that sounds there (from D an HG gracenote instead of D, from HG the HA:
/// common practice, no source).
fn separator(context: Context) -> Option<Note> {
    [Note::HighG, Note::HighA, Note::E, Note::D]
        .into_iter()
        .chain(NOTES)
        .find(|gracenote| is_playable(&[*gracenote], context))
}

/// A full bar before a pickup, or before the start that a pickup begins, is too long by it: the
/// bar's last note gives it room.
fn make_room(music: &mut Music, mended: &mut Vec<Mended>) {
    let full = music.metre.bar();
    let pickup = music.pickup();
    let lengths: Vec<Beats> = music.bars.iter().map(super::Bar::length).collect();
    let mut shorter = vec![Beats::ZERO; music.bars.len()];
    for (place, bar) in music.order.iter().copied().enumerate() {
        let next = match music.order.get(place + 1) {
            Some(next) => lengths[*next],
            None if pickup.is_zero() => full,
            None => pickup,
        };
        let begins_part = music.order.get(place + 1).is_none_or(|next| {
            *next == 0 || music.bars.get(next - 1).is_some_and(|bar| bar.part_ends)
        });
        if lengths[bar] == full && next < full && begins_part {
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
            });
        }
    }
}
