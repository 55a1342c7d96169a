//! One tune of an ABC file: its header and its music.

use super::lines::{directive, is_field, line_place, shown, text_of};
use super::music::Body;
use crate::drill::{Place, Problem, TuneHead, adopt_music, is_pipe_key};
use crate::exchange::piece::{
    BEAT, Piece, Practice, REMARKS, REMARKS_HERE, STAGE_NAME, Section, adopted_at, beats_a_minute,
    counted_by, foreign,
};
use crate::movement::Lengths;
use crate::rhythm::Metre;
use crate::units::{Bpm, Fraction, parse_fraction};

/// Composers are named up to so many bytes, more than a drill's sentence can have.
const LARGEST_ABOUT: usize = 8192;

/// The most words of one field that are told of or kept.
const MOST_WORDS: usize = 50;

/// The lines of one tune, with their numbers.
pub(super) struct Tune<'a> {
    /// Number of its first line.
    pub(super) first: usize,
    lines: Vec<(usize, &'a str)>,
}

/// Tunes begin with `X:` and end with a blank line (ABC 2.1 §2.2); lines between them are told.
pub(super) fn split<'a>(source: &'a str, problems: &mut Vec<Problem>) -> Vec<Tune<'a>> {
    let mut tunes: Vec<Tune> = Vec::new();
    let mut open = false;
    let has_number = source.lines().any(|line| line.starts_with("X:"));
    for (place, line) in source.lines().enumerate() {
        let number = place + 1;
        let starts = line.starts_with("X:") || (!has_number && !open && is_field(line));
        if starts {
            tunes.push(Tune {
                first: number,
                lines: Vec::new(),
            });
            open = true;
        }
        if line.trim().is_empty() {
            open = false;
        } else if let (true, Some(tune)) = (open, tunes.last_mut()) {
            tune.lines.push((number, line));
        } else if let Some(rest) = line.strip_prefix("%%") {
            directive(rest, line_place(number), problems);
        } else if !line.starts_with('%') {
            problems.push(adopted_at(
                line_place(number),
                "a line outside a tune",
                "left out",
            ));
        }
    }
    tunes
}

impl Tune<'_> {
    /// Its first title.
    pub(super) fn title(&self) -> Option<String> {
        let lines = self.lines.iter().map(|(_, line)| *line);
        lines
            .filter(|line| line.starts_with("T:"))
            .map(text_of)
            .next()
    }

    /// What stands after `X:`.
    pub(super) fn number(&self) -> Option<String> {
        let (_, line) = self.lines.first()?;
        let text = text_of(line.strip_prefix("X:").map(|_| line)?);
        (!text.is_empty()).then_some(text)
    }

    /// `is_stage` where another tune of the file has the same title.
    pub(super) fn read(self, is_stage: bool, problems: &mut Vec<Problem>) -> Option<Piece> {
        let mut header = Header::default();
        let body_at = match header.read(&self.lines, problems) {
            Ok(Some(body_at)) => body_at,
            Ok(None) => {
                problems.push(foreign(
                    line_place(self.first),
                    "a tune without a key",
                    "a line `K:HP` at the end of its header",
                ));
                return None;
            }
            Err(Unreadable) => return None,
        };
        let metre = header.metre.unwrap_or_else(|| {
            problems.push(adopted_at(
                line_place(self.first),
                "no metre",
                "read as 4/4",
            ));
            Metre::FOUR_FOUR
        });
        let beat = header.remark(BEAT).and_then(|said| counted_by(metre, said));
        let metre = beat.unwrap_or(metre);
        let unit = header.unit.unwrap_or_else(|| metre.default_unit());
        let tempo = header.tempo.take().and_then(|(place, text)| {
            let read = read_tempo(&text, metre, unit);
            if read.is_none() {
                problems.push(adopted_at(
                    place,
                    format!("the tempo `{}`", shown(&text)),
                    "left out: it is not one of 20 to 300 beats a minute",
                ));
            }
            read
        });
        let body = Body::of(&self.lines[body_at..], problems);
        let (music, found) = adopt_music(&body.text, metre, unit, tempo);
        problems.extend(
            found
                .into_iter()
                .map(|problem| Problem::new(body.place(problem.start, problem.end), problem.kind)),
        );
        if music.bars.is_empty() {
            problems.push(foreign(
                line_place(self.first),
                "a tune without a note",
                "music after the line `K:`",
            ));
            return None;
        }
        let (title, name) = header.named(is_stage);
        let section = Section::new(name, music);
        let piece = Piece {
            title,
            head: std::mem::take(&mut header.head),
            about: None,
            metre,
            tempo,
            ladder: None,
            practice: Practice::default(),
            lengths: Lengths::default(),
            sections: Vec::new(),
        };
        Some(header.with_remarks(piece, section, problems))
    }
}

