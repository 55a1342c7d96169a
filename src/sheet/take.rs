//! A take on paper: what was expected over what was heard, a row a note, time to the right, faults
//! ringed and numbered. Black on white only: an outline is expected, a solid bar was heard.

use super::drawing::{Booklet, Ink, Paper, Role};
use super::writer::{MARGIN, SMALL, TEXT, TITLE, Writer, wrap};
use crate::chanter::{NOTES, Note};
use crate::engraving::font::{Face, Segment};

/// A note in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// Which row.
    pub note: Note,
    /// Start, seconds of the take.
    pub start_s: f64,
    /// End, seconds of the take.
    pub end_s: f64,
}

/// A fault and its place.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultMark {
    /// The row it is ringed on.
    pub note: Note,
    /// Seconds of the take.
    pub at_s: f64,
    /// What is said of it.
    pub words: String,
    /// How long the note lasted and how long it is written, milliseconds, where that is the fault.
    pub lengths_ms: Option<(f64, f64)>,
}

/// A repetition that was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// Its first beat, seconds of the take.
    pub start_s: f64,
    /// Its length, seconds.
    pub length_s: f64,
    /// What stands at its head.
    pub words: String,
}

/// What is drawn of a take. Every list in order of time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Take {
    /// The head of the first page.
    pub title: String,
    /// What it was read from, said below the head.
    pub source: Option<String>,
    /// The notes heard.
    pub heard: Vec<Bar>,
    /// The notes expected; empty without a drill.
    pub expected: Vec<Bar>,
    /// The repetitions; empty without a drill.
    pub rounds: Vec<Round>,
    /// The faults, in any order.
    pub faults: Vec<FaultMark>,
    /// The length of a beat, seconds; none without a drill.
    pub beat_s: Option<f64>,
}

/// Points of a row of notes.
const ROW: f64 = 9.5;
/// Room left of the rows for the names of notes.
const NAMES: f64 = 26.0;
/// Room over the rows: the words of a repetition, then the numbers of faults.
const WORDS: f64 = 11.0;
const NUMBERS: f64 = 12.0;
/// Room under the rows: beats, then seconds.
const SCALES: f64 = 22.0;
/// Longest line, seconds: a gracenote of 20 ms is then 2 points wide.
const LONGEST: f64 = 4.6;
/// Seconds shown before a repetition's first beat: its opening gracenotes, an early player.
const BEFORE: f64 = 0.25;
/// Most pages: a picture of a few minutes is looked at, one of hours is not.
const PAGES: usize = 12;
/// Radius of a ring.
const RING: f64 = 7.0;
/// Points a millisecond in the two bars of a length: 25 ms and 73 differ at a glance.
const LENGTH: f64 = 0.8;
/// Height of each of the two bars.
const LENGTH_BAR: f64 = 3.6;
/// A row of words under the picture, or the two bars of a length.
const TOLD: f64 = TEXT * 1.3;

/// The least height of a fault under the picture: its place enlarged.
const FAULT: f64 = 60.0;
/// Of the width, what its words get.
const WORDS_SHARE: f64 = 0.36;

/// Draws a take, line after line as music is set.
pub fn draw_take(take: &Take, paper: Paper) -> Booklet {
    let mut writer = Writer::new(paper);
    writer.new_page();
    writer.heading(1, &take.title, TITLE * 0.8);
    writer.skip(2.0);
    if let Some(source) = &take.source {
        writer.paragraph(source, SMALL, Face::Italic);
    }
    let key = if take.expected.is_empty() {
        "A solid bar was heard."
    } else {
        "An outline is what is written, a solid bar what was heard; where they differ too much there is a ring with a number, and the place again, enlarged: above what was heard, below what is written, in milliseconds. Dotted lines are beats."
    };
    writer.paragraph(key, SMALL, Face::Regular);
    writer.skip(6.0);
    let mut faults = take.faults.clone();
    faults.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let length = line_length(take.beat_s);
    for (from, to) in lines(take, length) {
        let inside = |at: f64| (from..to).contains(&at);
        let here: Vec<(usize, &FaultMark)> = faults
            .iter()
            .enumerate()
            .filter(|(_, fault)| inside(fault.at_s))
            .collect();
        let width = writer.width() - NAMES;
        let first = here.first().map_or(0.0, |_| FAULT);
        let height = WORDS + NUMBERS + 9.0 * ROW + SCALES + first + 13.0;
        writer.need(height);
        if writer.pages() > PAGES {
            writer.paragraph(
                &format!("The picture ends here; the take goes on at {from:.1} s."),
                TEXT,
                Face::Italic,
            );
            break;
        }
        let early = if take.rounds.is_empty() { 0.0 } else { BEFORE };
        let scale = width / (length + early);
        // beats stand under each other, also where a line has nothing before its first
        let opens = take
            .rounds
            .iter()
            .any(|round| from < round.start_s && round.start_s < to);
        let indent = if opens { 0.0 } else { early * scale };
        let line = Line {
            from,
            to,
            left: Writer::left() + NAMES + indent,
            scale,
            top: writer.y + WORDS + NUMBERS,
        };
        let figure = line.draw(take, &here);
        writer.put(Role::Figure(line.in_words(take, &here)), figure);
        writer.skip(WORDS + NUMBERS + 9.0 * ROW + SCALES);
        writer.skip(3.0);
        for (number, fault) in &here {
            write_fault(&mut writer, take, *number, fault);
        }
        writer.skip(10.0);
    }
    writer.finish(take.title.clone())
}

