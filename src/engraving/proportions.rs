//! The proportions of our engraving, in staff spaces.
//!
//! Values with "LilyPond" were measured in the output of LilyPond 2.24.1 with its bagpipe.ly. The
//! others are defaults of the music font's metadata (SMuFL 1.4 engravingDefaults) or chosen by eye.

use crate::chanter::Note;

/// The thickness of a staff line (SMuFL engravingDefaults: 0.13; a thinner line prints crisper at
/// our size).
pub(super) const STAFF_LINE: f64 = 0.1;
/// The thickness of a stem. Gracenotes have the same, so that they stay black in print (LilyPond:
/// 0.14).
pub(super) const STEM: f64 = 0.14;
/// The thickness of a ledger line.
pub(super) const LEDGER: f64 = 0.16;
/// How far a ledger line extends beyond its head, times the head's scale.
pub(super) const LEDGER_REACH: f64 = 0.34;
/// The thickness of a thin bar line.
pub(super) const THIN: f64 = 0.16;
/// The thickness of a thick bar line.
pub(super) const THICK: f64 = 0.5;
/// The gap between the lines of a double bar line, and between a line and repeat dots.
pub(super) const LINE_GAP: f64 = 0.4;

/// The scale of a gracenote, relative to a melody note (LilyPond: 0.63).
pub const GRACE_SCALE: f64 = 0.63;
/// The distance from a gracenote to the next, left edge to left edge (LilyPond: 1.3).
pub(super) const GRACE_STEP: f64 = 1.22;
/// The same distance where the next gracenote is a staff space or more lower and fits under the
/// stem.
pub(super) const GRACE_STEP_DOWN: f64 = 1.06;
/// The distance from the last gracenote of a beamed group to its melody note (LilyPond: 0.8 to
/// 1.7).
pub(super) const GRACE_TO_NOTE: f64 = 1.22;
/// The length of a single gracenote's stem (LilyPond: 3.3).
pub(super) const GRACE_STEM: f64 = 3.3;
/// The thickness of a gracenote's beam (LilyPond: 0.30).
pub(super) const GRACE_BEAM: f64 = 0.3;
/// The distance from one gracenote beam to the next, upper edge to upper edge.
pub(super) const GRACE_BEAM_STEP: f64 = 0.47;
/// The least distance from a gracenote's head to the lowest of its beams.
pub(super) const GRACE_LEAST_STEM: f64 = 1.0;
/// The least y of the lowest gracenote beam, above the staff.
pub(super) const GRACE_BEAM_FLOOR: f64 = 4.3;

/// The length of a melody note's stem (LilyPond: mostly 3.1, up to 4.3).
pub(super) const STEM_LENGTH: f64 = 3.4;
/// The thickness of a melody beam (LilyPond: 0.39).
pub(super) const BEAM: f64 = 0.42;
/// The distance from one melody beam to the next.
pub(super) const BEAM_STEP: f64 = 0.68;
/// The largest difference in height between the two ends of a melody beam (LilyPond: 0.04 to 0.7).
pub(super) const BEAM_SLOPE: f64 = 0.7;
/// The length of a short beam that belongs to one note (LilyPond: about 1).
pub(super) const HOOK: f64 = 1.05;
/// The distance from a head to its first dot.
pub(super) const DOT_GAP: f64 = 0.32;
/// The distance from dot to dot, left edge to left edge.
pub(super) const DOT_STEP: f64 = 0.6;

/// The least gap between a note and what is drawn before the next note.
pub(super) const LEAST_GAP: f64 = 0.5;
/// The distance from a bar line to the first thing in the bar.
pub(super) const AFTER_LINE: f64 = 0.95;
/// The least gap between the last note and the bar line.
pub(super) const BEFORE_LINE: f64 = 0.75;

/// The font size of the words above and below the staff, in staff spaces for an em.
pub(super) const NAME_SIZE: f64 = 2.1;
/// The font size of count numbers and bar numbers, in staff spaces for an em.
pub(super) const NUMBER_SIZE: f64 = 1.75;
/// The gap between the music and the words above or below it.
pub(super) const WORD_GAP: f64 = 0.75;

/// The y of the middle of a note's head.
pub(super) fn height(note: Note) -> f64 {
    f64::from(note.staff_step()) / 2.0
}
