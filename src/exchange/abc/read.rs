//! An ABC file to a piece.

use crate::drill::{LARGEST_FILE, Place, Problem, TuneHead, adopt_music, is_pipe_key};
use crate::exchange::piece::{
    BEAT, LISTEN_HERE, Piece, Practice, REMARKS, STAGE_NAME, Section, adopted, adopted_at,
    beats_a_minute, counted_by, foreign,
};
use crate::movement::Lengths;
use crate::rhythm::Metre;
use crate::units::{Bpm, Fraction, parse_fraction};

/// Fields that may stand inside a tune body (ABC 2.1 §3); others there are music.
const BODY_FIELDS: &str = "IKLMmNPQRrsTUVWw";

/// The most tunes that are read from one file, as a drill has at most so many stages.
const MOST_TUNES: usize = 64;

/// The most tunes that are read from a book.
const MOST_IN_BOOK: usize = 2000;

/// The most lines that are read: ten bytes each in the largest file.
const MOST_LINES: usize = 100_000;

/// Composers are named up to so many bytes, more than a drill's sentence can have.
const LARGEST_ABOUT: usize = 8192;

/// The most words of one field that are told of or kept.
const MOST_WORDS: usize = 50;

/// Reads an ABC file: each tune a stage of one drill, the first one's title the drill's. That tunes
/// of different titles come together is told.
pub fn read(bytes: &[u8]) -> (Option<Piece>, Vec<Problem>) {
    read_tune(bytes, None)
}

/// As [`read`], the tune of one number (`X:`) alone.
pub fn read_tune(bytes: &[u8], number: Option<u32>) -> (Option<Piece>, Vec<Problem>) {
    let mut problems = Vec::new();
    let Some(source) = source_of(bytes, &mut problems) else {
        return (None, problems);
    };
    let mut tunes = split(&source, &mut problems);
    if let Some(number) = number {
        // what stands outside that tune was not asked for
        problems.clear();
        let known: Vec<String> = tunes.iter().filter_map(Tune::number).collect();
        tunes.retain(|tune| tune.number() == Some(number.to_string()));
        if tunes.is_empty() {
            let found = format!("no tune has the number {number}");
            let expected = match known.as_slice() {
                [] => "a tune that begins with `X:1`".to_owned(),
                known => format!("one of {}", crate::wording::list(known)),
            };
            return (None, vec![foreign(Place::WHOLE_FILE, found, expected)]);
        }
    }
    together(tunes, problems)
}

/// A tune of a book.
pub struct InBook {
    /// What stands after `X:`.
    pub number: Option<String>,
    /// Its title.
    pub title: Option<String>,
    /// It, where a drill can be made of it.
    pub piece: Option<Piece>,
    /// What was found in it.
    pub problems: Vec<Problem>,
}

/// Reads each tune of an ABC file by itself, at most `MOST_IN_BOOK`; tunes of one title one after
/// the other are the stages of one drill. The problems are those of the file.
pub fn read_book(bytes: &[u8]) -> (Vec<InBook>, Vec<Problem>) {
    let mut problems = Vec::new();
    let Some(source) = source_of(bytes, &mut problems) else {
        return (Vec::new(), problems);
    };
    let mut groups: Vec<Vec<Tune>> = Vec::new();
    for tune in split(&source, &mut problems) {
        let title = tune.title();
        match groups.last_mut() {
            Some(group) if title.is_some() && group[0].title() == title => group.push(tune),
            _ => groups.push(vec![tune]),
        }
    }
    let more = groups.len().saturating_sub(MOST_IN_BOOK);
    if more > 0 {
        problems.push(adopted(
            crate::wording::count(more, "tune more", "tunes more"),
            format!("left out: only the first {MOST_IN_BOOK} of a book are read"),
        ));
        groups.truncate(MOST_IN_BOOK);
    }
    let read = groups.into_iter().map(|group| {
        let (number, title) = (group[0].number(), group[0].title());
        let (piece, problems) = together(group, Vec::new());
        InBook {
            number,
            title,
            piece,
            problems,
        }
    });
    (read.collect(), problems)
}

