//! Reads stages: a movement taken apart, or written-out music.

use super::fields::Fields;
use super::{Ground, LONGEST_NAME, LONGEST_TEXT, MOST_BARS, Reader};
use crate::chanter::Note;
use crate::drill::document::STAGE_FIELDS;
use crate::drill::music::read_music;
use crate::drill::problem::{Place, ProblemKind};
use crate::drill::stages::{
    Taken, apart, joined, on_the_beat, real_time, usual_before, usual_landing, widest,
};
use crate::drill::value::{Stage, StageKind};
use crate::drill::written::Music;
use crate::drill::yaml::{Tree, Value};
use crate::movement::Resolved;
use crate::rhythm::{Metre, WrittenLength};
use crate::units::{Beats, Fraction};

fn writable(metre: Metre, length: Beats) -> bool {
    !WrittenLength::tied(metre.semibreves_of(length)).is_empty()
}

/// The most stages in a drill.
const MOST_STAGES: usize = 64;

impl Reader {
    pub(super) fn stages(&mut self, fields: &Fields, ground: &Ground) -> Vec<Stage> {
        let place = fields
            .get("movement")
            .map_or(fields.place, |tree| tree.place);
        let contexts = self.contexts(place, ground);
        if let Some(music) = fields.get("music") {
            let mut stages = Vec::new();
            let title = "as written";
            if let Some(music) = self.written((fields, music), "", title, ground) {
                stages.push(Stage {
                    name: title.to_owned(),
                    listen_for: None,
                    kind: StageKind::Written,
                    up_to: None,
                    music,
                });
            }
            if fields.get("stages").is_none() {
                return stages;
            }
        }
        if fields.get("music").is_none() {
            self.no_first_bar(fields);
        }
        let Some(tree) = fields.get("stages") else {
            if fields.get("movement").is_none() {
                self.tell(fields.place, ProblemKind::NeitherMovementNorMusic);
                return Vec::new();
            }
            return self.usual_stages(place, ground, &contexts);
        };
        let Value::List(items) = &tree.value else {
            self.tell(
                tree.place,
                ProblemKind::WrongShape {
                    field: "stages".to_owned(),
                    found: tree.described(),
                    expected: "a list of stages",
                },
            );
            return Vec::new();
        };
        if items.is_empty() {
            self.tell(tree.place, ProblemKind::NoStages);
        }
        if items.len() > MOST_STAGES {
            self.tell(
                tree.place,
                ProblemKind::OutOfRange {
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
                        ProblemKind::SameStage {
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

    /// The four stages of a drill that lists none: whole beats, half beats, quarter beats, real
    /// time.
    fn usual_stages(
        &mut self,
        place: Place,
        ground: &Ground,
        contexts: &[(Note, Resolved)],
    ) -> Vec<Stage> {
        let tones = [
            ("full beats", Some(Beats::ONE)),
            ("half beats", Some(Beats::new(1, 2))),
            ("quarter beats", Some(Beats::new(1, 4))),
            ("real time", None),
        ];
        let widest = widest(contexts.iter().map(|(_, resolved)| resolved));
        let mut stages = Vec::new();
        let mut lands = None;
        for (name, tone) in tones {
            let before = tone
                .zip(widest)
                .map(|(tone, widest)| usual_before(ground.metre, widest, tone));
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
                ProblemKind::Missing {
                    field: "name",
                    of: format!("stage {number}"),
                    mend: "add a name such as `name: half beats`",
                },
            );
            None
        }
        .unwrap_or_else(|| format!("stage {number}"));
        let listen_for = self.optional_text(&fields, "listen_for", LONGEST_TEXT);
        if fields.get("music").is_none() {
            self.no_music(&fields);
        }
        let range = Fraction::new(1, 16)..=Fraction::from_integer(16);
        let words = "between 1/16 and 16 beats";
        let mut length = |field: &'static str| {
            let tree = fields.get(field)?;
            self.fraction_between(tree, field, range.clone(), words)
                .map(Beats)
        };
        let before = length("before");
        let tone = length("tone");
        if fields.get("opening").is_some() && ground.line.is_some() {
            let before = before
                .or(lands)
                .unwrap_or_else(|| usual_landing(ground.metre));
            let mut stage = self.opening_stage(tree, &fields, &name, before, ground, contexts)?;
            stage.listen_for = listen_for;
            return Some((stage, Some(before)));
        }
        if let Some(music) = fields.get("music") {
            if fields.get("before").is_some() || fields.get("tone").is_some() {
                self.tell(
                    tree.place,
                    ProblemKind::MusicAndMore {
                        stage: name.clone(),
                    },
                );
            }
            let label = format!("stage {number}, ");
            let pointing = self.own_pointing(&fields);
            let mut music = self.written((&fields, music), &label, &name, ground)?;
            music.pointing = pointing.unwrap_or(music.pointing);
            let stage = Stage {
                name,
                listen_for,
                kind: StageKind::Written,
                up_to: self.up_to(&fields, ground),
                music,
            };
            return Some((stage, None));
        }
        if ground.line.is_none() {
            if self.problems.is_empty() || !self.told_of_movement() {
                self.tell(
                    tree.place,
                    ProblemKind::StageWithoutMovement { stage: name },
                );
            }
            return None;
        }
        if tone.is_some() && fields.get("before").is_none() {
            self.tell(tree.place, ProblemKind::ToneNeedsBefore { stage: name });
            return None;
        }
        let (mut stage, landed) =
            self.movement_stage(tree.place, &name, before, tone, ground, contexts, lands)?;
        if let (Some(before), Some(tree)) = (before, fields.get("before")) {
            self.tell_of_the_beat(tree.place, &name, before, tone, contexts);
        }
        stage.listen_for = listen_for;
        stage.up_to = self.up_to(&fields, ground);
        Some((stage, Some(landed)))
    }

    /// Reports a length of the note before that would move the movement off its beat in some
    /// context.
    fn tell_of_the_beat(
        &mut self,
        place: Place,
        stage: &str,
        before: Beats,
        tone: Option<Beats>,
        contexts: &[(Note, Resolved)],
    ) {
        let tone = tone.unwrap_or(Beats::ZERO);
        let played = |resolved: &Resolved| on_the_beat(resolved, before, tone);
        let stands = |(_, resolved): &(Note, Resolved)| played(resolved) == before;
        if let Some((_, first)) = contexts.first()
            && !contexts.iter().any(stands)
        {
            self.tell(
                place,
                ProblemKind::OffTheBeat {
                    stage: stage.to_owned(),
                    movement: first.movement.spoken(),
                    before,
                    played: played(first),
                },
            );
        }
    }

    fn told_of_movement(&self) -> bool {
        self.problems.iter().any(|problem| {
            matches!(
                problem.kind,
                ProblemKind::UnknownMovement { .. }
                    | ProblemKind::BadNote { .. }
                    | ProblemKind::Missing {
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
            let before = on_the_beat(resolved, before, tone.unwrap_or(Beats::ZERO));
            let taken = match tone {
                Some(tone) => apart(metre, *from, resolved, before, tone),
                None => real_time(metre, *from, resolved, before),
            };
            match taken {
                Ok(taken) => all.push(taken),
                Err(length) => {
                    if ground.sure {
                        let stage = name.to_owned();
                        // That the tone cannot be written is reported first, before problems that
                        // follow from it.
                        let length = tone
                            .filter(|tone| !writable(metre, *tone))
                            .unwrap_or(length);
                        self.tell(place, ProblemKind::Unwritable { stage, length });
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
            up_to: None,
            music,
        };
        Some((stage, landed))
    }

    pub(super) fn count_bars(&mut self, place: Place, music: &Music) -> Option<()> {
        let found = music.order.len();
        if found > MOST_BARS {
            self.tell(
                place,
                ProblemKind::TooManyBars {
                    found,
                    most: MOST_BARS,
                },
            );
            return None;
        }
        Some(())
    }

    fn written(
        &mut self,
        (fields, tree): (&Fields, &Tree),
        label: &str,
        name: &str,
        ground: &Ground,
    ) -> Option<Music> {
        let text = self.scalar(tree, "music", "ABC body text")?;
        let (mut music, problems) = read_music(&text.string, ground.metre, ground.unit, label);
        music.pointing = ground.pointing;
        music.first_bar = self.first_bar(fields);
        let told = !problems.is_empty();
        let mut places = text.places();
        for problem in problems {
            let counts_beats = matches!(
                problem.kind,
                ProblemKind::Bar { .. } | ProblemKind::Complement { .. }
            );
            let meant = matches!(problem.kind, ProblemKind::PlayedEarly { .. })
                && ground.schools.chooses("early-gracenote");
            if (ground.sure || !counts_beats) && !meant {
                self.tell(places.of(problem.start, problem.end), problem.kind);
            }
        }
        if music.bars.is_empty() {
            if !told {
                let stage = name.to_owned();
                self.tell(tree.place, ProblemKind::EmptyStage { stage });
            }
            return None;
        }
        self.count_bars(tree.place, &music)?;
        Some(music)
    }
}
