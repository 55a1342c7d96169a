//! Writes bars as ABC body text, for drill files and for other programs.
//!
//! Gracenotes must be spelled out beforehand: an opening gracenote or a movement that is not
//! spelled out is left out. Knows no header fields and no file.

use super::written::{Bar, Group, Music, Written};
use crate::rhythm::{Metre, WrittenBar};
use crate::units::{Beats, Fraction, write_fraction};
use std::fmt::Write as _;

/// A tempo in beats a minute as a note (a part of a semibreve) and how many of them a minute has;
/// none when that is not a whole number.
fn whole_tempo(metre: Metre, tempo: Fraction) -> Option<(Fraction, i128)> {
    let part = metre.beat_of_semibreve() / Fraction::from_integer(*tempo.denom());
    // A third of a dotted beat is a note; a third of a plain beat is not.
    (part.denom().count_ones() == 1).then_some((part, *tempo.numer()))
}

/// A tempo in beats a minute as a note and how many of them a minute has. When that is not a whole
/// number, it is the nearest whole number of quarters of a beat, because ABC does not define
/// decimals.
pub fn near_tempo(metre: Metre, tempo: Fraction) -> (Fraction, i128) {
    whole_tempo(metre, tempo).unwrap_or_else(|| {
        let four = Fraction::from_integer(4);
        let count = (tempo * four).round().to_integer();
        (metre.beat_of_semibreve() / four, count)
    })
}

/// The most bars on a line.
const MOST_BARS_A_LINE: usize = 8;
/// How much fits on a line when a note counts two and a gracenote one: about four bars of a march.
const FULL_LINE: usize = 64;

/// How to write a length that no single note value has.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Manner {
    /// As a fraction, as in drill files.
    Fraction,
    /// With tied notes and tuplets, as typesetting programs need it.
    Tied,
}

/// Body text for a drill file: each written note is one note.
pub fn plain_body(music: &Music, unit: Fraction) -> String {
    body(music, unit, Manner::Fraction, None)
}

/// Body text for other programs: a length that no single note value has is written with ties or
/// tuplets. A `tempo` in beats a minute is repeated where the metre changes, because another note
/// may then be the beat.
pub fn printed_body(music: &Music, unit: Fraction, tempo: Option<Fraction>) -> String {
    body(music, unit, Manner::Tied, tempo)
}

/// A change of metre in body text: the figures, and the note that keeps its length when that is not
/// the beat.
pub(super) fn change_text(before: Metre, metre: Metre) -> String {
    let equal = metre
        .equal_notes(before)
        .map_or_else(String::new, |(before, after)| {
            format!("[Q:{}={}]", write_fraction(&before), write_fraction(&after))
        });
    format!("[M:{}]{equal}", metre.printed())
}

fn body(music: &Music, unit: Fraction, manner: Manner, tempo: Option<Fraction>) -> String {
    let begins = repeat_starts(music);
    let mut text = String::new();
    let breaks = line_breaks(music);
    let metres = music.metres();
    let written = match manner {
        Manner::Fraction => Vec::new(),
        Manner::Tied => music.write_bars(),
    };
    for (place, bar) in music.bars.iter().enumerate() {
        if begins[place] {
            if text.ends_with('|') && !text.ends_with(":|") && !text.ends_with("||") {
                text.pop();
            }
            text.push_str("|:");
        }
        if let Some(ending) = bar.ending {
            let _ = write!(text, "[{ending} ");
        }
        if let Some(metre) = bar.metre {
            let before = place.checked_sub(1).map_or(music.metre, |at| metres[at]);
            match tempo {
                None => text.push_str(&change_text(before, metre)),
                Some(tempo) => {
                    let _ = write!(text, "[M:{}]", metre.printed());
                    let (part, count) = near_tempo(metre, tempo / metre.pace());
                    let _ = write!(text, "[Q:{}={count}]", write_fraction(&part));
                }
            }
            text.push(' ');
        }
        match manner {
            Manner::Fraction => plain_bar(&mut text, bar, metres[place], unit),
            Manner::Tied => printed_bar(&mut text, bar, &written[place], metres[place], unit),
        }
        let last = place + 1 == music.bars.len();
        text.push_str(match (bar.repeat_ends, last, bar.part_ends) {
            (true, ..) => ":|",
            (_, true, _) => "|]",
            (_, _, true) => "||",
            _ => "|",
        });
        if breaks[place] && !last {
            text.push('\n');
        }
    }
    text.push('\n');
    text
}

/// The bars after which a line ends. Music without a metre keeps its written lines. Other music has
/// a line end at the end of a part, and within the part so that its lines are about equally full.
fn line_breaks(music: &Music) -> Vec<bool> {
    if music.bars.iter().any(|bar| bar.line_ends) {
        return music.bars.iter().map(|bar| bar.line_ends).collect();
    }
    let mut breaks = Vec::with_capacity(music.bars.len());
    for part in music
        .bars
        .split_inclusive(|bar| bar.part_ends || bar.repeat_ends)
    {
        let weight: usize = part.iter().map(bar_weight).sum();
        let lines = weight
            .div_ceil(FULL_LINE)
            .max(part.len().div_ceil(MOST_BARS_A_LINE));
        let (mut so_far, mut line) = (0, 1);
        for (place, bar) in part.iter().enumerate() {
            so_far += bar_weight(bar);
            let ends = so_far * lines >= weight * line || place + 1 == part.len();
            line += usize::from(ends);
            breaks.push(ends);
        }
    }
    breaks
}

