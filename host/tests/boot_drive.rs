//! Risk: the drive of a board in its bootloader is not found, or something else
//! is written to.

use std::path::PathBuf;

use cardwright::firmware::drive::{Copied, DriveError, copy, fat_file_systems, one_of};

/// Lines as a Linux system writes them: proc(5), fstab(5).
const MOUNTS: &[u8] = b"proc /proc proc rw,nosuid 0 0
/dev/sda2 / ext4 rw,relatime 0 0
/dev/sda1 /boot/efi vfat rw,relatime 0 0
server:/home /home nfs4 rw 0 0
/dev/sdb1 /media/a\\040person/RPI-RP2 vfat rw,nosuid 0 0
/dev/sdb1 /media/a\\040person/RPI-RP2 vfat rw,nosuid 0 0
/dev/sdc1 /mnt/back\\134slash\\9 msdos rw 0 0
broken
";

#[test]
fn only_fat_file_systems_are_looked_at() {
    let dirs = [
        "/boot/efi",
        "/media/a person/RPI-RP2",
        "/mnt/back\\slash\\9",
    ];
    assert_eq!(fat_file_systems(MOUNTS), dirs.map(PathBuf::from));
    assert!(fat_file_systems(b"").is_empty());
}

#[test]
fn the_one_drive_is_found_and_several_are_a_persons_choice() {
    let place = tempfile::tempdir().expect("a directory for the test");
    let dirs = ["photographs", "one", "two"].map(|name| place.path().join(name));
    for dir in &dirs {
        std::fs::create_dir(dir).expect("a directory");
    }
    let none = one_of(dirs.to_vec()).expect_err("no drive is a board's");
    assert!(matches!(none, DriveError::None), "{none}");
    for dir in &dirs[1..] {
        let info = "UF2 Bootloader v2.0\nModel: Raspberry Pi RP2\nBoard-ID: RPI-RP2\n";
        std::fs::write(dir.join("INFO_UF2.TXT"), info).expect("it is written");
    }
    let found = one_of(dirs[..2].to_vec()).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(found, dirs[1]);
    let several = one_of(dirs.to_vec()).expect_err("there are two");
    let words = format!("{none}\n{several}").replace(&place.path().display().to_string(), "DIR");
    insta::assert_snapshot!(words);
}

#[test]
fn a_copy_is_whole_and_confirmed_or_refused() {
    let place = tempfile::tempdir().expect("a directory for the test");
    let image = vec![9; 5000];
    let copied = copy(&image, place.path()).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(copied, Copied::Confirmed);
    let file = std::fs::read(place.path().join("CARDRIG.UF2")).expect("it is there");
    assert_eq!(file, image);
    let gone = copy(&image, &place.path().join("gone")).expect_err("it is not there");
    assert_eq!(gone.exit(), 3);
    // a full disk takes nothing
    std::fs::remove_file(place.path().join("CARDRIG.UF2")).expect("it was there");
    std::os::unix::fs::symlink("/dev/full", place.path().join("CARDRIG.UF2")).expect("a link");
    let full = copy(&image, place.path()).expect_err("there is no room");
    assert!(full.to_string().contains("No space left"), "{full}");
}
