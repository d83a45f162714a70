//! SVG pages to a PDF, with the shipped font embedded, so that it prints the
//! same from every machine and its words can be searched.

use super::render::{PictureError, tree};
use krilla::geom::Size;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::{Document, SerializeSettings};
use krilla_svg::{SurfaceExt, SvgSettings};

/// Points in an inch, the PDF's unit.
const POINTS: f32 = 72.0;

/// A PDF of these pages.
///
/// # Errors
/// A page is no SVG, or the library would not have it.
pub fn pdf_from_svg(title: &str, pages: &[String]) -> Result<Vec<u8>, PictureError> {
    let mut document = Document::new_with(SerializeSettings::default());
    document.set_metadata(Metadata::new().title(title.to_owned()));
    for svg in pages {
        let tree = tree(svg, POINTS)?;
        let no_size = || PictureError::Drawing("a page has no size".to_owned());
        let (width, height) = (tree.size().width(), tree.size().height());
        let settings = PageSettings::from_wh(width, height).ok_or_else(no_size)?;
        let size = Size::from_wh(width, height).ok_or_else(no_size)?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        surface
            .draw_svg(&tree, size, SvgSettings::default())
            .ok_or_else(|| PictureError::Drawing("a page was not drawn".to_owned()))?;
        surface.finish();
        page.finish();
    }
    document
        .finish()
        .map_err(|error| PictureError::Drawing(format!("{error:?}")))
}
