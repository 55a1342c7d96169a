//! Sheets for the music stand: placed glyphs and words on pages, written as PDF, SVG or PNG; the
//! picture of a take; and the handout for a browser.
//!
//! Knows paper, margins and tables. Knows no file and no screen: it gets drills and gives bytes.

mod bar_map;
mod compose;
mod drawing;
mod fingers;
mod foot;
mod handout;
mod pdf;
mod png;
mod svg;
mod take;
mod tune_head;
mod words;
mod writer;

pub use compose::{SheetOptions, compose, compose_with_map};
pub use drawing::{Block, Booklet, Heading, Ink, Paper, SheetPage, TableCell, TagRole};
pub use handout::{LARGEST_HANDOUT, handout, handout_with_map};
pub use pdf::{PdfError, write_pdf};
pub use png::{PngError, write_png};
pub use svg::write_svg;
pub use take::{FaultMark, PairsPlayed, Round, Take, TimedNote, draw_take};
