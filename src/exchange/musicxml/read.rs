//! A MusicXML file to a piece.

use super::packed::unpacked;
use super::tree::{Element, read_tree};
use super::{ALSO, HELD, KIND, ORIGIN, STAGES, listen_here};
use crate::chanter::Note;
use crate::drill::{
    Bar, Gracenote, Group, MOST_PASSES, Music, Place, Problem, TuneHead, Written, body_order,
    mend_music, written_out,
};
use crate::exchange::LARGEST_FILE;
use crate::exchange::piece::{
    BEAT, Piece, Practice, REMARKS, Section, adopted, adopted_at, beats_a_minute, counted_by,
    foreign,
};
use crate::movement::Lengths;
use crate::rhythm::{Metre, Pointing};
use crate::units::{Beats, Bpm, CommonPart, Fraction, parse_fraction, write_fraction};
use std::collections::BTreeMap;

/// The most measures that are read.
const MOST_MEASURES: usize = 4096;

/// Reads a partwise score, also packed.
pub fn read(bytes: &[u8]) -> (Option<Piece>, Vec<Problem>) {
    let refuse =
        |place: Place, found: String, expected: &str| (None, vec![foreign(place, found, expected)]);
    if bytes.len() > LARGEST_FILE {
        let found = format!("the file has {} bytes", bytes.len());
        return refuse(Place::WHOLE_FILE, found, "at most 16 MiB");
    }
    let unpacked = match unpacked(bytes) {
        Ok(unpacked) => unpacked,
        Err(problem) => return (None, vec![*problem]),
    };
    let bytes: &[u8] = &unpacked;
    let Ok(source) = std::str::from_utf8(bytes) else {
        let found = "text that is not UTF-8".to_owned();
        return refuse(Place::WHOLE_FILE, found, "a file saved as UTF-8");
    };
    let root = match read_tree(source.trim_start_matches('\u{feff}')) {
        Ok(root) => root,
        Err((line, error)) => {
            return refuse(at(line), format!("this is not XML: {error}"), "MusicXML");
        }
    };
    if root.name != "score-partwise" {
        let found = format!("a document of `{}`", shown(&root.name));
        return refuse(at(root.line), found, "`score-partwise`");
    }
    let mut problems = Vec::new();
    let parts: Vec<&Element> = root.all("part").collect();
    let Some(part) = parts.first() else {
        return refuse(
            at(root.line),
            "a score without a part".to_owned(),
            "one part",
        );
    };
    for other in &parts[1..] {
        problems.push(adopted_at(
            at(other.line),
            "another part",
            "left out: the chanter plays one line",
        ));
    }
    let fields = |name: &str| miscellaneous(&root, name);
    let field = |name: &str| fields(name).into_iter().next();
    let title = root
        .child("work")
        .and_then(|work| work.text_of("work-title"))
        .or_else(|| root.text_of("movement-title"))
        .unwrap_or_default()
        .to_owned();
    let composers: Vec<String> = root
        .child("identification")
        .into_iter()
        .flat_map(|own| own.all("creator"))
        .filter(|creator| creator.attribute("type") == Some("composer"))
        .map(|creator| creator.text.trim().to_owned())
        .filter(|name| !name.is_empty())
        .collect();
    // a movement's own title beside that of its work is a second line
    let second = root.text_of("movement-title").filter(|own| *own != title);
    let head = TuneHead {
        also: second
            .map(str::to_owned)
            .into_iter()
            .chain(fields(ALSO))
            .collect(),
        kind: field(KIND),
        composer: (!composers.is_empty()).then(|| composers.join(", ")),
        origin: field(ORIGIN),
    };
    let mut reader = PartReader {
        stages: field(STAGES).is_some(),
        beat: field(BEAT),
        problems,
        ..PartReader::default()
    };
    for (place, measure) in part.all("measure").enumerate() {
        if place >= MOST_MEASURES {
            reader.problems.push(adopted_at(
                at(measure.line),
                "a measure after the 4096th",
                "left out",
            ));
            continue;
        }
        reader.measure(measure);
    }
    let remarks: Vec<(&str, String)> = REMARKS
        .into_iter()
        .filter_map(|name| Some((name, field(name)?)))
        .collect();
    let here: Vec<Option<String>> = (1..=reader.sections.len())
        .map(|number| field(&listen_here(number)))
        .collect();
    reader.finish(title, head, remarks, here)
}

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

/// Lengths that were read as parts of a semibreve, in beats.
fn in_beats(bar: &mut Bar, metre: Metre) {
    for written in &mut bar.notes {
        written.length = metre.beats_of(written.length.0);
        if let Group::Spelled(gracenotes) = &mut written.group {
            for held in gracenotes.iter_mut().filter_map(|own| own.held.as_mut()) {
                *held = metre.beats_of(held.0);
            }
        }
    }
}

/// What is said beside the music under a name.
fn miscellaneous(root: &Element, name: &str) -> Vec<String> {
    root.child("identification")
        .and_then(|own| own.child("miscellaneous"))
        .into_iter()
        .flat_map(|own| own.all("miscellaneous-field"))
        .filter(|field| field.attribute("name") == Some(name))
        .map(|field| field.text.trim().to_owned())
        .collect()
}

fn at(line: usize) -> Place {
    Place {
        line: line.max(1),
        column: 1,
        width: 1,
    }
}

