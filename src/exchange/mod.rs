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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Bpm;

    const HELD: &str = "title: A march\nkind: march\nmetre: 2/4\nunit: 1/8\npointing: 4:1, 3 to 6\n\
        school: [heavy-throw, grip-on-the-beat]\nclean: 4\nbreath: 2\nstages:\n  \
        - {name: held dots, pointing: \"7:1\", up_to: 66, listen_for: the cut, \
           music: \"|:{g}A>B {g}c>d|{g}e>c {GdG}A2:|\"}\n  \
        - {name: as in the tune, music: \"|:{g}A>B {g}c>d|{g}e>c {GdG}A2:|\"}\n\
        ladder: {from: 60, to: 80, step: 2}\n";
    const TUNE: &str = "title: A march\nkind: march\nmetre: 2/4\nunit: 1/8\nphrases: [1, 2-3, 4]\n\
        music: \"|:{g}A>B {g}c>d|{g}e>c {g}A2|{g}c>B {g}A>G|{g}B>c {g}A2:|\"\n\
        ladder: {from: 60, to: 80, step: 4%}\n";

    fn drill(text: &str) -> Drill {
        let (drill, problems) = crate::drill::read(text.as_bytes());
        drill.unwrap_or_else(|| panic!("{problems:?}"))
    }

    fn formats(piece: &Piece) -> [(Format, Vec<u8>); 2] {
        [
            (Format::Abc, abc::write(piece)),
            (Format::MusicXml, musicxml::write(piece)),
        ]
    }

    /// A stage that exaggerates its dots came back as one that does not.
    #[test]
    fn what_a_stage_says_of_itself_comes_back() {
        for text in [HELD, TUNE] {
            let drill = drill(text);
            for (format, bytes) in formats(&Piece::of(&drill, None, None)) {
                let (back, problems) = read_drill(format, &bytes);
                assert_eq!(problems, [], "{format:?}");
                let back = back.expect("it is read");
                assert_eq!(back.phrases, drill.phrases);
                assert_eq!(back.schools, drill.schools);
                assert_eq!(back.ladder, drill.ladder);
                assert_eq!(back.head, drill.head);
                assert_eq!(back.stages.len(), drill.stages.len());
                for (back, own) in back.stages.iter().zip(&drill.stages) {
                    assert_eq!(back.name, own.name);
                    assert_eq!(back.up_to, own.up_to);
                    assert_eq!(back.listen_for, own.listen_for);
                    assert_eq!(back.music.pointing, own.music.pointing, "{format:?}");
                    let written = crate::score::written_text(&own.music, &drill.schools);
                    let read = crate::score::written_text(&back.music, &drill.schools);
                    assert_eq!(read, written);
                }
            }
        }
    }

    /// What a drill says beside its music is dropped where another program changed the music, and
    /// that is reported.
    #[test]
    fn phrases_of_other_music_are_left_out() {
        let text = String::from_utf8(abc::write(&Piece::of(&drill(TUNE), None, None)));
        let text = text
            .expect("UTF-8")
            .replace("phrases 1, 2-3, 4", "phrases 1, 2-9");
        let (back, problems) = read_drill(Format::Abc, text.as_bytes());
        let told: Vec<String> = problems.iter().map(|own| own.kind.to_string()).collect();
        assert_eq!(
            told,
            ["the phrases 1, 2-9, which no longer fit the music: left out"]
        );
        assert_eq!(back.expect("it is read").phrases, []);
    }

    /// A march that does not say so was given hiharins, without a word.
    #[test]
    fn a_birl_that_may_be_a_hiharin_is_told_by_count_until_the_kind_is_said() {
        let text = |kind: &str| {
            format!(
                "X:1\nT:A\n{kind}M:2/4\nL:1/8\nK:HP\n{{g}}A2 {{g}}e2|{{dAGAG}}A2 {{g}}e2|\
                 {{dAGAG}}A4|{{g}}e2 {{dAGAG}}A2|]\n"
            )
        };
        let told = |problems: &[Problem]| -> Vec<String> {
            problems.iter().map(|own| own.kind.to_string()).collect()
        };
        let (piece, problems) = read(Format::Abc, text("").as_bytes());
        let said = told(&problems);
        assert_eq!(said.len(), 1, "{said:?}");
        let wanted =
            "a hiharin or a birl, as the kind of tune has it (3 times) in bars 2, 3 and 4: ";
        assert!(said[0].starts_with(wanted), "{said:?}");
        assert!(said[0].contains("--kind march"), "{said:?}");
        let (piece, problems) = piece.expect("it is read").of_kind("march", problems);
        assert_eq!(told(&problems), [""; 0]);
        assert_eq!(piece.head.kind.as_deref(), Some("march"));
        for kind in ["R:march\n", "R:ground\n", "R:slow air\n"] {
            let (_, problems) = read(Format::Abc, text(kind).as_bytes());
            assert_eq!(told(&problems), [""; 0], "{kind}");
        }
    }

    /// Whoever gets a tune wants its tempo, and not where practice of it begins.
    #[test]
    fn a_tune_goes_out_at_its_own_tempo() {
        let tempo = |drill: &Drill, stage| Piece::of(drill, stage, None).played_at();
        let held = drill(HELD);
        let whole = |tempo: i128| Bpm::whole(tempo).expect("a tempo");
        assert_eq!(tempo(&drill(TUNE), None), whole(80));
        assert_eq!(tempo(&held, None), whole(80));
        assert_eq!(tempo(&held, Some(0)), whole(66));
        let apart = crate::drill::built_in("grip-from-d").expect("a drill");
        let apart = drill(apart.text);
        assert_eq!(tempo(&apart, None), apart.ladder.from());
        let text = String::from_utf8(abc::write(&Piece::of(&drill(TUNE), None, None)));
        assert!(text.expect("UTF-8").contains("\nQ:1/4=80\n"));
    }
}
