//! Sheets for the music stand: glyphs and words placed on pages and written as PDF, SVG or PNG.
//! Also the picture of a recording, and the handout for a browser.
//!
//! This room knows paper, margins and tables. It knows no file and no screen: it takes drills and
//! returns bytes.

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