fn shown(text: &str) -> String {
    text.escape_debug().take(40).collect()
}

/// A bar with its line and the passes of its ending.
type Measure = (Bar, usize, Vec<u8>);

#[derive(Debug, Default)]
struct PartReader {
    stages: bool,
    /// A beat that is not the usual one of the metre.
    beat: Option<String>,
    problems: Vec<Problem>,
    /// The passes of an ending that begins with the bar that is read, where it is more than a first
    /// or a second.
    passes: Vec<u8>,
    /// The first metre, that of now, and one that begins with the bar that is read.
    metre: Option<Metre>,
    now: Option<Metre>,
    /// The metre before that.
    before: Option<Metre>,
    change: Option<Metre>,
    tempo: Option<Bpm>,
    divisions: Option<Fraction>,
    voice: Option<String>,
    group: Vec<Gracenote>,
    /// What all lengths that were read are whole numbers of.
    common: CommonPart,
    /// A rest at the start, given to the first note.
    owed: Fraction,
    /// Names of sections and their bars with each bar's line and the passes of its ending.
    sections: Vec<(String, Vec<Measure>)>,
}

impl PartReader {
    fn note(&mut self, element: &Element, found: impl Into<String>, done: impl Into<String>) {
        self.problems
            .push(adopted_at(at(element.line), found, done));
    }

    fn measure(&mut self, measure: &Element) {
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

    fn read_note(&mut self, element: &Element, bar: &mut Bar) {
        if let Some(voice) = element.text_of("voice") {
            let main = self.voice.get_or_insert_with(|| voice.to_owned()).clone();
            if main != voice {
                self.note(
                    element,
                    format!("a note of voice `{}`", shown(voice)),
                    "left out: the chanter plays one line",
                );
                return;
            }
        }
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
            return;
        };
        let note = self.pitch(pitch);
        if grace {
            if chord {
                self.note(element, "a chord of gracenotes", "its first note is kept");
                return;
            }
            let held = element
                .child("play")
                .and_then(|play| {
                    play.all("other-play")
                        .find(|own| own.attribute("type") == Some(HELD))
                })
                .and_then(|own| parse_fraction(own.text.trim()).ok())
                .map(Beats)
                .filter(|held| self.fits(element, *held));
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

    fn finish(
        mut self,
        title: String,
        head: TuneHead,
        remarks: Vec<(&str, String)>,
        here: Vec<Option<String>>,
    ) -> (Option<Piece>, Vec<Problem>) {
        if !self.group.is_empty() {
            self.problems
                .push(adopted("gracenotes before no note", "left out"));
        }
        let metre = self.metre.unwrap_or_else(|| {
            self.problems
                .push(adopted("no time signature", "read as 4/4"));
            Metre::FOUR_FOUR
        });
        let mut sections = Vec::new();
        // a section begins in the metre that the one before it ends in
        let mut started = metre;
        let named = std::mem::take(&mut self.sections);
        for ((name, bars), listen_for) in named.into_iter().zip(here) {
            let mut lines: Vec<usize> = bars.iter().map(|(_, line, _)| *line).collect();
            let places = bars.iter().enumerate();
            let passes: BTreeMap<usize, Vec<u8>> = places
                .filter(|(_, (_, _, passes))| !passes.is_empty())
                .map(|(place, (_, _, passes))| (place, passes.clone()))
                .collect();
            let mut bars: Vec<Bar> = bars.into_iter().map(|(bar, ..)| bar).collect();
            let mut now = started;
            for bar in &mut bars {
                now = bar.metre.unwrap_or(now);
                in_beats(bar, now);
            }
            if let Some(first) = bars.first_mut() {
                first.metre = first.metre.or(Some(started)).filter(|own| *own != metre);
            }
            started = now;
            if let Some(last) = bars.last_mut() {
                last.part_ends = true;
            } else {
                continue;
            }
            if !passes.is_empty() {
                let out = written_out(&bars, &passes);
                for bar in out.parts {
                    self.problems.push(adopted_at(
                        at(lines[bar]),
                        "endings for several passes",
                        "each pair of passes is written out",
                    ));
                }
                lines = out.source.iter().map(|bar| lines[*bar]).collect();
                bars = out.bars;
            }
            let (order, told) = body_order(&bars);
            for (bar, kind) in told {
                let line = lines.get(bar).copied().unwrap_or(1);
                self.problems.push(Problem::new(at(line), kind));
            }
            let mut music = Music {
                metre,
                bars,
                order,
                pointing: Pointing::default(),
            };
            for mended in mend_music(&mut music) {
                let line = lines.get(mended.bar).copied().unwrap_or(1);
                self.problems.push(Problem::new(at(line), mended.kind()));
            }
            sections.push(Section {
                listen_for,
                ..Section::new(name, music)
            });
        }
        let mut piece = Piece {
            title,
            head,
            about: None,
            metre,
            tempo: self.tempo,
            ladder: None,
            practice: Practice::default(),
            lengths: Lengths::default(),
            sections,
        };
        for (name, said) in remarks {
            if !piece.take_remark(name, &said) {
                let found = format!(
                    "the field `{name}` of `{}`, which does not read",
                    shown(&said)
                );
                self.problems.push(adopted(found, "left out"));
            }
        }
        piece.finished(self.problems)
    }
}
