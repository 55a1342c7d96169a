//! Pitches: the ratios of the nine notes to low A, and the drones.

use super::note::Note;
use crate::units::Hertz;
use num_rational::Ratio;
use serde::{Deserialize, Serialize};

/// The kind of chanter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Instrument {
    /// Quiet and played alone; low A is 233–240 Hz.
    #[default]
    PracticeChanter,
    /// The chanter of the bagpipe; low A is about 480 Hz.
    PipeChanter,
}

/// Which published table of pitch ratios.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TuningTable {
    /// Low G 7/8, D 4/3, high G 7/4 (Macpherson 1998, harmonic column).
    #[default]
    Modern,
    /// Low G 8/9, D 27/20, high G 9/5 (Lenihan & MacNeill, Acustica 4, 1954).
    #[serde(rename = "1954")]
    MidCentury,
}

/// A chanter's pitch: low A in hertz and the table of ratios.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tuning {
    /// The sounding pitch of low A.
    pub low_a: Hertz,
    /// The table with the ratios of the other notes.
    pub table: TuningTable,
    /// Which chanter. It decides the octave of the drones.
    pub instrument: Instrument,
}

impl Default for Tuning {
    fn default() -> Self {
        Self::of(Instrument::PracticeChanter)
    }
}

impl TuningTable {
    /// A note's exact pitch ratio to low A.
    pub fn ratio(self, note: Note) -> Ratio<u32> {
        let (above, below) = match (note, self) {
            (Note::LowG, Self::Modern) => (7, 8),
            (Note::LowG, Self::MidCentury) => (8, 9),
            (Note::LowA, _) => (1, 1),
            (Note::B, _) => (9, 8),
            (Note::C, _) => (5, 4),
            (Note::D, Self::Modern) => (4, 3),
            (Note::D, Self::MidCentury) => (27, 20),
            (Note::E, _) => (3, 2),
            (Note::F, _) => (5, 3),
            (Note::HighG, Self::Modern) => (7, 4),
            (Note::HighG, Self::MidCentury) => (9, 5),
            (Note::HighA, _) => (2, 1),
        };
        Ratio::new_raw(above, below)
    }
}

impl Tuning {
    /// The lowest low A that is accepted, in hertz: lower than on any practice chanter.
    pub const LOWEST_LOW_A: Hertz = Hertz(200.0);
    /// The highest low A that is accepted, in hertz: higher than on any pipe chanter.
    pub const HIGHEST_LOW_A: Hertz = Hertz(520.0);
    /// The limit between the two chanters, in hertz. A lower low A belongs to a practice chanter.
    pub const CHANTERS_PART: Hertz = Hertz(340.0);

    /// The usual pitch of a chanter: 236 Hz for the practice chanter (233–240 in use, an octave
    /// below the pipes), 480 Hz for the pipes (Macpherson 1998: 470–480).
    pub fn of(instrument: Instrument) -> Self {
        let low_a = match instrument {
            Instrument::PracticeChanter => 236.0,
            Instrument::PipeChanter => 480.0,
        };
        Self {
            low_a: Hertz(low_a),
            table: TuningTable::Modern,
            instrument,
        }
    }

    /// The tuning of a chanter of which only low A is known: the pitch decides which chanter it is.
    pub fn with_low_a(low_a: Hertz, table: TuningTable) -> Self {
        let instrument = if low_a.0 < Self::CHANTERS_PART.0 {
            Instrument::PracticeChanter
        } else {
            Instrument::PipeChanter
        };
        Self {
            low_a,
            table,
            instrument,
        }
    }

    /// The sounding pitch of a note.
    pub fn hertz(&self, note: Note) -> Hertz {
        let ratio = self.table.ratio(note);
        Hertz(self.low_a.0 * f64::from(*ratio.numer()) / f64::from(*ratio.denom()))
    }

    /// The pitches of the two tenor drones and the bass drone: 1/2, 1/2 and 1/4 of the pipe
    /// chanter's low A (Encyclopaedia Britannica, 11th ed., "Bag-pipe"). The practice chanter
    /// sounds an octave lower. So beside it the tenors are in unison with low A and the bass is an
    /// octave below.
    pub fn drones(&self) -> [Hertz; 3] {
        let tenor = match self.instrument {
            Instrument::PracticeChanter => self.low_a.0,
            Instrument::PipeChanter => self.low_a.0 / 2.0,
        };
        [Hertz(tenor), Hertz(tenor), Hertz(tenor / 2.0)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::NOTES;
    use crate::units::Cents;

    /// The cents are computed from the ratios of Macpherson 1998.
    #[test]
    fn the_modern_table_has_its_cents() {
        let expected = [
            -231.2, 0.0, 203.9, 386.3, 498.0, 702.0, 884.4, 968.8, 1200.0,
        ];
        let tuning = Tuning::default();
        for (note, cents) in NOTES.into_iter().zip(expected) {
            let found = Cents::between(tuning.low_a, tuning.hertz(note)).0;
            assert!((found - cents).abs() < 0.05, "{note}: {found}");
        }
    }

    /// The cents are computed from the ratios of Lenihan & MacNeill, Acustica 4, 1954: low G 8/9, D
    /// 27/20, high G 9/5. The other notes are the same in every table.
    #[test]
    fn the_table_of_1954_has_its_cents() {
        let expected = [
            -203.9, 0.0, 203.9, 386.3, 519.6, 702.0, 884.4, 1017.6, 1200.0,
        ];
        let tuning = Tuning {
            table: TuningTable::MidCentury,
            ..Tuning::default()
        };
        for (note, cents) in NOTES.into_iter().zip(expected) {
            let found = Cents::between(tuning.low_a, tuning.hertz(note)).0;
            assert!((found - cents).abs() < 0.05, "{note}: {found}");
        }
    }

    /// Lenihan & MacNeill 1954: low G 8/9, D 27/20, high G 9/5. The other notes are the same in
    /// every table.
    #[test]
    fn the_tables_differ_on_low_g_d_and_high_g_only() {
        let differ: Vec<Note> = NOTES
            .into_iter()
            .filter(|note| TuningTable::Modern.ratio(*note) != TuningTable::MidCentury.ratio(*note))
            .collect();
        assert_eq!(differ, [Note::LowG, Note::D, Note::HighG]);
        assert_eq!(TuningTable::MidCentury.ratio(Note::D), Ratio::new(27, 20));
    }

    #[test]
    fn the_same_drones_lie_beside_both_chanters() {
        let pipes = Tuning::with_low_a(Hertz(472.0), TuningTable::Modern);
        let practice = Tuning::with_low_a(Hertz(236.0), TuningTable::Modern);
        assert_eq!(pipes.drones(), practice.drones());
        assert_eq!(
            practice.drones(),
            [Hertz(236.0), Hertz(236.0), Hertz(118.0)]
        );
    }
}
