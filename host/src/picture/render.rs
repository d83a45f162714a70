//! SVG to PNG, with the font that is shipped, so that a picture looks the same
//! on every machine.

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};
use std::sync::{Arc, LazyLock};

/// Why a picture was not drawn.
#[derive(Debug, thiserror::Error)]
pub enum PictureError {
    /// Too large to be looked at.
    #[error("the picture would be {width} x {height} pixels, which is too large; {remedy}")]
    TooLarge {
        /// Pixels across.
        width: u64,
        /// Pixels down.
        height: u64,
        /// What to do instead.
        remedy: &'static str,
    },
    /// The deck was not made from a picture.
    #[error(
        "the deck names no design, so there is no design to draw; draw the deck or a card of it"
    )]
    NoDesign,
    /// The drawing library would not have it.
    #[error("the picture could not be drawn: {0}; please report this with the deck")]
    Drawing(String),
}

/// Most pixels in one picture.
pub(super) const MOST_PIXELS: u64 = 60_000_000;

static FONT: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(include_bytes!("../../assets/DejaVuSans.ttf").to_vec());
    fonts.set_sans_serif_family("DejaVu Sans");
    Arc::new(fonts)
});

pub(super) fn tree(svg: &str, dots_per_inch: f32) -> Result<Tree, PictureError> {
    let options = Options {
        dpi: dots_per_inch,
        font_family: "DejaVu Sans".to_owned(),
        fontdb: FONT.clone(),
        ..Options::default()
    };
    Tree::from_str(svg, &options).map_err(|error| PictureError::Drawing(error.to_string()))
}

/// PNG bytes of an SVG at this many pixels a millimetre.
///
/// # Errors
/// The picture would be too large, or the SVG is not one.
pub fn png_from_svg(svg: &str, pixels_per_mm: f32) -> Result<Vec<u8>, PictureError> {
    let tree = tree(svg, 25.4 * pixels_per_mm)?;
    let size = tree.size().to_int_size();
    let mut canvas = canvas(
        u64::from(size.width()),
        u64::from(size.height()),
        "ask for fewer pixels a millimetre",
    )?;
    resvg::render(&tree, Transform::identity(), &mut canvas.as_mut());
    encode(&canvas)
}

/// An empty picture.
pub(super) fn canvas(
    width: u64,
    height: u64,
    remedy: &'static str,
) -> Result<Pixmap, PictureError> {
    let too_large = || PictureError::TooLarge {
        width,
        height,
        remedy,
    };
    if width.saturating_mul(height) > MOST_PIXELS {
        return Err(too_large());
    }
    let side = |pixels: u64| u32::try_from(pixels).map_err(|_| too_large());
    Pixmap::new(side(width)?, side(height)?).ok_or_else(too_large)
}

/// PNG bytes of a picture.
pub(super) fn encode(canvas: &Pixmap) -> Result<Vec<u8>, PictureError> {
    canvas
        .encode_png()
        .map_err(|error| PictureError::Drawing(error.to_string()))
}
