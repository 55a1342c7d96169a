//! The lengths printed in every bar add up to the metre. They are read back from the ink of the
//! page and from the characters of the terminal, as a player reads them, and from ABC and MusicXML
//! by independent readers. Nothing here asks the program how long a note is.

use gracerung::chanter::{NOTES, Note};
use gracerung::drill::{Bar, Gracenote, Group, Music, TuneHead, Written, body_order, mend_music};
use gracerung::engraving::font::Glyph;
use gracerung::engraving::terminal::{Grid, StaffCell, StaffSettings, Style, draw};
use gracerung::engraving::{Element, ElementKind, InkShape, LayoutSettings, System, lay_out};
use gracerung::exchange::{Piece, Practice, Section, abc, musicxml};
use gracerung::movement::{Lengths, Schools};
use gracerung::rhythm::{Metre, Pointing};
use gracerung::score::resolve_music;
use gracerung::units::{Beats, Fraction};
use proptest::prelude::*;

/// A head as it is read: its place, and its value as a fraction of a semibreve, including dots.
#[derive(Debug)]
struct Read {
    x: f64,
    value: Fraction,
}

fn part(above: i128, below: i128) -> Fraction {
    Fraction::new(above, below)
}

fn dotted(value: Fraction, dots: usize) -> Fraction {
    (1..=dots).fold(value, |sum, dot| sum + value / part(1 << dot, 1))
}

/// The factor of a figure over notes, such as two thirds for three in the time of two.
fn figured(text: &str) -> Fraction {
    assert_eq!(text, "3", "only triplets are drawn here");
    part(2, 3)
}

/// The heads of a system in order, with tuplets taken into account.
fn on_paper(system: &System) -> Vec<Read> {
    let elements = &system.elements;
    let glyphs = |kind: ElementKind| {
        elements.iter().filter_map(
            move |element| match (&element.shape, element.kind == kind) {
                (InkShape::Glyph { glyph, x, .. }, true) => Some((*glyph, *x)),
                _ => None,
            },
        )
    };
    let mut heads: Vec<(Glyph, f64)> = glyphs(ElementKind::Head).collect();
    heads.sort_by(|a, b| a.1.total_cmp(&b.1));
    let beams: Vec<(f64, f64)> = elements
        .iter()
        .filter(|element| element.kind == ElementKind::Beam)
        .map(|element| element.shape.bounds())
        .map(|bounds| (bounds.left, bounds.right))
        .collect();
    let mut read: Vec<Read> = heads
        .iter()
        .enumerate()
        .map(|(place, (head, x))| {
            let next = heads.get(place + 1).map_or(f64::MAX, |next| next.1);
            let value = match head {
                Glyph::HeadWhole => part(1, 1),
                Glyph::HeadHalf => part(1, 2),
                _ => {
                    let flag = glyphs(ElementKind::Flag).find(|(_, at)| (at - x).abs() < 0.01);
                    let flags = match flag.map(|(flag, _)| flag) {
                        Some(Glyph::FlagQuaverDown) => 1,
                        Some(Glyph::FlagSemiquaverDown) => 2,
                        Some(Glyph::FlagDemisemiquaverDown) => 3,
                        Some(_) => 4,
                        None => beams
                            .iter()
                            .filter(|(left, right)| *left <= x + 0.1 && x + 0.1 <= *right)
                            .count(),
                    };
                    part(1, 4 << flags)
                }
            };
            let dots = glyphs(ElementKind::Dot).filter(|(_, at)| at > x && *at < next);
            Read {
                x: *x,
                value: dotted(value, dots.count()),
            }
        })
        .collect();
    for (left, right, text) in tuplets_on_paper(elements, &beams) {
        for head in &mut read {
            if head.x >= left - 0.1 && head.x <= right {
                head.value *= figured(&text);
            }
        }
    }
    read
}

