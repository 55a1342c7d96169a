//! Changes of metre through every format.

use super::*;

/// A tune that changes its metre is accepted.
#[test]
fn a_change_of_metre_comes_back() {
    let text = "title: Two metres\nmetre: 2/4\nunit: 1/8\nmusic: |\n  A4 | B4 | [M:6/8] c3 d3 | \
                e2 f e3 |\n  [M:2/4] A2 B2 :|\nladder: {from: 50, to: 92, step: 5%}\n";
    let (drill, problems) = gracerung::drill::read(text.as_bytes());
    let drill = drill.unwrap_or_else(|| panic!("{problems:?}"));
    let sent = Piece::of(&drill, None, None);
    let beats: Vec<Beats> = sent.sections[0]
        .score
        .bars
        .iter()
        .map(|bar| bar.start)
        .collect();
    // a dotted crotchet of 6/8 is as long as a crotchet of 2/4
    assert_eq!(beats[..5], [0, 2, 4, 6, 8].map(Beats::whole));
    let text = sent.sections[0].score.written_text();
    assert!(
        text.starts_with("2/4 | LA:2 | B:2 | [6/8] C:1 D:1 | "),
        "{text}"
    );
    for (format, shown, back) in through_each_format(&sent) {
        assert_eq!(
            back.sections[0].score.written_text(),
            text,
            "{format:?}\n{shown}"
        );
    }
    // one click a beat, with the first of each bar marked as such
    let layout = Layout::at(sent.played_at(), SampleRate::USUAL);
    let clicks: Vec<(Beats, ClickWeight)> = lay(&sent.sections[0].score, &layout)
        .first
        .iter()
        .filter_map(|event| match event.kind {
            EventKind::Click(click) => Some((event.beat, click.weight)),
            _ => None,
        })
        .collect();
    for (beat, weight) in &clicks {
        let bar = beats.contains(beat) || *beat >= sent.sections[0].score.length;
        let expected = if bar && *beat == Beats((beat.0 / 2).floor() * 2) {
            ClickWeight::Bar
        } else {
            ClickWeight::Beat
        };
        assert_eq!(*weight, expected, "{beat}");
    }
    assert_eq!(clicks.len(), 22);
}

/// A ground has no metre, so its bars have any length and nothing clicks. Where the quaver stays
/// equal, a bar of 6/8 lasts three crotchets of the 2/4 around it and not two. This holds for the
/// timeline and for every format, and the music is written as it was read.
#[test]
fn the_note_that_stays_equal_at_a_change_of_metre_is_played_and_comes_back() {
    let text = "title: Equal\nmetre: 2/4\nunit: 1/8\nmusic: |\n  A2 B2 | [M:6/8][Q:1/8=1/8] c3 d3 |\n  \
                [M:2/4][Q:1/8=1/8] e2 d2 | [M:3/4] c2 B2 A2 ||\nladder: {from: 60, to: 80, step: 4%}\n";
    let (drill, problems) = gracerung::drill::read(text.as_bytes());
    let drill = drill.unwrap_or_else(|| panic!("{problems:?}"));
    let sent = Piece::of(&drill, None, None);
    let score = &sent.sections[0].score;
    let starts: Vec<Beats> = score.bars.iter().map(|bar| bar.start).collect();
    assert_eq!(starts, [0, 2, 5, 7].map(Beats::whole));
    let timeline = lay(score, &Layout::at(sent.played_at(), SampleRate::USUAL));
    let clicks = timeline.first.iter().filter_map(|event| match event.kind {
        EventKind::Click(click) => Some((event.beat, click.weight == ClickWeight::Bar)),
        _ => None,
    });
    let clicks: Vec<(Beats, bool)> = clicks.filter(|click| click.0 < score.length).collect();
    let at = [
        (0, 1),
        (1, 1),
        (2, 1),
        (7, 2),
        (5, 1),
        (6, 1),
        (7, 1),
        (8, 1),
        (9, 1),
    ];
    let bars = [true, false, true, false, true, false, true, false, false];
    let meant: Vec<(Beats, bool)> = at
        .iter()
        .zip(bars)
        .map(|((above, below), bar)| (Beats::new(*above, *below), bar))
        .collect();
    assert_eq!(clicks, meant);
    let written = &drill.stages[0].music.write_bars()[1];
    assert!(
        written
            .heads
            .iter()
            .all(|head| head.value.dots == 1 && !head.tied)
    );
    for (format, bytes, has) in [
        (Format::Abc, abc::write(&sent), "[M:6/8][Q:1/8=160]"),
        (
            Format::MusicXml,
            musicxml::write(&sent),
            "<beat-unit>eighth</beat-unit><beat-unit>eighth</beat-unit>",
        ),
        (
            Format::Midi,
            midi::write(&sent, 1, midi::MidiPitch::AsWritten),
            "[M:6/8][Q:1/8=1/8]",
        ),
    ] {
        let shown = String::from_utf8_lossy(&bytes).into_owned();
        assert!(shown.contains(has), "{format:?}\n{shown}");
        let (back, problems) = read(format, &bytes);
        assert_eq!(problems, [], "{format:?}\n{shown}");
        let back = back.expect("it is read");
        assert_eq!(
            back.sections[0].score.bars, score.bars,
            "{format:?}\n{shown}"
        );
        let again = back.drill().0.expect("a drill");
        assert_eq!(again.stages[0].music, drill.stages[0].music, "{format:?}");
    }
    // the bar alone, as it is taken out for practice, has the same length
    let tune = gracerung::drill::Tune {
        drill: &drill,
        stage: &drill.stages[0],
    };
    let bars = gracerung::drill::BarRange::parse("2").expect("a bar");
    let alone = gracerung::drill::make_phrase(&tune, bars).expect("it stands alone");
    let alone = gracerung::drill::write(&alone).expect("written");
    let alone = gracerung::drill::read(alone.as_bytes())
        .0
        .expect("it reads");
    let alone = Piece::of(&alone, None, None);
    let lasting = alone.sections[0]
        .score
        .bars
        .iter()
        .find(|bar| bar.metre.figures() == (6, 8));
    assert_eq!(lasting.expect("a bar in 6/8").length, Beats::whole(3));
    // a tempo at a change of metre for which no note keeps its length is reported
    let other = b"X:1\nT:A\nM:2/4\nL:1/8\nQ:1/4=60\nK:HP\nA2 B2|\nM:6/8\nQ:3/8=47\nc3 d3|\nM:2/4\ne2 d2|]\n";
    let (back, problems) = read(Format::Abc, other);
    assert_eq!(
        back.expect("read").sections[0].score.bars[1].length,
        Beats::whole(2)
    );
    let told: Vec<String> = problems
        .iter()
        .map(|problem| problem.kind.to_string())
        .collect();
    assert!(told[0].contains("`3/8=47`"), "{told:?}");
}
