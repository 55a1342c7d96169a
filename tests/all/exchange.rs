//! Music written for other programs comes back unchanged: the whole catalogue, generated tunes, and
//! hostile bytes.

mod metres;

use gracerung::chanter::{NOTES, Note};
use gracerung::drill::{Bar, Gracenote, Group, Music, TuneHead, Written, mend_music};
use gracerung::exchange::{Format, Piece, Practice, Section, abc, midi, musicxml, read};
use gracerung::movement::{Context, Lengths, Movement, Schools, resolve};
use gracerung::rhythm::{ClickWeight, Metre, Pointing};
use gracerung::timeline::{EventKind, Layout, lay};
use gracerung::units::{Beats, Bpm, Fraction, SampleRate};
use proptest::prelude::*;

fn piece(metre: Metre, music: Music) -> Piece {
    Piece {
        title: "A piece & <more>".to_owned(),
        head: TuneHead::default(),
        about: None,
        metre,
        tempo: Bpm::whole(60).ok(),
        ladder: None,
        practice: Practice::default(),
        lengths: Lengths::default(),
        sections: vec![Section::new(Section::ONLY.to_owned(), music)],
    }
}

fn in_each_format(piece: &Piece) -> [(Format, Vec<u8>); 3] {
    let midi = midi::write(piece, 1, midi::MidiPitch::AsWritten);
    [
        (Format::Abc, abc::write(piece)),
        (Format::MusicXml, musicxml::write(piece)),
        (Format::Midi, midi),
    ]
}

/// The piece as each format returns it without a problem, with the text that was written.
#[track_caller]
fn through_each_format(piece: &Piece) -> Vec<(Format, String, Piece)> {
    let mut all = Vec::new();
    for (format, bytes) in in_each_format(piece) {
        let shown = String::from_utf8_lossy(&bytes).into_owned();
        let (back, problems) = read(format, &bytes);
        assert_eq!(problems, [], "{format:?}\n{shown}");
        all.push((format, shown, back.expect("it is read")));
    }
    all
}

#[track_caller]
fn comes_back(piece: &Piece) {
    for (format, bytes) in in_each_format(piece) {
        let shown = String::from_utf8_lossy(&bytes).into_owned();
        let (back, problems) = read(format, &bytes);
        let back = back.unwrap_or_else(|| panic!("{format:?}: {problems:?}\n{shown}"));
        assert_eq!(
            back.sections[0].score.written_text(),
            piece.sections[0].score.written_text(),
            "{format:?} {problems:?}\n{shown}"
        );
    }
}

/// Every movement between every two notes, in one tune for each movement. No gracenote and no
/// length of a held tone may be lost.
#[test]
fn the_whole_catalogue_comes_back_from_every_format() {
    let mut groups = 0;
    for movement in Movement::all() {
        let mut bars = Vec::new();
        for before in NOTES {
            for after in NOTES {
                let context = Context::between(before, after);
                let Some(resolved) = resolve(movement, context, &Schools::none())
                    .played()
                    .cloned()
                else {
                    continue;
                };
                groups += 1;
                let gracenotes = resolved.parts.iter().map(|part| Gracenote {
                    note: part.note,
                    held: part.held.then_some(Beats::ONE),
                });
                let note = |note, group| Written {
                    note,
                    length: Beats::whole(2),
                    tied: false,
                    group,
                };
                bars.push(Bar {
                    notes: vec![
                        note(before, Group::None),
                        note(after, Group::Spelled(gracenotes.collect())),
                    ],
                    ..Bar::default()
                });
            }
        }
        if bars.is_empty() {
            continue;
        }
        let mut music = Music::straight(Metre::FOUR_FOUR, bars);
        // where two contexts meet, the line may repeat a note
        mend_music(&mut music);
        comes_back(&piece(Metre::FOUR_FOUR, music));
    }
    assert!(groups >= 1800, "{groups} contexts only");
}

