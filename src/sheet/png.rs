//! Writes pages as PNG: outlines filled in black on white.

use super::drawing::{Booklet, Ink, placed};
use crate::engraving::font::{Segment, outline_text};
use tiny_skia::{FillRule, Mask, PathBuilder, Transform};

/// The reason why there is no picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PngError {
    /// There are too many pages for one picture at this resolution.
    TooLarge {
        /// The number of pages.
        pages: usize,
    },
    /// The PNG encoder failed; the message is its own.
    Encoding(String),
}

impl std::fmt::Display for PngError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooLarge { pages } => write!(
                f,
                "{pages} pages are too many for one picture: ask for fewer drills, or for a PDF"
            ),
            Self::Encoding(words) => write!(f, "the picture cannot be encoded: {words}"),
        }
    }
}
impl std::error::Error for PngError {}

/// The largest height of a picture in pixels. Many viewers do not open taller ones.
const TALLEST: f64 = 32_000.0;

/// Draws a booklet at `dots` pixels per inch, with its pages below each other.
///
/// # Errors
/// There are more pages than one picture can hold.
pub fn write_png(booklet: &Booklet, dots: f64) -> Result<Vec<u8>, PngError> {
    let (width, page_height) = booklet.paper.size();
    let pages = booklet.pages.len();
    let scale = dots / 72.0;
    let height = page_height * pages as f64;
    if height * scale > TALLEST {
        return Err(PngError::TooLarge { pages });
    }
    let size = |points: f64| (points * scale).ceil() as u32;
    let (columns, rows) = (size(width), size(height));
    // one byte a pixel says how much of it is ink, which takes a quarter of the memory of coloured
    // pixels
    let mut ink = Mask::new(columns, rows).ok_or(PngError::TooLarge { pages })?;
    for (place, page) in booklet.pages.iter().enumerate() {
        let transform = Transform::from_scale(scale as f32, scale as f32)
            .post_translate(0.0, (page_height * scale * place as f64) as f32);
        for block in &page.blocks {
            let cells = block.rows.iter().flatten().flat_map(|cell| &cell.ink);
            for shape in block.ink.iter().chain(cells) {
                let mut builder = PathBuilder::new();
                for segment in outline(shape) {
                    match segment {
                        Segment::Move((x, y)) => builder.move_to(x as f32, y as f32),
                        Segment::Line((x, y)) => builder.line_to(x as f32, y as f32),
                        Segment::Curve(a, b, end) => builder.cubic_to(
                            a.0 as f32,
                            a.1 as f32,
                            b.0 as f32,
                            b.1 as f32,
                            end.0 as f32,
                            end.1 as f32,
                        ),
                        Segment::Close => builder.close(),
                    }
                }
                // spaces have no outline, so there is nothing to fill
                if let Some(path) = builder.finish() {
                    ink.fill_path(&path, FillRule::Winding, true, transform);
                }
            }
        }
    }
    ink.invert();
    encode(ink.data(), columns, rows, dots).map_err(|error| PngError::Encoding(error.to_string()))
}

/// Encodes grey pixels as a PNG file that states its resolution in pixels per metre.
fn encode(grey: &[u8], columns: u32, rows: u32, dots: f64) -> Result<Vec<u8>, png::EncodingError> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, columns, rows);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    let to_a_metre = (dots / 0.0254).round() as u32;
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: to_a_metre,
        yppu: to_a_metre,
        unit: png::Unit::Meter,
    }));
    let mut writer = encoder.write_header()?;
    writer.write_image_data(grey)?;
    writer.finish()?;
    Ok(file)
}

/// The ink as one outline, in points.
pub(super) fn outline(ink: &Ink) -> Vec<Segment> {
    match ink {
        Ink::Glyph { glyph, x, y, space } => placed(glyph.segments(), *x, *y, *space),
        Ink::Fill(segments) => segments.clone(),
        Ink::Text {
            text,
            x,
            y,
            size,
            face,
        } => placed(&outline_text(*face, text), *x, *y, *size),
    }
}
