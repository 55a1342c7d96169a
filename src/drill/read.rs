//! Text to drill, with every problem at once.

use super::document::{DRILL_FIELDS, LADDER_FIELDS, LENGTHS_FIELDS, STAGE_FIELDS};
use super::music::read_music;
use super::problem::{Kind, Place, Problem, Severity};
use super::stages::{Taken, apart, joined, real_time, usual_landing};
use super::value::{
    Advance, Begins, Drill, Ladder, MovementLine, Route, Stage, StageKind, Step, StepBack,
};
use super::written::Music;
use super::yaml::{Text, Tree, Value, read_tree, shortened};
use crate::chanter::Note;
use crate::movement::{
    Context, Lengths, Resolution, Resolved, Schools, find, resolve, write_parts,
};
use crate::rhythm::Metre;
use crate::units::{Beats, Bpm, Fraction, Millis, parse_fraction};
use crate::wording;

/// The largest file that is read, bytes.
pub const LARGEST_FILE: usize = 1 << 20;
/// The longest title or name, characters.
const LONGEST_NAME: usize = 120;
/// The longest sentence, characters.
const LONGEST_TEXT: usize = 2000;
/// The most bars in a stage.
pub const MOST_BARS: usize = 1024;
/// The most stages in a drill.
const MOST_STAGES: usize = 64;
/// The most rungs on a ladder.
const MOST_RUNGS: usize = 200;

/// Reads a drill file. The drill is there when nothing but notes was found; every problem is told
/// either way.
pub fn read(bytes: &[u8]) -> (Option<Drill>, Vec<Problem>) {
    read_for(bytes, &Schools::none())
}

/// As [`read`], for a player of some schools: a drill that names none of its own is theirs.
pub fn read_for(bytes: &[u8], usual: &Schools) -> (Option<Drill>, Vec<Problem>) {
    let start = Place {
        line: 1,
        column: 1,
        width: 1,
    };
    // A picture or a recording: no text has a zero byte near its beginning.
    if let Some(zero) = bytes.iter().take(512).position(|byte| *byte == 0) {
        let kind = Kind::NotUtf8 { byte: zero + 1 };
        return (None, vec![Problem::new(Place::WHOLE_FILE, kind)]);
    }
    if bytes.len() > LARGEST_FILE {
        let kind = Kind::TooLarge {
            bytes: bytes.len(),
            most: LARGEST_FILE,
        };
        return (None, vec![Problem::new(start, kind)]);
    }
    let source = match std::str::from_utf8(bytes) {
        Ok(source) => source.strip_prefix('\u{feff}').unwrap_or(source),
        Err(error) => {
            let valid = &bytes[..error.valid_up_to()];
            let line = valid.split(|byte| *byte == b'\n').count();
            let place = Place { line, ..start };
            let kind = Kind::NotUtf8 {
                byte: error.valid_up_to() + 1,
            };
            return (None, vec![Problem::new(place, kind)]);
        }
    };
    let mut reader = Reader {
        problems: Vec::new(),
        usual: usual.clone(),
    };
    let tree = read_tree(source, &mut reader.problems);
    let drill = match tree {
        Some(tree) if !tree.is_nothing() => reader.drill(&tree),
        Some(_) | None => {
            if reader.problems.is_empty() {
                reader.tell(start, Kind::Empty);
            }
            None
        }
    };
    let mut problems = reader.problems;
    problems.sort_by_key(|problem| problem.place);
    let sound = problems
        .iter()
        .all(|problem| problem.severity() == Severity::Note);
    (drill.filter(|_| sound), problems)
}

struct Reader {
    problems: Vec<Problem>,
    /// Schools of a drill that names none.
    usual: Schools,
}

/// The entries of a mapping whose names are known.
struct Fields<'a> {
    place: Place,
    entries: Vec<(&'static str, &'a Tree)>,
}

impl<'a> Fields<'a> {
    fn get(&self, name: &str) -> Option<&'a Tree> {
        self.entries
            .iter()
            .find(|(field, _)| *field == name)
            .map(|(_, tree)| *tree)
            .filter(|tree| !tree.is_nothing())
    }
}

