//! The measures of a section: bar lines, endings, metres and tempi.

use super::notes::{Bars, name};
use crate::drill::Bar;
use crate::exchange::Section;
use crate::exchange::musicxml::xml::Xml;
use crate::exchange::piece::Piece;
use crate::rhythm::{Metre, plain_or_dotted};
use crate::score::NoteId;
use crate::units::{Beats, Fraction, write_fraction};
use std::collections::HashMap;

/// What a section knows of the section before it, because one part holds them all.
#[derive(Debug, Default)]
pub(super) struct SoFar {
    /// The number of the last full measure.
    number: u32,
    /// The metre that was written last; none before the first measure.
    metre: Option<Metre>,
}

pub(super) struct SectionWriter<'a> {
    pub(super) piece: &'a Piece,
    pub(super) section: &'a Section,
    pub(super) divisions: i128,
    pub(super) shares: HashMap<NoteId, f64>,
}

impl SectionWriter<'_> {
    pub(super) fn measures(&self, xml: &mut Xml, so_far: &mut SoFar) {
        let music = &self.section.music;
        let (metres, written) = (music.metres(), music.write_bars());
        let numbers = music.bar_numbers();
        let begins_short = !music.pickup().is_zero();
        let resolved = self.section.bars();
        let starts = repeat_starts(self.section);
        let mut tied = false;
        for (place, bar) in music.bars.iter().enumerate() {
            let metre = metres[place];
            let second_half = place > 0 && numbers[place] == numbers[place - 1];
            let pickup = second_half || place == 0 && begins_short;
            let number = so_far.number(pickup);
            let mut attributes = vec![("number", number.as_str())];
            if bar.is_short(metre) {
                attributes.push(("implicit", "yes"));
            }
            let before = so_far.metre.replace(metre);
            let line_before = place
                .checked_sub(1)
                .is_some_and(|at| music.bars[at].line_ends);
            xml.within("measure", &attributes, |xml| {
                xml.line();
                if line_before || place == 0 && before.is_some() {
                    xml.empty("print", &[("new-system", "yes")]);
                    xml.line();
                }
                // a section may begin in another metre than the one before it ends in
                if before.is_none() {
                    self.attributes(xml, metre);
                } else if before != Some(metre) {
                    xml.within("attributes", &[], |xml| time(xml, metre));
                    xml.line();
                }
                left_bar_line(xml, bar, starts[place]);
                if place == 0 {
                    self.rehearsal_mark(xml);
                }
                // the beat is the same in another metre, and another note may have it
                if before != Some(metre) {
                    self.metronome(xml, metre, before);
                }
                let bars = Bars {
                    bar,
                    written: &written[place],
                    metre,
                    divisions: self.divisions,
                    shares: &self.shares,
                };
                tied = bars.notes(xml, resolved[place], tied);
                right_bar_line(xml, bar, place + 1 == music.bars.len());
            });
            xml.line();
        }
    }

    /// Two sharps that are not printed: without the key readers would print sharps.
    fn attributes(&self, xml: &mut Xml, metre: Metre) {
        xml.within("attributes", &[], |xml| {
            xml.text("divisions", &self.divisions.to_string());
            xml.within("key", &[("print-object", "no")], |xml| {
                xml.text("fifths", "2");
            });
            time(xml, metre);
            xml.within("clef", &[], |xml| {
                xml.text("sign", "G");
                xml.text("line", "2");
            });
        });
        xml.line();
    }

    fn rehearsal_mark(&self, xml: &mut Xml) {
        if self.section.name == Section::ONLY {
            return;
        }
        xml.within("direction", &[("placement", "above")], |xml| {
            xml.within("direction-type", &[], |xml| {
                xml.text("rehearsal", &self.section.name);
            });
        });
        xml.line();
    }

    /// Writes the tempo of a metre; at a change of metre the two notes that last equally long,
    /// where they are not the beats.
    fn metronome(&self, xml: &mut Xml, metre: Metre, before: Option<Metre>) {
        let rate = self.piece.played_at().value() / metre.pace();
        let equal = before.and_then(|before| metre.equal_notes(before));
        let quarters = Beats(rate * metre.beat_of_semibreve() * Fraction::from_integer(4));
        xml.within("direction", &[("placement", "above")], |xml| {
            xml.within("direction-type", &[], |xml| {
                xml.within("metronome", &[], |xml| {
                    if let Some((before, after)) = equal {
                        beat_unit(xml, before);
                        beat_unit(xml, after);
                    } else {
                        beat_unit(xml, metre.beat_of_semibreve());
                        xml.text("per-minute", &write_fraction(&rate));
                    }
                });
            });
            xml.empty("sound", &[("tempo", &decimal(quarters.to_f64()))]);
        });
        xml.line();
    }
}

