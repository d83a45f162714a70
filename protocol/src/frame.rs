//! Frames: what stands on the wire between two zero bytes.
//!
//! Enters: packets to be sent, and chunks of received bytes of any length.
//! Leaves: bytes with their delimiter, and packets that arrived whole. Refuses:
//! every run of bytes whose stuffing, length, CRC-32 or packet form is wrong,
//! and every run too long to be a frame; each is counted and dropped, and the
//! next zero byte starts afresh.
//!
//! A frame is `COBS(header | packet | CRC-32) 0x00`. The header is fixed, least
//! significant byte first: length of the whole unstuffed frame (2 bytes),
//! session (4), boot number (4). The packet is postcard's form of [`Packet`].
//! The CRC-32 covers header and packet. Length and numbers stand under the CRC
//! because byte stuffing weakens a checksum against a lost or doubled byte: a
//! frame that lost a byte, swallowed a delimiter or gained a trailing zero has
//! another length than it says.

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// CRC-32/ISO-HDLC, as in Ethernet and zip. Over `123456789` it gives
/// `CBF43926` (RevEng catalogue of parametrised CRC algorithms).
pub static CRC32: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);

/// Most bytes of one message.
pub const MOST_PAYLOAD: usize = 224;

const LENGTH_BYTES: usize = 2;
const HEADER_BYTES: usize = LENGTH_BYTES + 4 + 4;
const CRC_BYTES: usize = 4;

/// The longest packet around a message: kind (1), sequence (5), acknowledgement
/// (5), free slots (1) and the message's length (2).
const MOST_PACKET: usize = 1 + 5 + 5 + 1 + 2 + MOST_PAYLOAD;

/// Most bytes of an unstuffed frame. Below 254, so that stuffing always adds
/// exactly one byte and no code byte is ever `FF`.
pub const MOST_FRAME: usize = HEADER_BYTES + MOST_PACKET + CRC_BYTES;
const _: () = assert!(MOST_FRAME < 254);

/// Most bytes of a frame on the wire: stuffing adds one, the delimiter one.
pub const MOST_WIRE: usize = MOST_FRAME + 2;

/// What one frame carries. The order of kinds and fields is the wire's and only
/// grows at the end.
///
/// The four packets of the opening handshake (`Open`, `Opened`, `Confirm`,
/// `Refused`) and the frame around them have this one form in every version of
/// the protocol, for ever: two ends that do not know each other's version yet
/// must be able to read them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Packet<'a> {
    /// Host: begin the session in the header. Its boot number is 0, since the
    /// host does not know it yet.
    Open {
        /// Lowest protocol version the host speaks.
        lowest: u16,
        /// Highest protocol version the host speaks.
        highest: u16,
        /// Messages the host can hold out of order or untaken.
        slots: u8,
    },
    /// Unit: the session can begin, once this has been confirmed.
    Opened {
        /// The protocol version of the session.
        version: u16,
        /// Messages the unit can hold out of order or untaken.
        slots: u8,
        /// Number of this opening, never used twice in one boot.
        opening: u32,
    },
    /// Host: the opening with this number is the one I asked for.
    Confirm {
        /// The number from `Opened`.
        opening: u32,
    },
    /// Unit: no version in common.
    Refused {
        /// Lowest protocol version the unit speaks.
        lowest: u16,
        /// Highest protocol version the unit speaks.
        highest: u16,
    },
    /// A message.
    Data {
        /// Its number in this session and direction, from 0.
        sequence: u32,
        /// Every message before this number has arrived.
        ack: u32,
        /// Messages from `ack` on that can be taken in.
        free: u8,
        /// The message, in postcard's form.
        #[serde(borrow)]
        message: &'a [u8],
    },
    /// What has arrived.
    Ack {
        /// Every message before this number has arrived.
        ack: u32,
        /// Messages from `ack` on that can be taken in.
        free: u8,
    },
    /// Still here.
    Heartbeat {
        /// Every message before this number has arrived.
        ack: u32,
        /// Messages from `ack` on that can be taken in.
        free: u8,
    },
    /// Unit: the session in the header is not mine; the boot number is.
    Unknown,
}

/// A frame as it arrived.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame<'a> {
    /// Session number; never 0 in a session.
    pub session: u32,
    /// The unit's boot number; 0 where the host does not know it.
    pub boot: u32,
    /// What it carries.
    pub packet: Packet<'a>,
}

/// Why a packet could not be put in a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum FrameError {
    /// The message in it is longer than [`MOST_PAYLOAD`].
    #[error("a packet does not fit a frame of {MOST_FRAME} bytes; send a shorter message")]
    TooLong,
}

