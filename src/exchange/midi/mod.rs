//! Standard MIDI files, format 1: tempi and texts, the chanter, the click.
//!
//! What a MIDI file cannot say (which notes are gracenotes, how a note is written) goes along in
//! text events; without them it is found again from lengths and the places of beats.

mod file;
mod line;
mod places;
mod played;
mod read;
mod reading;
mod recognise;
mod tempo;
mod write;

pub use read::read;
pub use write::{MidiPitch, write};

/// The channel of the chanter, from 0.
const CHANTER: u8 = 0;
/// The click's channel from 0: the tenth is General MIDI's percussion.
const CLICK: u8 = 9;
/// The text event that holds a stage's name begins with this.
const STAGE: &str = "gracerung stage ";
/// The text event that holds the written music of a stage begins with this.
const MUSIC: &str = "gracerung music ";
/// The text event that holds the metre and the unit of that music begins with this.
const METRE: &str = "gracerung metre ";
/// Every other text event of ours begins with this, then with the name of what it says beside the music.
const SAID: &str = "gracerung ";
/// Names of what stands at the head of a tune.
const KIND: &str = "kind";
const COMPOSER: &str = "composer";
const ORIGIN: &str = "origin";
const ALSO: &str = "also";

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
            for sounding in [MidiPitch::AsWritten, MidiPitch::Tuned(Tuning::default())] {
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

    /// The kind and the composer of a tune were lost on the way, and a gracenote that is told of made our own
    /// text unread: a birl with a low G before it became other music.
    #[test]
    fn a_tune_comes_back_with_all_that_it_says() {
        let text = "title: Odd groups\nalso: [The other, A third]\nkind: march\ncomposer: A player\n\
            origin: our shed\nabout: a tune\nlisten_for: the birls\nclean: 4\nbreath: 2\npointing: 4:1\n\
            school: heavy-throw\nphrases: [1-2, 3-4]\nmetre: 2/4\nunit: 1/8\n\
            music: \"{g}A2 {g}c2|{GAGAG}A2 {g}e2|{g}c{d}e {g}c2|{gAGAG}A4|]\"\n\
            ladder: {from: 50, to: 80, step: 4%}\n";
        let (drill, _) = drill::read(text.as_bytes());
        let piece = Piece::of(&drill.expect("it reads"), None, None);
        let (back, problems) = read(&write(&piece, 2, MidiPitch::AsWritten));
        assert_eq!(problems, []);
        let back = back.expect("it is read");
        assert_eq!(back.head, piece.head);
        assert_eq!(back.about, piece.about);
        assert_eq!(back.practice, piece.practice);
        assert_eq!(back.ladder, piece.ladder);
        assert_eq!(notes(&back.sections[0]), notes(&piece.sections[0]));
    }

    /// What a stage says of itself stands beside its own music.
    #[test]
    fn what_a_stage_says_of_itself_comes_back() {
        let text = "title: A\nkind: march\nmetre: 2/4\nunit: 1/8\nstages:\n  \
            - {name: held, pointing: \"7:1\", up_to: 66, listen_for: the cut, music: \"{g}A>B {g}c>d|\"}\n  \
            - {name: as it is, music: \"{g}A>B {g}c>d|\"}\nladder: {from: 60, to: 80, step: 2}\n";
        let (drill, _) = drill::read(text.as_bytes());
        let piece = Piece::of(&drill.expect("it reads"), None, None);
        let (back, problems) = read(&write(&piece, 1, MidiPitch::AsWritten));
        assert_eq!(problems, []);
        for (own, back) in piece
            .sections
            .iter()
            .zip(&back.expect("it is read").sections)
        {
            assert_eq!(back.remarks(), own.remarks());
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
                let bytes = write(&piece, 1, MidiPitch::AsWritten);
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

    /// A metre that changes has its time signature and its tempo: a beat lasts as long, and is
    /// Who reads a file counts bars by its time signatures alone, each from where it stands on
    /// (Standard MIDI File 1.0: FF 58 04 nn dd cc bb, a bar is nn of the note 1/2^dd). With a pickup
    /// and a metre that changes, each repetition once moved every bar line by the pickup.
    #[test]
    fn a_reader_counts_the_bars_that_are_clicked() {
        use midly::{MetaMessage, MidiMessage, Smf, TrackEventKind};
        let tunes = [
            "metre: 4/4\nunit: 1/8\nmusic: |\n  e2|A4 B4|[M:3/4]c4 d2|e4 d2|[M:C]c8|[M:6/8]e3 d3|[M:C]c2 e2 A2||\n",
            "metre: 6/8\nunit: 1/8\nmusic: |\n  |:e|A3 B3|c3 d2:||:e|[M:2/4]f2 e2|d2 c2|[M:6/8]A3 B2:|\n",
            "metre: 2/4\nunit: 1/8\nmusic: |\n  e|A2 B2|c2 d:||:e|f2 e2|1d2 c:|2d2 B||\n",
        ];
        for text in tunes {
            let document = format!("title: A\n{text}ladder: {{from: 60, to: 60, step: 4%}}\n");
            let (drill, problems) = drill::read(document.as_bytes());
            let drill = drill.unwrap_or_else(|| panic!("{problems:?}"));
            let bytes = write(&Piece::of(&drill, None, None), 3, MidiPitch::AsWritten);
            let smf = Smf::parse(&bytes).expect("a MIDI file");
            let midly::Timing::Metrical(division) = smf.header.timing else {
                panic!("ticks of a quarter");
            };
            let (mut signatures, mut clicked, mut end) = (Vec::new(), Vec::new(), 0);
            for track in &smf.tracks {
                let mut tick = 0_u64;
                for event in track {
                    tick += u64::from(event.delta.as_int());
                    match event.kind {
                        TrackEventKind::Meta(MetaMessage::TimeSignature(above, power, ..)) => {
                            let semibreve = 4 * u64::from(division.as_int());
                            signatures.push((tick, (u64::from(above) * semibreve) >> power));
                        }
                        // the high wood block clicks where a bar begins
                        TrackEventKind::Midi {
                            message: MidiMessage::NoteOn { key, .. },
                            channel,
                        } if (channel.as_int(), key.as_int()) == (CLICK, 76) => clicked.push(tick),
                        _ => {}
                    }
                    end = end.max(tick);
                }
            }
            let mut counted = Vec::new();
            for (index, (from, bar)) in signatures.iter().enumerate() {
                let until = signatures.get(index + 1).map_or(end, |next| next.0);
                assert!(
                    index + 1 == signatures.len() || (until - from) % bar == 0,
                    "{text}"
                );
                counted.extend((*from..until).step_by(usize::try_from(*bar).expect("short")));
            }
            assert!(clicked.len() > 15, "{text}");
            assert_eq!(counted, clicked, "{text}");
        }
    }

    /// another note.
    #[test]
    fn a_change_of_metre_comes_back() {
        let text = include_str!("../../../tests/rhythms/change-of-metre.yaml");
        let drill = drill::read(text.as_bytes()).0.expect("it reads");
        let piece = Piece::of(&drill, None, None);
        let bytes = write(&piece, 2, MidiPitch::AsWritten);
        let (back, problems) = read(&bytes);
        assert_eq!(problems, []);
        assert_eq!(
            notes(&back.expect("it is read").sections[0]),
            notes(&piece.sections[0])
        );
        // and by its times alone, without the text
        let once = write(&piece, 1, MidiPitch::AsWritten);
        let (back, problems) = read(&without_texts(&once));
        let back = back.expect("it is read");
        let told: Vec<String> = problems.iter().map(|own| own.kind.to_string()).collect();
        assert!(!told.iter().any(|own| own.contains("tempo")), "{told:?}");
        assert_eq!(
            untied(&back.sections[0].score),
            untied(&piece.sections[0].score)
        );
    }

    /// How a program gives gracenotes time.
    #[derive(Clone, Copy, Debug, PartialEq)]
    enum Manner {
        /// All at the moment of their note.
        AtOnce,
        /// Each takes so many ticks, from the place of the note on.
        Ticks(u32),
        /// Half of the note's time together.
        Halves,
    }

    /// The notes of some bars as another program would play them, 480 ticks a quarter.
    fn played(section: &Section, manner: Manner) -> Vec<u8> {
        use midly::num::{u4, u7, u15, u28};
        use midly::{Format, Header, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};
        let metre = section.score.metre;
        let ticks = |beats: crate::units::Beats| {
            let ticks = metre.semibreves_of(beats) * crate::units::Fraction::from_integer(4 * 480);
            u32::try_from(ticks.to_integer()).expect("a short tune")
        };
        let mut line: Vec<(u32, u8)> = Vec::new();
        let notes: Vec<_> = section.score.notes.iter().collect();
        let mut place = 0;
        while let Some(note) = notes.get(place) {
            let mut lasts = ticks(note.written);
            place += 1;
            while let Some(next) = notes.get(place).filter(|next| next.continues) {
                lasts += ticks(next.written);
                place += 1;
            }
            let count = note.group.parts.len() as u32;
            let each = match manner {
                Manner::AtOnce => 0,
                Manner::Ticks(each) => each,
                Manner::Halves => lasts / 2 / count.max(1),
            };
            let parts = note.group.parts.iter();
            line.extend(parts.map(|part| (each, part.note.midi_key())));
            line.push((lasts - each * count, note.note.midi_key()));
        }
        let mut track = Vec::new();
        let mut put = |delta: u32, message| {
            track.push(TrackEvent {
                delta: u28::new(delta),
                kind: TrackEventKind::Midi {
                    channel: u4::new(0),
                    message,
                },
            });
        };
        for (lasts, key) in line {
            let (key, vel) = (u7::new(key), u7::new(80));
            put(0, MidiMessage::NoteOn { key, vel });
            put(lasts, MidiMessage::NoteOff { key, vel });
        }
        let smf = Smf {
            header: Header::new(Format::SingleTrack, Timing::Metrical(u15::new(480))),
            tracks: vec![track],
        };
        let mut bytes = Vec::new();
        smf.write_std(&mut bytes).expect("memory takes it");
        bytes
    }

    /// Some programs play gracenotes at the moment of their note, some shorten the note, some by
    /// half: the same music is read each time.
    #[test]
    fn gracenotes_are_found_however_a_program_gives_them_time() {
        let text = include_str!("../../../drills/lamp-on-the-slipway.yaml");
        let drill = drill::read(text.as_bytes()).0.expect("it reads");
        let piece = Piece::of(&drill, None, None);
        // without bars, which a pickup moves
        let unbarred = |section: &Section| {
            let text = untied(&section.score);
            text.replace(" | ", " ")
        };
        for manner in [
            Manner::AtOnce,
            Manner::Ticks(20),
            Manner::Ticks(40),
            Manner::Halves,
        ] {
            let (back, problems) = read(&played(&piece.sections[0], manner));
            let back = back.expect("it is read");
            assert_eq!(
                unbarred(&back.sections[0]),
                unbarred(&piece.sections[0]),
                "{manner:?} {problems:?}"
            );
        }
    }

    /// Places that could be read in another way are reported with their bars.
    #[test]
    fn what_is_not_sure_is_told_with_its_bars() {
        let text = "title: A tune\nmetre: 4/4\nunit: 1/8\nmusic: \"{g}A2 c2 {g}A2 {gfed}c2|{g}A2 c2 \
                    {g}A2 {gcd}c2|\"\nladder: {from: 50, to: 60, step: 5%}\n";
        let drill = drill::read(text.as_bytes()).0.expect("it reads");
        let piece = Piece::of(&drill, None, None);
        let (_, problems) = read(&played(&piece.sections[0], Manner::AtOnce));
        let told: Vec<String> = problems.iter().map(|own| own.kind.to_string()).collect();
        let expected = "1 run of short notes that is no known movement in bar 1";
        assert!(told.iter().any(|own| own.contains(expected)), "{told:?}");
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
