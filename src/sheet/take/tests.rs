//! Tests of the picture of a recording: its lines, its rings and its enlarged faults.

use super::*;
use crate::chanter::Note;
use crate::engraving::font::Segment;
use crate::practice::{PairPlayed, PointingHeard};
use crate::sheet::{Block, Ink};

fn bar(note: Note, start: f64, end: f64) -> TimedNote {
    TimedNote {
        note,
        start: Seconds(start),
        end: Seconds(end),
    }
}

fn pairs() -> PairsPlayed {
    let pair = |bar, ratio, taken| PairPlayed {
        id: 0,
        bar,
        ratio,
        range: (3.0, 6.0),
        taken,
    };
    PairsPlayed {
        words: "Repetition 1: dots".to_owned(),
        heard: PointingHeard {
            long_first: true,
            ratio: 3.5,
            spread: 0.5,
            range: (3.0, 6.0),
            pairs: vec![pair(1, 4.0, false), pair(1, 2.0, true), pair(3, 3.5, false)],
        },
    }
}

fn take() -> Take {
    let fault = |at: f64| FaultMark {
        note: Note::D,
        at: Seconds(at),
        words: "too long".to_owned(),
        lengths: None,
    };
    Take {
        title: "A take".to_owned(),
        source: None,
        heard: vec![bar(Note::LowA, 1.0, 3.0), bar(Note::D, 6.0, 6.05)],
        expected: vec![bar(Note::LowA, 1.0, 3.0), bar(Note::D, 6.0, 6.04)],
        rounds: vec![Round {
            start: Seconds(1.0),
            length: Seconds(8.0),
            words: "repetition 1".to_owned(),
        }],
        faults: vec![fault(6.01), fault(6.0)],
        pointing: vec![pairs()],
        beat: Some(Seconds(1.0)),
    }
}

/// Parts of a beat at the end of a line would make the scale unreadable.
#[test]
fn a_line_holds_whole_beats_and_repetitions_begin_one() {
    assert_eq!(line_length(Some(Seconds(1.0))), 4.0);
    assert_eq!(line_length(Some(Seconds(0.5))), 4.0);
    assert_eq!(line_length(Some(Seconds(6.0))), 6.0);
    assert_eq!(line_length(None), 4.0);
    assert_eq!(lines(&take(), 4.0), [(0.75, 5.0), (5.0, 9.0)]);
    assert_eq!(lines(&Take::default(), 4.0), []);
}

/// Numbers must not overlap, and every fault has its ring and its words.
#[test]
fn numbers_of_faults_stand_apart() {
    let booklet = draw_take(&take(), Paper::A4);
    let ink = booklet.pages[0].blocks.iter().flat_map(|block| &block.ink);
    let mut places = Vec::new();
    let mut told = Vec::new();
    for one in ink {
        if let Ink::Text { text, x, face, .. } = one {
            if *face == Face::Bold && (text == "1" || text == "2") {
                places.push((*x, *x + face.width(text, TEXT)));
            }
            told.push(text.clone());
        }
    }
    assert_eq!(places.len(), 2);
    assert!(places[0].1 <= places[1].0, "{places:?}");
    for words in ["1 too long", "2 too long", "repetition 1"] {
        assert!(told.iter().any(|text| text == words), "{told:?}");
    }
}

/// A ring shows the place of a fault. The enlarged view shows how far off it was, beside the
/// written length.
#[test]
fn each_fault_stands_again_with_the_written_lengths() {
    let booklet = draw_take(&take(), Paper::A4);
    let blocks = booklet.pages.iter().flat_map(|page| &page.blocks);
    let enlarged: Vec<&str> = blocks
        .filter_map(|block| match &block.role {
            TagRole::Figure(words) if words.starts_with("enlarged") => Some(words.as_str()),
            _ => None,
        })
        .collect();
    let wanted = "enlarged, milliseconds; heard: D 50; written: D 40";
    assert_eq!(enlarged, [wanted; 2]);
}

/// A picture of hours would be too large to open, so it ends and says so.
#[test]
fn a_long_take_ends_on_a_page_that_says_so() {
    let heard = (0..3600)
        .map(|second| bar(Note::LowA, f64::from(second), f64::from(second) + 0.9))
        .collect();
    let long = Take {
        heard,
        ..Take::default()
    };
    let booklet = draw_take(&long, Paper::A4);
    assert!(booklet.pages.len() <= PAGES + 1, "{}", booklet.pages.len());
    let last = booklet.pages.last().expect("a page");
    let said =
        last.blocks.iter().flat_map(|block| &block.ink).any(
            |ink| matches!(ink, Ink::Text { text, .. } if text.contains("the take goes on at")),
        );
    assert!(said);
}

/// The ratio in each bar: each pair once, and the same in words for a reader who cannot see it.
#[test]
fn the_pairs_stand_bar_by_bar_under_the_take() {
    let booklet = draw_take(&take(), Paper::A4);
    let blocks = booklet.pages.iter().flat_map(|page| &page.blocks);
    let figures: Vec<&Block> = blocks
        .filter(
            |block| matches!(&block.role, TagRole::Figure(words) if words.starts_with("Repetition 1")),
        )
        .collect();
    let [figure] = figures[..] else {
        panic!("one figure was expected, not {}", figures.len());
    };
    assert_eq!(
        figure.role,
        TagRole::Figure("Repetition 1: dots; bar 1: 4.0, 2.0; bar 3: 3.5".to_owned())
    );
    let lozenges = figure.ink.iter().filter(|ink| match ink {
        Ink::Fill(segments) => match segments[..] {
            // neither of the first two corners is beside or above the other, so it is no rectangle
            [Segment::Move(one), Segment::Line(other), ..] => one.0 < other.0 && one.1 < other.1,
            _ => false,
        },
        _ => false,
    });
    assert_eq!(lozenges.count(), 3);
    let without = Take {
        pointing: Vec::new(),
        ..take()
    };
    let told = |take: &Take| format!("{:?}", draw_take(take, Paper::A4)).contains("were pointed");
    assert_eq!((told(&take()), told(&without)), (true, false));
}
