//! Writes words and blocks down a page: margins, headings, paragraphs and page numbers.
//!
//! This module knows no drill and no music.

use super::drawing::{Block, Booklet, Ink, Paper, SheetPage, TagRole};
use crate::engraving::font::Face;

/// All sizes are in points.
pub(super) const MARGIN: f64 = 40.0;
pub(super) const TITLE: f64 = 21.0;
pub(super) const HEADING: f64 = 13.0;
pub(super) const TEXT: f64 = 10.5;
pub(super) const SMALL: f64 = 9.0;

pub(super) struct Writer {
    paper: Paper,
    pages: Vec<SheetPage>,
    /// How far down the present page is filled, in points.
    pub(super) y: f64,
    /// The left end and the width of the present column, in points.
    pub(super) column: (f64, f64),
}

impl Writer {
    pub(super) fn new(paper: Paper) -> Self {
        Self {
            paper,
            pages: Vec::new(),
            y: MARGIN,
            column: (MARGIN, paper.size().0 - 2.0 * MARGIN),
        }
    }

    pub(super) fn left() -> f64 {
        MARGIN
    }

    pub(super) fn width(&self) -> f64 {
        self.paper.size().0 - 2.0 * MARGIN
    }

    fn bottom(&self) -> f64 {
        self.paper.size().1 - MARGIN - 14.0
    }

    pub(super) fn new_page(&mut self) {
        self.pages.push(SheetPage::default());
        self.y = MARGIN;
    }

    /// The height that is left on this page, in points.
    pub(super) fn room(&self) -> f64 {
        self.bottom() - self.y
    }

    /// The height of a page between its margins, in points.
    pub(super) fn whole(&self) -> f64 {
        self.bottom() - MARGIN
    }

    /// True where nothing was written on this page yet.
    pub(super) fn is_at_top(&self) -> bool {
        self.y <= MARGIN
    }

    /// Begins a new page unless this height in points still fits.
    pub(super) fn need(&mut self, height: f64) {
        if height > self.room() && self.y > MARGIN {
            self.new_page();
        }
    }

    pub(super) fn skip(&mut self, height: f64) {
        self.y += height;
    }

    /// Appends the pages of another writer.
    pub(super) fn append(&mut self, other: Self) {
        self.pages.extend(other.pages);
        self.y = other.y;
    }

    /// The number of pages begun.
    pub(super) fn pages(&self) -> usize {
        self.pages.len()
    }

    pub(super) fn put(&mut self, role: TagRole, ink: Vec<Ink>) {
        self.block(Block {
            role,
            ink,
            rows: Vec::new(),
        });
    }

    pub(super) fn block(&mut self, block: Block) {
        if self.pages.is_empty() {
            self.new_page();
        }
        if let Some(page) = self.pages.last_mut() {
            page.blocks.push(block);
        }
    }

    pub(super) fn heading(&mut self, level: u16, text: &str, size: f64) {
        let (left, width) = self.column;
        let lines = wrap(text, Face::Bold, size, width);
        self.need(lines.len() as f64 * size * 1.15 + 40.0);
        let mut ink = Vec::new();
        for line in lines {
            self.y += size * 0.95;
            ink.push(Ink::words(&line, left, self.y, size, Face::Bold));
            self.y += size * 0.25;
        }
        self.put(TagRole::Heading(level, text.to_owned()), ink);
    }

    pub(super) fn paragraph(&mut self, text: &str, size: f64, face: Face) {
        let (left, width) = self.column;
        let lines = wrap(text, face, size, width);
        self.need(lines.len() as f64 * size * 1.3);
        let mut ink = Vec::new();
        for line in lines {
            self.y += size;
            ink.push(Ink::words(&line, left, self.y, size, face));
            self.y += size * 0.3;
        }
        self.put(TagRole::Paragraph, ink);
    }

    pub(super) fn finish(mut self, title: String) -> Booklet {
        if self.pages.is_empty() {
            self.new_page();
        }
        let (width, height) = self.paper.size();
        let count = self.pages.len();
        for (place, page) in self.pages.iter_mut().enumerate() {
            let text = format!("{title}, page {} of {count}", place + 1);
            page.blocks.push(Block {
                role: TagRole::Furniture,
                ink: vec![Ink::centred(
                    &text,
                    width / 2.0,
                    height - MARGIN + 6.0,
                    SMALL,
                    Face::Regular,
                )],
                rows: Vec::new(),
            });
        }
        Booklet {
            title,
            paper: self.paper,
            pages: self.pages,
        }
    }
}

/// Breaks words into lines of this width in points. A wider word has a line of its own.
pub(super) fn wrap(text: &str, face: Face, size: f64, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if face.width(&format!("{line} {word}"), size) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
