//! Writes the explanation as paragraphs, and as plain text of a given width.

use super::{Explanation, Foundation, PartExplained, Time};
use crate::chanter::Note;
use crate::movement::{Family, Lengths, Part, Role, opening_gracenote, write_parts};
use crate::wording::{self, capital};
use std::fmt::Write as _;

/// A headed paragraph of a page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paragraph {
    /// The heading above it; may be empty.
    pub heading: &'static str,
    /// Its lines.
    pub lines: Vec<Line>,
}

/// One line of a paragraph.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Line {
    /// Prose that is wrapped at the width of the page.
    Prose(String),
    /// A marked item whose text is indented beside the mark.
    Item {
        /// The mark: a number, a note or a name.
        mark: String,
        /// The text of the item.
        text: String,
    },
    /// A drawn line that is never wrapped.
    Drawn(String),
}

impl Explanation {
    /// `Grip from D to low A`.
    pub fn title(&self) -> String {
        let from = match self.from {
            Some(note) => format!("from {}", note.spoken()),
            None => "at the start of a phrase".to_owned(),
        };
        let to = self.to.spoken();
        let explained = self.explains.unwrap_or(self.movement);
        capital(&format!("{} {from} to {to}", explained.spoken()))
    }

    /// The page, with one paragraph for each subject.
    pub fn page(&self) -> Vec<Paragraph> {
        let mut page = vec![self.opening()];
        let mut add = |heading, lines: Vec<Line>| {
            if !lines.is_empty() {
                page.push(Paragraph { heading, lines });
            }
        };
        add("What you play", self.played());
        add("When", self.when());
        add("Fingers", self.finger_lines());
        add(
            "Between the notes",
            sentences(self.crossings.iter().map(|noise| &noise.sentence)),
        );
        add(
            "Listen for",
            self.listen_for
                .iter()
                .map(|text| item("·", text.clone()))
                .collect(),
        );
        add("Clean first", self.clean_first());
        add("From other notes", self.elsewhere_lines());
        add("By other schools", self.school_lines());
        page
    }

    /// The page as plain text, at most `width` columns wide where words allow.
    pub fn write(&self, width: usize) -> String {
        let width = width.clamp(20, 100);
        let mut text = format!("{}\n", self.title());
        for paragraph in self.page() {
            if !paragraph.heading.is_empty() {
                text.push('\n');
                text.push_str(paragraph.heading);
                text.push('\n');
            }
            for line in &paragraph.lines {
                line.write(
                    &mut text,
                    if paragraph.heading.is_empty() { 0 } else { 2 },
                    width,
                );
            }
        }
        text
    }

    /// Why the movement is not played here, and what is played instead; none when it is played.
    pub fn refusal(&self) -> Option<String> {
        let why = self.why_not.as_ref()?;
        let mut told = format!("No {} can be played here: {why}.", self.movement.spoken());
        if let Some(instead) = self.explains {
            let _ = write!(
                told,
                " Play the {} instead, which this page explains: {}.",
                instead.spoken(),
                self.written()
            );
        }
        Some(told)
    }

    fn opening(&self) -> Paragraph {
        let mut lines = Vec::new();
        if let Some(told) = self.refusal() {
            lines.push(Line::Prose(told));
        } else {
            lines.push(Line::Prose(self.written()));
        }
        let mut about = self.purpose.clone();
        if let Some(replaced) = &self.replaced {
            let _ = write!(about, " {}.", capital(replaced));
        }
        if !about.is_empty() {
            lines.push(Line::Prose(String::new()));
            lines.push(Line::Prose(about));
        }
        Paragraph { heading: "", lines }
    }

    /// The group as it is written: `LG (B) LG`, or for a figure with its melody notes `(HG) C (D)
    /// LA`.
    fn written(&self) -> String {
        if let Some(first) = self.figure_note() {
            let opening = opening_of(first);
            return format!("{opening}{first} {} {}", self.group(), self.to);
        }
        self.group()
    }

    /// The short first note of a figure; none when the explanation is not of a figure.
    fn figure_note(&self) -> Option<Note> {
        self.from.filter(|_| {
            self.explains
                .is_some_and(|movement| movement.family() == Family::Figure)
        })
    }

