//! Music without a metre, from an ABC file of our own to practice and paper: it goes line by line,
//! nothing clicks in its ground, and no player is told to be late.

use gracerung::drill::{BarRange, Drill, line_by_line, read, write};
use gracerung::engraving::{LayoutSettings, lay_out};
use gracerung::exchange::{Format, Piece, abc, musicxml, read as read_as};
use gracerung::listening::{ExpectedStage, HeardNote, align};
use gracerung::practice::ladder::climbs;
use gracerung::practice::{FaultKind, Mark, Thresholds, judge};
use gracerung::score::{Score, resolve_music};
use gracerung::timeline::{EventKind, Layout, Timeline, lay};
use gracerung::units::{Beats, SampleRate, Seconds};

const GROUND: &[u8] = include_bytes!("../tunes/grey-water.abc");

fn imported() -> Drill {
    let (piece, problems) = read_as(Format::Abc, GROUND);
    assert_eq!(problems, []);
    let document = piece.expect("it reads").document();
    let text = write(&document).expect("a drill file");
    let (drill, problems) = read(text.as_bytes());
    assert_eq!(problems, [], "{text}");
    drill.expect("a drill")
}

fn lines() -> Vec<BarRange> {
    let all = ["1-2", "3-4", "5-6", "7-8", "9-10"];
    all.map(|text| BarRange::parse(text).expect("bars")).into()
}

fn laid(drill: &Drill, stage: usize) -> (Score, Timeline) {
    let breath = drill.metre.bar();
    let score = resolve_music(&drill.stages[stage].music, breath, &drill.schools);
    let layout = Layout::at(drill.ladder.from(), SampleRate::USUAL);
    let timeline = lay(&score, &layout);
    (score, timeline)
}

fn clicks(timeline: &Timeline) -> usize {
    let all = timeline.lead_in.iter().chain(&timeline.first);
    let clicks = all.filter(|event| matches!(event.kind, EventKind::Click(_)));
    clicks.count()
}

/// Each written line is a phrase, even where no bar line is at its end, and even after another
/// program had the file.
#[test]
fn its_lines_are_its_phrases_and_come_back() {
    let drill = imported();
    let phrasing = drill.phrasing(&drill.stages[0]);
    assert_eq!((phrasing.phrases, phrasing.doubt), (lines(), None));
    let sent = Piece::of(&drill, None, None);
    for (format, bytes) in [
        (Format::Abc, abc::write(&sent)),
        (Format::MusicXml, musicxml::write(&sent)),
    ] {
        let (back, problems) = read_as(format, &bytes);
        let shown = String::from_utf8_lossy(&bytes).into_owned();
        assert_eq!(problems, [], "{format:?}\n{shown}");
        let back = back.expect("it reads").drill().0.expect("a drill");
        let phrasing = back.phrasing(&back.stages[0]);
        assert_eq!(phrasing.phrases, lines(), "{format:?}\n{shown}");
    }
}

/// Without a pulse there is no tempo to climb. The last stage is the tune itself, so that its marks
/// count for the tune.
#[test]
fn it_is_practised_line_by_line_without_a_ladder() {
    let drill = imported();
    assert_eq!(drill.ladder.from(), drill.ladder.to());
    let practised = line_by_line(&drill).expect("it has no metre");
    let names: Vec<&str> = practised
        .stages
        .iter()
        .map(|one| one.name.as_str())
        .collect();
    let whole = drill.stages[0].name.as_str();
    assert_eq!(
        names,
        ["line 1", "line 2", "line 3", "line 4", "line 5", whole]
    );
    assert_eq!(practised.stages[5], drill.stages[0]);
    assert!(climbs(&practised).iter().all(|rungs| rungs.len() == 1));
    for stage in 0..3 {
        assert_eq!(clicks(&laid(&practised, stage).1), 0, "line {}", stage + 1);
    }
    // the variation has a count-in, and clicks on both beats of each bar
    assert!(clicks(&laid(&practised, 3).1) >= 6);
    let (landing, _) = laid(&practised, 0);
    assert_eq!(
        landing.notes.last().map(|note| note.note),
        Some(gracerung::chanter::Note::E)
    );
}

/// Free music cannot be late, and drawing out a line is no fault of tempo. A note that is left out
/// is a fault, and so is a note of the variation out of its place.
#[test]
fn no_place_is_judged_where_there_is_no_metre() {
    let drill = imported();
    let practised = line_by_line(&drill).expect("it has no metre");
    let limits = Thresholds::default();
    for (stage, judged) in [(0, false), (3, true)] {
        let (score, timeline) = laid(&practised, stage);
        let piece = ExpectedStage::of(&score, &timeline);
        let beat_s = 60.0 / timeline.tempo.to_f64();
        let mut notes: Vec<HeardNote> = Vec::new();
        for placed in timeline.played(3) {
            let EventKind::Sound(sound) = placed.event.kind else {
                continue;
            };
            let start = placed.beat.to_f64() * beat_s;
            let length = sound.length.to_f64() * beat_s;
            let end = Seconds(start + length);
            notes.push(HeardNote::known(sound.note, Seconds(start), end));
        }
        // every third long melody note is held 150 ms longer, so that the next begins 150 ms late
        let mut held = 0;
        for at in 1..notes.len() {
            if notes[at - 1].end_s - notes[at - 1].start_s > 0.5 && notes[at].start_s > 0.0 {
                held += 1;
                if held % 3 == 0 {
                    notes[at - 1].end_s += 0.15;
                    notes[at].start_s += 0.15;
                }
            }
        }
        let found = align(&piece, &notes).repetitions;
        assert_eq!(found.len(), 3, "stage {stage}");
        let verdicts = found.iter().map(|one| judge(&one.measured, &limits));
        let places = verdicts.flat_map(|verdict| verdict.faults).filter(|fault| {
            let kinds = [FaultKind::Late, FaultKind::Early, FaultKind::Uneven];
            let tempo = [FaultKind::Rushing, FaultKind::Dragging, FaultKind::Pointing];
            kinds.contains(&fault.kind) || tempo.contains(&fault.kind)
        });
        assert_eq!(places.count() > 0, judged, "stage {stage}");
        let mut silent = found[0].measured.clone();
        assert!(judge(&silent, &limits).mark.is_some());
        silent.notes[2].heard = None;
        assert_eq!(judge(&silent, &limits).mark, Some(Mark::NotClean));
    }
}

/// Each phrase is on a line of its own, as it was written.
#[test]
fn its_lines_are_the_lines_on_paper() {
    let drill = imported();
    let score = resolve_music(&drill.stages[0].music, Beats::ZERO, &drill.schools);
    let settings = LayoutSettings::paper(120.0);
    let engraved = lay_out(&score, Some(&drill.stages[0].music), &settings);
    let lines: Vec<usize> = engraved.systems.iter().map(|one| one.bars.len()).collect();
    assert_eq!(lines, [2; 5]);
}