/// A field of the header that the music cannot be read without; it is told already.
struct Unreadable;

/// What the header of a tune says.
#[derive(Default)]
struct Header {
    titles: Vec<String>,
    head: TuneHead,
    /// A voice was named.
    voice: bool,
    metre: Option<Metre>,
    unit: Option<Fraction>,
    tempo: Option<(Place, String)>,
    /// What a drill says beside its music: the place of each remark, its name, and its text.
    remarks: Vec<(Place, &'static str, String)>,
}

impl Header {
    /// Reads the lines up to the key. Gives the index of the line behind it; none where there is
    /// no key.
    fn read(
        &mut self,
        lines: &[(usize, &str)],
        problems: &mut Vec<Problem>,
    ) -> Result<Option<usize>, Unreadable> {
        for (at, (number, line)) in lines.iter().enumerate() {
            let place = line_place(*number);
            if let Some(rest) = line.strip_prefix("%%") {
                directive(rest, place, problems);
            } else if line.starts_with('%') {
                // a comment
            } else if !is_field(line) {
                problems.push(adopted_at(
                    place,
                    "a line in the header that is no field",
                    "left out",
                ));
            } else if line.starts_with('K') {
                key(place, &text_of(line), problems);
                return Ok(Some(at + 1));
            } else if let Some(letter) = line.chars().next() {
                self.field(letter, place, text_of(line), problems)?;
            }
        }
        Ok(None)
    }

    fn field(
        &mut self,
        letter: char,
        place: Place,
        text: String,
        problems: &mut Vec<Problem>,
    ) -> Result<(), Unreadable> {
        match letter {
            // `I:` is how a program lays the page out or sets the text; no music
            'X' | 'I' => {}
            'T' => self.titles.push(text),
            'C' => add(&mut self.head.composer, text),
            'O' => add(&mut self.head.origin, text),
            'R' => add(&mut self.head.kind, text),
            'M' => match Metre::parse(&text) {
                Ok(read) => self.metre = Some(read),
                Err(_) => {
                    let found = format!("the metre `{}`", shown(&text));
                    problems.push(foreign(place, found, Metre::EXPECTED));
                    return Err(Unreadable);
                }
            },
            'L' => match parse_fraction(&text) {
                Ok(read)
                    if read > Fraction::from_integer(0) && read <= Fraction::from_integer(1) =>
                {
                    self.unit = Some(read);
                }
                _ => {
                    let found = format!("the unit `{}`", shown(&text));
                    problems.push(foreign(place, found, "a note length such as 1/8"));
                    return Err(Unreadable);
                }
            },
            'Q' => self.tempo = Some((place, text)),
            'N' if remark(&text).is_some() => {
                self.remarks
                    .extend(remark(&text).map(|(name, said)| (place, name, said)));
            }
            'V' if !self.voice => self.voice = true,
            'V' => problems.push(adopted_at(
                place,
                format!(
                    "the voice `{}`",
                    shown(text.split_whitespace().next().unwrap_or(""))
                ),
                "only the first voice is read",
            )),
            letter => problems.push(adopted_at(
                place,
                format!("the field `{letter}:`"),
                "left out: a drill has no place for it",
            )),
        }
        Ok(())
    }

    /// The text of one of our own remarks.
    fn remark(&self, name: &str) -> Option<&str> {
        let found = self.remarks.iter().find(|(_, own, _)| *own == name);
        found.map(|(_, _, said)| said.as_str())
    }

