//! One tune of an ABC file: its header and its music.

use super::lines::{directive, is_field, line_place, shown, text_of};
use super::music::Body;
use super::tempo::tempo;
use crate::drill::{Music, Place, Problem, TuneHead, adopt_music, is_pipe_key};
use crate::exchange::piece::{
    BEAT, LADDER, Piece, Practice, REMARKS, REMARKS_HERE, STAGE_NAME, Section, adopted_at,
    counted_by, foreign,
};
use crate::movement::Lengths;
use crate::rhythm::Metre;
use crate::units::{Beats, Fraction, parse_fraction};

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
        let said = header.tempo.take();
        let said = said.or_else(|| tempo_in_body(&self.lines[body_at..]));
        let tempo = said.and_then(|(place, text)| tempo(place, &text, (metre, unit), problems));
        let body = Body::of(&self.lines[body_at..], problems);
        let (mut music, found) = adopt_music(&body.text, metre, unit, tempo);
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
        if let Some(place) = header
            .plain_metre
            .filter(|_| header.remark(LADDER).is_none())
        {
            count_as_divided(&mut music, place, problems);
        }
        let metre = music.metre;
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
    /// Where a metre stands that says no groups.
    plain_metre: Option<Place>,
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
                Ok(read) => {
                    self.metre = Some(read);
                    self.plain_metre = (!text.contains('+')).then_some(place);
                }
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

/// A tempo that stands behind the key and before the first note.
fn tempo_in_body(lines: &[(usize, &str)]) -> Option<(Place, String)> {
    let aside = |line: &str| is_field(line) || line.starts_with('%');
    let mut before = lines.iter().take_while(|(_, line)| aside(line));
    let (number, line) = before.find(|(_, line)| line.starts_with("Q:"))?;
    Some((line_place(*number), text_of(line)))
}

/// Counts the music in the order of groups that most of its bars divide by, where the file only says
/// `5/8` or the like; told where that is another than the usual one.
fn count_as_divided(music: &mut Music, place: Place, problems: &mut Vec<Problem>) {
    let usual = music.metre;
    let full = usual.bar();
    let divided = |metre: &Metre| {
        let begins = metre.group_begins();
        let bars = music.bars.iter().filter(|bar| bar.length() == full);
        bars.filter(|bar| {
            let mut at = Beats::ZERO;
            let onsets: Vec<Beats> = bar
                .notes
                .iter()
                .map(|note| {
                    let onset = at;
                    at = at + note.length;
                    onset
                })
                .collect();
            begins.iter().all(|begin| onsets.contains(begin))
        })
        .count()
    };
    let orders = usual.orders_of_groups();
    // of several that are as good the first, which is the usual one
    let Some(best) = orders.iter().rev().max_by_key(|order| divided(order)) else {
        return;
    };
    if *best == usual || music.bars.iter().any(|bar| bar.metre.is_some()) {
        return;
    }
    let (Some(groups), Some(before)) = (best.groups_spoken(), usual.groups_spoken()) else {
        return;
    };
    let sum = |groups: &str| groups.replace(' ', "");
    let below = usual.figures().1;
    problems.push(adopted_at(
        place,
        format!(
            "a metre of {} whose bars divide as {groups}",
            usual.printed()
        ),
        format!(
            "counted so; `M:{}/{below}` counts it otherwise",
            sum(&before)
        ),
    ));
    music.metre = *best;
}
