//! The page: every fault and every stop is on it, and nothing outside of its margins.

use super::{Tested, filled, program, report};
use cardwright::picture::{pdf_from_svg, png_from_svg};
use cardwright::report::{Report, plot};
use roxmltree::Document;

#[test]
fn the_page_has_a_mark_for_every_fault_and_stays_within_its_margins() -> Tested {
    let dir = tempfile::tempdir()?;
    filled(dir.path())?;
    let (report, _) = report(dir.path(), 1)?;
    let page = plot(&report)?;
    marks_and_panels(&page, &report)?;
    let png = png_from_svg(&page, 3.0)?;
    let picture = image::load_from_memory(&png)?.to_luma8();
    assert_eq!(picture.dimensions(), (891, 630), "A4, lying (ISO 216)");
    let mut dark = 0u32;
    for (x, y, pixel) in picture.enumerate_pixels() {
        let margin = !(30..=861).contains(&x) || !(30..=612).contains(&y);
        assert!(!margin || pixel.0[0] > 250, "{x} {y}");
        dark += u32::from(pixel.0[0] < 100);
    }
    assert!(dark > 1_000, "the page is empty");

    for (file, magic) in [("page.svg", "<svg"), ("page.PDF", "%PDF")] {
        let file = dir.path().join(file);
        let name = file.to_str().ok_or("a name")?;
        let (code, said) = program(dir.path(), &["piece", "1", "--plot", name])?;
        assert_eq!(code, 1, "{said}");
        let bytes = std::fs::read(&file)?;
        assert!(bytes.starts_with(magic.as_bytes()));
    }
    let pdf = pdf_from_svg("Piece 1", &[page])?;
    assert_eq!(lopdf::Document::load_mem(&pdf)?.get_pages().len(), 1);
    Ok(())
}

fn marks_and_panels(page: &str, report: &Report) -> Tested {
    let document = Document::parse(page)?;
    let with = |name: &str, value: &str| {
        let nodes = document.descendants();
        nodes
            .filter(|node| node.attribute(name) == Some(value))
            .count()
    };
    let marked = document
        .descendants()
        .filter(|node| node.has_attribute("data-fault"));
    assert_eq!(marked.count(), report.faults.len());
    assert_eq!(with("class", "panel"), 3 * report.sessions.len());
    // each band once, and once in the heading that says what it means
    assert_eq!(with("class", "rest"), report.stops.len() + 1);
    let pauses = report.sessions.iter().map(|s| s.pauses.len());
    assert_eq!(with("class", "pause"), pauses.sum::<usize>() + 1);
    // a line across the night would make one curve of two sessions
    assert_eq!(with("class", "sett"), report.sessions.len() + 1);
    Ok(())
}
