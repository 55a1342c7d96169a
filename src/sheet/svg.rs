//! Writes pages as SVG 1.1. Text and music are outlines, so that they look the same everywhere. The
//! text is also in `<title>` and `<desc>`.

use super::drawing::{Block, Booklet, Ink, TagRole};
use crate::engraving::font::{Face, Glyph, Segment, outline_text};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// Writes a booklet as one picture, with its pages below each other.
pub fn write_svg(booklet: &Booklet) -> String {
    let (width, page_height) = booklet.paper.size();
    let height = page_height * booklet.pages.len() as f64;
    let mut body = String::new();
    let mut shapes = Shapes::default();
    for (place, page) in booklet.pages.iter().enumerate() {
        let down = page_height * place as f64;
        let _ = writeln!(body, "<g transform=\"translate(0 {})\">", number(down));
        for block in &page.blocks {
            write_block(&mut body, &mut shapes, block);
        }
        body.push_str("</g>\n");
    }
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" \
         xmlns:xlink=\"http://www.w3.org/1999/xlink\" version=\"1.1\" role=\"img\" \
         width=\"{width}pt\" height=\"{height}pt\" viewBox=\"0 0 {width} {height}\">\n\
         <title>{}</title>\n<defs>\n{}</defs>\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n{body}</svg>\n",
        escape(&booklet.title),
        shapes.definitions(),
        width = number(width),
        height = number(height),
    )
}

fn write_block(body: &mut String, shapes: &mut Shapes, block: &Block) {
    body.push_str("<g>");
    let words: Option<String> = match &block.role {
        TagRole::Heading(_, text) => Some(text.clone()),
        TagRole::Figure(words) | TagRole::Table(words) => Some(words.clone()),
        TagRole::Paragraph => Some(
            block
                .ink
                .iter()
                .filter_map(|ink| match ink {
                    Ink::Text { text, .. } => Some(text.as_str()),
                    _ => None,
                })
                .collect::<Vec<_>>()
                .join(" "),
        ),
        TagRole::Furniture => None,
    };
    if let Some(words) = words {
        let _ = write!(body, "<title>{}</title>", escape(&words));
    }
    let cells = block.rows.iter().flatten().flat_map(|cell| &cell.ink);
    for ink in block.ink.iter().chain(cells) {
        write_ink(body, shapes, ink);
    }
    body.push_str("</g>\n");
}

/// The outlines in use, each of which is defined once.
#[derive(Default)]
pub(super) struct Shapes {
    glyphs: BTreeSet<Glyph>,
    letters: BTreeMap<String, String>,
    /// The glyphs in use with their sizes in thousandths, with y pointing up.
    sized: BTreeSet<(Glyph, u32)>,
}

impl Shapes {
    pub(super) fn definitions(&self) -> String {
        let mut text = String::new();
        for glyph in &self.glyphs {
            let _ = writeln!(
                text,
                "<path id=\"m{}\" d=\"{}\"/>",
                *glyph as usize,
                path(glyph.segments(), 3)
            );
        }
        for (name, letter) in &self.letters {
            let _ = writeln!(text, "<path id=\"{name}\" d=\"{letter}\"/>");
        }
        text
    }
}

impl Shapes {
    /// Writes a short reference to a glyph. Its size and the flip of its y axis are in the
    /// definition.
    pub(super) fn place(
        &mut self,
        body: &mut String,
        glyph: Glyph,
        (x, y): (f64, f64),
        space: f64,
        name: Option<&str>,
    ) {
        let size = (space * 1000.0).round() as u32;
        self.sized.insert((glyph, size));
        let id = name.map_or_else(String::new, |name| format!(" id=\"{name}\""));
        let _ = write!(
            body,
            "<use{id} href=\"#g{}-{size}\" x=\"{}\" y=\"{}\"/>",
            glyph as usize,
            number(x),
            number(y)
        );
    }

    /// All definitions, for use by other elements of a page in a browser.
    pub(super) fn definitions_for_use(&self) -> String {
        let mut text = self.definitions();
        for (glyph, size) in &self.sized {
            let scale = f64::from(*size) / 1000.0;
            let _ = writeln!(
                text,
                "<path id=\"g{}-{size}\" transform=\"scale({scale} -{scale})\" d=\"{}\"/>",
                *glyph as usize,
                path(glyph.segments(), 3)
            );
        }
        text
    }
}

