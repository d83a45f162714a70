//! A firmware image: what goes into the flash, and where its symbols are.
//!
//! Enters: an ELF file or a flat one. Leaves: pieces of flash, addresses. It
//! refuses a file it cannot read and a piece outside the flash.

use object::{Object, ObjectSegment, ObjectSymbol};
use std::path::Path;

/// Where the flash is mapped, and how much of it there is.
pub(super) const FLASH: u32 = 0x1000_0000;
const FLASH_SIZE: usize = 2 * 1024 * 1024;

/// A firmware image.
#[derive(Clone, Debug)]
pub struct Image {
    /// Address and bytes.
    pub(super) pieces: Vec<(u32, Vec<u8>)>,
    symbols: Vec<(String, u32, u32)>,
}

impl Image {
    /// Reads an ELF file, or anything else as the flash's contents from its
    /// first byte on.
    ///
    /// # Errors
    /// In words, with the file's name.
    pub fn read(path: &Path) -> Result<Image, String> {
        let bytes = std::fs::read(path)
            .map_err(|cause| format!("cannot read the firmware {}: {cause}", path.display()))?;
        let image = if bytes.starts_with(b"\x7fELF") {
            Image::from_elf(&bytes).map_err(|cause| format!("{}: {cause}", path.display()))?
        } else {
            Image {
                pieces: vec![(FLASH, bytes)],
                symbols: Vec::new(),
            }
        };
        for (address, bytes) in &image.pieces {
            let end = u64::from(*address) + bytes.len() as u64;
            if *address < FLASH || end > u64::from(FLASH) + FLASH_SIZE as u64 {
                let words = format!("{address:#010x} to {end:#010x} is not in the flash");
                return Err(format!("{}: {words}", path.display()));
            }
        }
        Ok(image)
    }

    fn from_elf(bytes: &[u8]) -> Result<Image, object::read::Error> {
        use object::read::elf::{ElfFile32, ProgramHeader};
        let file = ElfFile32::<object::Endianness>::parse(bytes)?;
        let mut pieces = Vec::new();
        for segment in file.segments() {
            let data = segment.data()?;
            // where it is loaded, not where it runs: data lie in flash first
            let load = segment.elf_program_header().p_paddr(file.endian());
            if !data.is_empty() {
                pieces.push((load, data.to_vec()));
            }
        }
        let symbols = file
            .symbols()
            .filter_map(|symbol| {
                let name = symbol.name().ok()?.to_owned();
                let address = u32::try_from(symbol.address()).ok()?;
                let size = u32::try_from(symbol.size()).ok()?;
                (!name.is_empty()).then_some((name, address, size))
            })
            .collect();
        Ok(Image { pieces, symbols })
    }

    /// The address of this symbol; of code, without the bit that says Thumb.
    #[must_use]
    pub fn symbol(&self, name: &str) -> Option<u32> {
        let found = self.symbols.iter().find(|(known, ..)| known == name)?;
        Some(found.1 & !1)
    }

    /// The symbols whose name contains this, with address and size: for code
    /// whose full name the compiler has made.
    pub fn symbols_with<'a>(&'a self, part: &'a str) -> impl Iterator<Item = (&'a str, u32, u32)> {
        self.symbols
            .iter()
            .filter(move |(name, ..)| name.contains(part))
            .map(|(name, address, size)| (name.as_str(), address & !1, *size))
    }

    /// Bytes of flash that the image takes.
    #[must_use]
    pub fn flash_used(&self) -> usize {
        self.pieces.iter().map(|(_, bytes)| bytes.len()).sum()
    }
}
