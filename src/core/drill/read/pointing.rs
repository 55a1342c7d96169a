//! Reads the pointing of written-out music.

use super::Reader;
use super::fields::Fields;
use crate::drill::problem::ProblemKind;
use crate::drill::value::TuneHead;
use crate::rhythm::{Metre, Pointing, PointingSource};

impl Reader {
    /// The pointing of a drill's written-out music: from its file, or otherwise the usual one for
    /// its kind of tune.
    pub(super) fn pointing(&mut self, fields: &Fields, head: &TuneHead, metre: Metre) -> Pointing {
        if let Some(pointing) = self.read_pointing(fields, PointingSource::File) {
            return pointing;
        }
        match &head.kind {
            Some(kind) if fields.get("movement").is_none() => Pointing::of_kind(kind, metre),
            _ => Pointing::default(),
        }
    }

    /// The pointing that a stage gives for itself; none when it gives none.
    pub(super) fn own_pointing(&mut self, fields: &Fields) -> Option<Pointing> {
        self.read_pointing(fields, PointingSource::Stage)
    }

    /// Reports fields that belong to music, in a stage that has no music.
    pub(super) fn no_music(&mut self, fields: &Fields) {
        self.no_pointing(fields);
        self.no_first_bar(fields);
    }

    /// Reports a pointing where no music is written out: a movement that is taken apart has no
    /// pairs.
    pub(super) fn no_pointing(&mut self, fields: &Fields) {
        if let Some(tree) = fields.get("pointing") {
            let found = tree.described();
            let expected = "it beside `music` only: a movement has no pairs to point";
            self.tell(tree.place, ProblemKind::BadPointing { found, expected });
        }
    }

    fn read_pointing(&mut self, fields: &Fields, source: PointingSource) -> Option<Pointing> {
        let tree = fields.get("pointing")?;
        let text = self.scalar(tree, "pointing", Pointing::EXPECTED)?;
        match Pointing::parse(&text.string, source) {
            Ok(pointing) => Some(pointing),
            Err(expected) => {
                let found = tree.described();
                self.tell(tree.place, ProblemKind::BadPointing { found, expected });
                None
            }
        }
    }
}
