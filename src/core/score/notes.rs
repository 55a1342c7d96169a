//! The values a score is made of.

use crate::chanter::Note;
use crate::movement::{Movement, Role};
use crate::rhythm::{Metre, Pointing, PointingSource};
use crate::units::{Beats, Fraction};
use serde::{Serialize, Serializer};

/// The name of a note: bar, note in the bar, pass and gracenote. It does not depend on tempo,
/// repetition or sample rate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NoteId {
    /// Written bar, from 1; a pickup is bar 0 ([`crate::drill::Music::bar_numbers`]).
    pub bar: u16,
    /// Which playing of this bar it is, from 1: a repeat plays the bar again.
    pub pass: u8,
    /// Melody note in the bar, from 1.
    pub note: u8,
    /// Gracenote before that note, from 1; 0 is the melody note itself.
    pub grace: u8,
}

impl NoteId {
    /// The name of a gracenote before this melody note; `number` is from 1.
    pub fn grace(self, number: usize) -> Self {
        Self {
            grace: u8::try_from(number).unwrap_or(u8::MAX),
            ..self
        }
    }

    /// The melody note a gracenote stands before; a melody note's own name otherwise.
    pub fn melody(self) -> Self {
        Self { grace: 0, ..self }
    }
}

impl std::fmt::Display for NoteId {
    /// Writes `2.3` for bar 2, note 3; `2.3g1` for the first gracenote before it; `2.3x2` for its
    /// second pass.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}.{}", self.bar, self.note)?;
        if self.grace > 0 {
            write!(f, "g{}", self.grace)?;
        }
        if self.pass > 1 {
            write!(f, "x{}", self.pass)?;
        }
        Ok(())
    }
}
impl Serialize for NoteId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// One repetition of a stage in musical time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Score {
    /// The metre of the first bar.
    pub metre: Metre,
    /// Length of the pickup in beats; 0 without a pickup.
    pub pickup: Beats,
    /// Bars in playing order.
    pub bars: Vec<ScoreBar>,
    /// Melody notes in playing order. The second note of a tie has its own entry.
    pub notes: Vec<ScoreNote>,
    /// Length of one repetition in beats.
    pub length: Beats,
    /// Length in beats of the bars after it, in which the player breathes and marks; may be 0.
    pub breath: Beats,
    /// How its pairs are played. The places and lengths in this score are the written ones.
    pub pointing: Pointing,
}

/// A bar in playing order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ScoreBar {
    /// Written number, from 1; a pickup is 0.
    pub number: u16,
    /// Start of the bar, in beats from the start of the repetition.
    pub start: Beats,
    /// Length as written.
    pub length: Beats,
    /// Where its first note stands in a full bar, in beats. A pickup stands at the end of a full
    /// bar.
    pub place: Beats,
    /// Index of the written bar.
    pub written: usize,
    /// Its metre.
    pub metre: Metre,
}

/// A melody note in playing order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScoreNote {
    /// Its name.
    pub id: NoteId,
    /// Index into [`Score::bars`].
    pub bar: usize,
    /// Written place in its bar, in beats from 0.
    pub place: Beats,
    /// Written place, in beats from the start of the repetition.
    pub start: Beats,
    /// Written length, in beats that the tempo counts.
    pub written: Beats,
    /// The note.
    pub note: Note,
    /// True when it is tied to the note before and so has no onset.
    pub continues: bool,
    /// Gracenotes before it.
    pub group: ScoreGroup,
    /// Gracenotes before it in the very first repetition. None when they are those of `group`; they
    /// differ when the silence before the first note makes a difference.
    pub first_group: Option<ScoreGroup>,
}

/// The gracenotes before a melody note.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ScoreGroup {
    /// The gracenotes in playing order.
    pub parts: Vec<ScoreGrace>,
    /// How many of the gracenotes, from the first, sound before the beat and take their time from
    /// the note before. The others begin on the written place and take their time from the note
    /// they decorate.
    pub before_beat: usize,
    /// The movement, when it is a known one.
    pub movement: Option<Movement>,
}

