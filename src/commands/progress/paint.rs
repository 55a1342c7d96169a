//! Draws the charts as pixels. The chart library's drawing calls are carried out with our own font,
//! so that no system font is needed and the picture looks the same everywhere.

use crate::engraving::font::{Face, Segment, outline_text};
use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
};
use tiny_skia::{
    FillRule, LineCap, LineJoin, Paint, Path, PathBuilder, Pixmap, Rect, Stroke, Transform,
};

/// Pixels for each unit of the drawing: sharp on a screen and in print.
const DOTS: f32 = 2.0;

/// The height of a line in ems. The chart library gives the height of a line; its own SVG output
/// divides by the same factor.
const LINE: f64 = 1.24;

/// A drawing that becomes a PNG.
pub(super) struct Painting {
    pixmap: Pixmap,
    size: (u32, u32),
}

/// The error of a picture that could not be made. Only the PNG encoder can fail.
#[derive(Debug)]
pub(super) struct PaintError(String);

impl std::fmt::Display for PaintError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}
impl std::error::Error for PaintError {}

type Painted = Result<(), DrawingErrorKind<PaintError>>;

fn paint(colour: BackendColor) -> Paint<'static> {
    let mut paint = Paint::default();
    let (red, green, blue) = colour.rgb;
    let opacity = (colour.alpha.clamp(0.0, 1.0) * 255.0).round() as u8;
    paint.set_color_rgba8(red, green, blue, opacity);
    paint.anti_alias = true;
    paint
}

fn polygon(points: impl IntoIterator<Item = BackendCoord>, close: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    for (place, (x, y)) in points.into_iter().enumerate() {
        // coordinates are moved to the middle of a pixel, so that thin lines stay sharp
        let (x, y) = (x as f32 + 0.5, y as f32 + 0.5);
        if place == 0 {
            builder.move_to(x, y);
        } else {
            builder.line_to(x, y);
        }
    }
    if close {
        builder.close();
    }
    builder.finish()
}

impl Painting {
    /// A white sheet; none where the size is not possible.
    pub(super) fn new(size: (u32, u32)) -> Option<Self> {
        let dots = |units: u32| (units as f32 * DOTS).round() as u32;
        let pixmap = Pixmap::new(dots(size.0), dots(size.1))?;
        Some(Self { pixmap, size })
    }

    /// The picture as a PNG file.
    ///
    /// # Errors
    /// The PNG encoder failed; the message is its own.
    pub(super) fn png(&self) -> Result<Vec<u8>, String> {
        self.pixmap
            .encode_png()
            .map_err(|error| format!("the picture cannot be encoded: {error}"))
    }

    fn scale() -> Transform {
        Transform::from_scale(DOTS, DOTS)
    }

    fn fill(&mut self, path: Option<Path>, colour: BackendColor) {
        if let Some(path) = path {
            let paint = paint(colour);
            self.pixmap
                .fill_path(&path, &paint, FillRule::Winding, Self::scale(), None);
        }
    }

    fn stroke(&mut self, path: Option<Path>, colour: BackendColor, width: u32) {
        if let Some(path) = path {
            let stroke = Stroke {
                width: width.max(1) as f32,
                line_cap: LineCap::Butt,
                line_join: LineJoin::Round,
                ..Stroke::default()
            };
            self.pixmap
                .stroke_path(&path, &paint(colour), &stroke, Self::scale(), None);
        }
    }
}

/// Implemented for a reference, so that the picture still exists when the chart library is done.
impl DrawingBackend for &mut Painting {
    type ErrorType = PaintError;

    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Painted {
        Ok(())
    }

    fn present(&mut self) -> Painted {
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, colour: BackendColor) -> Painted {
        if let Some(dot) = Rect::from_xywh(x as f32, y as f32, 1.0, 1.0) {
            self.fill(Some(PathBuilder::from_rect(dot)), colour);
        }
        Ok(())
    }

    fn draw_line<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
    ) -> Painted {
        self.stroke(
            polygon([from, to], false),
            style.color(),
            style.stroke_width(),
        );
        Ok(())
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Painted {
        let corners = [
            upper_left,
            (bottom_right.0, upper_left.1),
            bottom_right,
            (upper_left.0, bottom_right.1),
        ];
        let path = polygon(corners, true);
        if fill {
            self.fill(path, style.color());
        } else {
            self.stroke(path, style.color(), style.stroke_width());
        }
        Ok(())
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Painted {
        self.stroke(polygon(path, false), style.color(), style.stroke_width());
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        (x, y): BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Painted {
        let path = PathBuilder::from_circle(x as f32 + 0.5, y as f32 + 0.5, radius as f32);
        if fill {
            self.fill(path, style.color());
        } else {
            self.stroke(path, style.color(), style.stroke_width());
        }
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        corners: I,
        style: &S,
    ) -> Painted {
        self.fill(polygon(corners, true), style.color());
        Ok(())
    }

    fn draw_text<T: BackendTextStyle>(
        &mut self,
        text: &str,
        style: &T,
        (x, y): BackendCoord,
    ) -> Painted {
        let size = style.size() / LINE;
        let width = Face::Regular.width(text, size);
        let left = f64::from(x)
            - match style.anchor().h_pos {
                HPos::Left => 0.0,
                HPos::Center => width / 2.0,
                HPos::Right => width,
            };
        // the base line lies as far below as in the SVG output
        let base = f64::from(y)
            + size
                * match style.anchor().v_pos {
                    VPos::Top => 0.76,
                    VPos::Center => 0.25,
                    VPos::Bottom => -0.25,
                };
        let at = |point: (f64, f64)| {
            (
                (left + point.0 * size) as f32,
                (base - point.1 * size) as f32,
            )
        };
        let mut builder = PathBuilder::new();
        for segment in outline_text(Face::Regular, text) {
            match segment {
                Segment::Move(point) => {
                    let (x, y) = at(point);
                    builder.move_to(x, y);
                }
                Segment::Line(point) => {
                    let (x, y) = at(point);
                    builder.line_to(x, y);
                }
                Segment::Curve(one, two, end) => {
                    let (one, two, end) = (at(one), at(two), at(end));
                    builder.cubic_to(one.0, one.1, two.0, two.1, end.0, end.1);
                }
                Segment::Close => builder.close(),
            }
        }
        self.fill(builder.finish(), style.color());
        Ok(())
    }

    fn estimate_text_size<T: BackendTextStyle>(
        &self,
        text: &str,
        style: &T,
    ) -> Result<(u32, u32), DrawingErrorKind<Self::ErrorType>> {
        let size = style.size() / LINE;
        let width = Face::Regular.width(text, size).ceil();
        Ok((width as u32, style.size().ceil() as u32))
    }
}
