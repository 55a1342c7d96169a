//! Writes pages as PDF. The PDF is tagged and checked against PDF/UA-1 (ISO 14289-1) by krilla's
//! validator while it is written. Text is in an embedded font, and music is in outlines.

use super::drawing::{Block, Booklet, Heading, Ink, TagRole};
use super::png::outline;
use crate::engraving::font::{Face, Segment, shown};
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule};
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, ContentTag, Identifier, Node, SpanTag, TableHeaderScope, Tag, TagGroup,
    TagTree,
};
use krilla::text::{Font, GlyphId, KrillaGlyph};
use krilla::{Document, SerializeSettings};
use std::num::NonZeroU16;

/// The error of the PDF writer, in its own words. It means a fault of this program and not of the
/// drill.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PdfError(pub String);

impl std::fmt::Display for PdfError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "the PDF cannot be written: {}", self.0)
    }
}
impl std::error::Error for PdfError {}

/// Writes a booklet as a PDF whose language is British English.
///
/// # Errors
/// The validator finds a problem.
pub fn write_pdf(booklet: &Booklet) -> Result<Vec<u8>, PdfError> {
    let mut fonts = Vec::new();
    for face in Face::ALL {
        let font = Font::new(face.file().to_vec().into(), 0)
            .ok_or_else(|| PdfError("its text font cannot be read".to_owned()))?;
        fonts.push((face, font));
    }
    let configuration = ConfigurationBuilder::new()
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|error| PdfError(format!("{error:?}")))?;
    let mut document = Document::new_with(SerializeSettings {
        configuration,
        ..SerializeSettings::default()
    });
    document.set_metadata(
        Metadata::new()
            .title(booklet.title.clone())
            .language("en-GB".to_owned())
            .creator("gracerung".to_owned()),
    );
    let (width, height) = booklet.paper.size();
    let mut tree = TagTree::new().with_lang(Some("en-GB".to_owned()));
    let mut contents = Outline::new();
    for (number, content) in booklet.pages.iter().enumerate() {
        let settings = PageSettings::from_wh(width as f32, height as f32)
            .ok_or_else(|| PdfError("the paper has no size".to_owned()))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        surface.set_fill(Some(Fill {
            rule: FillRule::NonZero,
            opacity: NormalizedF32::ONE,
            ..Fill::default()
        }));
        for block in &content.blocks {
            if let TagRole::Heading(_, text) = &block.role {
                let top = heading_top(block);
                contents.push_child(OutlineNode::new(
                    shown(text),
                    XyzDestination::new(number, Point::from_xy(0.0, top)),
                ));
            }
            if let Some(node) = draw_block(&mut surface, block, &fonts) {
                tree.push(node);
            }
        }
        surface.finish();
        page.finish();
    }
    document.set_outline(contents);
    document.set_tag_tree(tree);
    document
        .finish()
        .map_err(|error| PdfError(format!("{error:?}")))
}

fn heading_top(block: &Block) -> f32 {
    block
        .ink
        .iter()
        .filter_map(|ink| match ink {
            Ink::Text { y, size, .. } => Some((y - size) as f32),
            _ => None,
        })
        .fold(f32::MAX, f32::min)
        .clamp(0.0, 10_000.0)
}

type Fonts = [(Face, Font)];

/// Draws a block. Returns its node in the document structure; none for page furniture.
fn draw_block(surface: &mut Surface<'_>, block: &Block, fonts: &Fonts) -> Option<Node> {
    match &block.role {
        TagRole::Furniture => {
            surface.start_tagged(ContentTag::Artifact(Artifact::new(
                ArtifactType::PaginationOther,
                None,
            )));
            draw_all(surface, &block.ink, fonts);
            surface.end_tagged();
            None
        }
        TagRole::Heading(level, text) => {
            let level = NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN);
            let mut group = TagGroup::new(Tag::Hn(level, Some(shown(text))));
            group.push(tagged(surface, &block.ink, fonts));
            Some(group.into())
        }
        TagRole::Paragraph => {
            let mut group = TagGroup::new(Tag::P);
            group.push(tagged(surface, &block.ink, fonts));
            Some(group.into())
        }
        TagRole::Figure(words) => {
            let mut group = TagGroup::new(Tag::Figure(Some(shown(words))));
            group.push(tagged(surface, &block.ink, fonts));
            Some(group.into())
        }
        TagRole::Table(words) => {
            surface.start_tagged(ContentTag::Artifact(Artifact::new(
                ArtifactType::Layout,
                None,
            )));
            draw_all(surface, &block.ink, fonts);
            surface.end_tagged();
            let mut table = TagGroup::new(Tag::Table.with_summary(Some(shown(words))));
            for row in &block.rows {
                let mut line = TagGroup::new(Tag::TR);
                for cell in row {
                    let mut group = match cell.heading {
                        Some(Heading::Column) => TagGroup::new(Tag::TH(TableHeaderScope::Column)),
                        Some(Heading::Row) => TagGroup::new(Tag::TH(TableHeaderScope::Row)),
                        None => TagGroup::new(Tag::TD),
                    };
                    group.push(tagged(surface, &cell.ink, fonts));
                    line.push(group);
                }
                table.push(line);
            }
            Some(table.into())
        }
    }
}

fn tagged(surface: &mut Surface<'_>, ink: &[Ink], fonts: &Fonts) -> Identifier {
    let identifier = surface.start_tagged(ContentTag::Span(SpanTag::empty()));
    draw_all(surface, ink, fonts);
    surface.end_tagged();
    identifier
}

/// Draws outlines first and then text. Each outline is a path of its own, because in one common
/// path a head and a staff line with opposite directions would cancel each other where they cross.
fn draw_all(surface: &mut Surface<'_>, ink: &[Ink], fonts: &Fonts) {
    for ink in ink.iter().filter(|ink| !matches!(ink, Ink::Text { .. })) {
        let mut builder = PathBuilder::new();
        for segment in outline(ink) {
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
        if let Some(path) = builder.finish() {
            surface.draw_path(&path);
        }
    }
    for ink in ink {
        let Ink::Text {
            text,
            x,
            y,
            size,
            face,
        } = ink
        else {
            continue;
        };
        let Some((_, font)) = fonts.iter().find(|(other, _)| other == face) else {
            continue;
        };
        let text = shown(text);
        let glyphs: Vec<KrillaGlyph> = face
            .run(&text)
            .into_iter()
            .map(|(glyph, advance, range)| {
                KrillaGlyph::new(
                    GlyphId::new(glyph),
                    advance as f32,
                    0.0,
                    0.0,
                    0.0,
                    range,
                    None,
                )
            })
            .collect();
        surface.draw_glyphs(
            Point::from_xy(*x as f32, *y as f32),
            &glyphs,
            font.clone(),
            &text,
            *size as f32,
            false,
        );
    }
}
