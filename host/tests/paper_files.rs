//! Files of point paper: what each form of file holds is read exactly, and what
//! is no picture is refused with one clear error that names it.

use cardwright::deck::CardFormat;
use cardwright::deck::paper::{PaperSettings, deck_from_picture};
use cardwright::paper::{How, Picture, Rgb, read};
use image::{DynamicImage, ImageFormat, RgbImage, Rgba, RgbaImage};
use std::path::{Path, PathBuf};

const COLOURS: [[u8; 3]; 4] = [[255, 255, 255], [0, 0, 0], [200, 30, 40], [10, 90, 200]];

/// An irregular pattern, so that no turn or mirror of it is the same.
fn colour(x: u32, y: u32) -> [u8; 3] {
    COLOURS[((x * x + 3 * x * y + 5 * y) % 7 % 4) as usize]
}

fn painted(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| image::Rgb(colour(x, y)))
}

fn saved(folder: &Path, name: &str, picture: impl Into<DynamicImage>) -> PathBuf {
    let file = folder.join(name);
    let form = ImageFormat::from_path(&file).expect("a known ending");
    picture.into().save_with_format(&file, form).expect("saved");
    file
}

#[test]
fn one_pixel_a_square_is_read_exactly_from_every_form_of_file() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["a.png", "a.bmp", "a.gif", "a.tiff", "a.ppm"] {
        for (width, height) in [(1, 1), (37, 23), (400, 3)] {
            let file = saved(folder.path(), name, painted(width, height));
            for how in [How::Pixels, How::Either] {
                let sheet = read(&file, how).unwrap_or_else(|error| panic!("{error}"));
                assert_eq!((sheet.columns, sheet.rows), (width, height));
                for (y, x) in (0..height).flat_map(|y| (0..width).map(move |x| (y, x))) {
                    assert_eq!(
                        sheet.colour(x, y),
                        Some(Rgb(colour(x, y))),
                        "{name} {x} {y}"
                    );
                }
                assert_eq!(sheet.colour(width, 0), None);
                assert_eq!(sheet.colour(0, height), None);
                assert!(sheet.doubtful.is_empty() && sheet.ruling.is_none());
                assert!(sheet.palette.len() <= COLOURS.len());
            }
        }
    }
}

#[test]
fn the_commonest_colour_is_the_first() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut picture = RgbImage::from_pixel(9, 9, image::Rgb([1, 2, 3]));
    picture.put_pixel(0, 0, image::Rgb([200, 0, 0]));
    let file = saved(folder.path(), "a.png", picture);
    let sheet = read(&file, How::Pixels).expect("a sheet");
    assert_eq!(sheet.palette, [Rgb([1, 2, 3]), Rgb([200, 0, 0])]);
    assert_eq!((sheet.squares[0], sheet.squares[1]), (1, 0));
}

#[test]
fn deep_grey_and_transparent_pixels_are_what_they_look_like() {
    let folder = tempfile::tempdir().expect("a folder");
    let first = |picture: DynamicImage| {
        let file = saved(folder.path(), "a.png", picture);
        let picture = Picture::read(&file).expect("a picture");
        picture.colours().next().expect("a pixel")
    };
    let clear = |opacity| RgbaImage::from_pixel(3, 3, Rgba([200, 0, 100, opacity])).into();
    assert_eq!(first(clear(0)), Rgb::WHITE);
    assert_eq!(first(clear(255)), Rgb([200, 0, 100]));
    // over white: 255 - (255 - level) x 51 / 255
    assert_eq!(first(clear(51)), Rgb([244, 204, 224]));
    let grey = |level| image::ImageBuffer::from_pixel(2, 2, image::Luma([level]));
    assert_eq!(first(DynamicImage::ImageLuma8(grey(77u8))), Rgb([77; 3]));
    let deep = |level: u16| {
        DynamicImage::ImageLuma16(image::ImageBuffer::from_pixel(2, 2, image::Luma([level])))
    };
    assert_eq!(first(deep(0xffff)), Rgb::WHITE);
    assert_eq!(first(deep(0xfffe)), Rgb([254; 3]));
    assert_eq!(first(deep(0x8000)), Rgb([128; 3]));
    assert_eq!(first(deep(1)), Rgb([1; 3]));
}

/// The directory of a TIFF file, with its tags in order (TIFF 6.0, section 2): number,
/// kind (3 short, 4 long), count, value. It stands at byte 8.
fn directory(tags: &[[u32; 4]]) -> Vec<u8> {
    let mut bytes = b"II*\0\x08\0\0\0".to_vec();
    bytes.extend((tags.len() as u16).to_le_bytes());
    for [tag, kind, count, value] in tags {
        bytes.extend((*tag as u16).to_le_bytes());
        bytes.extend((*kind as u16).to_le_bytes());
        bytes.extend(count.to_le_bytes());
        bytes.extend(value.to_le_bytes());
    }
    bytes.extend([0; 4]);
    bytes
}