/// What every stage is made from.
struct Ground {
    metre: Metre,
    unit: Fraction,
    line: Option<MovementLine>,
    schools: Schools,
    begins: Begins,
    /// Metre and unit were read, so that beats can be counted.
    sure: bool,
}

impl Reader {
    fn tell(&mut self, place: Place, kind: Kind) {
        self.problems.push(Problem::new(place, kind));
    }

    fn fields<'a>(
        &mut self,
        tree: &'a Tree,
        known: &'static [&'static str],
        of: &'static str,
        field: &str,
    ) -> Option<Fields<'a>> {
        let Value::Map(entries) = &tree.value else {
            self.tell(
                tree.place,
                Kind::WrongShape {
                    field: field.to_owned(),
                    found: tree.described(),
                    expected: "a mapping of fields",
                },
            );
            return None;
        };
        let mut found = Vec::new();
        let mut misspelt = Vec::new();
        for (key, value) in entries {
            let name = match &key.value {
                Value::Scalar(text) => text.string.as_str(),
                _ => "",
            };
            if let Some(field) = known.iter().find(|field| **field == name) {
                found.push((*field, value));
            } else {
                misspelt.push((name, value));
                self.tell(
                    key.place,
                    Kind::UnknownField {
                        field: shortened(name),
                        of,
                        nearest: wording::nearest(name, known.iter().copied()),
                        known,
                    },
                );
            }
        }
        // Read as what it was meant for: that this is missing is no mistake of its own.
        for (name, value) in misspelt {
            if let Some(meant) = wording::nearest(name, known.iter().copied())
                && found.iter().all(|(field, _)| *field != meant)
            {
                found.push((meant, value));
            }
        }
        Some(Fields {
            place: tree.place,
            entries: found,
        })
    }

    fn scalar<'a>(
        &mut self,
        tree: &'a Tree,
        field: &'static str,
        expected: &'static str,
    ) -> Option<&'a Text> {
        if let Value::Scalar(text) = &tree.value {
            return Some(text);
        }
        self.tell(
            tree.place,
            Kind::WrongShape {
                field: field.to_owned(),
                found: tree.described(),
                expected,
            },
        );
        None
    }

    /// A text that can be shown on a terminal.
    fn text(&mut self, tree: &Tree, field: &'static str, most: usize) -> Option<String> {
        let text = self.scalar(tree, field, "text")?;
        let shown = text.string.trim();
        if shown.is_empty() {
            self.tell(tree.place, Kind::BlankText { field });
            return None;
        }
        let length = shown.chars().count();
        if length > most {
            self.tell(
                tree.place,
                Kind::LongText {
                    field,
                    length,
                    most,
                },
            );
            return None;
        }
        let unsafe_sign = shown
            .chars()
            .find(|sign| (sign.is_control() && *sign != '\n') || is_direction_mark(*sign));
        if let Some(sign) = unsafe_sign {
            self.tell(
                tree.place,
                Kind::Control {
                    field,
                    code: u32::from(sign),
                },
            );
            return None;
        }
        Some(shown.split_whitespace().collect::<Vec<_>>().join(" "))
    }

    fn optional_text(
        &mut self,
        fields: &Fields,
        field: &'static str,
        most: usize,
    ) -> Option<String> {
        let tree = fields.get(field)?;
        self.text(tree, field, most)
    }

    fn one_of<T: Copy>(
        &mut self,
        fields: &Fields,
        field: &'static str,
        choices: &'static [&'static str],
        values: &[T],
    ) -> Option<T> {
        let tree = fields.get(field)?;
        let found = self.scalar(tree, field, "a word")?.string.trim().to_owned();
        let plain = |text: &str| text.to_lowercase().replace(['-', '_'], " ");
        if let Some(at) = choices.iter().position(|c| plain(c) == plain(&found)) {
            return values.get(at).copied();
        }
        self.tell(
            tree.place,
            Kind::NotOneOf {
                field,
                nearest: wording::nearest(&found, choices.iter().copied()),
                found: shortened(&found),
                choices,
            },
        );
        None
    }

    fn fraction(&mut self, tree: &Tree, field: &'static str) -> Option<Fraction> {
        let text = self.scalar(tree, field, "a number")?;
        match parse_fraction(&text.string) {
            Ok(value) => Some(value),
            Err(error) => {
                self.tell(tree.place, Kind::BadNumber { field, error });
                None
            }
        }
    }

    fn fraction_between(
        &mut self,
        tree: &Tree,
        field: &'static str,
        range: std::ops::RangeInclusive<Fraction>,
        words: &'static str,
    ) -> Option<Fraction> {
        let value = self.fraction(tree, field)?;
        if range.contains(&value) {
            return Some(value);
        }
        self.tell(
            tree.place,
            Kind::OutOfRange {
                field,
                found: tree.described(),
                range: words,
            },
        );
        None
    }

    fn whole(
        &mut self,
        fields: &Fields,
        field: &'static str,
        range: std::ops::RangeInclusive<u32>,
        words: &'static str,
        usual: u32,
    ) -> u32 {
        let Some(tree) = fields.get(field) else {
            return usual;
        };
        let (low, high) = (i128::from(*range.start()), i128::from(*range.end()));
        let limits = Fraction::from_integer(low)..=Fraction::from_integer(high);
        match self.fraction_between(tree, field, limits, words) {
            Some(value) if value.is_integer() => u32::try_from(value.to_integer()).unwrap_or(usual),
            Some(_) => {
                self.tell(
                    tree.place,
                    Kind::OutOfRange {
                        field,
                        found: tree.described(),
                        range: words,
                    },
                );
                usual
            }
            None => usual,
        }
    }

    fn names<'a>(&mut self, tree: &'a Tree, field: &'static str) -> Vec<(&'a Tree, String)> {
        let items: Vec<&Tree> = match &tree.value {
            Value::List(items) => items.iter().collect(),
            _ => vec![tree],
        };
        let mut names = Vec::new();
        for item in items {
            if let Some(text) = self.scalar(item, field, "a name or a list of names") {
                names.push((item, text.string.trim().to_owned()));
            }
        }
        names
    }

    fn notes(&mut self, fields: &Fields, field: &'static str) -> Option<Vec<Note>> {
        let tree = fields.get(field)?;
        let mut notes = Vec::new();
        for (item, name) in self.names(tree, field) {
            match Note::parse(&name) {
                Ok(note) => notes.push(note),
                Err(mut error) => {
                    error.found = shortened(&error.found);
                    self.tell(item.place, Kind::BadNote { error });
                }
            }
        }
        Some(notes).filter(|notes| !notes.is_empty())
    }

    fn drill(&mut self, tree: &Tree) -> Option<Drill> {
        let fields = self.fields(tree, DRILL_FIELDS, "a drill", "drill")?;
        let title = if let Some(title) = fields.get("title") {
            self.text(title, "title", LONGEST_NAME)
        } else {
            self.tell(
                fields.place,
                Kind::Missing {
                    field: "title",
                    of: "the drill".to_owned(),
                    mend: "begin with a line such as `title: Grip from D`",
                },
            );
            None
        };
        let before = self.problems.len();
        let metre = self.metre(&fields);
        let unit = self.unit(&fields, metre);
        let sure = self.problems.len() == before;
        let schools = self.schools(&fields);
        let line = self.movement(&fields);
        let begins = self
            .one_of(
                &fields,
                "begins",
                &["before the beat", "on the beat"],
                &[Begins::BeforeTheBeat, Begins::OnTheBeat],
            )
            .unwrap_or_default();
        let ground = Ground {
            metre,
            unit,
            line,
            schools,
            begins,
            sure,
        };
        let stages = self.stages(&fields, &ground);
        let ladder = self.ladder(&fields);
        let clean = self.whole(&fields, "clean", 1..=50, "a whole number from 1 to 50", 5);
        let breath = self.whole(&fields, "breath", 0..=8, "a whole number from 0 to 8", 1);
        let route = self.one_of(
            &fields,
            "route",
            &["across", "up"],
            &[Route::Across, Route::Up],
        );
        let advance = self.one_of(
            &fields,
            "advance",
            &["by itself", "when asked"],
            &[Advance::ByItself, Advance::WhenAsked],
        );
        let step_back = self.one_of(
            &fields,
            "step_back",
            &["by itself", "when asked"],
            &[StepBack::ByItself, StepBack::WhenAsked],
        );
        let lengths = self.lengths(&fields);
        let about = self.optional_text(&fields, "about", LONGEST_TEXT);
        let listen_for = self.optional_text(&fields, "listen_for", LONGEST_TEXT);
        Some(Drill {
            title: title?,
            about,
            listen_for,
            metre,
            movement: ground.line,
            stages,
            ladder: ladder?,
            clean,
            breath,
            route: route.unwrap_or_default(),
            advance: advance.unwrap_or_default(),
            step_back: step_back.unwrap_or_default(),
            lengths,
            schools: ground.schools,
        })
    }

    fn metre(&mut self, fields: &Fields) -> Metre {
        let Some(tree) = fields.get("metre") else {
            return Metre::FourFour;
        };
        let Some(text) = self.scalar(tree, "metre", "a metre such as 4/4") else {
            return Metre::FourFour;
        };
        Metre::parse(&text.string).unwrap_or_else(|error| {
            self.tell(
                tree.place,
                Kind::BadMetre {
                    found: shortened(&error.0),
                },
            );
            Metre::FourFour
        })
    }

    fn unit(&mut self, fields: &Fields, metre: Metre) -> Fraction {
        let usual = metre.default_unit();
        let Some(tree) = fields.get("unit") else {
            return usual;
        };
        let Some(value) = self.fraction(tree, "unit") else {
            return usual;
        };
        let known = [1, 2, 4, 8, 16, 32].map(|below| Fraction::new(1, below));
        if known.contains(&value) {
            return value;
        }
        self.tell(
            tree.place,
            Kind::OutOfRange {
                field: "unit",
                found: tree.described(),
                range: "1, 1/2, 1/4, 1/8, 1/16 or 1/32",
            },
        );
        usual
    }

    fn schools(&mut self, fields: &Fields) -> Schools {
        let Some(tree) = fields.get("school") else {
            return self.usual.clone();
        };
        let mut schools = Schools::default();
        for (item, name) in self.names(tree, "school") {
            match schools.clone().with(&name) {
                Ok(more) => schools = more,
                Err(error) => self.tell(
                    item.place,
                    Kind::UnknownSchool {
                        message: error.to_string(),
                    },
                ),
            }
        }
        schools
    }

    fn movement(&mut self, fields: &Fields) -> Option<MovementLine> {
        let from = self.notes(fields, "from");
        let to = self.notes(fields, "to");
        let tree = fields.get("movement")?;
        let name = self
            .scalar(tree, "movement", "a movement's name")?
            .string
            .trim()
            .to_owned();
        let movement = match find(&name) {
            Ok(movement) => movement,
            Err(error) => {
                self.tell(
                    tree.place,
                    Kind::UnknownMovement {
                        message: error.to_string(),
                    },
                );
                return None;
            }
        };
        for (field, notes, mend) in [
            (
                "from",
                &from,
                "add `from:`, the note the movement comes from",
            ),
            ("to", &to, "add `to:`, the note or notes it closes on"),
        ] {
            if notes.is_none() && fields.get(field).is_none() {
                self.tell(
                    tree.place,
                    Kind::Missing {
                        field,
                        of: "the movement".to_owned(),
                        mend,
                    },
                );
            }
        }
        Some(MovementLine {
            movement,
            from: from?,
            to: to?,
        })
    }

    /// The movement in each of its contexts: every note before with every closing note.
    fn contexts(&mut self, place: Place, ground: &Ground) -> Vec<(Note, Resolved)> {
        let mut contexts = Vec::new();
        let Some(line) = &ground.line else {
            return contexts;
        };
        for from in &line.from {
            for to in &line.to {
                let context = Context::between(*from, *to);
                match resolve(line.movement, context, &ground.schools) {
                    Resolution::Played(resolved) => contexts.push((*from, resolved)),
                    Resolution::NotPlayable { why, instead } => self.tell(
                        place,
                        Kind::NotPlayable {
                            movement: line.movement.spoken().to_owned(),
                            from: *from,
                            to: *to,
                            why,
                            instead: instead.map(|instead| {
                                let played = write_parts(&instead.parts);
                                format!("played instead: {}, {played}", instead.movement.spoken())
                            }),
                        },
                    ),
                }
            }
        }
        contexts
    }

    fn stages(&mut self, fields: &Fields, ground: &Ground) -> Vec<Stage> {
        let place = fields
            .get("movement")
            .map_or(fields.place, |tree| tree.place);
        let contexts = self.contexts(place, ground);
        if let Some(music) = fields.get("music") {
            let mut stages = Vec::new();
            let title = "as written";
            if let Some(music) = self.written(music, "", title, ground) {
                stages.push(Stage {
                    name: title.to_owned(),
                    listen_for: None,
                    kind: StageKind::Written,
                    music,
                });
            }
            if fields.get("stages").is_none() {
                return stages;
            }
        }
        let Some(tree) = fields.get("stages") else {
            if fields.get("movement").is_none() {
                self.tell(fields.place, Kind::NeitherMovementNorMusic);
                return Vec::new();
            }
            return self.usual_stages(place, ground, &contexts);
        };
        let Value::List(items) = &tree.value else {
            self.tell(
                tree.place,
                Kind::WrongShape {
                    field: "stages".to_owned(),
                    found: tree.described(),
                    expected: "a list of stages",
                },
            );
            return Vec::new();
        };
        if items.is_empty() {
            self.tell(tree.place, Kind::NoStages);
        }
        if items.len() > MOST_STAGES {
            self.tell(
                tree.place,
                Kind::OutOfRange {
                    field: "stages",
                    found: format!("{} stages", items.len()),
                    range: "at most 64",
                },
            );
            return Vec::new();
        }
        let mut stages: Vec<Stage> = Vec::new();
        let mut lands = None;
        for (place, item) in items.iter().enumerate() {
            if let Some((stage, landed)) = self.stage(item, place + 1, ground, &contexts, lands) {
                lands = landed.or(lands);
                if let Some(first) = stages.iter().position(|other| other.name == stage.name) {
                    self.tell(
                        item.place,
                        Kind::SameStage {
                            stage: stage.name.clone(),
                            first: first + 1,
                        },
                    );
                }
                stages.push(stage);
            }
        }
        stages
    }

    /// The four stages of a drill that names none: whole beats, halves, quarters, real time.
    fn usual_stages(
        &mut self,
        place: Place,
        ground: &Ground,
        contexts: &[(Note, Resolved)],
    ) -> Vec<Stage> {
        let beats = [
            ("full beats", Some((Beats::ONE, Beats::ONE))),
            ("half beats", Some((Beats::ONE, Beats::new(1, 2)))),
            ("quarter beats", Some((Beats::ONE, Beats::new(1, 4)))),
            ("real time", None),
        ];
        let mut stages = Vec::new();
        let mut lands = None;
        for (name, lengths) in beats {
            let (before, tone) = lengths.unzip();
            if let Some((stage, landed)) =
                self.movement_stage(place, name, before, tone, ground, contexts, lands)
            {
                lands = Some(landed);
                stages.push(stage);
            }
        }
        stages
    }

    fn stage(
        &mut self,
        tree: &Tree,
        number: usize,
        ground: &Ground,
        contexts: &[(Note, Resolved)],
        lands: Option<Beats>,
    ) -> Option<(Stage, Option<Beats>)> {
        let fields = self.fields(tree, STAGE_FIELDS, "a stage", "stage")?;
        let name = if let Some(name) = fields.get("name") {
            self.text(name, "name", LONGEST_NAME)
        } else {
            self.tell(
                tree.place,
                Kind::Missing {
                    field: "name",
                    of: format!("stage {number}"),
                    mend: "add a name such as `name: half beats`",
                },
            );
            None
        }
        .unwrap_or_else(|| format!("stage {number}"));
        let listen_for = self.optional_text(&fields, "listen_for", LONGEST_TEXT);
        let range = Fraction::new(1, 16)..=Fraction::from_integer(16);
        let words = "between 1/16 and 16 beats";
        let mut length = |field: &'static str| {
            let tree = fields.get(field)?;
            self.fraction_between(tree, field, range.clone(), words)
                .map(Beats)
        };
        let before = length("before");
        let tone = length("tone");
        if let Some(music) = fields.get("music") {
            if fields.get("before").is_some() || fields.get("tone").is_some() {
                self.tell(
                    tree.place,
                    Kind::MusicAndMore {
                        stage: name.clone(),
                    },
                );
            }
            let label = format!("stage {number}, ");
            let music = self.written(music, &label, &name, ground)?;
            let stage = Stage {
                name,
                listen_for,
                kind: StageKind::Written,
                music,
            };
            return Some((stage, None));
        }
        if ground.line.is_none() {
            if self.problems.is_empty() || !self.told_of_movement() {
                self.tell(tree.place, Kind::StageWithoutMovement { stage: name });
            }
            return None;
        }
        if tone.is_some() && fields.get("before").is_none() {
            self.tell(tree.place, Kind::ToneNeedsBefore { stage: name });
            return None;
        }
        let (mut stage, landed) =
            self.movement_stage(tree.place, &name, before, tone, ground, contexts, lands)?;
        stage.listen_for = listen_for;
        Some((stage, Some(landed)))
    }

    fn told_of_movement(&self) -> bool {
        self.problems.iter().any(|problem| {
            matches!(
                problem.kind,
                Kind::UnknownMovement { .. }
                    | Kind::BadNote { .. }
                    | Kind::Missing {
                        field: "from" | "to",
                        ..
                    }
            )
        })
    }

    #[allow(
        clippy::too_many_arguments,
        reason = "the stage rule's own terms, each of another type"
    )]
    fn movement_stage(
        &mut self,
        place: Place,
        name: &str,
        before: Option<Beats>,
        tone: Option<Beats>,
        ground: &Ground,
        contexts: &[(Note, Resolved)],
        lands: Option<Beats>,
    ) -> Option<(Stage, Beats)> {
        let metre = ground.metre;
        let (kind, before, tone) = match (before, tone) {
            (Some(before), Some(tone)) => (StageKind::Apart { before, tone }, before, Some(tone)),
            (before, _) => {
                let before = before.or(lands).unwrap_or_else(|| usual_landing(metre));
                (StageKind::RealTime { before }, before, None)
            }
        };
        let mut all: Vec<Taken> = Vec::new();
        for (from, resolved) in contexts {
            let taken = match tone {
                Some(tone) => apart(metre, *from, resolved, before, tone),
                None => real_time(metre, *from, resolved, before, ground.begins),
            };
            match taken {
                Ok(taken) => all.push(taken),
                Err(length) => {
                    if ground.sure {
                        let stage = name.to_owned();
                        self.tell(place, Kind::Unwritable { stage, length });
                    }
                    return None;
                }
            }
        }
        let landed = all.first()?.lands;
        let music = joined(metre, &all);
        self.count_bars(place, &music)?;
        let stage = Stage {
            name: name.to_owned(),
            listen_for: None,
            kind,
            music,
        };
        Some((stage, landed))
    }

    fn count_bars(&mut self, place: Place, music: &Music) -> Option<()> {
        let found = music.order.len();
        if found > MOST_BARS {
            self.tell(
                place,
                Kind::TooManyBars {
                    found,
                    most: MOST_BARS,
                },
            );
            return None;
        }
        Some(())
    }

    fn written(&mut self, tree: &Tree, label: &str, name: &str, ground: &Ground) -> Option<Music> {
        let text = self.scalar(tree, "music", "ABC body text")?;
        let (music, problems) = read_music(&text.string, ground.metre, ground.unit, label);
        let told = !problems.is_empty();
        for problem in problems {
            let counts_beats = matches!(problem.kind, Kind::Bar { .. } | Kind::Complement { .. });
            if ground.sure || !counts_beats {
                self.tell(text.place(problem.start, problem.end), problem.kind);
            }
        }
        if music.bars.is_empty() {
            if !told {
                let stage = name.to_owned();
                self.tell(tree.place, Kind::EmptyStage { stage });
            }
            return None;
        }
        self.count_bars(tree.place, &music)?;
        Some(music)
    }

    fn tempo(&mut self, fields: &Fields, field: &'static str) -> Option<Bpm> {
        let tree = fields.get(field)?;
        let text = self.scalar(tree, field, "a tempo in beats a minute")?;
        match Bpm::parse(&text.string) {
            Ok(tempo) => Some(tempo),
            Err(error) => {
                self.tell(
                    tree.place,
                    Kind::BadTempo {
                        field,
                        error: error.to_string(),
                    },
                );
                None
            }
        }
    }

    fn ladder(&mut self, fields: &Fields) -> Option<Ladder> {
        let Some(tree) = fields.get("ladder") else {
            self.tell(
                fields.place,
                Kind::Missing {
                    field: "ladder",
                    of: "the drill".to_owned(),
                    mend: "add a line such as `ladder: {from: 50, to: 80, step: 4%}`",
                },
            );
            return None;
        };
        let rungs = self.fields(tree, LADDER_FIELDS, "a ladder", "ladder")?;
        for (field, mend) in [
            ("from", "add `from: 50`, the first tempo"),
            ("to", "add `to: 80`, the last tempo"),
            ("step", "add `step: 4%`, or `step: 4` for beats a minute"),
        ] {
            if rungs.get(field).is_none() {
                self.tell(
                    tree.place,
                    Kind::Missing {
                        field,
                        of: "the ladder".to_owned(),
                        mend,
                    },
                );
            }
        }
        let from = self.tempo(&rungs, "from");
        let to = self.tempo(&rungs, "to");
        let step = self.step(&rungs);
        let ladder = Ladder {
            from: from?,
            to: to?,
            step: step?,
        };
        if ladder.to < ladder.from {
            self.tell(
                tree.place,
                Kind::LadderDown {
                    from: ladder.from.to_string(),
                    to: ladder.to.to_string(),
                },
            );
            return None;
        }
        let count = rung_count(&ladder);
        if count > MOST_RUNGS {
            self.tell(
                tree.place,
                Kind::LadderTooLong {
                    rungs: count,
                    most: MOST_RUNGS,
                },
            );
            return None;
        }
        Some(ladder)
    }

    fn step(&mut self, rungs: &Fields) -> Option<Step> {
        let tree = rungs.get("step")?;
        let text = self.scalar(tree, "step", "`4%`, or `4` for beats a minute")?;
        let (number, percent) = match text.string.trim().strip_suffix('%') {
            Some(number) => (number, true),
            None => (text.string.trim(), false),
        };
        let value = match parse_fraction(number) {
            Ok(value) => value,
            Err(error) => {
                self.tell(
                    tree.place,
                    Kind::BadNumber {
                        field: "step",
                        error,
                    },
                );
                return None;
            }
        };
        if value < Fraction::new(1, 4) || value > Fraction::from_integer(100) {
            self.tell(
                tree.place,
                Kind::OutOfRange {
                    field: "step",
                    found: tree.described(),
                    range: "between 1/4 and 100",
                },
            );
            return None;
        }
        Some(if percent {
            Step::Percent(value)
        } else {
            Step::Beats(value)
        })
    }

    fn lengths(&mut self, fields: &Fields) -> Lengths {
        let mut lengths = Lengths::default();
        let Some(tree) = fields.get("lengths") else {
            return lengths;
        };
        let Some(own) = self.fields(tree, LENGTHS_FIELDS, "`lengths`", "lengths") else {
            return lengths;
        };
        let range =
            Fraction::from_integer(Lengths::SHORTEST)..=Fraction::from_integer(Lengths::LONGEST);
        let words = "between 12 and 400 milliseconds";
        if let Some(tree) = own.get("gracenote")
            && let Some(value) = self.fraction_between(tree, "gracenote", range.clone(), words)
        {
            lengths.separating = Millis(value);
        }
        if let Some(tree) = own.get("tone")
            && let Some(value) = self.fraction_between(tree, "tone", range, words)
        {
            lengths.tone = Millis(value);
        }
        if let Some(opens) = self.one_of(
            &own,
            "opens",
            &["true", "false", "yes", "no"],
            &[true, false, true, false],
        ) {
            lengths.opens = opens;
        }
        lengths
    }
}

/// Marks that turn the direction of text on a terminal.
fn is_direction_mark(sign: char) -> bool {
    matches!(sign, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// How many rungs a ladder will have at the most, before equal ones are dropped.
fn rung_count(ladder: &Ladder) -> usize {
    let (from, to) = (ladder.from.to_f64(), ladder.to.to_f64());
    let count = match ladder.step {
        Step::Beats(step) => (to - from) * *step.denom() as f64 / *step.numer() as f64,
        Step::Percent(step) => {
            let factor = 1.0 + *step.numer() as f64 / *step.denom() as f64 / 100.0;
            (to / from).ln() / factor.ln()
        }
    };
    count.ceil() as usize + 1
}