/// Writes ink as SVG elements.
pub(super) fn write_ink(body: &mut String, shapes: &mut Shapes, ink: &Ink) {
    match ink {
        Ink::Glyph { glyph, x, y, space } => {
            shapes.glyphs.insert(*glyph);
            let _ = write!(
                body,
                "<use xlink:href=\"#m{}\" transform=\"translate({} {}) scale({} -{})\"/>",
                *glyph as usize,
                number(*x),
                number(*y),
                number(*space),
                number(*space)
            );
        }
        Ink::Fill(segments) => {
            let _ = write!(body, "<path d=\"{}\"/>", path(segments, 2));
        }
        Ink::Text {
            text,
            x,
            y,
            size,
            face,
        } => {
            let _ = write!(
                body,
                "<g transform=\"translate({} {}) scale({} -{})\">",
                number(*x),
                number(*y),
                number(*size),
                number(*size)
            );
            let mut at = 0.0;
            for (glyph, advance, range) in face.run(text) {
                let letter = &text[range];
                if !letter.trim().is_empty() {
                    let name = format!("{}{glyph}", prefix(*face));
                    shapes
                        .letters
                        .entry(name.clone())
                        .or_insert_with(|| path(&outline_text(*face, letter), 3));
                    let _ = write!(body, "<use xlink:href=\"#{name}\" x=\"{}\"/>", number3(at));
                }
                at += advance;
            }
            body.push_str("</g>");
        }
    }
}

fn prefix(face: Face) -> char {
    match face {
        Face::Regular => 'r',
        Face::Bold => 'b',
        Face::Italic => 'i',
    }
}

pub(super) fn path(segments: &[Segment], digits: u32) -> String {
    // a curve is the commonest segment and has six numbers of about six characters
    let mut text = String::with_capacity(segments.len() * 40);
    let put = |text: &mut String, letter: char, numbers: &[f64]| {
        text.push(letter);
        for (place, value) in numbers.iter().enumerate() {
            if place > 0 {
                text.push(' ');
            }
            push_number(text, *value, digits);
        }
    };
    let same = |one: f64, other: f64| one.to_bits() == other.to_bits();
    let mut here = (f64::NAN, f64::NAN);
    for segment in segments {
        match segment {
            Segment::Move(to) => put(&mut text, 'M', &[to.0, to.1]),
            // a horizontal or vertical line, as in stems, staff lines and boxes, needs only one
            // number
            Segment::Line(to) if same(to.1, here.1) => put(&mut text, 'H', &[to.0]),
            Segment::Line(to) if same(to.0, here.0) => put(&mut text, 'V', &[to.1]),
            Segment::Line(to) => put(&mut text, 'L', &[to.0, to.1]),
            Segment::Curve(a, b, to) => put(&mut text, 'C', &[a.0, a.1, b.0, b.1, to.0, to.1]),
            Segment::Close => text.push('Z'),
        }
        if let Segment::Move(to) | Segment::Line(to) | Segment::Curve(_, _, to) = segment {
            here = *to;
        }
    }
    text
}

/// Appends a number with at most this many digits after the point, without trailing zeros or a
/// negative zero. A page has ten thousand numbers; with the standard formatter they took half of
/// the time.
fn push_number(text: &mut String, value: f64, digits: u32) {
    let scaled = (value * 10_f64.powi(digits as i32)).round() as i64;
    let mut rest = scaled.unsigned_abs();
    let mut after_point = digits;
    while after_point > 0 && rest.is_multiple_of(10) {
        rest /= 10;
        after_point -= 1;
    }
    // room for the 20 digits of the largest integer and a point
    let mut letters = [0; 21];
    let mut first = letters.len();
    let mut written = 0;
    while rest > 0 || written <= after_point {
        if written == after_point && after_point > 0 {
            first -= 1;
            letters[first] = b'.';
        }
        first -= 1;
        letters[first] = b'0' + (rest % 10) as u8;
        rest /= 10;
        written += 1;
    }
    if scaled < 0 {
        text.push('-');
    }
    text.push_str(std::str::from_utf8(&letters[first..]).unwrap_or_default());
}

pub(super) fn number(value: f64) -> String {
    let mut text = String::new();
    push_number(&mut text, value, 2);
    text
}

fn number3(value: f64) -> String {
    let mut text = String::new();
    push_number(&mut text, value, 3);
    text
}

/// Escapes a text for XML. It is our own because quick-xml does not remove control characters.
pub(super) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            // XML 1.0 allows no other control characters
            sign if sign.is_control() && !matches!(sign, '\n' | '\t') => safe.push(' '),
            sign => safe.push(sign),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::number3;

    /// A wrong digit would bend a glyph, and nobody would notice.
    #[test]
    fn numbers_are_short_and_right() {
        for (value, shown) in [
            (0.0, "0"),
            (-0.0004, "0"),
            (1.0, "1"),
            (-1.5, "-1.5"),
            (0.05, "0.05"),
            (-0.007, "-0.007"),
            (12.3456, "12.346"),
            (99.9996, "100"),
        ] {
            assert_eq!(number3(value), shown);
        }
    }

    /// The standard library's parser must read each number back as it was.
    #[test]
    fn every_thousandth_reads_back() {
        for thousandths in (-12_000..12_000_i32).chain([i32::MIN, i32::MAX]) {
            let value = f64::from(thousandths) / 1000.0;
            let shown = number3(value);
            assert_eq!(shown.parse::<f64>(), Ok(value), "{shown}");
            assert!(
                !shown.contains('.') || !shown.ends_with(['0', '.']),
                "{shown}"
            );
        }
    }
}