/// A TIFF file of one strip. `photometric` 2 is red, green and blue, 3 a palette.
fn tiff(picture: &RgbImage, orientation: u32, photometric: u32) -> Vec<u8> {
    let samples = if photometric == 2 { 3 } else { 1 };
    let size = picture.width() * picture.height() * samples;
    let end = 8 + 2 + 11 * 12 + 4;
    // three lengths of eight bits and, for a palette, a map of 256 colours
    let bits = if samples == 3 { [3, end] } else { [1, 8] };
    let tags = [
        [256, 4, 1, picture.width()],
        [257, 4, 1, picture.height()],
        [258, 3, bits[0], bits[1]],
        [259, 3, 1, 1],
        [262, 3, 1, photometric],
        [273, 4, 1, end + 6],
        [274, 3, 1, orientation],
        [277, 3, 1, samples],
        [278, 4, 1, picture.height()],
        [279, 4, 1, size],
        [320, 3, 768, end + 6 + size],
    ];
    let mut bytes = directory(&tags);
    bytes.extend([8, 0, 8, 0, 8, 0]);
    bytes.extend(&picture.as_raw()[..size as usize]);
    bytes.extend([0; 768 * 2]);
    bytes
}

/// The same PNG file with an eXIf chunk behind its head (PNG, third edition, 11.3.4.6).
fn with_exif(png: &[u8], orientation: u32) -> Vec<u8> {
    let mut chunk = b"eXIf".to_vec();
    chunk.extend(directory(&[[274, 3, 1, orientation]]));
    let sum = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&chunk);
    let length = (chunk.len() as u32 - 4).to_be_bytes();
    let head = 8 + 25;
    [
        &png[..head],
        &length,
        &chunk,
        &sum.to_be_bytes(),
        &png[head..],
    ]
    .concat()
}

/// Which way the first line and the first column of the file lie: TIFF 6.0, tag
/// Orientation, from memory of its table.
#[test]
fn a_scan_is_turned_as_its_file_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let (width, height) = (7, 5);
    let stored = painted(width, height);
    let plain = std::fs::read(saved(folder.path(), "plain.png", stored.clone())).expect("read");
    for orientation in 1..=8 {
        let (w, h) = (width - 1, height - 1);
        let place = |column: u32, line: u32| match orientation {
            1 => (column, line),
            2 => (w - column, line),
            3 => (w - column, h - line),
            4 => (column, h - line),
            5 => (line, column),
            6 => (h - line, column),
            7 => (h - line, w - column),
            _ => (line, w - column),
        };
        for (name, bytes) in [
            ("a.tiff", tiff(&stored, orientation, 2)),
            ("a.png", with_exif(&plain, orientation)),
        ] {
            let file = folder.path().join(name);
            std::fs::write(&file, bytes).expect("written");
            let sheet = read(&file, How::Pixels).unwrap_or_else(|error| panic!("{error}"));
            for (column, line, pixel) in stored.enumerate_pixels() {
                let (x, y) = place(column, line);
                let found = sheet.colour(x, y);
                assert_eq!(found, Some(Rgb(pixel.0)), "{name} {orientation} {x} {y}");
            }
        }
    }
}

/// The same of a picture in black and white, whose height is a card's hooks as it is
/// stored.
#[test]
fn a_black_and_white_picture_is_turned_as_its_file_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let black = |x: u32, y: u32| {
        image::Rgb(
            [if (x * y + x).is_multiple_of(3) {
                0
            } else {
                255
            }; 3],
        )
    };
    // line 0 of the file is the right side: it has to be turned clockwise
    let seen = RgbImage::from_fn(100, 9, black);
    let stored = RgbImage::from_fn(9, 100, |x, y| black(99 - y, x));
    let plain = saved(folder.path(), "seen.png", seen);
    let bytes = std::fs::read(saved(folder.path(), "stored.png", stored)).expect("read");
    let turned = folder.path().join("turned.png");
    std::fs::write(&turned, with_exif(&bytes, 6)).expect("written");
    let format = CardFormat::named("100").expect("built in");
    let settings = PaperSettings::usual(format);
    let deck = |file: &Path| deck_from_picture(file, &settings).expect("a deck");
    assert!(deck(&plain).cards().eq(deck(&turned).cards()));
}

#[test]
fn a_tiff_with_a_palette_is_refused_by_its_kind() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("palette.tiff");
    std::fs::write(&file, tiff(&painted(9, 9), 1, 3)).expect("written");
    refused(&file, How::Either, "with a palette of colours");
}

