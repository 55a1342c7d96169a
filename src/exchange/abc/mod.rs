//! ABC 2.1: a tune a stage, in the pipe key.

mod lines;
mod music;
mod read;
mod tempo;
mod tune;
mod write;

pub use read::{InBook, read, read_book, read_tune};
pub use write::write;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{self, BUILT_IN};
    use crate::exchange::{Piece, untied};

    /// A drill sent to a friend as ABC and read back must be the same music.
    #[test]
    fn every_built_in_drill_comes_back_from_abc_note_for_note() {
        for built_in in BUILT_IN {
            let (drill, _) = drill::read(built_in.text.as_bytes());
            let piece = Piece::of(&drill.expect("a built-in drill reads"), None, None);
            let bytes = write(&piece);
            let (back, problems) = read(&bytes);
            assert_eq!(problems, [], "{}", built_in.name);
            let back = back.expect("it is read");
            assert_eq!(back.about, piece.about);
            assert_eq!(back.practice, piece.practice);
            assert_eq!(back.ladder, piece.ladder);
            assert_eq!(back.tempo, piece.tempo);
            assert_eq!(back.sections.len(), piece.sections.len());
            for (own, other) in piece.sections.iter().zip(&back.sections) {
                assert_eq!(own.name, other.name);
                assert_eq!(own.listen_for, other.listen_for);
                assert_eq!(
                    untied(&own.score),
                    untied(&other.score),
                    "{}",
                    built_in.name
                );
            }
        }
    }
}
