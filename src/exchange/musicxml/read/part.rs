//! The measures of a part, one element after another.

use super::text::{at, shown};
use crate::drill::{Bar, Gracenote, MOST_PASSES, Problem};
use crate::exchange::musicxml::tree::Element;
use crate::exchange::piece::{Section, adopted, adopted_at, beats_a_minute, counted_by, foreign};
use crate::rhythm::Metre;
use crate::units::{Bpm, CommonPart, Fraction, parse_fraction};

/// `1, 3` as the passes of an ending, up to the most that are written out (MusicXML 4.0, `ending-number`).
fn passes_of(number: &str) -> Option<Vec<u8>> {
    let passes: Option<Vec<u8>> = number
        .split(',')
        .map(|one| one.trim().parse::<u8>().ok())
        .collect();
    passes.filter(|passes| {
        passes.len() <= usize::from(MOST_PASSES)
            && passes.iter().all(|pass| (1..=MOST_PASSES).contains(pass))
    })
}

/// A bar with its line and the passes of its ending.
pub(super) type Measure = (Bar, usize, Vec<u8>);

#[derive(Debug, Default)]
pub(super) struct PartReader {
    pub(super) stages: bool,
    /// A beat that is not the usual one of the metre.
    pub(super) beat: Option<String>,
    pub(super) problems: Vec<Problem>,
    /// The passes of an ending that begins with the bar that is read, where it is more than a first
    /// or a second.
    pub(super) passes: Vec<u8>,
    /// The first metre, that of now, and one that begins with the bar that is read.
    pub(super) metre: Option<Metre>,
    pub(super) now: Option<Metre>,
    /// The metre before that.
    pub(super) before: Option<Metre>,
    pub(super) change: Option<Metre>,
    pub(super) tempo: Option<Bpm>,
    pub(super) divisions: Option<Fraction>,
    pub(super) voice: Option<String>,
    pub(super) group: Vec<Gracenote>,
    /// The common part of a beat: every length that was read is a whole multiple of it.
    pub(super) common: CommonPart,
    /// A rest at the start, given to the first note.
    pub(super) owed: Fraction,
    /// Names of sections and their bars with each bar's line and the passes of its ending.
    pub(super) sections: Vec<(String, Vec<Measure>)>,
}

impl PartReader {
    pub(super) fn note(
        &mut self,
        element: &Element,
        found: impl Into<String>,
        done: impl Into<String>,
    ) {
        self.problems
            .push(adopted_at(at(element.line), found, done));
    }

    pub(super) fn measure(&mut self, measure: &Element) {
        let mut bar = Bar::default();
        let mut name = None;
        // a metre for the next measure
        let mut later = None;
        for element in &measure.children {
            match element.name.as_str() {
                "attributes" => {
                    let own = self.change;
                    self.attributes(element);
                    if self.change != own && !bar.notes.is_empty() {
                        self.note(
                            element,
                            "the metre changes inside a measure",
                            "it changes where the next measure begins",
                        );
                        later = std::mem::replace(&mut self.change, own);
                    }
                }
                "note" => self.read_note(element, &mut bar),
                "direction" => {
                    let mark = element
                        .all("direction-type")
                        .find_map(|kind| kind.text_of("rehearsal"));
                    if self.stages && mark.is_some() {
                        name = mark.map(str::to_owned);
                    } else {
                        self.direction(element);
                    }
                    self.sound(element.child("sound"));
                }
                "sound" => self.sound(Some(element)),
                "barline" => self.barline(element, &mut bar),
                "print" if element.attribute("new-system") == Some("yes") => self.end_line(),
                "backup" | "forward" | "print" => {}
                other => self.note(element, format!("`{}`", shown(other)), "left out"),
            }
        }
        if let Some(name) = name {
            self.sections.push((name, Vec::new()));
        } else if self.sections.is_empty() {
            self.sections.push((Section::ONLY.to_owned(), Vec::new()));
        }
        if bar.notes.is_empty() {
            self.note(measure, "a measure without a note", "left out");
            return;
        }
        bar.metre = std::mem::replace(&mut self.change, later);
        if let Some((_, bars)) = self.sections.last_mut() {
            bars.push((bar, measure.line, std::mem::take(&mut self.passes)));
        }
    }

    /// A system ends before this measure: in music without a metre a phrase.
    fn end_line(&mut self) {
        let free = self.metre.is_some_and(Metre::is_free);
        let bars = self.sections.last_mut().map(|(_, bars)| bars);
        if let Some((last, ..)) = bars.filter(|_| free).and_then(|bars| bars.last_mut()) {
            last.line_ends = true;
        }
    }

