//! The notes of a measure: heads, gracenotes, beams, ties and tuplets.

use crate::chanter::Note;
use crate::drill::Bar;
use crate::exchange::musicxml::HELD;
use crate::exchange::musicxml::xml::Xml;
use crate::rhythm::{Head, Metre, NoteValue, WrittenBar};
use crate::score::{NoteId, ScoreNote};
use crate::units::{Fraction, write_fraction};
use std::collections::HashMap;

/// A bar with what its notes are written by.
pub(super) struct Bars<'a> {
    pub(super) bar: &'a Bar,
    pub(super) written: &'a WrittenBar,
    pub(super) metre: Metre,
    /// Divisions of a quarter note.
    pub(super) divisions: i128,
    /// For each gracenote the percentage of the note it is taken from that it lasts.
    pub(super) shares: &'a HashMap<NoteId, f64>,
}

impl Bars<'_> {
    /// Writes the heads of the bar; gives whether the last is tied to the next bar.
    pub(super) fn notes(&self, xml: &mut Xml, scores: &[ScoreNote], tied: bool) -> bool {
        let flags: Vec<(i128, u8)> = self
            .written
            .heads
            .iter()
            .map(|head| {
                let beat = self.metre.beam_at(head.place);
                (beat, head.value.value.flags())
            })
            .collect();
        let mut continues = tied;
        for (index, head) in self.written.heads.iter().enumerate() {
            let Some(note) = self.bar.notes.get(head.note) else {
                continue;
            };
            if head.begins
                && let Some(score) = scores.get(head.note)
            {
                self.gracenotes(xml, score);
            }
            xml.within("note", &[], |xml| {
                self.head(xml, head, note.note, continues);
                beams(xml, &flags, index);
                self.notations(xml, index, continues);
            });
            xml.line();
            continues = head.tied;
        }
        continues
    }

    /// A head up to its stem.
    fn head(&self, xml: &mut Xml, head: &Head, note: Note, continues: bool) {
        let quarters = self.metre.semibreves_of(head.beats) * Fraction::from_integer(4);
        let duration = quarters * Fraction::from_integer(self.divisions);
        pitch(xml, note);
        xml.text("duration", &write_fraction(&duration));
        for (on, kind) in [(continues, "stop"), (head.tied, "start")] {
            if on {
                xml.empty("tie", &[("type", kind)]);
            }
        }
        xml.text("voice", "1");
        // a length finer than any value has no type, and readers go by its duration
        if self.written.exact {
            xml.text("type", name(head.value.value));
            for _ in 0..head.value.dots {
                xml.empty("dot", &[]);
            }
        }
        let tuplet = head
            .tuplet
            .and_then(|tuplet| self.written.tuplets.get(tuplet));
        if let Some(tuplet) = tuplet {
            xml.within("time-modification", &[], |xml| {
                xml.text("actual-notes", &tuplet.notes.to_string());
                xml.text("normal-notes", &tuplet.time.to_string());
            });
        }
        xml.text("stem", "down");
    }

    fn gracenotes(&self, xml: &mut Xml, score: &ScoreNote) {
        let parts = &score.group.parts;
        for (place, part) in parts.iter().enumerate() {
            let share = self.shares.get(&part.id).copied().unwrap_or(1.0);
            // Whole per cent: the schema allows fractions, readers do not (music21 9 fails).
            let share = share.round().clamp(1.0, 100.0).to_string();
            let from = if place < score.group.before_beat {
                "steal-time-previous"
            } else {
                "steal-time-following"
            };
            xml.within("note", &[], |xml| {
                xml.empty("grace", &[(from, &share), ("slash", "no")]);
                pitch(xml, part.note);
                xml.text("voice", "1");
                xml.text("type", "32nd");
                xml.text("stem", "up");
                if parts.len() > 1 {
                    let kind = match place {
                        0 => "begin",
                        place if place + 1 == parts.len() => "end",
                        _ => "continue",
                    };
                    for number in ["1", "2", "3"] {
                        xml.text_with("beam", &[("number", number)], kind);
                    }
                }
                if let Some(held) = part.held {
                    let part = write_fraction(&self.metre.semibreves_of(held));
                    xml.within("play", &[], |xml| {
                        xml.text_with("other-play", &[("type", HELD)], &part);
                    });
                }
            });
            xml.line();
        }
    }

    /// Ties and the ends of tuplets.
    fn notations(&self, xml: &mut Xml, index: usize, continues: bool) {
        let head = &self.written.heads[index];
        let heads = head
            .tuplet
            .and_then(|tuplet| self.written.tuplets.get(tuplet))
            .map(|tuplet| tuplet.heads.clone());
        let begins = heads.as_ref().is_some_and(|heads| heads.start == index);
        let ends = heads.is_some_and(|heads| heads.end == index + 1);
        let all = [
            (continues, "tied", "stop"),
            (head.tied, "tied", "start"),
            (begins, "tuplet", "start"),
            (ends, "tuplet", "stop"),
        ];
        if !all.iter().any(|(on, ..)| *on) {
            return;
        }
        xml.within("notations", &[], |xml| {
            for (_, element, kind) in all.iter().filter(|(on, ..)| *on) {
                xml.empty(element, &[("type", kind)]);
            }
        });
    }
}

/// The beams of a note by beat: joined to its neighbours in the same beat, hooks where alone.
fn beams(xml: &mut Xml, flags: &[(i128, u8)], at: usize) {
    let (beat, own) = flags[at];
    let near = |place: Option<usize>| {
        place
            .and_then(|place| flags.get(place))
            .filter(|(other, flags)| *other == beat && *flags > 0)
            .map_or(0, |(_, flags)| *flags)
    };
    let before = near(at.checked_sub(1));
    let after = near(Some(at + 1));
    if before == 0 && after == 0 {
        return;
    }
    for number in 1..=own {
        let kind = match (before >= number, after >= number) {
            (true, true) => "continue",
            (true, false) => "end",
            (false, true) => "begin",
            (false, false) if before > 0 => "backward hook",
            (false, false) => "forward hook",
        };
        xml.text_with("beam", &[("number", &number.to_string())], kind);
    }
}

/// Written pitches: G4 A4 B4 C♯5 D5 E5 F♯5 G5 A5.
fn pitch(xml: &mut Xml, note: Note) {
    xml.within("pitch", &[], |xml| {
        let letter = note.abc_letter().to_ascii_uppercase();
        xml.text("step", &letter.to_string());
        if matches!(note, Note::C | Note::F) {
            xml.text("alter", "1");
        }
        xml.text("octave", if note <= Note::B { "4" } else { "5" });
    });
}

/// The name of a note value.
pub(super) fn name(value: NoteValue) -> &'static str {
    match value {
        NoteValue::Semibreve => "whole",
        NoteValue::Minim => "half",
        NoteValue::Crotchet => "quarter",
        NoteValue::Quaver => "eighth",
        NoteValue::Semiquaver => "16th",
        NoteValue::Demisemiquaver => "32nd",
        NoteValue::Hemidemisemiquaver => "64th",
    }
}