/// One gracenote.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ScoreGrace {
    /// Its name.
    pub id: NoteId,
    /// The note.
    pub note: Note,
    /// Tone or separating gracenote.
    pub role: Role,
    /// Its written length in beats, when the group holds it long.
    pub held: Option<Beats>,
}

impl Score {
    /// The written length of a note and of all notes tied to it, in beats.
    pub fn sounding_length(&self, index: usize) -> Beats {
        let Some(note) = self.notes.get(index) else {
            return Beats::ZERO;
        };
        let tied: Beats = self.notes[index + 1..]
            .iter()
            .take_while(|next| next.continues)
            .map(|next| next.written)
            .sum();
        note.written + tied
    }

    /// True when two notes, each given with its sounding length, form a pair. They are written
    /// three to one or one to three and stand inside one beat. A pair begins at the start of the
    /// beat or after other pairs of the same length; in a beat of three parts it begins at any
    /// third.
    pub(crate) fn is_pair(&self, first: (&ScoreNote, Beats), second: (&ScoreNote, Beats)) -> bool {
        let ((first, one), (second, other)) = (first, second);
        let (long, short) = (one.max(other), one.min(other));
        let metre = |note: &ScoreNote| self.bars.get(note.bar).map(|bar| bar.metre);
        let counted = !self.metre.is_free()
            && metre(first) == Some(self.metre)
            && metre(second) == Some(self.metre);
        let three = Fraction::from_integer(3);
        if !counted || long != short * three {
            return false;
        }
        // When the metre does not change, the pickup alone says where the beats are. This also
        // holds in bars that the end of a part cuts in two.
        let place = if self.changes_metre() {
            first.place
        } else {
            first.start - self.pickup
        };
        let within = place - place.floor();
        let whole = long + short;
        let third = whole == Beats::new(2, 3) && (within * three).0.is_integer();
        within + whole <= Beats::ONE && (third || (within.0 / whole.0).is_integer())
    }

    /// The written length of a note in beats of its own bar.
    pub fn beats_written(&self, note: &ScoreNote) -> Beats {
        let pace = self.bars.get(note.bar).map(|bar| bar.metre.pace());
        pace.map_or(note.written, |pace| Beats(note.written.0 / pace))
    }

    /// True when the metre changes within the score.
    pub fn changes_metre(&self) -> bool {
        self.bars.iter().any(|bar| bar.metre != self.metre)
    }

    /// Start of every bar (the pickup included) in beats from the start of the repetition, and the
    /// end of the last bar.
    pub fn bar_lines(&self) -> Vec<Beats> {
        self.bars.iter().map(|bar| bar.start).collect()
    }

    /// The written music as one line of text: the metre, and each note with its length and
    /// gracenotes. Two stages with the same text are the same music, whatever their names. The
    /// fingerprint of this text names a cell in the journal, so its form must never change.
    pub fn written_text(&self) -> String {
        use std::fmt::Write as _;
        let mut text = format!("{}", self.metre);
        let mut bar = None;
        let mut metre = self.metre;
        for note in &self.notes {
            if bar != Some(note.bar) {
                text.push_str(" |");
                bar = Some(note.bar);
                let own = self.bars.get(note.bar).map_or(metre, |bar| bar.metre);
                if std::mem::replace(&mut metre, own) != own {
                    let _ = write!(text, " [{own}]");
                }
            }
            text.push(' ');
            if !note.group.parts.is_empty() {
                text.push('{');
                for (place, part) in note.group.parts.iter().enumerate() {
                    if place > 0 {
                        text.push(' ');
                    }
                    text.push_str(part.note.name());
                    if let Some(held) = part.held {
                        let _ = write!(text, ":{held}");
                    }
                }
                text.push('}');
            }
            let tie = if note.continues { "~" } else { "" };
            let _ = write!(text, "{tie}{}:{}", note.note, note.written);
        }
        // A stage with its own pointing is practised separately, so its pointing is part of the
        // text. The pointing of a tune only says how its written music is played.
        if self.pointing.source == PointingSource::Stage
            && let Some(pointed) = self.pointing.written()
        {
            let _ = write!(text, " pointed {pointed}");
        }
        text
    }
}