    /// The tune's title and the name of its stage; other titles go into the head.
    fn named(&mut self, is_stage: bool) -> (String, String) {
        let mut titles = std::mem::take(&mut self.titles).into_iter();
        let title = titles.next().unwrap_or_default();
        let mut more: Vec<String> = titles.filter(|title| !title.is_empty()).collect();
        let own = self.remark(STAGE_NAME).map(str::to_owned);
        let name = match own {
            Some(own) => {
                more.retain(|title| *title != own);
                own
            }
            // tunes of one title, as this program once wrote the stages of a drill
            None if is_stage && !more.is_empty() => std::mem::take(&mut more).join(", "),
            None => Section::ONLY.to_owned(),
        };
        self.head.also = more;
        (title, name)
    }

    /// A piece of one section with what the drill says beside its music.
    fn with_remarks(
        self,
        mut piece: Piece,
        mut section: Section,
        problems: &mut Vec<Problem>,
    ) -> Piece {
        for (place, name, said) in self.remarks {
            if name == STAGE_NAME {
                continue;
            }
            let reads = if REMARKS_HERE.contains(&name) {
                section.take_remark(name, &said)
            } else {
                piece.take_remark(name, &said)
            };
            if !reads {
                let found = format!("the note `{name} {}`, which does not read", shown(&said));
                problems.push(adopted_at(place, found, "left out"));
            }
        }
        piece.sections.push(section);
        piece
    }
}

/// Text of a field that may stand several times; it is cut at a drill's length anyway.
fn add(said: &mut Option<String>, text: String) {
    let full = said.as_ref().is_some_and(|long| long.len() > LARGEST_ABOUT);
    if !text.is_empty() && !full {
        *said = Some(match said.take() {
            None => text,
            Some(before) => format!("{before}, {text}"),
        });
    }
}

/// What a drill says beside its music, from a note of ours: its name and its text.
fn remark(text: &str) -> Option<(&'static str, String)> {
    REMARKS
        .into_iter()
        .chain(REMARKS_HERE)
        .chain([STAGE_NAME])
        .find_map(|name| Some((name, text.strip_prefix(name)?.strip_prefix(' ')?.to_owned())))
}

/// A key without `clef=treble` and the like.
fn without_layout(text: &str) -> &str {
    text.find('=').map_or(text, |sign| {
        let before = &text[..sign];
        &before[..before.rfind(' ').unwrap_or(0)]
    })
}

fn key(place: Place, text: &str, problems: &mut Vec<Problem>) {
    if !is_pipe_key(text) {
        problems.push(adopted_at(
            place,
            format!("the key `{}`", shown(without_layout(text).trim())),
            "the letters are kept; the chanter plays C and F sharp and G natural",
        ));
    }
    // `clef=`, `stafflines=` and the like change how the page looks and no note
    let moves = |word: &&str| word.starts_with("octave=") || word.starts_with("transpose=");
    for word in text.split_whitespace().filter(moves).take(MOST_WORDS) {
        problems.push(adopted_at(
            place,
            format!("`{}` in the key", shown(word)),
            "left out",
        ));
    }
}

/// `1/4=120`, `"quick" 3/8=60`, `C=100`, `120`.
fn read_tempo(text: &str, metre: Metre, unit: Fraction) -> Option<Bpm> {
    let mut bare = String::new();
    let mut quoted = false;
    for sign in text.chars() {
        match sign {
            '"' => quoted = !quoted,
            sign if !quoted => bare.push(sign),
            _ => {}
        }
    }
    let Some((part, count)) = bare.split_once('=') else {
        let count = parse_fraction(&bare).ok()?;
        return beats_a_minute(metre, Fraction::new(1, 4), count);
    };
    let part = match part.trim() {
        "C" | "c" => unit,
        part => {
            let mut sum = Fraction::from_integer(0);
            for word in part.split_whitespace() {
                sum += parse_fraction(word).ok()?;
            }
            sum
        }
    };
    beats_a_minute(metre, part, parse_fraction(count).ok()?)
}