/// Puts a frame and its delimiter on `wire` and says how many bytes it takes.
///
/// # Errors
/// [`FrameError::TooLong`] if the packet's message is too long.
pub fn encode(frame: &Frame, wire: &mut [u8; MOST_WIRE]) -> Result<usize, FrameError> {
    let mut plain = [0; MOST_FRAME];
    let packet_bytes = postcard::to_slice(
        &frame.packet,
        &mut plain[HEADER_BYTES..HEADER_BYTES + MOST_PACKET],
    )
    .map_err(|_| FrameError::TooLong)?
    .len();
    let checked = HEADER_BYTES + packet_bytes;
    let length = checked + CRC_BYTES;
    plain[..2].copy_from_slice(&(length as u16).to_le_bytes());
    plain[2..6].copy_from_slice(&frame.session.to_le_bytes());
    plain[6..10].copy_from_slice(&frame.boot.to_le_bytes());
    let crc = CRC32.checksum(&plain[..checked]);
    plain[checked..length].copy_from_slice(&crc.to_le_bytes());
    let stuffed =
        cobs::try_encode(&plain[..length], &mut wire[..]).map_err(|_| FrameError::TooLong)?;
    let delimiter = wire.get_mut(stuffed).ok_or(FrameError::TooLong)?;
    *delimiter = 0;
    Ok(stuffed + 1)
}

/// Reads an unstuffed frame; `None` if anything about it is wrong.
fn read(plain: &[u8]) -> Option<Frame<'_>> {
    let (checked, crc) = plain.split_last_chunk::<CRC_BYTES>()?;
    let (length, rest) = checked.split_first_chunk::<LENGTH_BYTES>()?;
    let (session, rest) = rest.split_first_chunk::<4>()?;
    let (boot, packet) = rest.split_first_chunk::<4>()?;
    if usize::from(u16::from_le_bytes(*length)) != plain.len()
        || u32::from_le_bytes(*crc) != CRC32.checksum(checked)
    {
        return None;
    }
    let (packet, rest) = postcard::take_from_bytes(packet).ok()?;
    rest.is_empty().then_some(Frame {
        session: u32::from_le_bytes(*session),
        boot: u32::from_le_bytes(*boot),
        packet,
    })
}

/// Finds frames in a stream of bytes that may hold anything.
#[derive(Clone, Debug)]
pub struct FrameReader {
    /// Stuffed bytes since the last delimiter.
    run: [u8; MOST_FRAME + 1],
    length: usize,
    /// The run is longer than a frame can be; nothing counts until a zero.
    overrun: bool,
    damaged: u32,
}

impl Default for FrameReader {
    fn default() -> Self {
        FrameReader::new()
    }
}

impl FrameReader {
    /// A reader that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        FrameReader {
            run: [0; MOST_FRAME + 1],
            length: 0,
            overrun: false,
            damaged: 0,
        }
    }

    /// Runs of bytes that were not a whole frame, since the start.
    #[must_use]
    pub const fn damaged(&self) -> u32 {
        self.damaged
    }

    /// Takes bytes from the front of `bytes` until a frame is whole or they
    /// are used up. Call again with what is left until it gives `None`.
    pub fn next_frame<'r>(&'r mut self, bytes: &mut &[u8]) -> Option<Frame<'r>> {
        // The search ends at a length, not at a frame, so that the borrow of
        // the buffer begins only once.
        let whole = loop {
            let (&byte, rest) = bytes.split_first()?;
            *bytes = rest;
            if let Some(length) = self.push(byte) {
                break length;
            }
        };
        read(self.run.get(..whole)?)
    }

    /// Takes one byte; the length of the unstuffed frame in `run` when that
    /// byte completes a good one.
    fn push(&mut self, byte: u8) -> Option<usize> {
        if byte != 0 {
            match self.run.get_mut(self.length) {
                Some(place) => {
                    *place = byte;
                    self.length += 1;
                }
                None => self.overrun = true,
            }
            return None;
        }
        let (length, overrun) = (self.length, self.overrun);
        (self.length, self.overrun) = (0, false);
        if length == 0 {
            return None;
        }
        let plain = if overrun {
            None
        } else {
            cobs::decode_in_place(&mut self.run[..length])
                .ok()
                .filter(|plain| *plain <= length && read(&self.run[..*plain]).is_some())
        };
        if plain.is_none() {
            self.damaged = self.damaged.saturating_add(1);
        }
        plain
    }
}