/// A note of a metronome mark, by its part of a semibreve.
fn beat_unit(xml: &mut Xml, part: Fraction) {
    let (value, dotted) = plain_or_dotted(part);
    xml.text("beat-unit", name(value));
    if dotted {
        xml.empty("beat-unit-dot", &[]);
    }
}

impl SoFar {
    /// The number of the next measure; a pickup has one of its own kind.
    fn number(&mut self, pickup: bool) -> String {
        match (pickup, self.number) {
            (true, 0) => "0".to_owned(),
            (true, before) => format!("X{before}"),
            (false, _) => {
                self.number += 1;
                self.number.to_string()
            }
        }
    }
}

fn left_bar_line(xml: &mut Xml, bar: &Bar, repeat_begins: bool) {
    if !repeat_begins && bar.ending.is_none() {
        return;
    }
    xml.within("barline", &[("location", "left")], |xml| {
        if repeat_begins {
            xml.text("bar-style", "heavy-light");
        }
        ending(xml, bar, "start");
        if repeat_begins {
            xml.empty("repeat", &[("direction", "forward")]);
        }
    });
    xml.line();
}

fn right_bar_line(xml: &mut Xml, bar: &Bar, last: bool) {
    let style = match (bar.repeat_ends || last, bar.part_ends) {
        (true, _) => Some("light-heavy"),
        (_, true) => Some("light-light"),
        _ => None,
    };
    if style.is_none() && bar.ending.is_none() {
        return;
    }
    xml.within("barline", &[("location", "right")], |xml| {
        if let Some(style) = style {
            xml.text("bar-style", style);
        }
        let stops = style.is_some() && bar.repeat_ends;
        ending(xml, bar, if stops { "stop" } else { "discontinue" });
        if stops {
            xml.empty("repeat", &[("direction", "backward")]);
        }
    });
    xml.line();
}

fn ending(xml: &mut Xml, bar: &Bar, kind: &str) {
    if let Some(ending) = bar.ending {
        let number = ending.to_string();
        xml.empty("ending", &[("number", &number), ("type", kind)]);
    }
}

fn time(xml: &mut Xml, metre: Metre) {
    xml.within("time", &[], |xml| {
        if metre.is_free() {
            xml.empty("senza-misura", &[]);
        } else {
            let (_, below) = metre.figures();
            xml.text("beats", &metre.above_as_counted());
            xml.text("beat-type", &below.to_string());
        }
    });
}

/// Where repeats begin, the first part's start included only where another part comes before it.
fn repeat_starts(section: &Section) -> Vec<bool> {
    let bars = &section.music.bars;
    let mut starts: Vec<bool> = bars.iter().map(|bar| bar.repeat_begins).collect();
    let mut part = 0;
    for (place, bar) in bars.iter().enumerate() {
        if bar.repeat_begins {
            part = place;
        }
        if bar.repeat_ends {
            if bars[part].ending.is_none() {
                starts[part] = true;
            }
            part = (place + 1).min(bars.len() - 1);
        } else if bar.part_ends {
            part = (place + 1).min(bars.len() - 1);
        }
    }
    starts
}

fn decimal(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