    /// The gracenotes of the group: `LG (B) LG`.
    fn group(&self) -> String {
        let parts: Vec<Part> = self
            .parts
            .iter()
            .map(|part| Part {
                note: part.note,
                role: if part.sounding {
                    Role::Sounding
                } else {
                    Role::Separating
                },
                held: part.held,
            })
            .collect();
        write_parts(&parts)
    }

    fn played(&self) -> Vec<Line> {
        let mut lines: Vec<Line> = self
            .parts
            .iter()
            .map(|part| item(&format!("{:<4}", mark(part)), part.reason.clone()))
            .collect();
        let tones = self.parts.iter().filter(|part| part.sounding).count();
        let gracenotes = self.parts.len() - tones;
        if tones > 0 && gracenotes > 0 {
            lines.push(Line::Prose(format!(
                "The bare {} to be heard; what stands in brackets only separates.",
                if tones == 1 {
                    "note is a tone"
                } else {
                    "notes are tones"
                },
            )));
        }
        lines
    }

    fn when(&self) -> Vec<Line> {
        let Some(time) = &self.time else {
            return Vec::new();
        };
        let mut lines: Vec<Line> = self
            .line_of_beats(time)
            .into_iter()
            .map(Line::Drawn)
            .collect();
        lines.push(Line::Prose(format!(
            "{} (At {} beats a minute, a beat being {:.0} ms; the lengths are a usual choice, not a \
             law.)",
            time.sentence,
            time.tempo,
            time.tempo.beat().to_f64()
        )));
        lines
    }

    /// A drawing of three lines: the notes with each beat as `│`, the milliseconds, and the beats.
    fn line_of_beats(&self, time: &Time) -> Vec<String> {
        // The drawing fits into 80 columns even for the longest variations.
        let wide: usize = self.parts.iter().map(|part| mark(part).len() + 1).sum();
        let dash = match wide {
            0..=36 => "──────────── ",
            37..=56 => "─── ",
            _ => "",
        };
        let mut notes = format!("│ {} {dash}", self.from.map_or("", Note::name));
        let mut lengths = " ".repeat(notes.chars().count());
        let figure = self.figure_note();
        if let Some(first) = figure {
            // All gracenotes of a figure have the same length, and each takes its time from the
            // note it opens.
            let gracenote = self.parts.first().map_or(0, |part| part.milliseconds);
            let short = (Lengths::figure_note().0 * time.tempo.beat().0).round();
            let opening = opening_of(first);
            let (opens, left) = if opening.is_empty() {
                (String::new(), short)
            } else {
                let wide = opening.len();
                let left = short - i128::from(gracenote);
                (format!("{gracenote:<wide$}"), left)
            };
            let left = left.to_string();
            let wide = first.name().len().max(left.len());
            notes = format!("│ {opening}{first:<wide$} ");
            lengths = format!("  {opens}{left:<wide$} ");
        }
        let mut beats = vec![0];
        for (place, part) in self.parts.iter().enumerate() {
            if place == time.before_beat && figure.is_none() {
                beats.push(notes.chars().count());
                notes.push_str("│ ");
                lengths.push_str("  ");
            }
            let note = mark(part);
            let length = part.milliseconds.to_string();
            let wide = note.chars().count().max(length.len());
            let _ = write!(notes, "{note:<wide$} ");
            let _ = write!(lengths, "{length:<wide$} ");
        }
        if time.before_beat == self.parts.len() {
            beats.push(notes.chars().count());
            notes.push_str("│ ");
        }
        let _ = write!(notes, "{} {dash}", self.to);
        beats.push(notes.chars().count());
        notes.push('│');
        lengths.truncate(lengths.trim_end().len());
        lengths.push_str(" ms");
        let mut marks = String::new();
        let last = beats.len() - 1;
        // A held note inside may last more than a beat, so the next line need not be the next beat.
        let goes_over = self.parts.iter().any(|part| part.held);
        for (place, beat) in beats.iter().enumerate() {
            let gap = beat.saturating_sub(marks.chars().count());
            marks.push_str(&" ".repeat(gap));
            let name = if place == last && goes_over {
                "▲ a later beat"
            } else {
                "▲ beat"
            };
            // The label may reach to the next mark, or to the edge of a narrow page.
            let room = beats.get(place + 1).unwrap_or(&77).saturating_sub(*beat);
            let fits = name.chars().count() < room;
            marks.push_str(if fits { name } else { "▲" });
        }
        vec![notes, lengths, marks]
    }