/// A fault in words, and its place again, enlarged.
fn write_fault(writer: &mut Writer, take: &Take, number: usize, fault: &FaultMark) {
    let left = MARGIN + NAMES;
    let width = writer.width() - NAMES;
    let words = format!("{}  {}", number + 1, fault.words);
    let words = wrap(&words, Face::Regular, TEXT, width * WORDS_SHARE - 8.0);
    let lengths = f64::from(u8::from(fault.lengths_ms.is_some()));
    let height = (TOLD * (words.len() as f64 + lengths) + 4.0).max(FAULT);
    writer.need(height);
    let top = writer.y;
    let mut ink = Vec::new();
    for (row, text) in words.iter().enumerate() {
        let base = top + TOLD * row as f64 + TEXT;
        ink.push(Ink::words(text, left, base, TEXT, Face::Regular));
    }
    if let Some(lengths) = fault.lengths_ms {
        let below = top + TOLD * words.len() as f64;
        ink.extend(two_bars(lengths, left, below, width * WORDS_SHARE - 8.0));
    }
    writer.put(Role::Paragraph, ink);
    let window = Window::around(fault, take);
    let x = left + width * WORDS_SHARE;
    let (ink, said) = window.draw(take, fault, x, top, width * (1.0 - WORDS_SHARE));
    writer.put(Role::Figure(said), ink);
    writer.skip(height);
}

/// A short stretch of time around a fault, to be drawn large.
struct Window {
    from: f64,
    to: f64,
}

impl Window {
    /// The least and the most that is shown, seconds: a gracenote of 30 ms is wide enough for its
    /// figure, and a long note is seen to its end.
    const SHORTEST: f64 = 0.5;
    const LONGEST: f64 = 1.2;

    fn around(fault: &FaultMark, take: &Take) -> Self {
        let at = |bars: &[Bar]| {
            let own = |bar: &&Bar| {
                bar.note == fault.note
                    && bar.start_s < fault.at_s + 0.05
                    && bar.end_s > fault.at_s - 0.05
            };
            bars.iter()
                .filter(own)
                .map(|bar| bar.end_s - bar.start_s)
                .fold(0.0, f64::max)
        };
        let longest = at(&take.heard).max(at(&take.expected));
        let length = (longest * 1.4).clamp(Self::SHORTEST, Self::LONGEST);
        let from = fault.at_s - length * 0.3;
        Self {
            from,
            to: from + length,
        }
    }

    /// Two lanes under each other, what was heard and what is written, each note with its name and
    /// its whole length; with the same in words.
    fn draw(
        &self,
        take: &Take,
        fault: &FaultMark,
        left: f64,
        top: f64,
        width: f64,
    ) -> (Vec<Ink>, String) {
        let x = |at: f64| left + (at - self.from) / (self.to - self.from) * width;
        let middle = top + 26.0;
        let mut ink = Vec::new();
        let fault_at = x(fault.at_s);
        for dash in 0..17 {
            let y = top + 3.0 * f64::from(dash);
            ink.push(Ink::rectangle(fault_at - 0.2, y, fault_at + 0.2, y + 1.2));
        }
        let mut said = Vec::new();
        for (bars, heard) in [(&take.heard, true), (&take.expected, false)] {
            let mut words = Vec::new();
            // the right end of the figures so far
            let mut free = left;
            for bar in bars {
                let (start, end) = (bar.start_s.max(self.from), bar.end_s.min(self.to));
                if start >= end {
                    continue;
                }
                let ms = format!("{:.0}", (bar.end_s - bar.start_s) * 1000.0);
                words.push(format!("{} {ms}", bar.note));
                // a hair of white between neighbours
                let (from, to) = (x(start), (x(end) - 0.8).max(x(start) + 1.2));
                let [name_base, ms_base] = if heard {
                    ink.push(Ink::rectangle(from, middle - 8.0, to, middle - 1.0));
                    [middle - 18.0, middle - 10.0]
                } else {
                    ink.push(Ink::frame(from, middle + 1.0, to, middle + 8.0, 0.6));
                    [middle + 24.0, middle + 16.0]
                };
                let size = SMALL * 0.85;
                let name = bar.note.to_string();
                let wide = |text: &str| Face::Regular.width(text, size);
                let wider = wide(&name).max(wide(&ms));
                if from >= free {
                    free = from + wider + 2.0;
                    ink.push(Ink::words(&name, from, name_base, size, Face::Bold));
                    ink.push(Ink::words(&ms, from, ms_base, size, Face::Regular));
                }
            }
            let what = if heard { "heard" } else { "written" };
            said.push(format!("{what}: {}", words.join(", ")));
        }
        ink.push(Ink::rectangle(
            left,
            middle - 0.2,
            left + width,
            middle + 0.2,
        ));
        (ink, format!("enlarged, milliseconds; {}", said.join("; ")))
    }
}

