//! A piece to MusicXML.

use super::{ALSO, HELD, KIND, ORIGIN, STAGES, listen_here};
use crate::chanter::Note;
use crate::drill::Bar;
use crate::exchange::Section;
use crate::exchange::piece::Piece;
use crate::rhythm::{Head, Metre, NoteValue, WrittenBar};
use crate::score::{NoteId, ScoreNote};
use crate::timeline::{EventKind, Layout, lay};
use crate::units::{Beats, Fraction, SampleRate, write_fraction};
use num_integer::Integer;
use quick_xml::escape::escape;
use std::collections::HashMap;
use std::fmt::Write as _;

/// Writes a partwise score, UTF-8.
pub fn write(piece: &Piece) -> Vec<u8> {
    let mut text = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"no\"?>\n\
         <!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \
         \"partwise.dtd\">\n<score-partwise version=\"4.0\">\n",
    );
    let _ = writeln!(
        text,
        "<work><work-title>{}</work-title></work>\n<identification>\n{}\
         <encoding><software>gracerung {}</software></encoding>",
        escape(piece.title.as_str()),
        composer(piece),
        env!("CARGO_PKG_VERSION")
    );
    let _ = write!(
        text,
        "<miscellaneous><miscellaneous-field name=\"{STAGES}\">rehearsal marks</miscellaneous-field>"
    );
    let head = &piece.head;
    let kept = [(KIND, &head.kind), (ORIGIN, &head.origin)];
    let kept = kept
        .into_iter()
        .filter_map(|(name, said)| Some((name, said.clone()?)));
    let also = head.also.iter().map(|title| (ALSO, title.clone()));
    let remarks = kept.chain(also).chain(piece.remarks());
    let here = piece
        .sections
        .iter()
        .zip(1..)
        .filter_map(|(section, number)| Some((listen_here(number), section.listen_for.clone()?)));
    for (name, remark) in remarks
        .map(|(name, text)| (name.to_owned(), text))
        .chain(here)
    {
        let _ = write!(
            text,
            "<miscellaneous-field name=\"{name}\">{}</miscellaneous-field>",
            escape(remark.as_str())
        );
    }
    text.push_str(
        "</miscellaneous>\n</identification>\n<part-list>\n<score-part id=\"P1\">\
         <part-name>Bagpipe</part-name>\n<score-instrument id=\"P1-I1\">\
         <instrument-name>Bagpipe</instrument-name>\
         <instrument-sound>wind.pipes.bagpipes</instrument-sound></score-instrument>\n\
         <midi-instrument id=\"P1-I1\"><midi-channel>1</midi-channel>\
         <midi-program>110</midi-program></midi-instrument>\n</score-part>\n</part-list>\n\
         <part id=\"P1\">\n",
    );
    let divisions = divisions(piece);
    let mut so_far = SoFar::default();
    for section in &piece.sections {
        let writer = SectionWriter {
            piece,
            section,
            divisions,
            shares: shares(piece, section),
        };
        writer.measures(&mut text, &mut so_far);
    }
    text.push_str("</part>\n</score-partwise>\n");
    text.into_bytes()
}

/// Who composed it, as the format has it.
fn composer(piece: &Piece) -> String {
    piece
        .head
        .composer
        .as_ref()
        .map_or_else(String::new, |name| {
            format!(
                "<creator type=\"composer\">{}</creator>\n",
                escape(name.as_str())
            )
        })
}

/// Divisions of a quarter note in which every length is whole.
fn divisions(piece: &Piece) -> i128 {
    let mut divisions: i128 = 1;
    for music in piece.sections.iter().map(|section| &section.music) {
        for (bar, metre) in music.write_bars().iter().zip(music.metres()) {
            for head in &bar.heads {
                let quarters = metre.semibreves_of(head.beats) * Fraction::from_integer(4);
                divisions = divisions.lcm(quarters.denom());
            }
        }
    }
    divisions
}

