//! Writes laid-out pages as PDF: fonts embedded and cut down, text that can be selected, a structure that can be read
//! aloud.
//!
//! The files say nothing of when they were made: the same sheets are the same bytes.

use std::num::NonZeroU16;

use krilla::color::luma;
use krilla::geom::{PathBuilder, Point};
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, SpanTag, Tag, TagGroup, TagKind, TagTree};
use krilla::text::TextDirection;
use krilla::{Document, SerializeSettings};

use super::content::Sheet;
use super::lay::{self, Ink, Page, PrintSettings, Role};

/// Why there is no file. Nothing that is typed leads here.
#[derive(Debug, thiserror::Error)]
#[error("the PDF could not be written: {0}")]
pub struct PdfError(String);

/// All pupils' sheets in one file, each beginning on a new page.
///
/// # Errors
/// [`PdfError`].
pub fn sheets(sheets: &[Sheet], settings: &PrintSettings) -> Result<Vec<u8>, PdfError> {
    let pages = sheets.iter().flat_map(|sheet| lay::sheet(sheet, settings)).collect();
    written(pages, &settings.title, settings)
}

/// The key to all sheets.
///
/// # Errors
/// [`PdfError`].
pub fn key(sheets: &[Sheet], settings: &PrintSettings) -> Result<Vec<u8>, PdfError> {
    let title = settings.texts.with("paper-key-title", &[("title", settings.title.as_str().into())]);
    written(lay::key(sheets, settings), &title, settings)
}

fn written(pages: Vec<Page>, title: &str, settings: &PrintSettings) -> Result<Vec<u8>, PdfError> {
    let mut document = Document::new_with(SerializeSettings { enable_tagging: true, ..Default::default() });
    let language = settings.texts.tag().to_owned();
    document.set_metadata(Metadata::new().title(title.to_owned()).language(language.clone()));
    let (width, height) = settings.paper.size();
    let mut tree = TagTree::new().with_lang(Some(language));
    for page in pages {
        let size = PageSettings::from_wh(width, height).expect("papers have a size");
        let mut sheet = document.start_page_with(size);
        let mut surface = sheet.surface();
        draw(&mut surface, &page, &mut tree);
        surface.finish();
        sheet.finish();
    }
    document.set_tag_tree(tree);
    document.finish().map_err(|error| PdfError(format!("{error:?}")))
}

/// Draws a page and adds what can be read aloud to the tree, in the order of drawing.
fn draw(surface: &mut Surface<'_>, page: &Page, tree: &mut TagTree) {
    let mut open: Option<(Role, TagGroup)> = None;
    for ink in &page.inks {
        match ink {
            Ink::Line { from, to, width, pale } => {
                surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(ArtifactType::Other)));
                line(surface, *from, *to, *width, *pale);
                surface.end_tagged();
            }
            Ink::Text { role: Role::Margin, .. } => {
                surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(ArtifactType::Other)));
                letters(surface, ink);
                surface.end_tagged();
            }
            Ink::Text { role, .. } => {
                if open.as_ref().is_none_or(|(its, _)| its != role)
                    && let Some((_, done)) = open.replace((*role, TagGroup::new(tag(*role))))
                {
                    tree.push(done);
                }
                let id = surface.start_tagged(ContentTag::Span(SpanTag::empty()));
                letters(surface, ink);
                surface.end_tagged();
                if let Some((_, group)) = &mut open {
                    group.push(id);
                }
            }
        }
    }
    if let Some((_, done)) = open {
        tree.push(done);
    }
}

fn tag(role: Role) -> TagKind {
    let heading = |level| Tag::Hn(NonZeroU16::new(level).expect("levels begin at 1"), None).into();
    match role {
        Role::Title => heading(1),
        Role::Heading => heading(2),
        Role::Paragraph(_) | Role::Margin => Tag::P.into(),
    }
}

fn letters(surface: &mut Surface<'_>, ink: &Ink) {
    let Ink::Text { x, y, size, face, text, .. } = ink else { return };
    surface.set_stroke(None);
    surface.set_fill(Some(Fill::default()));
    // The blank at the end keeps words of two lines apart for those who copy the text.
    let text = format!("{text} ");
    surface.draw_text(Point::from_xy(*x, *y), face.font(), *size, &text, false, TextDirection::LeftToRight);
}

fn line(surface: &mut Surface<'_>, from: (f32, f32), to: (f32, f32), width: f32, pale: bool) {
    let mut path = PathBuilder::new();
    path.move_to(from.0, from.1);
    path.line_to(to.0, to.1);
    let Some(path) = path.finish() else { return };
    surface.set_fill(None);
    // Pale enough to write over, dark enough for a school's copier.
    let grey = if pale { 165 } else { 60 };
    surface.set_stroke(Some(Stroke { paint: luma::Color::new(grey).into(), width, ..Stroke::default() }));
    surface.draw_path(&path);
}