/// A length that was played, solid, over the one that is written, as an outline, with its figures;
/// both shrink where the longer has no room.
fn two_bars((played, written): (f64, f64), left: f64, top: f64, width: f64) -> Vec<Ink> {
    let figures = format!("{played:.0} of {written:.0} ms");
    let room = width - Face::Regular.width(&figures, SMALL) - 8.0;
    let scale = LENGTH.min(room / played.max(written).max(1.0));
    let end = |length: f64| left + (length * scale).max(0.8);
    let middle = top + 1.6 + LENGTH_BAR;
    let right = end(played).max(end(written));
    vec![
        Ink::rectangle(left, middle - LENGTH_BAR, end(played), middle - 0.5),
        Ink::frame(left, middle + 0.5, end(written), middle + LENGTH_BAR, 0.5),
        Ink::words(&figures, right + 5.0, middle + 2.5, SMALL, Face::Regular),
    ]
}

/// Whole beats where there are any.
fn line_length(beat_s: Option<f64>) -> f64 {
    let Some(beat) = beat_s.filter(|beat| *beat > 0.0) else {
        return 4.0;
    };
    let most = (LONGEST / beat).floor();
    [8.0, 6.0, 4.0, 3.0, 2.0]
        .into_iter()
        .find(|beats| *beats <= most)
        .unwrap_or(1.0)
        * beat
}

/// Where the lines begin and end, seconds: anew with each repetition, and none without a note.
fn lines(take: &Take, length: f64) -> Vec<(f64, f64)> {
    let all = || take.heard.iter().chain(&take.expected);
    let first = all().map(|bar| bar.start_s).fold(f64::INFINITY, f64::min);
    let last = all().map(|bar| bar.end_s).fold(0.0, f64::max);
    if !first.is_finite() {
        return Vec::new();
    }
    let mut starts = vec![first - 0.1];
    for round in &take.rounds {
        starts.push(round.start_s);
        starts.push(round.start_s + round.length_s);
    }
    starts.sort_by(f64::total_cmp);
    let mut lines = Vec::new();
    for (place, start) in starts.iter().enumerate() {
        let end = starts.get(place + 1).copied().unwrap_or(last);
        let mut from = *start;
        while from < end - 1e-6 {
            let to = (from + length).min(end);
            if all().any(|bar| bar.start_s < to - 0.02 && bar.end_s > from + 0.02) {
                lines.push((from, to));
            }
            from += length;
        }
    }
    // the gracenotes that open a repetition stand before its first beat
    for round in &take.rounds {
        if let Some(line) = lines
            .iter_mut()
            .find(|(from, _)| (from - round.start_s).abs() < 1e-6)
        {
            line.0 -= BEFORE;
        }
    }
    lines
}

/// One line of a picture.
struct Line {
    from: f64,
    to: f64,
    left: f64,
    /// Points a second.
    scale: f64,
    /// Top of the rows.
    top: f64,
}

impl Line {
    fn x(&self, seconds: f64) -> f64 {
        self.left + (seconds - self.from) * self.scale
    }

    fn y(&self, note: Note) -> f64 {
        self.top + (8 - note.index()) as f64 * ROW
    }

    fn bottom(&self) -> f64 {
        self.top + 9.0 * ROW
    }

