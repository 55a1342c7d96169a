//! Files of other programs: ABC 2.1, standard MIDI files and MusicXML 4.0, each written from a drill
//! and read into one.
//!
//! Bytes in, a piece and every problem out; a piece in, bytes out. Knows no file system. Nothing a
//! file holds is dropped without a word: what a drill cannot hold is told with what was done.

pub mod abc;
pub mod midi;
pub mod musicxml;
mod piece;

pub use piece::{Piece, Practice, Section};

use crate::drill::{Drill, Problem};

/// The largest file of another program that is read, bytes: MusicXML takes a few hundred for a note.
pub const LARGEST_FILE: usize = 16 * crate::drill::LARGEST_FILE;

/// A format of other programs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// ABC 2.1.
    Abc,
    /// A standard MIDI file.
    Midi,
    /// MusicXML 4.0, partwise; packed (`.mxl`) where it is read.
    MusicXml,
}

impl Format {
    /// The format a file's name tells by its ending, whatever its capitals.
    pub fn of_name(name: &str) -> Option<Self> {
        let (_, ending) = name.rsplit_once('.')?;
        Some(match ending.to_lowercase().as_str() {
            "abc" => Self::Abc,
            "mid" | "midi" => Self::Midi,
            "musicxml" | "xml" | "mxl" => Self::MusicXml,
            _ => return None,
        })
    }
}

/// Reads a file of another program. The piece is there when a drill can be made of it.
pub fn read(format: Format, bytes: &[u8]) -> (Option<Piece>, Vec<Problem>) {
    match format {
        Format::Abc => abc::read(bytes),
        Format::Midi => midi::read(bytes),
        Format::MusicXml => musicxml::read(bytes),
    }
}

/// A file's text, for showing where a problem stands.
pub fn text_of(format: Format, bytes: &[u8]) -> String {
    let unpacked = match format {
        Format::MusicXml => musicxml::unpacked(bytes).ok(),
        Format::Abc | Format::Midi => None,
    };
    String::from_utf8_lossy(unpacked.as_deref().unwrap_or(bytes)).into_owned()
}

/// Reads a file of another program into a drill.
pub fn read_drill(format: Format, bytes: &[u8]) -> (Option<Drill>, Vec<Problem>) {
    let (piece, problems) = read(format, bytes);
    (piece.and_then(|piece| piece.drill().0), problems)
}

/// The written text of a score with the notes of a bar that sound on from one another as one: what
/// is printed has ties of its own, where the metre asks for them.
#[cfg(test)]
fn untied(score: &crate::score::Score) -> String {
    let mut score = score.clone();
    let notes = std::mem::take(&mut score.notes);
    for note in notes {
        match score.notes.last_mut() {
            Some(last) if note.continues && last.bar == note.bar => {
                last.written = last.written + note.written;
            }
            _ => score.notes.push(note),
        }
    }
    score.written_text()
}
