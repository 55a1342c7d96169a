//! Reads a drill from text and reports every problem at once.

mod fields;
mod ground;
mod ladder;
mod opening;
mod phrases;
mod pointing;
mod stages;

use super::document::DRILL_FIELDS;
use super::ladder::Ladder;
use super::problem::{self, Place, Problem, ProblemKind, Severity};
use super::value::{Advance, Begins, Drill, MovementLine, Route, StageKind, StepBack};
use super::yaml::{Tree, read_tree};
use crate::movement::{Lengths, Schools};
use crate::rhythm::{Metre, Pointing, names_march_or_dance};
use crate::units::Fraction;

/// The largest file that is read, in bytes.
pub const LARGEST_FILE: usize = 1 << 20;
/// The longest title or name, in characters.
const LONGEST_NAME: usize = 120;
/// The longest sentence, in characters.
const LONGEST_TEXT: usize = 2000;
/// The most bars in a stage.
pub const MOST_BARS: usize = 1024;

/// Reads a drill file. There is a drill unless some problem is an error; all problems are returned
/// in both cases.
pub fn read(bytes: &[u8]) -> (Option<Drill>, Vec<Problem>) {
    read_for(bytes, &Schools::none())
}

/// Reads a drill as [`read`] does, for a player with some schools. A drill without schools of its
/// own uses the player's.
pub fn read_for(bytes: &[u8], usual: &Schools) -> (Option<Drill>, Vec<Problem>) {
    let start = Place {
        line: 1,
        column: 1,
        width: 1,
    };
    // A picture or a recording has a zero byte near its beginning; a text has none.
    if let Some(zero) = bytes.iter().take(512).position(|byte| *byte == 0) {
        let kind = ProblemKind::NotUtf8 { byte: zero + 1 };
        return (None, vec![Problem::new(Place::WHOLE_FILE, kind)]);
    }
    if bytes.len() > LARGEST_FILE {
        let kind = ProblemKind::TooLarge {
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
            let kind = ProblemKind::NotUtf8 {
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
                reader.tell(start, ProblemKind::Empty);
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
    /// The schools for a drill that names none.
    usual: Schools,
}

/// What all stages are made from.
struct Ground {
    metre: Metre,
    unit: Fraction,
    line: Option<MovementLine>,
    schools: Schools,
    begins: Begins,
    /// The ladder; none when it could not be read.
    ladder: Option<Ladder>,
    lengths: Lengths,
    /// The pointing of written-out music whose stage has none of its own.
    pointing: Pointing,
    /// True when metre and unit were read, so that beats can be counted.
    sure: bool,
}

impl Reader {
    fn tell(&mut self, place: Place, kind: ProblemKind) {
        problem::tell(&mut self.problems, Problem::new(place, kind));
    }

    fn drill(&mut self, tree: &Tree) -> Option<Drill> {
        let fields = self.fields(tree, DRILL_FIELDS, "a drill", "drill")?;
        let title = if let Some(title) = fields.get("title") {
            self.text(title, "title", LONGEST_NAME)
        } else {
            self.tell(
                fields.place,
                ProblemKind::Missing {
                    field: "title",
                    of: "the drill".to_owned(),
                    mend: "begin with a line such as `title: Grip from D`",
                },
            );
            None
        };
        let before = self.problems.len();
        let metre = self.metre(&fields);
        let metre = self.beat(&fields, metre);
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
        let ladder = self.ladder(&fields);
        let lengths = self.lengths(&fields);
        let head = self.head(&fields);
        let light_music = head.kind.as_deref().is_some_and(names_march_or_dance);
        let schools = schools.in_light_music(light_music);
        let pointing = self.pointing(&fields, &head, metre);
        let ground = Ground {
            metre,
            unit,
            line,
            schools,
            begins,
            ladder,
            lengths,
            pointing,
            sure,
        };
        let stages = self.stages(&fields, &ground);
        if !stages.is_empty() && stages.iter().all(|stage| stage.kind != StageKind::Written) {
            self.no_pointing(&fields);
        }
        let phrases = self.phrases(&fields, &stages);
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
        let about = self.optional_text(&fields, "about", LONGEST_TEXT);
        let listen_for = self.optional_text(&fields, "listen_for", LONGEST_TEXT);
        Some(Drill {
            title: title?,
            head,
            about,
            listen_for,
            metre,
            movement: ground.line,
            stages,
            phrases,
            ladder: ground.ladder?,
            clean,
            breath,
            route: route.unwrap_or_default(),
            advance: advance.unwrap_or_default(),
            step_back: step_back.unwrap_or_default(),
            lengths: ground.lengths,
            schools: ground.schools,
        })
    }
}
