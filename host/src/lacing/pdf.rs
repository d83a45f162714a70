//! SVG pages to a PDF, with the shipped font embedded, so that it prints the
//! same from every machine and its words can be searched.

use super::LacingError;
use krilla::geom::Size;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::{Document, SerializeSettings};
use krilla_svg::{SurfaceExt, SvgSettings};
use resvg::usvg::{Options, Tree, fontdb};
use std::sync::{Arc, LazyLock};

/// Points in an inch, the PDF's unit.
const POINTS: f32 = 72.0;

static FONT: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(include_bytes!("../../assets/DejaVuSans.ttf").to_vec());
    fonts.set_sans_serif_family("DejaVu Sans");
    Arc::new(fonts)
});

pub(super) fn pdf(deck: &str, pages: &[String]) -> Result<Vec<u8>, LacingError> {
    let options = Options {
        dpi: POINTS,
        font_family: "DejaVu Sans".to_owned(),
        fontdb: FONT.clone(),
        ..Options::default()
    };
    let mut document = Document::new_with(SerializeSettings::default());
    document.set_metadata(Metadata::new().title(format!("Lacing sheet: {deck}")));
    for svg in pages {
        let wrong = |error: resvg::usvg::Error| LacingError::Pdf(error.to_string());
        let tree = Tree::from_str(svg, &options).map_err(wrong)?;
        let no_size = || LacingError::Pdf("a page has no size".to_owned());
        let (width, height) = (tree.size().width(), tree.size().height());
        let settings = PageSettings::from_wh(width, height).ok_or_else(no_size)?;
        let size = Size::from_wh(width, height).ok_or_else(no_size)?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        surface
            .draw_svg(&tree, size, SvgSettings::default())
            .ok_or_else(|| LacingError::Pdf("a page was not drawn".to_owned()))?;
        surface.finish();
        page.finish();
    }
    document
        .finish()
        .map_err(|error| LacingError::Pdf(format!("{error:?}")))
}