    fn attributes(&mut self, attributes: &Element) {
        for element in &attributes.children {
            let text = element.text.trim();
            match element.name.as_str() {
                "divisions" => {
                    self.divisions = parse_fraction(text)
                        .ok()
                        .filter(|value| *value > Fraction::from_integer(0));
                }
                "key" => {
                    let fifths = element.text_of("fifths").unwrap_or("");
                    if fifths != "2" {
                        self.note(
                            element,
                            format!("a key of `{}` fifths", shown(fifths)),
                            "the notes are kept; the chanter plays C and F sharp and G natural",
                        );
                    }
                }
                "time" => {
                    let free = element.child("senza-misura").is_some();
                    let figures = format!(
                        "{}/{}",
                        element.text_of("beats").unwrap_or("?"),
                        element.text_of("beat-type").unwrap_or("?")
                    );
                    let counted = |metre: Metre| {
                        let own = self.beat.as_deref();
                        own.and_then(|beat| counted_by(metre, beat))
                            .unwrap_or(metre)
                    };
                    let read = if free {
                        Ok(Metre::FREE)
                    } else {
                        Metre::parse(&figures).map(counted)
                    };
                    match (read, self.metre) {
                        (Ok(metre), None) => {
                            self.metre = Some(metre);
                            self.now = Some(metre);
                        }
                        (Ok(metre), Some(_)) => {
                            let pace = self.now.map_or_else(|| metre.pace(), Metre::pace);
                            let metre = metre.with_pace(pace).unwrap_or(metre);
                            let before = self.now.replace(metre);
                            self.before = before;
                            self.change = Some(metre).filter(|metre| before != Some(*metre));
                        }
                        _ => self.problems.push(foreign(
                            at(element.line),
                            format!("the metre `{}`", shown(&figures)),
                            Metre::EXPECTED,
                        )),
                    }
                }
                "clef" if element.text_of("sign") == Some("G") => {}
                "transpose" => {
                    self.note(element, "a transposing part", "its written notes are read");
                }
                other => self.note(element, format!("`{}`", shown(other)), "left out"),
            }
        }
    }

    fn direction(&mut self, direction: &Element) {
        for kind in direction.all("direction-type") {
            for element in &kind.children {
                if element.name != "metronome" {
                    self.note(
                        element,
                        format!("`{}` over the music", shown(&element.name)),
                        "left out",
                    );
                }
            }
        }
    }

    fn sound(&mut self, sound: Option<&Element>) {
        let Some(text) = sound.and_then(|sound| sound.attribute("tempo")) else {
            return;
        };
        let metre = self.now.unwrap_or(Metre::FOUR_FOUR);
        let tempo = parse_fraction(text)
            .ok()
            .and_then(|quarters| beats_a_minute(metre, Fraction::new(1, 4), quarters));
        if let (Some(own), Some(tempo), Some(before), Some(_)) =
            (self.tempo, tempo, self.before, self.change)
        {
            let pace = own.value() / tempo.value();
            if pace == metre.pace() {
                return;
            }
            if let Some(paced) = metre.at_about(before, pace) {
                self.now = Some(paced);
                self.change = Some(paced);
                return;
            }
        }
        match tempo {
            Some(tempo) if self.tempo.is_none_or(|own| own == tempo) => self.tempo = Some(tempo),
            _ => self.problems.push(adopted(
                format!("the tempo `{}`", shown(text)),
                "left out: a drill has a ladder instead",
            )),
        }
    }

    fn barline(&mut self, element: &Element, bar: &mut Bar) {
        let right = element.attribute("location") != Some("left");
        match element
            .child("repeat")
            .and_then(|own| own.attribute("direction"))
        {
            Some("forward") => bar.repeat_begins = true,
            Some("backward") => {
                bar.repeat_ends = true;
                bar.part_ends = true;
            }
            _ => {}
        }
        if let Some(ending) = element.child("ending")
            && ending.attribute("type") == Some("start")
        {
            let number = ending.attribute("number").unwrap_or("");
            match passes_of(number).as_deref() {
                Some([plain @ (1 | 2)]) => bar.ending = Some(*plain),
                Some(passes) => self.passes = passes.to_vec(),
                None => self.problems.push(foreign(
                    at(ending.line),
                    format!("the ending `{}`", shown(number)),
                    format!("the numbers of passes from 1 to {MOST_PASSES}"),
                )),
            }
        }
        if right
            && matches!(
                element.text_of("bar-style"),
                Some("light-light" | "light-heavy" | "heavy-heavy")
            )
        {
            bar.part_ends = true;
        }
    }
}
