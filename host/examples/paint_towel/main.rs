//! Paints the towel of the demo: reads `demo-data/curlew.svg`, fills its tones
//! with damask weaves and writes `demo-data/curlew-towel.png`, one bit a
//! square, black where the card is to be cut. Prints the longest floats.
//!
//! `cargo run --release -p cardwright --example paint_towel`

mod painting;

use std::path::Path;

use anyhow::Context;
use painting::{HOOKS, PICKS, Painted, across, along, paint, tones};

fn main() -> anyhow::Result<()> {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data");
    let drawing = demo.join("curlew.svg");
    let svg = std::fs::read_to_string(&drawing)
        .with_context(|| format!("cannot read {}", drawing.display()))?;
    let painted = paint(&tones(&svg, 0)?);

    let towel = demo.join("curlew-towel.png");
    write_png(&painted, &towel).with_context(|| format!("cannot write {}", towel.display()))?;
    println!("{HOOKS} hooks x {PICKS} picks");
    println!("longest weft float: {}", longest(&painted, across));
    println!("longest warp float: {}", longest(&painted, along));
    Ok(())
}

fn longest(painted: &Painted, float: fn(&Painted, usize, usize) -> usize) -> usize {
    let squares = (0..PICKS).flat_map(|pick| (0..HOOKS).map(move |end| (end, pick)));
    squares
        .map(|(end, pick)| float(painted, end, pick))
        .max()
        .unwrap_or(0)
}

/// Writes one bit a square, 0 black and 1 white, the last pick as the top line.
fn write_png(painted: &Painted, path: &Path) -> anyhow::Result<()> {
    let file = std::io::BufWriter::new(std::fs::File::create(path)?);
    let mut encoder = png::Encoder::new(file, HOOKS as u32, PICKS as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    let mut bytes = vec![0_u8; PICKS * HOOKS / 8];
    for (line, row) in bytes.chunks_mut(HOOKS / 8).enumerate() {
        for end in (0..HOOKS).filter(|end| !painted.at(*end, PICKS - 1 - line)) {
            row[end / 8] |= 0x80 >> (end % 8);
        }
    }
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&bytes)?;
    writer.finish()?;
    Ok(())
}