/// What part of the note it is taken from each gracenote lasts, in percent, at the piece's tempo.
fn shares(piece: &Piece, section: &Section) -> HashMap<NoteId, f64> {
    let layout = Layout {
        lengths: piece.lengths,
        ..Layout::at(piece.played_at(), SampleRate::USUAL)
    };
    let timeline = lay(&section.score, &layout);
    let mut lengths: HashMap<NoteId, Beats> = HashMap::new();
    for event in &timeline.again {
        if let EventKind::Sound(sounded) = event.kind {
            lengths.insert(sounded.id, sounded.length);
        }
    }
    let notes = &section.score.notes;
    let mut shares = HashMap::new();
    let mut giver = notes.last().map_or(Beats::ONE, |note| note.written);
    for note in notes {
        for (place, part) in note.group.parts.iter().enumerate() {
            let from = if place < note.group.before_beat {
                giver
            } else {
                note.written
            };
            let length = lengths.get(&part.id).copied().unwrap_or(Beats::ZERO);
            if !from.is_zero() {
                let share = Beats(length.0 / from.0).to_f64() * 100.0;
                shares.entry(part.id).or_insert(share.clamp(0.01, 100.0));
            }
        }
        giver = note.written;
    }
    shares
}

/// What a section takes over from the one before it: one part holds them all.
#[derive(Debug, Default)]
struct SoFar {
    /// The number of the last full measure.
    number: u32,
    /// The metre that was written last; none before the first measure.
    metre: Option<Metre>,
}

struct SectionWriter<'a> {
    piece: &'a Piece,
    section: &'a Section,
    divisions: i128,
    shares: HashMap<NoteId, f64>,
}