fn tunes() -> impl Strategy<Value = (Metre, Music)> {
    let length = prop_oneof![
        Just((1, 1)),
        Just((1, 2)),
        Just((3, 2)),
        Just((1, 4)),
        Just((3, 4)),
        Just((1, 3))
    ];
    let note = (0..9_usize, length, any::<bool>());
    let metre = prop::sample::select(vec![Metre::TWO_FOUR, Metre::FOUR_FOUR, Metre::THREE_FOUR]);
    (
        metre,
        prop::collection::vec(prop::collection::vec(note, 1..6), 1..8),
        any::<bool>(),
    )
        .prop_map(|(metre, rows, repeated)| {
            let mut bars: Vec<Bar> = rows
                .into_iter()
                .map(|row| {
                    let mut left = metre.bar();
                    let mut notes: Vec<Written> = Vec::new();
                    for (place, (above, below), graced) in row {
                        let length = Beats::new(above, below);
                        // thirds of a beat come in groups of three, so that the beat is full
                        let together = if below == 3 { 3 } else { 1 };
                        let taken = length * Fraction::from_integer(together);
                        if taken >= left {
                            break;
                        }
                        left = left - taken;
                        for part in 0..together {
                            let note = NOTES[(place + part as usize) % 9];
                            notes.push(written(note, length, graced && part == 0));
                        }
                    }
                    if left > Beats::ZERO {
                        notes.push(written(Note::B, left, false));
                    }
                    Bar {
                        notes,
                        ..Bar::default()
                    }
                })
                .collect();
            if repeated && let Some(last) = bars.last_mut() {
                last.repeat_ends = true;
            }
            if let Some(last) = bars.last_mut() {
                last.part_ends = true;
            }
            let (order, _) = gracerung::drill::body_order(&bars);
            let mut music = Music {
                metre,
                bars,
                order,
                pointing: Pointing::default(),
                first_bar: 1,
            };
            mend_music(&mut music);
            (metre, music)
        })
}

fn written(note: Note, length: Beats, graced: bool) -> Written {
    let group = if graced && note < Note::HighG {
        Group::Spelled(vec![Gracenote {
            note: Note::HighG,
            held: None,
        }])
    } else {
        Group::None
    };
    Written {
        note,
        length,
        tied: false,
        group,
    }
}