    fn draw(&self, take: &Take, faults: &[(usize, &FaultMark)]) -> Vec<Ink> {
        let mut ink = Vec::new();
        let right = self.x(self.to);
        for note in NOTES {
            let base = self.y(note) + ROW - 2.2;
            ink.push(Ink::words(
                &note.to_string(),
                self.left - NAMES + 4.0,
                base,
                SMALL * 0.85,
                Face::Regular,
            ));
        }
        for row in 0..=9 {
            let y = self.top + f64::from(row) * ROW;
            ink.push(Ink::rectangle(self.left, y - 0.1, right, y + 0.1));
        }
        self.beats(take, &mut ink);
        self.seconds(&mut ink);
        for bar in self.shown(&take.expected) {
            let (left, right) = (self.x(bar.start_s), self.x(bar.end_s));
            let top = self.y(bar.note) + 0.6;
            ink.push(Ink::frame(
                left,
                top,
                right.max(left + 1.6),
                top + ROW - 1.2,
                0.5,
            ));
        }
        for bar in self.shown(&take.heard) {
            let (left, right) = (self.x(bar.start_s), self.x(bar.end_s));
            let top = self.y(bar.note) + 3.0;
            ink.push(Ink::rectangle(
                left,
                top,
                right.max(left + 0.8),
                top + ROW - 6.0,
            ));
        }
        self.marks(faults, &mut ink);
        ink
    }

    /// The parts of bars inside this line.
    fn shown<'a>(&'a self, bars: &'a [Bar]) -> impl Iterator<Item = Bar> + 'a {
        bars.iter()
            .filter(|bar| bar.end_s > self.from && bar.start_s < self.to)
            .map(|bar| Bar {
                start_s: bar.start_s.max(self.from),
                end_s: bar.end_s.min(self.to),
                ..*bar
            })
    }

    fn beats(&self, take: &Take, ink: &mut Vec<Ink>) {
        let Some(beat_s) = take.beat_s else {
            return;
        };
        for round in &take.rounds {
            let count = (round.length_s / beat_s).round() as usize;
            for beat in 0..=count {
                let at = round.start_s + beat as f64 * beat_s;
                if at < self.from - 1e-6 || at > self.to + 1e-6 {
                    continue;
                }
                let x = self.x(at);
                let mut y = self.top - 3.0;
                while y < self.bottom() + 2.0 {
                    ink.push(Ink::rectangle(x - 0.25, y, x + 0.25, y + 1.2));
                    y += 3.0;
                }
                // the end of a repetition is no beat of it
                if beat < count && at < self.to - 1e-6 {
                    let text = format!("beat {}", beat + 1);
                    let face = Face::Regular;
                    ink.push(Ink::centred(
                        &text,
                        x,
                        self.bottom() + 9.5,
                        SMALL * 0.85,
                        face,
                    ));
                }
            }
            let head = self.from..self.to - 1e-6;
            if head.contains(&round.start_s) {
                ink.push(Ink::words(
                    &round.words,
                    self.left,
                    self.top - NUMBERS - 3.0,
                    SMALL,
                    Face::Bold,
                ));
            }
        }
    }

    /// A tick every tenth of a second, longer and named every half.
    fn seconds(&self, ink: &mut Vec<Ink>) {
        let mut tenth = (self.from * 10.0).ceil() as i64;
        while tenth as f64 / 10.0 <= self.to {
            let x = self.x(tenth as f64 / 10.0);
            let named = tenth % 5 == 0;
            let down = if named { 4.0 } else { 2.0 };
            let y = self.bottom() + 11.0;
            ink.push(Ink::rectangle(x - 0.2, y, x + 0.2, y + down));
            if named {
                let text = format!("{:.1} s", tenth as f64 / 10.0);
                ink.push(Ink::centred(
                    &text,
                    x,
                    y + 10.5,
                    SMALL * 0.75,
                    Face::Regular,
                ));
            }
            tenth += 1;
        }
        let y = self.bottom() + 11.0;
        ink.push(Ink::rectangle(self.left, y - 0.2, self.x(self.to), y + 0.2));
    }

    /// Rings, each with its number over the rows and a thin line to it. Numbers that would touch
    /// stand beside each other.
    fn marks(&self, faults: &[(usize, &FaultMark)], ink: &mut Vec<Ink>) {
        let mut free = f64::NEG_INFINITY;
        for (number, fault) in faults {
            let x = self.x(fault.at_s);
            let y = self.y(fault.note) + ROW / 2.0;
            let text = (number + 1).to_string();
            let half = Face::Bold.width(&text, TEXT) / 2.0;
            let at = x.max(free + half);
            free = at + half + 3.0;
            let foot = self.top - 4.0;
            ink.push(Ink::centred(&text, at, foot, TEXT, Face::Bold));
            ink.push(slant((at, foot + 1.5), (x, y - RING)));
            ink.push(ring(x, y, RING));
        }
    }

