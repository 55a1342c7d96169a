//! The notes of a measure: what the chanter cannot play is told, and dealt with.

use super::part::PartReader;
use super::text::{at, shown};
use crate::chanter::Note;
use crate::drill::{Bar, Gracenote, Group, Written};
use crate::exchange::musicxml::HELD;
use crate::exchange::musicxml::tree::Element;
use crate::exchange::piece::foreign;
use crate::units::{Beats, Fraction, parse_fraction, write_fraction};

impl PartReader {
    /// A note, a gracenote, a rest or one note of a chord.
    pub(super) fn read_note(&mut self, element: &Element, bar: &mut Bar) {
        if self.is_of_another_voice(element) {
            return;
        }
        self.tell_what_is_left_out(element);
        let chord = element.child("chord").is_some();
        let grace = element.child("grace").is_some();
        let length = element
            .text_of("duration")
            .and_then(|text| parse_fraction(text).ok())
            .zip(self.divisions)
            .map(|(duration, divisions)| duration / divisions / Fraction::from_integer(4));
        let length = match length {
            Some(length) if !self.fits(element, Beats(length)) => return,
            length => length,
        };
        let Some(pitch) = element.child("pitch") else {
            self.read_rest(element, length, bar);
            return;
        };
        let note = self.pitch(pitch);
        if grace {
            if chord {
                self.note(element, "a chord of gracenotes", "its first note is kept");
                return;
            }
            let held = self.held(element);
            self.group.push(Gracenote { note, held });
            return;
        }
        if chord {
            self.note(element, "a chord", "its highest note is kept");
            if let Some(last) = bar.notes.last_mut() {
                last.note = last.note.max(note);
            }
            return;
        }
        let Some(length) = length.filter(|length| *length > Fraction::from_integer(0)) else {
            self.problems.push(foreign(
                at(element.line),
                "a note without a length",
                "a `duration` after `divisions`",
            ));
            return;
        };
        let group = match std::mem::take(&mut self.group) {
            group if group.is_empty() => Group::None,
            group => Group::Spelled(group),
        };
        bar.notes.push(Written {
            note,
            length: Beats(length + std::mem::take(&mut self.owed)),
            tied: element
                .all("tie")
                .any(|tie| tie.attribute("type") == Some("start")),
            group,
        });
    }

    /// True, and told, where a note is not of the voice that is read.
    fn is_of_another_voice(&mut self, element: &Element) -> bool {
        if let Some(voice) = element.text_of("voice") {
            let main = self.voice.get_or_insert_with(|| voice.to_owned()).clone();
            if main != voice {
                self.note(
                    element,
                    format!("a note of voice `{}`", shown(voice)),
                    "left out: the chanter plays one line",
                );
                return true;
            }
        }
        false
    }

    /// Tells what stands on a note and has no place in a drill.
    fn tell_what_is_left_out(&mut self, element: &Element) {
        for child in &element.children {
            match child.name.as_str() {
                "lyric" | "listen" => {
                    self.note(child, format!("`{}`", shown(&child.name)), "left out");
                }
                "notations" => {
                    for own in &child.children {
                        if !matches!(own.name.as_str(), "tied" | "tuplet") {
                            self.note(own, format!("`{}` on a note", shown(&own.name)), "left out");
                        }
                    }
                }
                _ => {}
            }
        }
    }

    /// A rest: the note before it sounds on, or the first note begins there.
    fn read_rest(&mut self, element: &Element, length: Option<Fraction>, bar: &mut Bar) {
        let rest = element.child("rest").is_some();
        match (rest, length, bar.notes.last_mut()) {
            (true, Some(length), Some(last)) => {
                last.tied = true;
                let note = last.note;
                bar.notes.push(Written {
                    note,
                    length: Beats(length),
                    tied: false,
                    group: Group::None,
                });
                self.note(element, "a rest", "the note before sounds on");
            }
            (true, Some(length), None) => {
                let before = self
                    .sections
                    .last_mut()
                    .and_then(|(_, bars)| bars.last_mut());
                if let Some(last) = before.and_then(|(bar, ..)| bar.notes.last_mut()) {
                    last.tied = true;
                    bar.notes.push(Written {
                        note: last.note,
                        length: Beats(length),
                        tied: false,
                        group: Group::None,
                    });
                    self.note(element, "a rest", "the note before sounds on");
                } else {
                    self.owed += length;
                    self.note(
                        element,
                        "a rest at the start",
                        "the first note begins there",
                    );
                }
            }
            _ => self.note(element, "a note without a pitch", "left out"),
        }
    }

    /// How long a movement holds this gracenote, where our own file says so.
    fn held(&mut self, element: &Element) -> Option<Beats> {
        element
            .child("play")
            .and_then(|play| {
                play.all("other-play")
                    .find(|own| own.attribute("type") == Some(HELD))
            })
            .and_then(|own| parse_fraction(own.text.trim()).ok())
            .map(Beats)
            .filter(|held| self.fits(element, *held))
    }

    /// False, and told, of a length that has with those before it no part in common that exact time
    /// has room for.
    fn fits(&mut self, element: &Element, length: Beats) -> bool {
        let fits = self.common.take(length);
        if !fits {
            self.problems.push(foreign(
                at(element.line),
                format!("a note of {} semibreves", write_fraction(&length.0)),
                "a length that divides a beat into as few parts as the others do",
            ));
        }
        fits
    }

    /// The chanter's note on that line or space, moved by octaves where it has none.
    fn pitch(&mut self, pitch: &Element) -> Note {
        let step = pitch
            .text_of("step")
            .and_then(|step| step.chars().next())
            .unwrap_or('A');
        let octave: i32 = pitch
            .text_of("octave")
            .and_then(|text| text.parse().ok())
            .unwrap_or(4);
        let alter = pitch.text_of("alter").unwrap_or("0");
        let (low, high) = (step.to_ascii_uppercase(), step.to_ascii_lowercase());
        let wanted = match octave {
            4 => Note::from_abc_letter(low),
            5 => Note::from_abc_letter(high),
            _ => None,
        };
        let note = wanted.unwrap_or_else(|| {
            let choices = if octave < 5 { [low, high] } else { [high, low] };
            let near = choices
                .into_iter()
                .find_map(Note::from_abc_letter)
                .unwrap_or(Note::LowA);
            self.note(
                pitch,
                format!(
                    "the note {}{octave} is not one of the chanter's nine",
                    shown(&step.to_string())
                ),
                format!("moved to {}", near.spoken()),
            );
            near
        });
        let own = if matches!(note, Note::C | Note::F) {
            "1"
        } else {
            "0"
        };
        if alter != own {
            self.note(
                pitch,
                format!("{} altered by `{}`", note.spoken(), shown(alter)),
                "as the chanter has it",
            );
        }
        note
    }
}