/// The text of a file; none where it is too much.
fn source_of(bytes: &[u8], problems: &mut Vec<Problem>) -> Option<String> {
    let mut refuse = |found: String, expected: &str| {
        *problems = vec![foreign(Place::WHOLE_FILE, found, expected)];
        None
    };
    if bytes.len() > LARGEST_FILE {
        return refuse(
            format!("the file has {} bytes", bytes.len()),
            "at most a mebibyte",
        );
    }
    let lines = bytes.split(|byte| *byte == b'\n').count();
    if lines > MOST_LINES {
        return refuse(format!("the file has {lines} lines"), "at most 100,000");
    }
    Some(match std::str::from_utf8(bytes) {
        Ok(source) => source.trim_start_matches('\u{feff}').to_owned(),
        Err(_) => {
            // ABC before 2.1 was written in Latin-1, where every byte is a character.
            problems.push(adopted("text that is not UTF-8", "read as Latin-1"));
            bytes.iter().map(|byte| char::from(*byte)).collect()
        }
    })
}

/// Tunes as the stages of one drill.
fn together(tunes: Vec<Tune>, mut problems: Vec<Problem>) -> (Option<Piece>, Vec<Problem>) {
    let known_titles: Vec<Option<String>> = tunes.iter().map(Tune::title).collect();
    let mut piece: Option<Piece> = None;
    for (place, tune) in tunes.into_iter().enumerate() {
        if place >= MOST_TUNES {
            let at = line_place(tune.first);
            problems.push(adopted_at(at, "a tune after the 64th", "left out"));
            continue;
        }
        let first = tune.first;
        let number = tune.number();
        let title = tune.title();
        let is_stage = known_titles.iter().filter(|other| **other == title).count() > 1;
        let Some(read) = tune.read(is_stage, &mut problems) else {
            continue;
        };
        match &mut piece {
            None => piece = Some(read),
            Some(piece) if piece.metre == read.metre => {
                let mut section = read.sections;
                // a tune of its own keeps its title as the stage's name
                if read.title != piece.title
                    && let [only] = section.as_mut_slice()
                    && only.name == Section::ONLY
                {
                    only.name = read.title;
                    let found = format!("another tune, `{}`", shown(&only.name));
                    let alone = number.map_or(String::new(), |number| {
                        format!("; `import --tune {number}` takes it alone")
                    });
                    let done = format!("it becomes a stage of the same drill{alone}");
                    problems.push(adopted_at(line_place(first), found, done));
                }
                piece.sections.extend(section);
            }
            Some(piece) => problems.push(adopted_at(
                line_place(first),
                format!("a tune in {}", read.metre),
                format!(
                    "left out: the first is in {}, and a drill has one metre",
                    piece.metre
                ),
            )),
        }
    }
    match piece {
        Some(mut piece) => {
            let several = piece.sections.len() > 1;
            if several
                && let Some(first) = piece.sections.first_mut()
                && first.name == Section::ONLY
            {
                first.name.clone_from(&piece.title);
            }
            piece.finished(problems)
        }
        None => {
            if problems
                .iter()
                .all(|problem| problem.severity() == crate::drill::Severity::Note)
            {
                problems.push(foreign(
                    Place::WHOLE_FILE,
                    "no tune was found",
                    "a tune that begins with `X:1` and has music after `K:HP`",
                ));
            }
            (None, problems)
        }
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

/// Directives that change which notes there are. All others say how a page is laid out or how a
/// program plays, and leaving them out is no loss.
const MUSICAL: [&str; 4] = ["abc-include", "transpose", "shift", "octave"];

/// Tells of a directive that is left out, where music is lost with it.
fn directive(text: &str, place: Place, problems: &mut Vec<Problem>) {
    let mut words = text.split_whitespace();
    let first = words.next().unwrap_or("");
    let word = if first == "MIDI" {
        words.next().unwrap_or("")
    } else {
        first
    };
    if !MUSICAL.contains(&word) {
        return;
    }
    problems.push(adopted_at(
        place,
        format!("the directive `%%{}`", shown(word)),
        "left out",
    ));
}

fn line_place(line: usize) -> Place {
    Place {
        line,
        column: 1,
        width: 1,
    }
}

/// The lines of one tune, with their numbers.
struct Tune<'a> {
    first: usize,
    lines: Vec<(usize, &'a str)>,
}

/// Tunes begin with `X:` and end with a blank line (ABC 2.1 §2.2); lines between them are told.
fn split<'a>(source: &'a str, problems: &mut Vec<Problem>) -> Vec<Tune<'a>> {
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

fn is_field(line: &str) -> bool {
    let mut signs = line.chars();
    signs
        .next()
        .is_some_and(|sign| sign.is_ascii_alphabetic() || sign == '+')
        && signs.next() == Some(':')
}

/// A field's text without its comment, mnemonics undone.
fn text_of(line: &str) -> String {
    let mut text = String::new();
    let mut signs = line.chars().skip(2);
    while let Some(sign) = signs.next() {
        match sign {
            '%' => break,
            '\\' => match signs.next() {
                Some(escaped @ ('%' | '\\' | '&')) => text.push(escaped),
                Some(other) => {
                    text.push('\\');
                    text.push(other);
                }
                None => text.push('\\'),
            },
            sign => text.push(sign),
        }
    }
    text.trim().to_owned()
}

fn shown(text: &str) -> String {
    text.escape_debug().take(40).collect()
}

impl Tune<'_> {
    /// Its first title.
    fn title(&self) -> Option<String> {
        let lines = self.lines.iter().map(|(_, line)| *line);
        lines
            .filter(|line| line.starts_with("T:"))
            .map(text_of)
            .next()
    }

    /// What stands after `X:`.
    fn number(&self) -> Option<String> {
        let (_, line) = self.lines.first()?;
        let text = text_of(line.strip_prefix("X:").map(|_| line)?);
        (!text.is_empty()).then_some(text)
    }

    /// `is_stage` where another tune of the file has the same title.
    fn read(self, is_stage: bool, problems: &mut Vec<Problem>) -> Option<Piece> {
        let mut titles: Vec<String> = Vec::new();
        let mut head = TuneHead::default();
        let mut voices = 0;
        let mut metre = None;
        let mut unit = None;
        let mut tempo: Option<(Place, String)> = None;
        let mut remarks = Vec::new();
        let mut body_at = None;
        for (at, (number, line)) in self.lines.iter().enumerate() {
            let place = line_place(*number);
            if let Some(rest) = line.strip_prefix("%%") {
                directive(rest, place, problems);
                continue;
            }
            if line.starts_with('%') {
                continue;
            }
            let text = text_of(line);
            match line.chars().next() {
                _ if !is_field(line) => {
                    problems.push(adopted_at(
                        place,
                        "a line in the header that is no field",
                        "left out",
                    ));
                }
                Some('X') => {}
                Some('T') => titles.push(text),
                Some('C') => add(&mut head.composer, text),
                Some('O') => add(&mut head.origin, text),
                Some('R') => add(&mut head.kind, text),
                // how a program lays the page out or sets the text; no music
                Some('I') => {}
                Some('M') => match Metre::parse(&text) {
                    Ok(read) => metre = Some(read),
                    Err(_) => {
                        problems.push(foreign(
                            place,
                            format!("the metre `{}`", shown(&text)),
                            Metre::EXPECTED,
                        ));
                        return None;
                    }
                },
                Some('L') => match parse_fraction(&text) {
                    Ok(read)
                        if read > Fraction::from_integer(0)
                            && read <= Fraction::from_integer(1) =>
                    {
                        unit = Some(read);
                    }
                    _ => {
                        problems.push(foreign(
                            place,
                            format!("the unit `{}`", shown(&text)),
                            "a note length such as 1/8",
                        ));
                        return None;
                    }
                },
                Some('Q') => tempo = Some((place, text)),
                Some('N') if remark(&text).is_some() => {
                    remarks.extend(remark(&text).map(|(name, said)| (place, name, said)));
                }
                Some('K') => {
                    key(place, &text, problems);
                    body_at = Some(at + 1);
                    break;
                }
                Some('V') if voices == 0 => voices = 1,
                Some('V') => problems.push(adopted_at(
                    place,
                    format!(
                        "the voice `{}`",
                        shown(text.split_whitespace().next().unwrap_or(""))
                    ),
                    "only the first voice is read",
                )),
                Some(letter) => problems.push(adopted_at(
                    place,
                    format!("the field `{letter}:`"),
                    "left out: a drill has no place for it",
                )),
                None => {}
            }
        }
        let Some(body_at) = body_at else {
            problems.push(foreign(
                line_place(self.first),
                "a tune without a key",
                "a line `K:HP` at the end of its header",
            ));
            return None;
        };
        let metre = metre.unwrap_or_else(|| {
            problems.push(adopted_at(
                line_place(self.first),
                "no metre",
                "read as 4/4",
            ));
            Metre::FOUR_FOUR
        });
        let beat = remarks
            .iter()
            .find(|(_, name, _)| *name == BEAT)
            .and_then(|(_, _, said)| counted_by(metre, said));
        let metre = beat.unwrap_or(metre);
        let unit = unit.unwrap_or_else(|| metre.default_unit());
        let tempo = tempo.and_then(|(place, text)| {
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
        let mut titles = titles.into_iter();
        let title = titles.next().unwrap_or_default();
        let mut more: Vec<String> = titles.filter(|title| !title.is_empty()).collect();
        let own = remarks
            .iter()
            .find(|(_, name, _)| *name == STAGE_NAME)
            .map(|(_, _, said)| said.clone());
        let name = match own {
            Some(own) => {
                more.retain(|title| *title != own);
                own
            }
            // tunes of one title, as this program once wrote the stages of a drill
            None if is_stage && !more.is_empty() => std::mem::take(&mut more).join(", "),
            None => Section::ONLY.to_owned(),
        };
        head.also = more;
        let mut section = Section::new(name, music);
        let mut piece = Piece {
            title,
            head,
            about: None,
            metre,
            tempo,
            ladder: None,
            practice: Practice::default(),
            lengths: Lengths::default(),
            sections: Vec::new(),
        };
        for (place, name, said) in remarks {
            if name == STAGE_NAME {
                continue;
            }
            if name == LISTEN_HERE {
                section.listen_for = Some(said);
            } else if !piece.take_remark(name, &said) {
                let found = format!("the note `{name} {}`, which does not read", shown(&said));
                problems.push(adopted_at(place, found, "left out"));
            }
        }
        piece.sections.push(section);
        Some(piece)
    }
}

/// What a drill says beside its music, from a note of ours: its name and its text.
fn remark(text: &str) -> Option<(&'static str, String)> {
    REMARKS
        .into_iter()
        .chain([LISTEN_HERE, STAGE_NAME])
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
    // `clef=`, `stafflines=` and the like are the page's
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

/// Body text with where its characters stand in the file.
struct Body {
    text: String,
    /// First character of each line, its number, and the columns put in front of it.
    lines: Vec<(usize, usize, usize)>,
}

impl Body {
    /// Fields of the body become inline fields, lyrics and the like are told.
    fn of(lines: &[(usize, &str)], problems: &mut Vec<Problem>) -> Self {
        let mut body = Self {
            text: String::new(),
            lines: Vec::new(),
        };
        let mut length = 0;
        for (number, line) in lines {
            let place = line_place(*number);
            if let Some(rest) = line.strip_prefix("%%") {
                directive(rest, place, problems);
                continue;
            }
            let letter = line.chars().next().unwrap_or(' ');
            let (text, shift) = if is_field(line) && (BODY_FIELDS.contains(letter) || letter == '+')
            {
                match letter {
                    'K' | 'L' | 'M' | 'Q' | 'V' | 'r' => {
                        let value = text_of(line).replace(']', " ");
                        (format!("[{letter}:{value}]\n"), 1)
                    }
                    'I' => continue,
                    'm' => {
                        problems.push(foreign(
                            place,
                            "a macro (`m:`)",
                            "music written out: a macro changes what the notes mean",
                        ));
                        continue;
                    }
                    letter => {
                        problems.push(adopted_at(
                            place,
                            format!("the field `{letter}:` in the music"),
                            "left out",
                        ));
                        continue;
                    }
                }
            } else {
                (format!("{line}\n"), 0)
            };
            body.lines.push((length, *number, shift));
            length += text.chars().count();
            body.text.push_str(&text);
        }
        body
    }

    fn place(&self, start: usize, end: usize) -> Place {
        let after = self.lines.partition_point(|(first, ..)| *first <= start);
        match after.checked_sub(1).and_then(|line| self.lines.get(line)) {
            Some((first, number, shift)) => Place {
                line: *number,
                column: (start - first + 1).saturating_sub(*shift).max(1),
                width: end.saturating_sub(start).max(1),
            },
            None => line_place(self.lines.first().map_or(1, |line| line.1)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::render;

    fn told(source: &str) -> (Option<Piece>, String) {
        let (piece, problems) = read(source.as_bytes());
        (piece, render("x.abc", source, &problems))
    }

    #[test]
    fn a_tune_of_the_trade_is_read_without_a_word() {
        let (piece, told) = told(
            "X:1\nT:The Grey Gate\nC:Trad.\nM:6/8\nL:1/8\nQ:3/8=96\nK:Hp\n\
             {g}A3 {d}B3|{g}c3 {GdGe}A3:|\n",
        );
        assert_eq!(told, "");
        let piece = piece.expect("it is read");
        assert_eq!(piece.title, "The Grey Gate");
        assert_eq!(piece.tempo, Bpm::whole(96).ok());
        assert_eq!(piece.sections[0].music.order, [0, 1, 0, 1]);
    }

    /// Without it a header line would vanish, and a player would wonder where it went.
    #[test]
    fn every_line_that_is_not_understood_is_told() {
        let (piece, told) = told(
            "%%scale 0.7\n\nX:1\nT:x\nR:march\nH:old\nM:4/4\nK:G clef=treble\n%%MIDI transpose 2\n%%vskip 1\nA4 B4|\nw:la la\nP:B\nc4 d4|\n",
        );
        assert!(piece.is_some());
        let lines: Vec<&str> = told.lines().filter(|line| line.contains("x.abc")).collect();
        assert_eq!(
            lines,
            [
                "x.abc:6:1: note: the field `H:`: left out: a drill has no place for it",
                "x.abc:8:1: note: the key `G`: the letters are kept; the chanter plays C and F sharp and G natural",
                "x.abc:9:1: note: the directive `%%transpose`: left out",
                "x.abc:12:1: note: the field `w:` in the music: left out",
                "x.abc:13:1: note: the field `P:` in the music: left out",
            ]
        );
    }

    #[test]
    fn a_short_bar_is_an_error_at_its_place() {
        let (piece, told) = told("X:1\nT:x\nM:4/4\nK:HP\nA4 B4|\nc4 d2|e4 f4|\n");
        assert_eq!(piece, None);
        assert!(told.starts_with("x.abc:6:1: bar 2 lasts 3 beats"), "{told}");
    }

    /// Two tunes once became one drill without a word.
    #[test]
    fn another_tune_is_told_and_can_be_taken_alone() {
        let source = "X:1\nT:one\nM:4/4\nK:HP\nA4 B4|\n\nX:7\nT:two\nM:4/4\nK:HP\nc4 d4|\n";
        let (piece, said) = told(source);
        assert_eq!(piece.expect("it is read").sections.len(), 2);
        assert_eq!(
            said.lines().next(),
            Some(
                "x.abc:7:1: note: another tune, `two`: it becomes a stage of the same drill; \
                 `import --tune 7` takes it alone"
            )
        );
        let (piece, problems) = read_tune(source.as_bytes(), Some(7));
        assert_eq!(problems, []);
        assert_eq!(piece.expect("it is read").title, "two");
        let (piece, problems) = read_tune(source.as_bytes(), Some(2));
        assert_eq!(piece, None);
        assert!(problems[0].kind.to_string().ends_with("one of 1 and 7"));
    }

    #[test]
    fn tunes_of_one_metre_are_stages_of_one_drill() {
        let (piece, told) = told(
            "X:1\nT:d\nT:one\nM:4/4\nK:HP\nA4 B4|\n\nX:2\nT:d\nT:two\nM:4/4\nK:HP\nc4 d4|\n\nX:3\nT:e\nM:2/4\nK:HP\nA4 B4|\n",
        );
        let names: Vec<String> = piece
            .expect("it is read")
            .sections
            .into_iter()
            .map(|section| section.name)
            .collect();
        assert_eq!(names, ["one", "two"]);
        assert!(told.contains("a tune in 2/4: left out"), "{told}");
    }
}