/// Bits that go from right to left (TIFF 6.0, tag FillOrder) would be read mirrored.
#[test]
fn a_tiff_filled_from_right_to_left_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("filled.tiff");
    let filled = |order: u32| {
        let end = 8 + 2 + 10 * 12 + 4;
        let tags = [
            [256, 4, 1, 8],
            [257, 4, 1, 1],
            [258, 3, 1, 1],
            [259, 3, 1, 1],
            [262, 3, 1, 1],
            [266, 3, 1, order],
            [273, 4, 1, end],
            [277, 3, 1, 1],
            [278, 4, 1, 1],
            [279, 4, 1, 1],
        ];
        let mut bytes = directory(&tags);
        bytes.push(0b0111_1111);
        std::fs::write(&file, bytes).expect("written");
    };
    filled(1);
    let sheet = read(&file, How::Pixels).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(sheet.colour(0, 0), Some(Rgb([0; 3])));
    assert_eq!(sheet.colour(7, 0), Some(Rgb::WHITE));
    filled(2);
    refused(&file, How::Either, "bits from right to left");
}

/// PNG, third edition, 11.2.2: a number that the palette has not is an error.
#[test]
fn a_number_beyond_the_palette_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("palette.png");
    // three pixels a line, then four bits that are none
    let write = |numbers: [u8; 6]| {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, 3, 3);
        encoder.set_color(png::ColorType::Indexed);
        encoder.set_depth(png::BitDepth::Four);
        encoder.set_palette(vec![0, 0, 0, 255, 255, 255]);
        let mut writer = encoder.write_header().expect("a head");
        writer.write_image_data(&numbers).expect("pixels");
        drop(writer);
        std::fs::write(&file, bytes).expect("written");
    };
    write([0x01, 0x00, 0x11, 0x0f, 0x10, 0x10]);
    let sheet = read(&file, How::Pixels).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(sheet.colour(1, 0), Some(Rgb::WHITE));
    write([0x01, 0x00, 0x11, 0x00, 0x19, 0x10]);
    for how in [How::Either, How::Pixels, How::Ruled] {
        refused(&file, how, "number 9");
    }
}

#[test]
fn a_square_that_is_not_opaque_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    for opacity in [0, 254] {
        let mut picture = RgbaImage::from_pixel(9, 9, Rgba([0, 0, 0, 255]));
        picture.put_pixel(2, 1, Rgba([0, 0, 0, opacity]));
        let file = saved(folder.path(), "clear.png", picture);
        for how in [How::Either, How::Pixels] {
            refused(&file, how, "pixel 3 of line 2");
        }
    }
}

/// Every error is one line that names the file and says what to do.
fn refused(file: &Path, how: How, wanted: &str) {
    let said = read(file, how).expect_err("it is refused").to_string();
    assert!(said.starts_with(&file.display().to_string()), "{said}");
    assert!(said.contains(wanted), "{wanted:?} is not said: {said}");
    assert!(
        said.contains("; ") && !said.contains('\n'),
        "no remedy: {said}"
    );
}

#[test]
fn what_is_no_picture_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("sheet.png");
    refused(&file, How::Either, "check the path");
    let whole = std::fs::read(saved(folder.path(), "whole.png", painted(60, 60))).expect("read");
    let sized = |size: [u8; 8]| {
        let mut bytes = whole.clone();
        bytes[16..24].copy_from_slice(&size);
        // the head's checksum stands behind it
        let sum = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&bytes[12..29]);
        bytes[29..33].copy_from_slice(&sum.to_be_bytes());
        bytes
    };
    let huge = sized([0, 1, 0, 0, 0, 1, 0, 0]);
    let long = sized([0, 0, 0, 100, 0, 0, 0x9c, 0x40]);
    for (bytes, wanted) in [
        (&b""[..], "nothing in the file"),
        (b"squares", "save it as PNG"),
        (b"%PDF-1.4 a sheet", "save it as PNG"),
        (&whole[..whole.len() / 2], "save it as PNG"),
        (&whole[..20], "save it as PNG"),
        (&huge, "65536 x 65536 pixels"),
        (&long, "100 x 40000 pixels"),
        (&long, "at most 32768 across or down"),
        (&long, "split the design"),
    ] {
        std::fs::write(&file, bytes).expect("written");
        for how in [How::Either, How::Pixels, How::Ruled] {
            refused(&file, how, wanted);
        }
    }
    refused(Path::new("/dev/null"), How::Either, "not a plain file");
}

#[test]
fn too_many_colours_and_no_ruling_are_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let many = RgbImage::from_fn(60, 60, |x, y| image::Rgb([(x * 4) as u8, (y * 4) as u8, 9]));
    let file = saved(folder.path(), "many.png", many);
    refused(&file, How::Pixels, "1025 different colours");
    refused(&file, How::Ruled, "looked for");
    refused(&file, How::Either, "neither");
    for (width, height) in [(1, 1), (5, 400), (3, 3), (400, 2)] {
        let file = saved(folder.path(), "small.png", painted(width, height));
        refused(&file, How::Ruled, "looked for");
    }
}