    fn in_words(&self, take: &Take, faults: &[(usize, &FaultMark)]) -> String {
        let notes: Vec<String> = self
            .shown(&take.heard)
            .map(|bar| bar.note.to_string())
            .collect();
        let marks: String = faults
            .iter()
            .map(|(number, fault)| format!("; {}: {}", number + 1, fault.words))
            .collect();
        format!(
            "heard from {:.2} to {:.2} s: {}{marks}",
            self.from,
            self.to,
            notes.join(" ")
        )
    }
}

/// An empty box.
fn slant(from: (f64, f64), to: (f64, f64)) -> Ink {
    const HALF: f64 = 0.2;
    Ink::Fill(vec![
        Segment::Move((from.0 - HALF, from.1)),
        Segment::Line((from.0 + HALF, from.1)),
        Segment::Line((to.0 + HALF, to.1)),
        Segment::Line((to.0 - HALF, to.1)),
        Segment::Close,
    ])
}

/// A circle of four curves, its inner edge the other way round.
fn ring(x: f64, y: f64, radius: f64) -> Ink {
    const EDGE: f64 = 1.0;
    /// Handle of a quarter of a circle, in radii: 4/3 (√2 − 1).
    const HANDLE: f64 = 0.552_284_749_8;
    let mut segments = Vec::new();
    for (radius, turn) in [(radius, 1.0), (radius - EDGE, -1.0)] {
        let at = |a: f64, b: f64| (x + a * radius, y + turn * b * radius);
        segments.push(Segment::Move(at(1.0, 0.0)));
        let quarters = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)];
        for quarter in 0..4 {
            let (from, to) = (quarters[quarter], quarters[(quarter + 1) % 4]);
            segments.push(Segment::Curve(
                at(from.0 + HANDLE * to.0, from.1 + HANDLE * to.1),
                at(to.0 + HANDLE * from.0, to.1 + HANDLE * from.1),
                at(to.0, to.1),
            ));
        }
        segments.push(Segment::Close);
    }
    Ink::Fill(segments)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(note: Note, start_s: f64, end_s: f64) -> Bar {
        Bar {
            note,
            start_s,
            end_s,
        }
    }

    fn take() -> Take {
        let fault = |at_s: f64| FaultMark {
            note: Note::D,
            at_s,
            words: "too long".to_owned(),
            lengths_ms: None,
        };
        Take {
            title: "A take".to_owned(),
            source: None,
            heard: vec![bar(Note::LowA, 1.0, 3.0), bar(Note::D, 6.0, 6.05)],
            expected: vec![bar(Note::LowA, 1.0, 3.0), bar(Note::D, 6.0, 6.04)],
            rounds: vec![Round {
                start_s: 1.0,
                length_s: 8.0,
                words: "repetition 1".to_owned(),
            }],
            faults: vec![fault(6.01), fault(6.0)],
            beat_s: Some(1.0),
        }
    }

    /// Half beats at the edge of a line would make a scale nobody can read.
    #[test]
    fn a_line_holds_whole_beats_and_repetitions_begin_one() {
        assert_eq!(line_length(Some(1.0)), 4.0);
        assert_eq!(line_length(Some(0.5)), 4.0);
        assert_eq!(line_length(Some(6.0)), 6.0);
        assert_eq!(line_length(None), 4.0);
        assert_eq!(lines(&take(), 4.0), [(0.75, 5.0), (5.0, 9.0)]);
        assert_eq!(lines(&Take::default(), 4.0), []);
    }

    /// Numbers on each other are no numbers; every fault has its ring and its words.
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

    /// A ring says where; how far off it was is read in the place enlarged, beside what is written.
    #[test]
    fn each_fault_stands_again_with_the_written_lengths() {
        let booklet = draw_take(&take(), Paper::A4);
        let blocks = booklet.pages.iter().flat_map(|page| &page.blocks);
        let enlarged: Vec<&str> = blocks
            .filter_map(|block| match &block.role {
                Role::Figure(words) if words.starts_with("enlarged") => Some(words.as_str()),
                _ => None,
            })
            .collect();
        let wanted = "enlarged, milliseconds; heard: D 50; written: D 40";
        assert_eq!(enlarged, [wanted; 2]);
    }

    /// Hours of a take would make a picture that nothing opens: it ends and says so.
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
        let said = last.blocks.iter().flat_map(|block| &block.ink).any(
            |ink| matches!(ink, Ink::Text { text, .. } if text.contains("the take goes on at")),
        );
        assert!(said);
    }
}