/// The notes with their sounding lengths. A length that no single note can express is written as
/// tied notes.
fn heard(piece: &Piece) -> Vec<(Note, Vec<Note>, Beats)> {
    let score = &piece.sections[0].score;
    score
        .notes
        .iter()
        .enumerate()
        .filter(|(_, note)| !note.continues)
        .map(|(index, note)| {
            let graces = note.group.parts.iter().map(|part| part.note).collect();
            (note.note, graces, score.sounding_length(index))
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn generated_tunes_come_back_from_every_format((metre, music) in tunes()) {
        let piece = piece(metre, music);
        for (format, bytes) in [
            (Format::Abc, abc::write(&piece)),
            (Format::MusicXml, musicxml::write(&piece)),
            (Format::Midi, midi::write(&piece, 1, midi::MidiPitch::AsWritten)),
        ] {
            let (back, problems) = read(format, &bytes);
            let shown = String::from_utf8_lossy(&bytes).into_owned();
            prop_assert!(back.is_some(), "{:?}: {:?}\n{}", format, problems, shown);
            if let Some(back) = back {
                prop_assert_eq!(heard(&back), heard(&piece), "{:?}\n{}", format, shown);
            }
        }
    }

    #[test]
    fn no_bytes_panic_a_reader(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        for format in [Format::Abc, Format::Midi, Format::MusicXml] {
            let _ = read(format, &bytes);
        }
    }

    /// Random bytes that look like music test the readers more deeply than noise does.
    #[test]
    fn no_music_panics_a_reader(body in "[A-Ga-gz0-9/{}()|:\\[\\]\\-<>^_=!\"&.,' \n~%]{0,200}") {
        let _ = read(Format::Abc, format!("X:1\nT:x\nM:4/4\nK:HP\n{body}\n").as_bytes());
    }
}

#[test]
fn music_without_a_metre_comes_back() {
    let text = "title: Ground\nmetre: none\nunit: 1/8\nmusic: |\n  A8 {ge4d}B6 c | e12 d3 |\n  \
                [M:6/8] A3 B3 | [M:none] c5 ||\nladder: {from: 50, to: 92, step: 5%}\n";
    let (drill, problems) = gracerung::drill::read(text.as_bytes());
    let drill = drill.unwrap_or_else(|| panic!("{problems:?}"));
    let sent = Piece::of(&drill, None, None);
    let text = sent.sections[0].score.written_text();
    for (format, shown, back) in through_each_format(&sent) {
        assert_eq!(back.sections[0].score.length, sent.sections[0].score.length);
        assert_eq!(heard(&back), heard(&sent), "{format:?}\n{shown}");
    }
    assert!(text.starts_with("none | LA:4 "), "{text}");
    let layout = Layout::at(sent.played_at(), SampleRate::USUAL);
    let clicks = lay(&sent.sections[0].score, &layout);
    let all = clicks.lead_in.iter().chain(&clicks.first);
    let clicks = all
        .filter(|event| matches!(event.kind, EventKind::Click(_)))
        .count();
    assert_eq!(clicks, 2, "those of the bar in 6/8");
}

/// A tune keeps its second title, its kind, its origin and its composer.
#[test]
fn the_head_of_a_tune_comes_back() {
    let text = "title: The Slip\nalso: [Second, 'Third & last']\nkind: slow air\n\
                composer: A. Piper\norigin: the coast\nunit: 1/8\n\
                music: \"{g}c4 B4 | {g}A8 |\"\nladder: {from: 50, to: 92, step: 5%}\n";
    let (drill, problems) = gracerung::drill::read(text.as_bytes());
    let drill = drill.unwrap_or_else(|| panic!("{problems:?}"));
    assert_eq!(drill.head.also.len(), 2);
    let sent = Piece::of(&drill, None, None);
    for (format, bytes) in [
        (Format::Abc, abc::write(&sent)),
        (Format::MusicXml, musicxml::write(&sent)),
    ] {
        let (back, problems) = read(format, &bytes);
        assert_eq!(problems, [], "{format:?}");
        let back = back.and_then(|piece| piece.drill().0).expect("a drill");
        assert_eq!(
            (&back.title, &back.head),
            (&drill.title, &drill.head),
            "{format:?}"
        );
        assert_eq!(back.stages[0].name, drill.stages[0].name, "{format:?}");
    }
    // the header fields of ABC 2.1, section 3.1
    let foreign = "X:1\nT:One\nT:Two\nC:A\nC:B\nO:Here\nR:Jig\nM:6/8\nK:HP\nA3 B3|\n";
    let (back, problems) = read(Format::Abc, foreign.as_bytes());
    assert_eq!(problems, []);
    let head = back.expect("it is read").head;
    assert_eq!(head.also, ["Two"]);
    assert_eq!(head.made_by().as_deref(), Some("A, B (Here)"));
    assert_eq!(head.kind.as_deref(), Some("Jig"));
}

/// The words of a teacher are kept when a drill goes through another program.
#[test]
fn what_a_drill_says_beside_its_music_comes_back() {
    let text = "title: Strike on C\nabout: 50 % of it & more, \\ as they say\n\
                listen_for: <one> \"clear\" strike\nunit: 1/8\nclean: 7\nbreath: 2\nstages:\n  \
                - {name: slow, music: \"{g}c2 {G}c2 {G}c2 {G}c2|\"}\n  \
                - {name: quick, listen_for: 'no haste; a % sign', music: \"{g}c4 {G}c4|\"}\n\
                ladder: {from: 50, to: 92, step: 5%}\n";
    let (drill, problems) = gracerung::drill::read(text.as_bytes());
    let drill = drill.unwrap_or_else(|| panic!("{problems:?}"));
    let sent = Piece::of(&drill, None, None);
    for (format, bytes) in [
        (Format::Abc, abc::write(&sent)),
        (Format::MusicXml, musicxml::write(&sent)),
    ] {
        let (back, problems) = read(format, &bytes);
        assert_eq!(problems, [], "{format:?}");
        let back = back.and_then(|piece| piece.drill().0).expect("a drill");
        assert_eq!(back.about, drill.about, "{format:?}");
        assert_eq!(back.listen_for, drill.listen_for, "{format:?}");
        assert_eq!((back.clean, back.breath), (7, 2), "{format:?}");
        assert_eq!(back.ladder, drill.ladder, "{format:?}");
        let here = |drill: &gracerung::drill::Drill| -> Vec<Option<String>> {
            let stages = drill.stages.iter();
            stages.map(|stage| stage.listen_for.clone()).collect()
        };
        assert_eq!(here(&back), here(&drill), "{format:?}");
    }
}

/// The formats contain the written lengths and not those that sound, or a held dot would come back
/// as four fifths of a beat. ABC and MusicXML also state how the tune is pointed.
#[test]
fn a_pointed_tune_comes_back_as_it_is_written() {
    let text = "title: A march\nkind: march\nmetre: 2/4\nunit: 1/8\npointing: '5:1, 3 to 7'\n\
                music: \"{g}A>B {g}c<d|{g}e>c {g}A2|\"\nladder: {from: 60, to: 80, step: 4%}\n";
    let (drill, problems) = gracerung::drill::read(text.as_bytes());
    let drill = drill.unwrap_or_else(|| panic!("{problems:?}"));
    let pointing = drill.stages[0].music.pointing;
    let sent = Piece::of(&drill, None, None);
    let lengths = sent.sections[0].score.written_text();
    assert!(lengths.contains("LA:3/4 B:1/4"), "{lengths}");
    for (format, bytes) in [
        (Format::Abc, abc::write(&sent)),
        (Format::MusicXml, musicxml::write(&sent)),
        (
            Format::Midi,
            midi::write(&sent, 1, midi::MidiPitch::AsWritten),
        ),
    ] {
        let (back, problems) = read(format, &bytes);
        let back = back.unwrap_or_else(|| panic!("{format:?}: {problems:?}"));
        assert_eq!(back.sections[0].score.written_text(), lengths, "{format:?}");
        if format != Format::Midi {
            let drill = back.drill().0.expect("a drill");
            assert_eq!(drill.stages[0].music.pointing, pointing, "{format:?}");
        }
    }
}
