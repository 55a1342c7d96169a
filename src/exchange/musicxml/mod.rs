//! MusicXML 4.0, partwise: the stages of a drill one after another in one part, each under a
//! rehearsal mark.

mod packed;
mod read;
mod tree;
mod write;
mod xml;

pub use packed::unpacked;
pub use read::read;
pub use write::write;

/// The miscellaneous field that says that rehearsal marks begin stages.
const STAGES: &str = "stages";
/// The miscellaneous fields of what stands at the head of a tune and has no element of its own: the
/// kind of tune, where it comes from, each other title.
const KIND: &str = "kind of tune";
const ORIGIN: &str = "origin";
const ALSO: &str = "other title";
/// The miscellaneous field of what a stage, counted from 1, says of itself under a name.
fn in_stage(name: &str, stage: usize) -> String {
    format!("{name}, stage {stage}")
}

/// The play instruction of a gracenote that a movement holds long.
const HELD: &str = "held";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{self, BUILT_IN};
    use crate::exchange::{Piece, untied};

    #[test]
    fn every_built_in_drill_comes_back_from_musicxml_note_for_note() {
        for built_in in BUILT_IN {
            let (drill, _) = drill::read(built_in.text.as_bytes());
            let piece = Piece::of(&drill.expect("a built-in drill reads"), None, None);
            let (back, problems) = read(&write(&piece));
            assert_eq!(problems, [], "{}", built_in.name);
            let back = back.expect("it is read");
            assert_eq!(back.title, piece.title);
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

    /// A stage begins in its own metre, whichever the stage before it ends in.
    #[test]
    fn a_stage_after_a_change_of_metre_comes_back() {
        let text = "title: x\nunit: 1/8\nstages:\n  - name: one\n    music: \"A4 B4|[M:6/8] c3 d3|\"\n  \
                    - name: two\n    music: \"A4 B4|c8|\"\n\
                    ladder: {from: 50, to: 60, step: 5%}\n";
        let drill = drill::read(text.as_bytes()).0.expect("it reads");
        let piece = Piece::of(&drill, None, None);
        let xml = write(&piece);
        let (back, problems) = read(&xml);
        assert_eq!(problems, []);
        let back = back.expect("it is read");
        let written = |piece: &Piece| -> Vec<String> {
            let sections = piece.sections.iter();
            sections.map(|own| own.score.written_text()).collect()
        };
        assert_eq!(written(&back), written(&piece));
        // one change there and one back, each with the note that has the beat
        let xml = String::from_utf8(xml).expect("UTF-8");
        assert_eq!(xml.matches("<time>").count(), 3);
        assert_eq!(xml.matches("<metronome>").count(), 3);
    }

    /// One metre counts a measure: another begins with the next one, and that is told.
    #[test]
    fn a_metre_that_changes_inside_a_measure_is_told() {
        let text = "title: x\nunit: 1/8\nmusic: \"A4 B4|[M:6/8] c3 d3|A3 B3|\"\n\
                    ladder: {from: 50, to: 60, step: 5%}\n";
        let drill = drill::read(text.as_bytes()).0.expect("it reads");
        let piece = Piece::of(&drill, None, None);
        let xml = String::from_utf8(write(&piece)).expect("UTF-8");
        let change =
            "<attributes><time><beats>6</beats><beat-type>8</beat-type></time></attributes>\n";
        let (before, after) = xml.split_once(change).expect("it is written");
        // the change moves from the head of its measure to the foot of the one before it
        let end = before.rfind("</measure>").expect("a measure");
        let moved = format!("{}{change}{}{after}", &before[..end], &before[end..]);
        let (back, problems) = read(moved.as_bytes());
        let told: Vec<String> = problems.iter().map(|own| own.kind.to_string()).collect();
        assert_eq!(
            told,
            ["the metre changes inside a measure: it changes where the next measure begins"]
        );
        let back = back.expect("it is read");
        assert_eq!(
            back.sections[0].score.written_text(),
            piece.sections[0].score.written_text()
        );
    }

    /// Durations whose sum once left 128 bits.
    #[test]
    fn durations_without_a_common_part_are_told_with_their_line() {
        let primes = [
            999_983, 999_979, 999_961, 999_959, 999_953, 999_931, 999_917,
        ];
        let notes = primes.map(|prime| {
            format!(
                "<attributes><divisions>{prime}</divisions></attributes>\n\
                 <note><pitch><step>A</step><octave>4</octave></pitch><duration>1</duration></note>\n"
            )
        });
        let text = format!(
            "<score-partwise>\n<part id=\"P1\">\n<measure number=\"1\">\n{}</measure>\n</part>\n\
             </score-partwise>",
            notes.concat()
        );
        let (piece, problems) = read(text.as_bytes());
        assert!(piece.is_none());
        let told = problems
            .iter()
            .find(|own| own.kind.to_string().contains("semibreves"))
            .expect("told");
        // the second note: a line for what divides it and a line for itself, as the first has
        assert_eq!(told.place.line, 7);
    }

    /// MusicXML 4.0, `ending-number`: "a comma-separated list of positive integers".
    #[test]
    fn an_ending_for_several_passes_is_written_out() {
        let text = "title: x\nunit: 1/8\nmusic: \"|:A8|1 B8:|2 c8|]\"\n\
                    ladder: {from: 50, to: 60, step: 5%}\n";
        let drill = drill::read(text.as_bytes()).0.expect("it reads");
        let xml = String::from_utf8(write(&Piece::of(&drill, None, None))).expect("UTF-8");
        let twice = xml
            .replace("ending number=\"1\"", "ending number=\"1, 3\"")
            .replace("ending number=\"2\"", "ending number=\"2,4\"");
        let (piece, problems) = read(twice.as_bytes());
        let told: Vec<String> = problems.iter().map(|own| own.kind.to_string()).collect();
        assert_eq!(
            told,
            ["endings for several passes: each pair of passes is written out"]
        );
        let score = &piece.expect("it is read").sections[0].score;
        assert_eq!(
            score.written_text(),
            "4/4 | LA:4 | B:4 | LA:4 | C:4 | LA:4 | B:4 | LA:4 | C:4"
        );
    }

    #[test]
    fn what_is_no_musicxml_is_a_sentence() {
        for source in [
            "",
            "<html/>",
            "<score-timewise/>",
            "<score-partwise>",
            "PK\u{3}\u{4}",
        ] {
            let (piece, problems) = read(source.as_bytes());
            assert!(piece.is_none(), "{source}");
            assert!(!problems.is_empty(), "{source}");
        }
    }
}
