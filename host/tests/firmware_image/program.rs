//! A linked program as the linker writes it, as far as anybody looks at it
//! here: TIS Committee, Executable and Linking Format, version 1.2, book I.

/// Bytes and where they are loaded to.
pub struct Load {
    pub address: u32,
    pub bytes: Vec<u8>,
}

const HEADER: usize = 52;
const LOAD: usize = 32;
const SECTION: usize = 40;
const NAMES: &[u8] = b"\0_stack_start\0_stack_end\0";

/// `ram`: lengths of sections that live in RAM; `stack`: where it starts and
/// ends.
pub fn program(loads: &[Load], ram: &[u32], stack: Option<(u32, u32)>) -> Vec<u8> {
    let mut at = HEADER + loads.len() * LOAD;
    let (mut heads, mut contents) = (Vec::new(), Vec::new());
    for load in loads {
        let length = load.bytes.len() as u32;
        // loadable, offset, where it is at run time, where it is loaded, lengths, flags, alignment
        words(
            &mut heads,
            &[
                1,
                at as u32,
                0x2000_4000,
                load.address,
                length,
                length,
                5,
                4,
            ],
        );
        contents.extend_from_slice(&load.bytes);
        at += load.bytes.len();
    }
    let names_at = at as u32;
    contents.extend_from_slice(NAMES);
    let symbols_at = names_at + NAMES.len() as u32;
    let mut symbols = vec![0; 16];
    if let Some((start, end)) = stack {
        for (name, value) in [(1, start), (14, end)] {
            // name, value, length, global and without type; absolute
            words(&mut symbols, &[name, value, 0, 0xfff1_0010]);
        }
    }
    contents.extend_from_slice(&symbols);
    let sections_at = symbols_at + symbols.len() as u32;
    let mut sections = vec![0; SECTION];
    // names of symbols, symbols, then what takes room in RAM and none in the file
    words(
        &mut sections,
        &[0, 3, 0, 0, names_at, NAMES.len() as u32, 0, 0, 1, 0],
    );
    words(
        &mut sections,
        &[0, 2, 0, 0, symbols_at, symbols.len() as u32, 1, 1, 4, 16],
    );
    for length in ram {
        words(
            &mut sections,
            &[0, 8, 3, 0x2000_4000, 0, *length, 0, 0, 4, 0],
        );
    }
    let count = (sections.len() / SECTION) as u16;
    let mut file = head(loads.len() as u16, sections_at, count);
    file.extend([heads, contents, sections].concat());
    file
}

fn head(loads: u16, sections_at: u32, sections: u16) -> Vec<u8> {
    let mut head = b"\x7fELF\x01\x01\x01".to_vec();
    head.resize(16, 0);
    // a program, for ARM
    halves(&mut head, &[2, 40]);
    let loads_at = HEADER as u32;
    words(
        &mut head,
        &[1, 0x1000_0101, loads_at, sections_at, 0x0500_0200],
    );
    let sizes = [
        HEADER as u16,
        LOAD as u16,
        loads,
        SECTION as u16,
        sections,
        1,
    ];
    halves(&mut head, &sizes);
    assert_eq!(head.len(), HEADER);
    head
}

fn words(to: &mut Vec<u8>, words: &[u32]) {
    to.extend(words.iter().flat_map(|word| word.to_le_bytes()));
}

fn halves(to: &mut Vec<u8>, halves: &[u16]) {
    to.extend(halves.iter().flat_map(|half| half.to_le_bytes()));
}