/// The extent of each tuplet's figure: that of its bracket, or of the beam above it.
fn tuplets_on_paper(elements: &[Element], beams: &[(f64, f64)]) -> Vec<(f64, f64, String)> {
    elements
        .iter()
        .filter(|element| element.kind == ElementKind::Tuplet)
        .filter_map(|element| match &element.shape {
            InkShape::Text { text, x, .. } => Some((*x, text.clone())),
            _ => None,
        })
        .map(|(x, text)| {
            let parts = elements
                .iter()
                .filter(|element| element.kind == ElementKind::Tuplet)
                .filter(|element| matches!(element.shape, InkShape::Bar { .. }))
                .map(|element| element.shape.bounds())
                .filter(|part| part.right - part.left > 0.2);
            let left = parts
                .clone()
                .filter(|part| part.right <= x && x - part.right < 1.5)
                .map(|part| part.left)
                .fold(f64::MAX, f64::min);
            let right = parts
                .filter(|part| part.left >= x && part.left - x < 1.5)
                .map(|part| part.right)
                .fold(f64::MIN, f64::max);
            if left < right {
                return (left, right, text);
            }
            let over = beams
                .iter()
                .filter(|(left, right)| *left <= x && x <= *right)
                .max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))
                .unwrap_or_else(|| panic!("a figure without bracket or beam at {x}"));
            (over.0, over.1, text)
        })
        .collect()
}

fn bars_on_paper(systems: &[System]) -> Vec<Fraction> {
    systems
        .iter()
        .flat_map(|system| {
            let heads = on_paper(system);
            system
                .bars
                .iter()
                .map(move |bar| {
                    heads
                        .iter()
                        .filter(|head| head.x > bar.left && head.x < bar.right)
                        .map(|head| head.value)
                        .sum()
                })
                .collect::<Vec<_>>()
        })
        .collect()
}

/// The sum of lengths on a terminal, from heads, hooks and beams on their stems, dots, and figures.
fn in_terminal(grid: &Grid) -> Fraction {
    let at = |row: usize, column: usize| -> StaffCell {
        let row = grid.rows.get(row);
        row.and_then(|row| row.get(column))
            .copied()
            .unwrap_or(StaffCell {
                symbol: ' ',
                style: Style::Blank,
                note: None,
            })
    };
    let mut heads: Vec<(usize, usize)> = Vec::new();
    let mut figures: Vec<(usize, usize)> = Vec::new();
    for (y, row) in grid.rows.iter().enumerate() {
        for (x, cell) in row.iter().enumerate() {
            match cell.style {
                Style::Head => heads.push((x, y)),
                Style::Tuplet if cell.symbol.is_ascii_digit() => figures.push((x, y)),
                _ => {}
            }
        }
    }
    heads.sort_unstable();
    let mut read: Vec<(usize, Fraction)> = heads
        .iter()
        .map(|(x, y)| {
            let value = match at(*y, *x).symbol {
                'O' => part(1, 1),
                '○' => part(1, 2),
                _ => {
                    let stem = (y + 1..grid.rows.len())
                        .map(|row| at(row, *x))
                        .take_while(|cell| cell.style == Style::Stem);
                    let flags = stem.filter(|cell| "┗┻┛╋┣".contains(cell.symbol)).count();
                    part(1, 4 << flags)
                }
            };
            let dots = (x + 1..x + 4)
                .take_while(|x| at(*y, *x).style != Style::Head)
                .filter(|x| at(*y, *x).style == Style::Dot)
                .count();
            (*x, dotted(value, dots))
        })
        .collect();
    for (x, y) in figures {
        // a figure is in its own row, between the ends of a bracket or a beam, or else under the
        // beam
        let ends = |row: usize| {
            let within = |cell: &StaffCell| matches!(cell.style, Style::Tuplet | Style::Stem);
            let mut left = x;
            while left > 0 && within(&at(row, left - 1)) && !"└┗".contains(at(row, left).symbol)
            {
                left -= 1;
            }
            let mut right = x;
            while within(&at(row, right + 1)) && !"┘┛".contains(at(row, right).symbol) {
                right += 1;
            }
            let held = "└┗".contains(at(row, left).symbol) && "┘┛".contains(at(row, right).symbol);
            held.then_some((left, right))
        };
        let (left, right) = ends(y).or_else(|| ends(y - 1)).unwrap_or((x, x));
        let text = at(y, x).symbol.to_string();
        for head in &mut read {
            if (left..=right).contains(&head.0) {
                head.1 *= figured(&text);
            }
        }
    }
    read.iter().map(|head| head.1).sum()
}