/// How much room a bar takes on a line; a note takes as much as two gracenotes.
fn bar_weight(bar: &Bar) -> usize {
    let notes: usize = bar.notes.iter().map(|note| 2 + note.group.len()).sum();
    // A change of metre needs room for its figures.
    notes + if bar.metre.is_some() { 6 } else { 0 }
}

/// True for each bar that begins a repeated part. The first repeat sign is written too, although
/// ABC 2.1 allows leaving it out.
fn repeat_starts(music: &Music) -> Vec<bool> {
    let mut starts: Vec<bool> = music.bars.iter().map(|bar| bar.repeat_begins).collect();
    let mut part = 0;
    for (place, bar) in music.bars.iter().enumerate() {
        if bar.repeat_begins {
            part = place;
        }
        if bar.repeat_ends {
            if music.bars[part].ending.is_none() {
                starts[part] = true;
            }
            part = place + 1;
        } else if bar.part_ends {
            part = place + 1;
        }
        if part >= music.bars.len() {
            break;
        }
        // A second ending belongs to the part that it ends.
        if music.bars[part].ending.is_some() && part == place + 1 {
            part = (part + 1).min(music.bars.len() - 1);
        }
    }
    starts
}

/// Writes a bar for a drill file: each note is one note.
fn plain_bar(text: &mut String, bar: &Bar, metre: Metre, unit: Fraction) {
    let mut place = Beats::ZERO;
    for note in &bar.notes {
        if place > Beats::ZERO && (place == place.floor() || note.length >= Beats::ONE) {
            text.push(' ');
        }
        plain_note(text, note, metre, unit);
        place = place + note.length;
    }
}

/// Writes a note for a drill file, with what stands before it.
pub(super) fn plain_note(text: &mut String, note: &Written, metre: Metre, unit: Fraction) {
    gracenotes(text, note, metre, unit);
    text.push(note.note.abc_letter());
    text.push_str(&length_text(metre.semibreves_of(note.length), unit));
    if note.tied {
        text.push('-');
    }
}

/// Writes a bar as it is printed: each head is a note, and tuplets have their figures.
fn printed_bar(text: &mut String, bar: &Bar, written: &WrittenBar, metre: Metre, unit: Fraction) {
    for (place, head) in written.heads.iter().enumerate() {
        let Some(note) = bar.notes.get(head.note) else {
            continue;
        };
        if place > 0 && (head.place == head.place.floor() || head.beats >= Beats::ONE) {
            text.push(' ');
        }
        let tuplet = head.tuplet.and_then(|tuplet| written.tuplets.get(tuplet));
        if let Some(tuplet) = tuplet
            && tuplet.heads.start == place
        {
            let _ = write!(
                text,
                "({}:{}:{}",
                tuplet.notes,
                tuplet.time,
                tuplet.heads.len()
            );
        }
        if head.begins {
            gracenotes(text, note, metre, unit);
        }
        text.push(note.note.abc_letter());
        let length = if written.exact {
            head.value.part_of_semibreve()
        } else {
            metre.semibreves_of(head.beats)
        };
        text.push_str(&length_text(length, unit));
        if head.tied {
            text.push('-');
        }
    }
}

fn gracenotes(text: &mut String, written: &Written, metre: Metre, unit: Fraction) {
    let Group::Spelled(gracenotes) = &written.group else {
        return;
    };
    text.push('{');
    for gracenote in gracenotes {
        text.push(gracenote.note.abc_letter());
        if let Some(held) = gracenote.held {
            let length = length_text(metre.semibreves_of(held), unit);
            text.push_str(if length.is_empty() { "1" } else { &length });
        }
    }
    text.push('}');
}

fn length_text(length: Fraction, unit: Fraction) -> String {
    let units = length / unit;
    match (*units.numer(), *units.denom()) {
        (1, 1) => String::new(),
        (above, 1) => above.to_string(),
        (1, 2) => "/".to_owned(),
        (1, below) => format!("/{below}"),
        (above, below) => format!("{above}/{below}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{adopt_music, read_music};

    #[track_caller]
    fn again(text: &str, metre: Metre, expected: &str) {
        let unit = Fraction::new(1, 8);
        let (music, problems) = read_music(text, metre, unit, "");
        assert_eq!(problems, [], "{text}");
        let written = body(&music, unit, Manner::Tied, None);
        assert_eq!(written, expected);
        let (back, _) = adopt_music(&written, metre, unit, None);
        assert_eq!(back.order, music.order, "{written}");
        assert_eq!(back.length(), music.length(), "{written}");
    }

    #[test]
    fn repeats_endings_and_beats_are_written_as_the_standard_has_them() {
        again(
            "A2B2c2d2|e4f4:|",
            Metre::FOUR_FOUR,
            "|:A2 B2 c2 d2|e4 f4:|\n",
        );
        again(
            "|:A4B4|1c4d4:|2e4f4||A4B4:|",
            Metre::FOUR_FOUR,
            "|:A4 B4|[1 c4 d4:|\n[2 e4 f4||\n|:A4 B4:|\n",
        );
        again("ABcd ABcd|", Metre::FOUR_FOUR, "AB cd AB cd|]\n");
    }

    #[test]
    fn thirds_become_tuplets_and_odd_lengths_are_tied() {
        again(
            "A2/3B2/3c2/3 d2 e4|",
            Metre::FOUR_FOUR,
            "(3:2:3ABc d2 e4|]\n",
        );
        again("A5 B3|", Metre::FOUR_FOUR, "A4- A B3|]\n");
    }
}