    fn finger_lines(&self) -> Vec<Line> {
        self.fingers
            .iter()
            .enumerate()
            .map(|(place, step)| {
                let lasts = step
                    .milliseconds
                    .map_or(String::new(), |ms| format!(" {ms} ms."));
                item(
                    &format!("{:>2}", place + 1),
                    format!("{}{lasts}", step.sentence),
                )
            })
            .collect()
    }

    fn clean_first(&self) -> Vec<Line> {
        if self.first.is_empty() {
            return Vec::new();
        }
        let (whole, single): (Vec<&Foundation>, Vec<&Foundation>) = self
            .first
            .iter()
            .partition(|foundation| foundation.movement.is_some() && foundation.on.is_none());
        let words: Vec<&str> = whole
            .into_iter()
            .chain(single)
            .map(|foundation| foundation.what.as_str())
            .collect();
        vec![Line::Prose(format!("{}.", capital(&wording::list(&words))))]
    }

    fn elsewhere_lines(&self) -> Vec<Line> {
        let mut lines: Vec<Line> = self
            .elsewhere
            .iter()
            .map(|there| {
                let from: Vec<&str> = there.from.iter().map(|note| note.spoken()).collect();
                let played = if there.parts.is_empty() {
                    "not played".to_owned()
                } else {
                    write_parts(&there.parts)
                };
                let why = there
                    .why
                    .as_ref()
                    .map_or(String::new(), |why| format!("; {why}"));
                let instead = there.instead.map_or(String::new(), |instead| {
                    format!("; play the {} instead", instead.spoken())
                });
                let from = wording::list(&from);
                item("·", format!("from {from}: {played}{why}{instead}"))
            })
            .collect();
        lines.push(Line::Prose(self.closes.clone()));
        lines
    }

    fn school_lines(&self) -> Vec<Line> {
        self.schools
            .iter()
            .map(|school| {
                let played = write_parts(&school.parts);
                item(
                    "·",
                    format!("{}: {}. Here: {played}.", school.name, school.description),
                )
            })
            .collect()
    }
}

impl Line {
    fn write(&self, text: &mut String, indent: usize, width: usize) {
        let margin = " ".repeat(indent);
        match self {
            Self::Drawn(drawn) => {
                text.push_str(&margin);
                text.push_str(drawn);
            }
            Self::Prose(prose) => {
                let options = textwrap::Options::new(width)
                    .initial_indent(&margin)
                    .subsequent_indent(&margin);
                text.push_str(&textwrap::fill(prose, options));
            }
            Self::Item { mark, text: prose } => {
                let first = format!("{margin}{mark} ");
                let rest = " ".repeat(first.chars().count());
                let options = textwrap::Options::new(width)
                    .initial_indent(&first)
                    .subsequent_indent(&rest);
                text.push_str(&textwrap::fill(prose, options));
            }
        }
        text.push('\n');
    }
}

/// The gracenote that opens the first note of a figure, such as `(HG) `; empty when none does.
fn opening_of(first: Note) -> String {
    opening_gracenote(None, first).map_or(String::new(), |gracenote| format!("({gracenote}) "))
}

fn item(mark: &str, text: String) -> Line {
    Line::Item {
        mark: mark.to_owned(),
        text,
    }
}

fn sentences<'a>(texts: impl Iterator<Item = &'a String>) -> Vec<Line> {
    texts.map(|text| Line::Prose(text.clone())).collect()
}

/// A part in the notation of the page: `LG`, `(B)`, `E~`.
fn mark(part: &PartExplained) -> String {
    match (part.sounding, part.held) {
        (true, true) => format!("{}~", part.note),
        (true, false) => part.note.to_string(),
        (false, _) => format!("({})", part.note),
    }
}
