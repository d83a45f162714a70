//! A linked program for the board. Enters: an ELF file. Leaves: its pages of
//! flash and what it takes of flash and RAM. Refuses: programs for other
//! processors, and what does not lie in the board's flash.

use std::ops::Range;

use object::elf::{EM_ARM, PT_LOAD, SHF_ALLOC};
use object::read::elf::{ElfFile32, FileHeader as _, ProgramHeader as _};
use object::{LittleEndian, Object as _, ObjectSection as _, ObjectSymbol as _, SectionFlags};

use super::uf2::{self, FLASH, PAGE, Pages, SECTOR};

/// Flash that the firmware allows itself, in bytes.
pub const MOST_FLASH: u32 = 128 * 1024;

/// RAM that it allows itself, with the stack, in bytes.
pub const MOST_RAM: u32 = 64 * 1024;

/// The chip's RAM.
const RAM: Range<u64> = 0x2000_0000..0x2004_2000;

/// What erased flash reads.
const ERASED: u8 = 0xff;

/// Why no image can be made of a program.
#[derive(Debug, thiserror::Error)]
pub enum ElfError {
    /// No ELF file for this processor.
    #[error("it is no linked program for a 32-bit ARM processor: {0}")]
    NotForThis(String),
    /// It loads something elsewhere.
    #[error(
        "it loads {length} bytes to 0x{address:08x}, outside the board's flash (0x10000000 to 0x10200000); see its memory.x"
    )]
    Elsewhere {
        /// Where to.
        address: u32,
        /// How much.
        length: u32,
    },
    /// It has no content.
    #[error("it loads nothing to the board's flash; give the linked program")]
    Nothing,
    /// Two parts go to one place.
    #[error("it loads two things to 0x{0:08x}; see its memory.x")]
    Overlap(u32),
    /// The stack's ends are the wrong way round.
    #[error(
        "its stack begins at 0x{start:08x} and ends above that, at 0x{end:08x}; see its memory.x"
    )]
    Stack {
        /// `_stack_start`
        start: u64,
        /// `_stack_end`
        end: u64,
    },
    /// A board would not start from it.
    #[error("{0}; see its memory.x")]
    NoStart(#[from] uf2::Uf2Error),
    /// It takes too much flash.
    #[error("it takes {0} bytes of flash, and 131072 are allowed; make it smaller")]
    Flash(u32),
    /// It takes too much RAM.
    #[error("it takes {0} bytes of RAM with its stack, and 65536 are allowed; make it smaller")]
    Ram(u32),
}

/// What a program takes, in bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sizes {
    /// Flash, from its beginning to the last byte loaded.
    pub flash: u32,
    /// RAM of everything that lives as long as the program.
    pub ram: u32,
    /// RAM kept for the stack; none if the program does not say.
    pub stack: Option<u32>,
}

impl Sizes {
    /// Whether it takes no more than it is allowed.
    ///
    /// # Errors
    /// [`ElfError::Flash`] or [`ElfError::Ram`].
    pub fn check(&self) -> Result<(), ElfError> {
        let ram = self.ram.saturating_add(self.stack.unwrap_or(0));
        match () {
            () if self.flash > MOST_FLASH => Err(ElfError::Flash(self.flash)),
            () if ram > MOST_RAM => Err(ElfError::Ram(ram)),
            () => Ok(()),
        }
    }
}

/// A program, ready to be written as an image.
#[derive(Debug)]
pub struct Program {
    /// Its pages. Sectors are whole: a bootloader erases no less.
    pub pages: Pages,
    /// What it takes.
    pub sizes: Sizes,
}

/// Reads a linked program.
///
/// # Errors
/// [`ElfError`]; what it takes is not judged, see [`Sizes::check`].
pub fn read(file: &[u8]) -> Result<Program, ElfError> {
    let not_for_this = |error: object::Error| ElfError::NotForThis(error.to_string());
    let elf = ElfFile32::<LittleEndian>::parse(file).map_err(not_for_this)?;
    let header = elf.elf_header();
    if header.e_machine(LittleEndian) != EM_ARM {
        return Err(ElfError::NotForThis("it is for another one".into()));
    }
    let mut loads = Vec::new();
    for part in elf.elf_program_headers() {
        if part.p_type(LittleEndian) == PT_LOAD {
            let bytes = part
                .data(LittleEndian, file)
                .map_err(|()| ElfError::NotForThis("a part of the file is missing".to_string()))?;
            loads.push((part.p_paddr(LittleEndian), bytes));
        }
    }
    let sizes = Sizes {
        flash: end_of(&loads)?.saturating_sub(FLASH.start),
        ram: ram_of(&elf),
        stack: stack_of(&elf)?,
    };
    let pages = pages_of(loads)?;
    if pages.is_empty() {
        return Err(ElfError::Nothing);
    }
    uf2::read(&uf2::write(&pages))?;
    Ok(Program { pages, sizes })
}

/// Where the last byte loaded ends; the beginning of the flash if there is none.
fn end_of(loads: &[(u32, &[u8])]) -> Result<u32, ElfError> {
    let mut end = FLASH.start;
    for (address, bytes) in loads.iter().filter(|(_, bytes)| !bytes.is_empty()) {
        let length = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
        match address.checked_add(length) {
            Some(last) if FLASH.contains(address) && last <= FLASH.end => end = end.max(last),
            _ => {
                let address = *address;
                return Err(ElfError::Elsewhere { address, length });
            }
        }
    }
    Ok(end)
}

fn pages_of(mut loads: Vec<(u32, &[u8])>) -> Result<Pages, ElfError> {
    loads.sort_by_key(|(address, _)| *address);
    let mut pages = Pages::new();
    let mut free_from = 0;
    for (start, bytes) in loads.into_iter().filter(|(_, bytes)| !bytes.is_empty()) {
        if start < free_from {
            return Err(ElfError::Overlap(start));
        }
        for (address, byte) in (start..).zip(bytes) {
            let page = address - address % PAGE as u32;
            if !pages.contains_key(&page) {
                let sector = address - address % SECTOR;
                for page in (sector..sector + SECTOR).step_by(PAGE) {
                    pages.entry(page).or_insert([ERASED; PAGE]);
                }
            }
            if let Some(page) = pages.get_mut(&page) {
                page[(address % PAGE as u32) as usize] = *byte;
            }
            free_from = address + 1;
        }
    }
    Ok(pages)
}

fn ram_of(elf: &ElfFile32<LittleEndian>) -> u32 {
    let lives_in_ram = |section: &object::read::elf::ElfSection32<LittleEndian>| {
        let SectionFlags::Elf { sh_flags, .. } = section.flags() else {
            return false;
        };
        sh_flags.contains(SHF_ALLOC) && RAM.contains(&section.address())
    };
    let sizes = elf.sections().filter(lives_in_ram).map(|s| s.size());
    let bytes = sizes.fold(0, u64::saturating_add);
    u32::try_from(bytes).unwrap_or(u32::MAX)
}

fn stack_of(elf: &ElfFile32<LittleEndian>) -> Result<Option<u32>, ElfError> {
    let place = |name: &str| {
        let mut symbols = elf.symbols();
        let symbol = symbols.find(|symbol| symbol.name() == Ok(name));
        symbol.map(|symbol| symbol.address())
    };
    let (Some(start), Some(end)) = (place("_stack_start"), place("_stack_end")) else {
        return Ok(None);
    };
    match start.checked_sub(end) {
        Some(bytes) => Ok(Some(u32::try_from(bytes).unwrap_or(u32::MAX))),
        None => Err(ElfError::Stack { start, end }),
    }
}
