//! How long the parts of a movement last.

use super::parts::Role;
use crate::units::{Beats, Bpm, Fraction, Millis};

/// Lengths of gracenotes in milliseconds.
///
/// Short gracenotes keep a nearly constant length at every tempo (Timmers et al., Music Perception
/// 20(1), 2002; Windsor et al., Psychology of Music 29, 2001). No published length for pipes was
/// found. The defaults are from memory, unverified, and can be edited.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Lengths {
    /// Length of a separating gracenote, at every tempo.
    pub separating: Millis,
    /// Length of a tone inside a movement, at [`Lengths::REFERENCE_TEMPO`] and above.
    pub tone: Millis,
    /// True when tones become longer in proportion below that tempo (common practice, no source).
    /// Separating gracenotes never do.
    pub opens: bool,
}

impl Default for Lengths {
    fn default() -> Self {
        Self {
            separating: Millis::whole(35),
            tone: Millis::whole(55),
            opens: true,
        }
    }
}

impl Lengths {
    /// Length of a tone that a movement holds long, when no length is written (chosen: the cadences
    /// of pibroch have no click, so any length is the teacher's choice).
    pub const HELD: Beats = Beats::ONE;
    /// The tempo in beats a minute below which tones become longer (chosen: the quickest band march
    /// of the printed sources).
    pub const REFERENCE_TEMPO: i128 = 80;
    /// Tones become at most this many times as long at slow tempi (chosen: at 40 beats a minute and
    /// slower they would no longer be heard as one movement).
    pub const OPENS_AT_MOST: i128 = 2;
    /// The largest share of a note that a movement may take (chosen: what is left is still heard as
    /// the longer part).
    pub const MOST_OF_A_NOTE: Fraction = Fraction::new_raw(3, 5);
    /// The shortest length accepted, in milliseconds. A shorter sound is not heard as a tone.
    pub const SHORTEST: i128 = 12;
    /// The longest length accepted, milliseconds.
    pub const LONGEST: i128 = 400;

    /// Length of the short first note of a figure in beats (chosen: as in the figure's drills in
    /// real time).
    pub fn figure_note() -> Beats {
        Beats::new(1, 8)
    }

    /// The length of a part at a tempo, in beats.
    pub fn of(&self, role: Role, tempo: Bpm) -> Beats {
        match role {
            Role::Separating => self.separating.to_beats(tempo),
            Role::Sounding => self.tone_at(tempo).to_beats(tempo),
        }
    }

    /// These lengths with every tone inside a movement set to one length at every tempo. Separating
    /// gracenotes keep their length.
    #[must_use]
    pub fn opened_to(self, tone: Millis) -> Self {
        Self {
            tone,
            opens: false,
            ..self
        }
    }

    /// The length of a tone at a tempo.
    pub fn tone_at(&self, tempo: Bpm) -> Millis {
        if !self.opens {
            return self.tone;
        }
        let stretch = Fraction::from_integer(Self::REFERENCE_TEMPO) / tempo.value();
        let stretch = stretch.clamp(
            Fraction::from_integer(1),
            Fraction::from_integer(Self::OPENS_AT_MOST),
        );
        Millis(self.tone.0 * stretch)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tones_open_below_the_reference_tempo_and_separating_gracenotes_never() {
        let lengths = Lengths::default();
        let slow = Bpm::whole(50).expect("in range");
        let quick = Bpm::whole(120).expect("in range");
        assert_eq!(lengths.tone_at(slow), Millis::whole(88));
        assert_eq!(lengths.tone_at(quick), Millis::whole(55));
        assert_eq!(
            lengths.of(Role::Separating, slow),
            Millis::whole(35).to_beats(slow)
        );
        // Tones grow in proportion down to half the reference tempo and no further (chosen).
        for (tempo, ms) in [(60, 220), (40, 330), (39, 330), (27, 330), (20, 330)] {
            let tempo = Bpm::whole(tempo).expect("in range");
            assert_eq!(lengths.tone_at(tempo).0, Fraction::new(ms, 3), "at {tempo}");
        }
        let constant = Lengths {
            opens: false,
            ..lengths
        };
        assert_eq!(constant.tone_at(slow), Millis::whole(55));
    }
}
