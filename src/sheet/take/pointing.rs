//! Draws how the pairs of a repetition were pointed, bar by bar: a lozenge for each pair, higher
//! where the long note was held longer, over the wanted band. The scale of ratios is logarithmic,
//! so that a doubling is the same distance everywhere. It is black on white only: a hollow lozenge
//! is a pair that is not judged.

use super::content::PairsPlayed;
use crate::engraving::font::{Face, Segment};
use crate::practice::{PairPlayed, PointingHeard};
use crate::sheet::drawing::{Ink, TagRole};
use crate::sheet::writer::{SMALL, TEXT, Writer};

/// The height of the field in points.
const FIELD: f64 = 62.0;
/// The room left of the field for the ratios, in points.
const RATIOS: f64 = 34.0;
/// The room below the field for the bar numbers, in points.
const BARS: f64 = 13.0;
/// Half of a lozenge's width and height, in points.
const HALF: f64 = 2.6;
/// The ratios that have a line, where the field includes them.
const TICKS: [f64; 9] = [0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0];

/// The legend of the signs.
const KEY: &str = "A lozenge is a pair, long note to short by onsets; the thick frame is what is wanted. A hollow one is never too round: a movement takes its time from the long note.";

/// Draws the pairs of every repetition, each below its words.
pub(super) fn write(writer: &mut Writer, all: &[PairsPlayed]) {
    if all.is_empty() {
        return;
    }
    writer.need(TEXT * 3.0 + SMALL * 4.0 + FIELD + BARS);
    writer.heading(2, "How the pairs were pointed, bar by bar", TEXT * 1.2);
    writer.paragraph(KEY, SMALL, Face::Regular);
    writer.skip(4.0);
    for played in all {
        writer.need(SMALL * 1.4 + FIELD + BARS + 8.0);
        writer.paragraph(&played.words, SMALL, Face::Bold);
        writer.skip(2.0);
        let (ink, said) = draw(played, Writer::left(), writer.y, writer.width());
        writer.put(TagRole::Figure(said), ink);
        writer.skip(FIELD + BARS + 8.0);
    }
}

/// The range of ratios from the bottom of the field to its top.
struct Scale {
    least: f64,
    most: f64,
    top: f64,
}

impl Scale {
    fn of(heard: &PointingHeard, top: f64) -> Self {
        let played = heard.pairs.iter().map(|pair| pair.ratio);
        let all = played.chain([heard.range.0, heard.range.1]);
        let (least, most) = all.fold((f64::INFINITY, 0.0_f64), |(least, most), ratio| {
            (least.min(ratio), most.max(ratio))
        });
        Self {
            least: (least / 1.25).max(0.1),
            most: (most * 1.25).min(64.0),
            top,
        }
    }

    fn y(&self, ratio: f64) -> f64 {
        let share = (ratio.clamp(self.least, self.most) / self.least).ln();
        self.top + FIELD * (1.0 - share / (self.most / self.least).ln())
    }
}

fn draw(played: &PairsPlayed, left: f64, top: f64, width: f64) -> (Vec<Ink>, String) {
    let pairs = &played.heard.pairs;
    let scale = Scale::of(&played.heard, top);
    let (from, to) = (left + RATIOS, left + width);
    let mut ink = Vec::new();
    for tick in TICKS {
        if tick < scale.least || tick > scale.most {
            continue;
        }
        let y = scale.y(tick);
        ink.push(Ink::rectangle(from, y - 0.15, to, y + 0.15));
        let words = if played.heard.long_first {
            format!("{tick} : 1")
        } else {
            format!("1 : {tick}")
        };
        let x = from - 4.0 - Face::Regular.width(&words, SMALL * 0.85);
        ink.push(Ink::words(&words, x, y + 2.4, SMALL * 0.85, Face::Regular));
    }
    let mut numbers: Vec<u32> = pairs.iter().map(|pair| pair.bar).collect();
    numbers.dedup();
    let each = (to - from) / numbers.len().max(1) as f64;
    let mut said = Vec::new();
    let mut first = 0;
    for (place, bar) in numbers.iter().enumerate() {
        let own: Vec<&PairPlayed> = pairs[first..]
            .iter()
            .take_while(|pair| pair.bar == *bar)
            .collect();
        first += own.len();
        let begins = from + each * place as f64;
        if place > 0 {
            ink.push(Ink::rectangle(
                begins - 0.25,
                top,
                begins + 0.25,
                top + FIELD,
            ));
        }
        let number = bar.to_string();
        // numbers that would touch are left out
        let every = (Face::Regular.width("88", SMALL) / each).ceil().max(1.0) as usize;
        if place.is_multiple_of(every) {
            let base = top + FIELD + 10.0;
            let middle = begins + each / 2.0;
            ink.push(Ink::centred(&number, middle, base, SMALL, Face::Regular));
        }
        let apart = each / own.len() as f64;
        let mut ratios = Vec::new();
        for (at, pair) in own.iter().enumerate() {
            let x = begins + apart * at as f64;
            let middle = (x + apart / 2.0, scale.y(pair.ratio));
            ink.push(lozenge(middle, pair.taken));
            ratios.push(format!("{:.1}", pair.ratio));
        }
        said.push(format!("bar {bar}: {}", ratios.join(", ")));
    }
    let (low, high) = played.heard.range;
    ink.push(Ink::frame(from, scale.y(high), to, scale.y(low), 1.2));
    ink.push(Ink::frame(from, top, to, top + FIELD, 0.4));
    (ink, format!("{}; {}", played.words, said.join("; ")))
}

fn lozenge((x, y): (f64, f64), hollow: bool) -> Ink {
    let around = |half: f64, turned: bool| {
        let mut corners = [(x, y - half), (x + half, y), (x, y + half), (x - half, y)];
        if turned {
            corners.reverse();
        }
        let [first, rest @ ..] = corners;
        let mut segments = vec![Segment::Move(first)];
        segments.extend(rest.map(Segment::Line));
        segments.push(Segment::Close);
        segments
    };
    let mut segments = around(HALF, false);
    if hollow {
        segments.extend(around(HALF - 1.1, true));
    }
    Ink::Fill(segments)
}
