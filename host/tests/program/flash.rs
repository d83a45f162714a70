//! Risk: a board is given something that is no firmware, a directory that is no
//! board is written to, or a person is not told what to do.

use std::path::PathBuf;

use cardwright::firmware::uf2;

use super::bad_input::said;
use super::support::{Done, Place, cardwright, run};

const INFO: &str = "UF2 Bootloader v3.0\r\nModel: Raspberry Pi RP2\r\nBoard-ID: RPI-RP2\r\n";

/// An image of two blocks that begins with a published second stage.
fn image(place: &Place) -> PathBuf {
    let mut pages = uf2::Pages::new();
    pages.insert(0x1000_0000, rp2040_boot2::BOOT_LOADER_W25Q080);
    pages.insert(0x1000_0100, [7; uf2::PAGE]);
    place.write("rig.uf2", uf2::write(&pages))
}

fn drive(place: &Place, info: &str) -> PathBuf {
    let dir = place.file("drive");
    std::fs::create_dir_all(&dir).expect("a directory");
    place.write("drive/INFO_UF2.TXT", info);
    dir
}

fn flash(image: &PathBuf, drive: &PathBuf, more: &[&str]) -> Done {
    run(cardwright(&["rig", "flash"])
        .arg(image)
        .arg("--drive")
        .arg(drive)
        .args(more))
}

fn written(place: &Place) -> Option<Vec<u8>> {
    std::fs::read(place.file("drive/CARDRIG.UF2")).ok()
}

#[test]
fn an_image_is_put_on_the_drive_with_a_caution_first() {
    let place = Place::new();
    let (image, drive) = (image(&place), drive(&place, INFO));
    let done = flash(&image, &drive, &[]);
    insta::assert_snapshot!(said(&place, &done) + &done.stdout);
    assert_eq!(written(&place), std::fs::read(&image).ok());
    let json = flash(&image, &drive, &["--json"]);
    assert_eq!(json.json()[0]["event"], "caution");
    let summary = json.summary();
    assert_eq!(
        (&summary["blocks"], &summary["bytes"]),
        (&2.into(), &1024.into())
    );
    assert_eq!((&summary["exit"], json.status), (&0.into(), 0));
}

#[test]
fn an_image_that_is_none_is_not_written() {
    let place = Place::new();
    let (image, drive) = (image(&place), drive(&place, INFO));
    let mut bytes = std::fs::read(&image).expect("it is there");
    bytes[512 + 28] = 0;
    let spoiled = place.write("spoiled.uf2", bytes);
    let words: Vec<String> = [spoiled, place.file("gone.uf2"), "/dev/zero".into()]
        .iter()
        .map(|image| said(&place, &flash(image, &drive, &[])))
        .collect();
    insta::assert_snapshot!(words.join("\n"));
    assert_eq!(written(&place), None);
}

#[test]
fn only_the_drive_of_such_a_board_is_written_to() {
    let place = Place::new();
    let image = image(&place);
    let mut words = vec![said(&place, &flash(&image, &place.file("drive"), &[]))];
    for info in ["Board-ID: RP2350\n", "Model: something\n"] {
        let drive = drive(&place, info);
        words.push(said(&place, &flash(&image, &drive, &[])));
        assert_eq!(written(&place), None);
    }
    insta::assert_snapshot!(words.join("\n"));
}

#[test]
fn a_drive_that_takes_nothing_is_the_boards_failure() {
    let place = Place::new();
    let (image, drive) = (image(&place), drive(&place, INFO));
    // what cannot be overwritten by a file, whoever runs the test
    std::fs::create_dir(drive.join("CARDRIG.UF2")).expect("a directory");
    insta::assert_snapshot!(said(&place, &flash(&image, &drive, &[])));
}

#[test]
fn without_an_image_the_person_is_told_how_to_get_one() {
    let place = Place::new();
    let done = run(&mut cardwright(&["rig", "flash"]));
    let program = PathBuf::from(env!("CARGO_BIN_EXE_cardwright"));
    let dir = program.parent().expect("it lies somewhere").display();
    insta::assert_snapshot!(said(&place, &done).replace(&dir.to_string(), "BIN"));
}

/// As it is made by `firmware/pico/build`: a program too large leaves no image.
#[test]
fn a_linked_program_becomes_an_image_with_its_sizes() {
    let place = Place::new();
    let load = |address, bytes| Load { address, bytes };
    let stage = || load(0x1000_0000, rp2040_boot2::BOOT_LOADER_W25Q080.to_vec());
    let make = |loads: &[Load], more: &[&str]| {
        let elf = place.write(
            "rig.elf",
            program(loads, &[1000], Some((0x2000_4000, 0x2000_0000))),
        );
        run(cardwright(&["rig", "image"])
            .arg(elf)
            .arg("--out")
            .arg(place.file("made.uf2"))
            .args(more))
    };
    let large = make(&[stage(), load(0x1002_0000, vec![0; 4])], &[]);
    assert!(!place.file("made.uf2").exists());
    let done = make(&[stage(), load(0x1000_1000, vec![0; 100])], &[]);
    let words = [&large, &done].map(|done| said(&place, done) + &done.stdout);
    insta::assert_snapshot!(
        words
            .join("\n")
            .replace(&place.path().display().to_string(), "DIR")
    );
    let image = std::fs::read(place.file("made.uf2")).expect("it is there");
    assert_eq!(uf2::read(&image).map(|pages| pages.len()), Ok(32));
    let json = make(&[stage()], &["--json"]);
    assert_eq!(
        (
            json.json()[0]["flash"].as_u64(),
            json.summary()["blocks"].as_u64()
        ),
        (Some(256), Some(16))
    );
}

#[path = "../firmware_image/program.rs"]
mod linked;
use linked::{Load, program};
