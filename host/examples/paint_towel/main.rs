//! Paints the point paper of the demo: reads `demo-data/curlew.svg` and writes
//! `demo-data/curlew-paper.png`, one pixel a square in three tones.
//!
//! `cargo run --release -p cardwright --example paint_towel`

mod painting;

use std::path::Path;

use anyhow::Context;
use painting::{HOOKS, PICKS, Repeat, Tone, tones};

fn main() -> anyhow::Result<()> {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data");
    let drawing = demo.join("curlew.svg");
    let svg = std::fs::read_to_string(&drawing)
        .with_context(|| format!("cannot read {}", drawing.display()))?;
    let paper = demo.join("curlew-paper.png");
    write_png(&tones(&svg, 0)?, &paper)
        .with_context(|| format!("cannot write {}", paper.display()))?;
    println!("{HOOKS} columns x {PICKS} lines");
    Ok(())
}

/// Writes two bits a square, each a place in a palette, the last pick as the top line.
fn write_png(tones: &Repeat<Tone>, path: &Path) -> anyhow::Result<()> {
    let file = std::io::BufWriter::new(std::fs::File::create(path)?);
    let mut encoder = png::Encoder::new(file, HOOKS as u32, PICKS as u32);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Two);
    encoder.set_palette(Tone::ALL.map(Tone::paint).concat());
    let mut bytes = vec![0_u8; PICKS * HOOKS / 4];
    for (line, row) in bytes.chunks_mut(HOOKS / 4).enumerate() {
        for end in 0..HOOKS {
            let tone = tones.at(end, PICKS - 1 - line) as u8;
            row[end / 4] |= tone << (6 - 2 * (end % 4));
        }
    }
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&bytes)?;
    writer.finish()?;
    Ok(())
}
