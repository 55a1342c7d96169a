//! Standard MIDI files, format 1: tempi and texts, the chanter, the click.
//!
//! What a MIDI file cannot say (which notes are gracenotes, how a note is written) goes along in
//! text events; without them it is found again from lengths and the places of beats.

mod read;
mod recognise;
mod tempo;
mod write;

pub use read::read;
pub use write::{Sounding, write};

/// The channel of the chanter, from 0.
const CHANTER: u8 = 0;
/// The click's channel from 0: the tenth is General MIDI's percussion.
const CLICK: u8 = 9;
/// Before the text of a stage's name.
const STAGE: &str = "gracerung stage ";
/// Before the written music of a stage, as body text.
const MUSIC: &str = "gracerung music ";
/// Before the metre and unit of that text.
const METRE: &str = "gracerung metre ";
/// Before the ladder.
const LADDER: &str = "gracerung ladder ";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::Tuning;
    use crate::drill::{self, BUILT_IN};
    use crate::exchange::{Piece, Section, untied};

    /// Every onset a reader hears: melody notes and gracenotes with their written lengths.
    fn notes(section: &Section) -> String {
        section.score.written_text()
    }

    fn pieces() -> impl Iterator<Item = Piece> {
        BUILT_IN.iter().map(|built_in| {
            let (drill, _) = drill::read(built_in.text.as_bytes());
            Piece::of(&drill.expect("a built-in drill reads"), None, None)
        })
    }

    /// Without the texts or with notes that no longer match them, structure would be lost silently.
    #[test]
    fn every_built_in_drill_comes_back_with_its_written_structure() {
        for piece in pieces() {
            for sounding in [Sounding::AsWritten, Sounding::Tuned(Tuning::default())] {
                let bytes = write(&piece, 2, sounding);
                let (back, problems) = read(&bytes);
                assert_eq!(problems, [], "{}", piece.title);
                let back = back.expect("it is read");
                assert_eq!(back.ladder, piece.ladder);
                assert_eq!(back.sections.len(), piece.sections.len());
                for (own, other) in piece.sections.iter().zip(&back.sections) {
                    assert_eq!(notes(own), notes(other), "{} {}", piece.title, own.name);
                }
            }
        }
    }

    /// A MIDI file without a text in it, as other programs write.
    fn without_texts(bytes: &[u8]) -> Vec<u8> {
        use midly::{MetaMessage, Smf, TrackEventKind};
        let mut file = Smf::parse(bytes).expect("our own file");
        for track in &mut file.tracks {
            let mut waited = 0;
            track.retain_mut(|event| {
                let kept = match event.kind {
                    TrackEventKind::Meta(meta) => matches!(
                        meta,
                        MetaMessage::Tempo(_)
                            | MetaMessage::TimeSignature(..)
                            | MetaMessage::EndOfTrack
                    ),
                    _ => true,
                };
                waited += event.delta.as_int();
                if kept {
                    event.delta = std::mem::take(&mut waited).into();
                }
                kept
            });
        }
        let mut out = Vec::new();
        file.write_std(&mut out).expect("memory takes it");
        out
    }

    /// Files of other programs carry no text of ours: the times alone must give the music back.
    #[test]
    fn every_stage_is_recognised_from_its_times_alone() {
        for built_in in BUILT_IN {
            let (drill, _) = drill::read(built_in.text.as_bytes());
            let drill = drill.expect("a built-in drill reads");
            for stage in 0..drill.stages.len() {
                let piece = Piece::of(&drill, Some(stage), None);
                let bytes = write(&piece, 1, Sounding::AsWritten);
                assert!(read(&bytes).1.is_empty());
                let (back, _) = read(&without_texts(&bytes));
                let back = back.expect("it is read");
                // where a part ends with a short bar and the next begins with a pickup, the times
                // alone say one bar
                let unbarred = |section: &Section| untied(&section.score).replace(" | ", " ");
                assert_eq!(
                    unbarred(&piece.sections[0]),
                    unbarred(&back.sections[0]),
                    "{} {}",
                    piece.title,
                    piece.sections[0].name
                );
            }
        }
    }

    #[test]
    fn what_is_no_midi_file_is_a_sentence() {
        let (piece, problems) = read(b"MThd and nothing more");
        assert!(piece.is_none());
        assert!(
            problems[0]
                .kind
                .to_string()
                .starts_with("this is no MIDI file")
        );
    }
}
