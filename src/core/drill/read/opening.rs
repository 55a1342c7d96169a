//! Reads the last tempo of a stage, and the stage that opens the movement.

use super::fields::Fields;
use super::{Ground, Reader};
use crate::chanter::Note;
use crate::drill::document::OPENING_FIELDS;
use crate::drill::problem::{Place, ProblemKind};
use crate::drill::stages::{Taken, joined, longest_before, on_the_beat, opened};
use crate::drill::value::{Stage, StageKind};
use crate::drill::yaml::Tree;
use crate::movement::{Lengths, Resolved};
use crate::units::{Beats, Bpm, Fraction, Millis};

/// The length of tones in milliseconds with which an opening begins by default: a semiquaver at 50
/// beats a minute.
const USUAL_FROM: i128 = 300;

impl Reader {
    /// The last tempo a stage is worth practising at.
    pub(super) fn up_to(&mut self, fields: &Fields, ground: &Ground) -> Option<Bpm> {
        let tree = fields.get("up_to")?;
        let tempo = self.tempo(fields, "up_to")?;
        self.on_the_ladder(tree.place, "up_to", tempo, ground)
    }

    fn on_the_ladder(
        &mut self,
        place: Place,
        field: &'static str,
        tempo: Bpm,
        ground: &Ground,
    ) -> Option<Bpm> {
        let Some((from, to)) = ground.ladder.as_ref().map(|one| (one.from(), one.to())) else {
            return Some(tempo);
        };
        if (from..=to).contains(&tempo) {
            return Some(tempo);
        }
        self.tell(
            place,
            ProblemKind::OffTheLadder {
                field,
                found: tempo,
                from,
                to,
            },
        );
        None
    }

    /// Reads a stage that opens the movement: `opening: {from: 300, at: 60}`. The second value
    /// returned is the place of the closing note in its first bar.
    pub(super) fn opening_stage(
        &mut self,
        tree: &Tree,
        fields: &Fields,
        name: &str,
        before: Beats,
        ground: &Ground,
        contexts: &[(Note, Resolved)],
    ) -> Option<Stage> {
        for field in ["tone", "music", "up_to"] {
            if let Some(more) = fields.get(field) {
                self.tell(
                    more.place,
                    ProblemKind::OpeningAndMore {
                        stage: name.to_owned(),
                        field,
                    },
                );
                return None;
            }
        }
        let own = fields.get("opening")?;
        let (from, at) = self.opening_lengths(own, ground)?;
        if let Some((_, shut)) = contexts.iter().find(|(_, one)| !one.can_be_opened()) {
            self.tell(
                own.place,
                ProblemKind::NothingInside {
                    stage: name.to_owned(),
                    movement: shut.movement.spoken(),
                },
            );
            return None;
        }
        let lengths = ground.lengths.opened_to(from);
        let longest = longest_before(contexts, before, &lengths, at);
        let mut all: Vec<Taken> = Vec::new();
        for (note, resolved) in contexts {
            let before = on_the_beat(resolved, longest, Beats::ZERO);
            match opened(ground.metre, *note, resolved, before, &lengths, at) {
                Ok(taken) => all.push(taken),
                Err(length) => {
                    if ground.sure {
                        let stage = name.to_owned();
                        self.tell(tree.place, ProblemKind::Unwritable { stage, length });
                    }
                    return None;
                }
            }
        }
        let music = joined(ground.metre, &all);
        self.count_bars(tree.place, &music)?;
        Some(Stage {
            name: name.to_owned(),
            listen_for: None,
            kind: StageKind::Opening {
                before: longest,
                from,
                at,
            },
            up_to: None,
            music,
        })
    }

    /// Reads a stage in which a movement is first played with long tones that then shorten. Gives
    /// the length of its tones at the start (`from`, milliseconds) and the tempo that stays fixed
    /// meanwhile (`at`). None, with a problem told, where a field is wrong or `from` is no longer
    /// than the tones already are at that tempo.
    fn opening_lengths(&mut self, tree: &Tree, ground: &Ground) -> Option<(Millis, Bpm)> {
        let own = self.fields(tree, OPENING_FIELDS, "an opening", "opening")?;
        let from = match own.get("from") {
            None => Millis::whole(USUAL_FROM),
            Some(tree) => {
                let range = Fraction::from_integer(Lengths::SHORTEST)
                    ..=Fraction::from_integer(Lengths::LONGEST);
                let words = "between 12 and 400 milliseconds";
                self.fraction_between(tree, "from", range, words)
                    .map(Millis)?
            }
        };
        let Some(place) = own.get("at").map(|tree| tree.place) else {
            self.tell(
                tree.place,
                ProblemKind::Missing {
                    field: "at",
                    of: "the opening".to_owned(),
                    mend: "add `at: 60`, the tempo that stands still while the movement closes up",
                },
            );
            return None;
        };
        let at = self.tempo(&own, "at")?;
        let at = self.on_the_ladder(place, "at", at, ground)?;
        let real = ground.lengths.tone_at(at);
        if from <= real {
            let place = own.get("from").map_or(tree.place, |tree| tree.place);
            self.tell(place, ProblemKind::NothingToClose { from, real, at });
            return None;
        }
        Some((from, at))
    }
}