fn metres() -> impl Strategy<Value = Metre> {
    let figures = (1_u32..=32, prop::sample::select(vec![1_u32, 2, 4, 8, 16]));
    let any = figures.prop_filter_map("at most four semibreves", |(above, below)| {
        Metre::of(above, below).filter(|_| above <= 4 * below)
    });
    prop_oneof![prop::sample::select(Metre::USUAL.to_vec()), any]
}

/// Music of any lengths that a bar can hold, in any metre, with pickups.
fn tunes() -> impl Strategy<Value = Music> {
    let length = (
        1_i128..8,
        prop::sample::select(vec![1_i128, 2, 2, 4, 4, 8, 3, 6]),
    );
    let note = (0..9_usize, length, any::<bool>());
    let bar = prop::collection::vec(note, 1..9);
    (metres(), prop::collection::vec(bar, 1..5), any::<bool>()).prop_map(|(metre, rows, pickup)| {
        let full = metre.bar();
        let count = rows.len();
        let mut bars: Vec<Bar> = rows
            .into_iter()
            .enumerate()
            .map(|(place, row)| {
                let upbeat = Beats::new(1, 2);
                let mut left = match place {
                    0 if pickup && count > 2 => upbeat,
                    _ if place + 1 == count && pickup && count > 2 => full - upbeat,
                    _ => full,
                };
                let mut notes = Vec::new();
                for (note, (above, below), graced) in row {
                    let length = Beats(metre.beats_of(part(above, below * 8)).0);
                    if length >= left {
                        break;
                    }
                    left = left - length;
                    notes.push(written(NOTES[note], length, graced));
                }
                notes.push(written(Note::B, left, false));
                Bar {
                    notes,
                    ..Bar::default()
                }
            })
            .collect();
        if let Some(last) = bars.last_mut() {
            last.part_ends = true;
        }
        let (order, _) = body_order(&bars);
        let mut music = Music {
            metre,
            bars,
            order,
            pointing: Pointing::default(),
            first_bar: 1,
        };
        mend_music(&mut music);
        music
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

/// False where a bar cannot be written at all (a third of a 64th note); nothing is checked then.
fn is_writable(music: &Music) -> bool {
    music.write_bars().iter().all(|bar| bar.exact)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn every_bar_on_paper_and_in_the_terminal_adds_up(music in tunes()) {
        prop_assume!(is_writable(&music));
        let score = resolve_music(&music, Beats::ZERO, &Schools::none());
        let wanted: Vec<Fraction> = music
            .bars
            .iter()
            .zip(music.metres())
            .map(|(bar, metre)| metre.semibreves_of(bar.length()))
            .collect();
        let engraved = lay_out(&score, Some(&music), &LayoutSettings::paper(104.0));
        prop_assert_eq!(&bars_on_paper(&engraved.systems), &wanted);
        for (bar, wanted) in wanted.iter().enumerate() {
            let grid = draw(&score, Some(&music), bar..bar + 1, &StaffSettings::wide(200));
            if grid.fits {
                let text: String = grid
                    .rows
                    .iter()
                    .map(|row| row.iter().map(|cell| cell.symbol).collect::<String>() + "\n")
                    .collect();
                prop_assert_eq!(&in_terminal(&grid), wanted, "\n{}", text);
            }
        }
    }
}

/// The two sums of each measure's notes in MusicXML: by `duration`, and by type, dots and
/// `time-modification`. The two must agree for each note (MusicXML 4.0, "note").
fn measures_of(xml: &str) -> Vec<(Fraction, Fraction)> {
    let number = |text: &str, name: &str| -> Option<i128> {
        let (_, rest) = text.split_once(&format!("<{name}>"))?;
        rest.split_once('<')?.0.parse().ok()
    };
    let divisions = number(xml, "divisions").expect("divisions");
    xml.split("<measure ")
        .skip(1)
        .map(|measure| {
            let mut sums = (Fraction::from_integer(0), Fraction::from_integer(0));
            let notes = measure.split("<note>").skip(1);
            for note in notes.filter(|note| !note.contains("<grace ")) {
                let lasts = part(number(note, "duration").expect("a length"), divisions * 4);
                let (_, kind) = note.split_once("<type>").expect("a type");
                let value = match kind.split_once('<').expect("closed").0 {
                    "whole" => part(1, 1),
                    "half" => part(1, 2),
                    "quarter" => part(1, 4),
                    "eighth" => part(1, 8),
                    "16th" => part(1, 16),
                    "32nd" => part(1, 32),
                    "64th" => part(1, 64),
                    other => panic!("the type {other}"),
                };
                let factor = match (number(note, "actual-notes"), number(note, "normal-notes")) {
                    (Some(actual), Some(normal)) => part(normal, actual),
                    _ => part(1, 1),
                };
                let printed = dotted(value, note.matches("<dot/>").count()) * factor;
                assert_eq!(lasts, printed, "{note}");
                sums.0 += lasts;
                sums.1 += printed;
            }
            sums
        })
        .collect()
}

/// The lengths of the bars of ABC text in semibreves, from letters with their lengths and tuplets
/// (ABC 2.1 §4.3, §4.13).
fn bars_of_abc(body: &str, unit: Fraction) -> Vec<Fraction> {
    let signs: Vec<char> = body.chars().collect();
    let number = |at: &mut usize| -> Option<i128> {
        let digits: String = signs[*at..]
            .iter()
            .take_while(|c| c.is_ascii_digit())
            .collect();
        *at += digits.len();
        digits.parse().ok()
    };
    let mut bars = vec![Fraction::from_integer(0)];
    let mut tuplet = (part(1, 1), 0);
    let mut at = 0;
    while at < signs.len() {
        let sign = signs[at];
        at += 1;
        match sign {
            '{' => at += signs[at..].iter().take_while(|c| **c != '}').count() + 1,
            '(' => {
                let notes = number(&mut at).expect("a tuplet");
                at += 1;
                let time = number(&mut at).expect("in the time of");
                at += 1;
                tuplet = (part(time, notes), number(&mut at).expect("so many notes"));
            }
            'A'..='G' | 'a'..='g' => {
                let above = number(&mut at).unwrap_or(1);
                let mut below = 1;
                if signs.get(at) == Some(&'/') {
                    at += 1;
                    below = number(&mut at).unwrap_or(2);
                }
                let mut length = unit * part(above, below);
                if tuplet.1 > 0 {
                    length *= tuplet.0;
                    tuplet.1 -= 1;
                }
                *bars.last_mut().expect("a bar") += length;
            }
            '|' => bars.push(Fraction::from_integer(0)),
            _ => {}
        }
    }
    bars.retain(|bar| *bar > Fraction::from_integer(0));
    bars
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(120))]

    #[test]
    fn every_bar_of_musicxml_and_abc_adds_up(music in tunes()) {
        prop_assume!(is_writable(&music));
        let metre = music.metre;
        let wanted: Vec<Fraction> = music
            .bars
            .iter()
            .zip(music.metres())
            .map(|(bar, metre)| metre.semibreves_of(bar.length()))
            .collect();
        let piece = Piece {
            title: "Adds up".to_owned(),
            head: TuneHead::default(),
        about: None,
            metre,
            tempo: None,
            ladder: None,
            practice: Practice::default(),
            lengths: Lengths::default(),
            sections: vec![Section::new(Section::ONLY.to_owned(), music)],
        };
        let xml = String::from_utf8(musicxml::write(&piece)).expect("UTF-8");
        let measures = measures_of(&xml);
        prop_assert_eq!(measures.iter().map(|sums| sums.0).collect::<Vec<_>>(), wanted.clone());
        prop_assert_eq!(measures.iter().map(|sums| sums.1).collect::<Vec<_>>(), wanted.clone());
        let abc = String::from_utf8(abc::write(&piece)).expect("UTF-8");
        let (_, body) = abc.split_once("K:HP\n").expect("a body");
        prop_assert_eq!(bars_of_abc(body, metre.default_unit()), wanted, "{}", abc);
    }
}
