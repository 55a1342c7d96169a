//! The proportions of our engraving, in staff spaces.
//!
//! Measured in the output of LilyPond 2.24.1 with its bagpipe.ly where a line says so; the rest
//! are the defaults of the music font's metadata (SMuFL 1.4 engravingDefaults) or chosen by eye.

use crate::chanter::Note;

/// A staff line (SMuFL engravingDefaults: 0.13; thinner prints crisper at our size).
pub(super) const STAFF_LINE: f64 = 0.1;
/// A stem, of melody and gracenotes alike, so that gracenotes stay black in print (LilyPond: 0.14).
pub(super) const STEM: f64 = 0.14;
/// A ledger line.
pub(super) const LEDGER: f64 = 0.16;
/// How far a ledger line reaches beyond its head, as a part of the head's scale.
pub(super) const LEDGER_REACH: f64 = 0.34;
/// A thin bar line.
pub(super) const THIN: f64 = 0.16;
/// A thick bar line.
pub(super) const THICK: f64 = 0.5;
/// Between the lines of a double bar line, and between line and repeat dots.
pub(super) const LINE_GAP: f64 = 0.4;

/// The size of a gracenote beside a melody note (LilyPond: 0.63).
pub const GRACE_SCALE: f64 = 0.63;
/// From a gracenote to the next, left edge to left edge (LilyPond: 1.3).
pub(super) const GRACE_STEP: f64 = 1.22;
/// From a gracenote to the next where that one is a space or more lower and fits under the stem,
/// left edge to left edge.
pub(super) const GRACE_STEP_DOWN: f64 = 1.06;
/// From the last gracenote of a beamed group to its note (LilyPond: 0.8 to 1.7).
pub(super) const GRACE_TO_NOTE: f64 = 1.22;
/// The stem of a single gracenote (LilyPond: 3.3).
pub(super) const GRACE_STEM: f64 = 3.3;
/// A gracenote's beam (LilyPond: 0.30).
pub(super) const GRACE_BEAM: f64 = 0.3;
/// From one gracenote beam to the next, edge to same edge.
pub(super) const GRACE_BEAM_STEP: f64 = 0.47;
/// The least distance from a gracenote's head to the lowest of its beams.
pub(super) const GRACE_LEAST_STEM: f64 = 1.0;
/// The least rise of the lowest gracenote beam above the staff's lowest line: clear of the staff.
pub(super) const GRACE_BEAM_FLOOR: f64 = 4.3;

/// A melody note's stem (LilyPond: mostly 3.1, up to 4.3).
pub(super) const STEM_LENGTH: f64 = 3.4;
/// A melody beam (LilyPond: 0.39).
pub(super) const BEAM: f64 = 0.42;
/// From one melody beam to the next.
pub(super) const BEAM_STEP: f64 = 0.68;
/// The most a melody beam slopes from its first to its last note (LilyPond: 0.04 to 0.7).
pub(super) const BEAM_SLOPE: f64 = 0.7;
/// A short beam that belongs to one note (LilyPond: about 1).
pub(super) const HOOK: f64 = 1.05;
/// From a head to its first dot.
pub(super) const DOT_GAP: f64 = 0.32;
/// From dot to dot, left edge to left edge.
pub(super) const DOT_STEP: f64 = 0.6;

/// The least white between one note and what stands before the next.
pub(super) const LEAST_GAP: f64 = 0.5;
/// Between a bar line and the first thing in the bar.
pub(super) const AFTER_LINE: f64 = 0.95;
/// The least white between the last note and the bar line.
pub(super) const BEFORE_LINE: f64 = 0.75;

/// Size of the words above and below the staff, in staff spaces an em.
pub(super) const NAME_SIZE: f64 = 2.1;
/// Size of the click numbers and bar numbers.
pub(super) const NUMBER_SIZE: f64 = 1.75;
/// White between the music and the words above or below it.
pub(super) const WORD_GAP: f64 = 0.75;

/// Height of a note's middle.
pub(super) fn height(note: Note) -> f64 {
    f64::from(note.staff_step()) / 2.0
}