impl SectionWriter<'_> {
    fn measures(&self, text: &mut String, so_far: &mut SoFar) {
        let metres = self.section.music.metres();
        let written = self.section.music.write_bars();
        let bars = &self.section.music.bars;
        let numbers = self.section.music.bar_numbers();
        let begins_short = !self.section.music.pickup().is_zero();
        let resolved = self.section.bars();
        let starts = repeat_starts(self.section);
        let mut tied = false;
        for (place, bar) in bars.iter().enumerate() {
            let metre = metres[place];
            let second_half = place > 0 && numbers[place] == numbers[place - 1];
            let pickup = second_half || place == 0 && begins_short;
            let named = if pickup && so_far.number == 0 {
                "0".to_owned()
            } else if pickup {
                format!("X{}", so_far.number)
            } else {
                so_far.number += 1;
                so_far.number.to_string()
            };
            let implicit = if bar.is_short(metre) {
                " implicit=\"yes\""
            } else {
                ""
            };
            let _ = writeln!(text, "<measure number=\"{named}\"{implicit}>");
            let before = so_far.metre.replace(metre);
            let line_before = place.checked_sub(1).is_some_and(|at| bars[at].line_ends);
            if (place == 0 && before.is_some()) || line_before {
                text.push_str("<print new-system=\"yes\"/>\n");
            }
            // a section may begin in another metre than the one before it ends in
            match before {
                None => self.attributes(text, metre),
                Some(before) if before != metre => {
                    let _ = writeln!(text, "<attributes>{}</attributes>", time(metre));
                }
                Some(_) => {}
            }
            if starts[place] || bar.ending.is_some() {
                text.push_str("<barline location=\"left\">");
                if starts[place] {
                    text.push_str("<bar-style>heavy-light</bar-style>");
                }
                if let Some(ending) = bar.ending {
                    let _ = write!(text, "<ending number=\"{ending}\" type=\"start\"/>");
                }
                if starts[place] {
                    text.push_str("<repeat direction=\"forward\"/>");
                }
                text.push_str("</barline>\n");
            }
            if place == 0 {
                self.directions(text);
            }
            // the beat is the same in another metre, and another note may have it
            if before != Some(metre) {
                self.metronome(text, metre);
            }
            let here = (bar, &written[place], metre);
            tied = self.notes(text, here, resolved[place], tied);
            let last = place + 1 == bars.len();
            let style = match (bar.repeat_ends || last, bar.part_ends) {
                (true, _) => Some("light-heavy"),
                (_, true) => Some("light-light"),
                _ => None,
            };
            if let Some(style) = style {
                let _ = write!(
                    text,
                    "<barline location=\"right\"><bar-style>{style}</bar-style>"
                );
                if let Some(ending) = bar.ending {
                    let kind = if bar.repeat_ends {
                        "stop"
                    } else {
                        "discontinue"
                    };
                    let _ = write!(text, "<ending number=\"{ending}\" type=\"{kind}\"/>");
                }
                if bar.repeat_ends {
                    text.push_str("<repeat direction=\"backward\"/>");
                }
                text.push_str("</barline>\n");
            } else if let Some(ending) = bar.ending {
                let _ = writeln!(
                    text,
                    "<barline location=\"right\"><ending number=\"{ending}\" type=\"discontinue\"/>\
                     </barline>"
                );
            }
            text.push_str("</measure>\n");
        }
    }

    /// Two sharps that are not printed: without the key readers would print sharps.
    fn attributes(&self, text: &mut String, metre: Metre) {
        let _ = writeln!(
            text,
            "<attributes><divisions>{}</divisions>\
             <key print-object=\"no\"><fifths>2</fifths></key>\
             {}\
             <clef><sign>G</sign><line>2</line></clef></attributes>",
            self.divisions,
            time(metre)
        );
    }

    fn directions(&self, text: &mut String) {
        if self.section.name != Section::ONLY {
            let _ = writeln!(
                text,
                "<direction placement=\"above\"><direction-type><rehearsal>{}</rehearsal>\
                 </direction-type></direction>",
                escape(self.section.name.as_str())
            );
        }
    }

    fn metronome(&self, text: &mut String, metre: Metre) {
        let tempo = self.piece.played_at();
        let (value, dotted) = metre.beat_value();
        let (unit, dot) = (name(value), if dotted { "<beat-unit-dot/>" } else { "" });
        let quarters = Beats(tempo.value() * metre.beat_of_semibreve() * Fraction::from_integer(4));
        let _ = writeln!(
            text,
            "<direction placement=\"above\"><direction-type><metronome>\
             <beat-unit>{unit}</beat-unit>{dot}<per-minute>{}</per-minute></metronome>\
             </direction-type><sound tempo=\"{}\"/></direction>",
            write_fraction(&tempo.value()),
            decimal(quarters.to_f64())
        );
    }

    /// Writes the heads of a bar; gives whether the last is tied to the next bar.
    fn notes(
        &self,
        text: &mut String,
        (bar, written, metre): (&Bar, &WrittenBar, Metre),
        scores: &[ScoreNote],
        tied: bool,
    ) -> bool {
        let flags: Vec<(i128, u8)> = written
            .heads
            .iter()
            .map(|head| {
                let beat = metre.beam_at(head.place);
                (beat, head.value.value.flags())
            })
            .collect();
        let mut continues = tied;
        for (index, head) in written.heads.iter().enumerate() {
            let Some(note) = bar.notes.get(head.note) else {
                continue;
            };
            if head.begins
                && let Some(score) = scores.get(head.note)
            {
                text.push_str(&self.gracenotes(score, metre));
            }
            self.head(text, written, (head, metre), note.note, continues);
            text.push_str(&beams(&flags, index));
            notations(text, written, index, continues);
            text.push_str("</note>\n");
            continues = head.tied;
        }
        continues
    }

    /// A head up to its stem.
    fn head(
        &self,
        text: &mut String,
        bar: &WrittenBar,
        (head, metre): (&Head, Metre),
        note: Note,
        continues: bool,
    ) {
        let quarters = metre.semibreves_of(head.beats) * Fraction::from_integer(4);
        let _ = write!(
            text,
            "<note>{}<duration>{}</duration>",
            pitch(note),
            write_fraction(&(quarters * Fraction::from_integer(self.divisions)))
        );
        for (on, kind) in [(continues, "stop"), (head.tied, "start")] {
            if on {
                let _ = write!(text, "<tie type=\"{kind}\"/>");
            }
        }
        text.push_str("<voice>1</voice>");
        // a length finer than any value has no type, and readers go by its duration
        if bar.exact {
            let _ = write!(text, "<type>{}</type>", name(head.value.value));
            for _ in 0..head.value.dots {
                text.push_str("<dot/>");
            }
        }
        if let Some(tuplet) = head.tuplet.and_then(|tuplet| bar.tuplets.get(tuplet)) {
            let _ = write!(
                text,
                "<time-modification><actual-notes>{}</actual-notes>\
                 <normal-notes>{}</normal-notes></time-modification>",
                tuplet.notes, tuplet.time
            );
        }
        text.push_str("<stem>down</stem>");
    }

    fn gracenotes(&self, score: &ScoreNote, metre: Metre) -> String {
        let mut text = String::new();
        let parts = &score.group.parts;
        for (place, part) in parts.iter().enumerate() {
            let share = self.shares.get(&part.id).copied().unwrap_or(1.0);
            let from = if place < score.group.before_beat {
                "steal-time-previous"
            } else {
                "steal-time-following"
            };
            let _ = write!(
                text,
                "<note><grace {from}=\"{}\" slash=\"no\"/>{}<voice>1</voice>\
                 <type>32nd</type><stem>up</stem>",
                // Whole per cent: the schema allows fractions, readers do not (music21 9 fails).
                share.round().clamp(1.0, 100.0),
                pitch(part.note)
            );
            if parts.len() > 1 {
                let kind = match place {
                    0 => "begin",
                    place if place + 1 == parts.len() => "end",
                    _ => "continue",
                };
                for number in 1..=3 {
                    let _ = write!(text, "<beam number=\"{number}\">{kind}</beam>");
                }
            }
            if let Some(held) = part.held {
                let part = metre.semibreves_of(held);
                let _ = write!(
                    text,
                    "<play><other-play type=\"{HELD}\">{}</other-play></play>",
                    write_fraction(&part)
                );
            }
            text.push_str("</note>\n");
        }
        text
    }
}

