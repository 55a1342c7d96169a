//! Writes a piece as MusicXML.

mod measures;
mod notes;

use super::xml::Xml;
use super::{ALSO, KIND, ORIGIN, STAGES, in_stage};
use crate::exchange::Section;
use crate::exchange::piece::Piece;
use crate::score::NoteId;
use crate::timeline::{EventKind, Layout, lay};
use crate::units::{Beats, Fraction, SampleRate};
use measures::{SectionWriter, SoFar};
use num_integer::Integer;
use std::collections::HashMap;

/// Writes a partwise score, UTF-8.
pub fn write(piece: &Piece) -> Vec<u8> {
    let mut xml = Xml::new();
    xml.within("score-partwise", &[("version", "4.0")], |xml| {
        xml.line();
        xml.within("work", &[], |xml| xml.text("work-title", &piece.title));
        xml.line();
        identification(xml, piece);
        part_list(xml);
        xml.within("part", &[("id", "P1")], |xml| {
            xml.line();
            let divisions = divisions(piece);
            let mut so_far = SoFar::default();
            for section in &piece.sections {
                let writer = SectionWriter {
                    piece,
                    section,
                    divisions,
                    shares: shares(piece, section),
                };
                writer.measures(xml, &mut so_far);
            }
        });
        xml.line();
    });
    xml.line();
    xml.finish()
}

/// Who composed it, what wrote the file, and what a drill says beside its music.
fn identification(xml: &mut Xml, piece: &Piece) {
    let head = &piece.head;
    let kept = [(KIND, &head.kind), (ORIGIN, &head.origin)];
    let kept = kept
        .into_iter()
        .filter_map(|(name, said)| Some((name, said.clone()?)));
    let also = head.also.iter().map(|title| (ALSO, title.clone()));
    let remarks = kept.chain(also).chain(piece.remarks());
    let here = piece
        .sections
        .iter()
        .zip(1..)
        .flat_map(|(section, number)| {
            let remarks = section.remarks().into_iter();
            remarks.map(move |(name, text)| (in_stage(name, number), text))
        });
    let fields = remarks
        .map(|(name, text)| (name.to_owned(), text))
        .chain(here);
    xml.within("identification", &[], |xml| {
        xml.line();
        if let Some(name) = &head.composer {
            xml.text_with("creator", &[("type", "composer")], name);
            xml.line();
        }
        xml.within("encoding", &[], |xml| {
            let software = format!("gracerung {}", env!("CARGO_PKG_VERSION"));
            xml.text("software", &software);
        });
        xml.line();
        xml.within("miscellaneous", &[], |xml| {
            let mut field = |name: &str, text: &str| {
                xml.text_with("miscellaneous-field", &[("name", name)], text);
            };
            field(STAGES, "rehearsal marks");
            for (name, text) in fields {
                field(&name, &text);
            }
        });
        xml.line();
    });
    xml.line();
}

fn part_list(xml: &mut Xml) {
    xml.within("part-list", &[], |xml| {
        xml.line();
        xml.within("score-part", &[("id", "P1")], |xml| {
            xml.text("part-name", "Bagpipe");
            xml.line();
            xml.within("score-instrument", &[("id", "P1-I1")], |xml| {
                xml.text("instrument-name", "Bagpipe");
                xml.text("instrument-sound", "wind.pipes.bagpipes");
            });
            xml.line();
            xml.within("midi-instrument", &[("id", "P1-I1")], |xml| {
                xml.text("midi-channel", "1");
                xml.text("midi-program", "110");
            });
            xml.line();
        });
        xml.line();
    });
    xml.line();
}

/// Divisions of a quarter note in which every length is whole.
fn divisions(piece: &Piece) -> i128 {
    let mut divisions: i128 = 1;
    for music in piece.sections.iter().map(|section| &section.music) {
        for (bar, metre) in music.write_bars().iter().zip(music.metres()) {
            for head in &bar.heads {
                let quarters = metre.semibreves_of(head.beats) * Fraction::from_integer(4);
                divisions = divisions.lcm(quarters.denom());
            }
        }
    }
    divisions
}

/// For each gracenote the percentage of the note it is taken from that it lasts, at the piece's
/// tempo.
fn shares(piece: &Piece, section: &Section) -> HashMap<NoteId, f64> {
    let layout = Layout {
        lengths: piece.lengths,
        ..Layout::at(piece.played_at(), SampleRate::USUAL)
    };
    let timeline = lay(&section.score, &layout);
    let mut lengths: HashMap<NoteId, Beats> = HashMap::new();
    for event in &timeline.again {
        if let EventKind::Sound(sounded) = event.kind {
            lengths.insert(sounded.id, sounded.length);
        }
    }
    let notes = &section.score.notes;
    let mut shares = HashMap::new();
    let mut giver = notes.last().map_or(Beats::ONE, |note| note.written);
    for note in notes {
        for (place, part) in note.group.parts.iter().enumerate() {
            let from = if place < note.group.before_beat {
                giver
            } else {
                note.written
            };
            let length = lengths.get(&part.id).copied().unwrap_or(Beats::ZERO);
            if !from.is_zero() {
                let share = Beats(length.0 / from.0).to_f64() * 100.0;
                shares.entry(part.id).or_insert(share.clamp(0.01, 100.0));
            }
        }
        giver = note.written;
    }
    shares
}
