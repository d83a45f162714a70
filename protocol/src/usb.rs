//! How a unit's board is told from every other serial port: its USB identity,
//! one for both ends.
//!
//! Vendor and product number are the first of the numbers that the open registry
//! pid.codes keeps for testing. Others test with the same ones, so the strings
//! decide. They must not leave the workshop: a board that is sold or given away
//! needs a product number of its own, which the registry gives to open projects.

use crate::unit_to_host::Role;

/// Vendor number: the registry's.
pub const VENDOR: u16 = 0x1209;

/// Product number: for testing only.
pub const PRODUCT: u16 = 0x0001;

/// Manufacturer string.
pub const MANUFACTURER: &str = "cardwright";

/// Product string.
#[must_use]
pub const fn product_name(role: Role) -> &'static str {
    match role {
        Role::Rig => "cardwright rig",
        Role::Loom => "cardwright loom unit",
    }
}

/// The serial number string of a board: its eight bytes in upper-case
/// hexadecimal, in ASCII.
#[must_use]
pub const fn serial(board: &[u8; 8]) -> [u8; 16] {
    const DIGITS: &[u8; 16] = b"0123456789ABCDEF";
    let mut text = [0; 16];
    let mut at = 0;
    while at < board.len() {
        text[2 * at] = DIGITS[(board[at] >> 4) as usize];
        text[2 * at + 1] = DIGITS[(board[at] & 15) as usize];
        at += 1;
    }
    text
}

/// Whether `text` is a serial number as [`serial`] writes it.
#[must_use]
pub fn is_serial(text: &str) -> bool {
    let digit = |byte: u8| byte.is_ascii_digit() || (b'A'..=b'F').contains(&byte);
    text.len() == 16 && text.bytes().all(digit)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Else the host does not find a board, or calls it by another number than
    /// the ledger does.
    #[test]
    fn a_serial_number_is_the_boards_bytes_in_upper_case() {
        let text = serial(&[0xE6, 0x61, 0x64, 0x08, 0x43, 0x1F, 0x00, 0xAB]);
        let text = core::str::from_utf8(&text).unwrap_or_default();
        assert_eq!(text, "E6616408431F00AB");
        assert!(is_serial(text));
        for wrong in [
            "",
            "e6616408431f00ab",
            "E6616408431F00A",
            "E6616408431F00AG",
        ] {
            assert!(!is_serial(wrong), "{wrong}");
        }
    }
}