fn time(metre: Metre) -> String {
    if metre.is_free() {
        return "<time><senza-misura/></time>".to_owned();
    }
    let (above, below) = metre.figures();
    format!("<time><beats>{above}</beats><beat-type>{below}</beat-type></time>")
}

/// Ties and the ends of tuplets.
fn notations(text: &mut String, bar: &WrittenBar, index: usize, continues: bool) {
    let head = &bar.heads[index];
    let heads = head
        .tuplet
        .and_then(|tuplet| bar.tuplets.get(tuplet))
        .map(|tuplet| tuplet.heads.clone());
    let begins = heads.as_ref().is_some_and(|heads| heads.start == index);
    let ends = heads.is_some_and(|heads| heads.end == index + 1);
    if !(continues || head.tied || begins || ends) {
        return;
    }
    text.push_str("<notations>");
    for (on, kind) in [(continues, "stop"), (head.tied, "start")] {
        if on {
            let _ = write!(text, "<tied type=\"{kind}\"/>");
        }
    }
    for (on, kind) in [(begins, "start"), (ends, "stop")] {
        if on {
            let _ = write!(text, "<tuplet type=\"{kind}\"/>");
        }
    }
    text.push_str("</notations>");
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

/// The beams of a note by beat: joined to its neighbours in the same beat, hooks where alone.
fn beams(flags: &[(i128, u8)], at: usize) -> String {
    let mut text = String::new();
    let (beat, own) = flags[at];
    let near = |place: Option<usize>| {
        place
            .and_then(|place| flags.get(place))
            .filter(|(other, flags)| *other == beat && *flags > 0)
            .map_or(0, |(_, flags)| *flags)
    };
    let before = near(at.checked_sub(1));
    let after = near(Some(at + 1));
    if before == 0 && after == 0 {
        return text;
    }
    for number in 1..=own {
        let kind = match (before >= number, after >= number) {
            (true, true) => "continue",
            (true, false) => "end",
            (false, true) => "begin",
            (false, false) if before > 0 => "backward hook",
            (false, false) => "forward hook",
        };
        let _ = write!(text, "<beam number=\"{number}\">{kind}</beam>");
    }
    text
}

fn decimal(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Written pitches: G4 A4 B4 C♯5 D5 E5 F♯5 G5 A5.
fn pitch(note: Note) -> String {
    let letter = note.abc_letter().to_ascii_uppercase();
    let alter = if matches!(note, Note::C | Note::F) {
        "<alter>1</alter>"
    } else {
        ""
    };
    let octave = if note <= Note::B { 4 } else { 5 };
    format!("<pitch><step>{letter}</step>{alter}<octave>{octave}</octave></pitch>")
}

fn name(value: NoteValue) -> &'static str {
    match value {
        NoteValue::Semibreve => "whole",
        NoteValue::Minim => "half",
        NoteValue::Crotchet => "quarter",
        NoteValue::Quaver => "eighth",
        NoteValue::Semiquaver => "16th",
        NoteValue::Demisemiquaver => "32nd",
        NoteValue::Hemidemisemiquaver => "64th",
    }
}
