//! A host with more rows than the line can carry, in virtual time.

use super::messages::ID;
use super::two_ends::TwoEnds;
use cardwright_protocol::card::{CardNumber, Row, Stroke};
use cardwright_protocol::frame::{FrameReader, Packet};
use cardwright_protocol::host_to_unit::{CardHeader, STROKES_A_MESSAGE, Work};
use cardwright_protocol::{CardId, HostToUnit, UnitToHost};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::{BTreeSet, VecDeque};

/// 8N1 is ten bits a byte.
const BYTE_NS: u64 = 10 * 1_000_000_000 / 115_200;
/// What a USB serial adapter may hold bytes back for.
const DELAY_US: u64 = 16_000;
const RUN_US: u64 = 60_000_000;

#[derive(Clone, Copy, Debug)]
pub enum Load {
    /// Full stroke messages of random rows, nothing else.
    Rows { holes: u8 },
    /// Card heads and 56 strokes a card, and full messages of readings back.
    CardsAndReadings,
}

/// Shares are of the virtual time of the run.
#[derive(Clone, Copy, Debug, Default)]
pub struct Figures {
    pub first_rows_share: f64,
    pub busy_share: f64,
    pub strokes_a_second: f64,
    pub wire_bytes_a_row: f64,
    pub retransmissions: u32,
    pub strokes_arrived_wrong: u32,
}

impl std::fmt::Display for Figures {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(
            f,
            "{:.2} % of the line for first-time row frames, {:.2} % busy, {:.0} strokes/s, \
             {:.2} bytes on the wire a row, {} sent again, {} arrived wrong",
            100.0 * self.first_rows_share,
            100.0 * self.busy_share,
            self.strokes_a_second,
            self.wire_bytes_a_row,
            self.retransmissions,
            self.strokes_arrived_wrong,
        )
    }
}

/// Stroke messages, and card heads if wanted, without end.
struct Source {
    chance: ChaCha8Rng,
    load: Load,
    card: u32,
    ready: VecDeque<HostToUnit>,
}

impl Source {
    fn next(&mut self) -> HostToUnit {
        if self.ready.is_empty() {
            self.card += 1;
            let id = CardId {
                card: CardNumber(self.card),
                ..ID
            };
            let (holes, strokes) = match self.load {
                Load::Rows { holes } => (holes, STROKES_A_MESSAGE as u16),
                Load::CardsAndReadings => (8, 56),
            };
            if let Load::CardsAndReadings = self.load {
                let crc = self.chance.random();
                let head = CardHeader {
                    id,
                    work: Work::Cut,
                    strokes,
                    crc,
                    more: true,
                };
                self.ready.push_back(HostToUnit::Card(head));
            }
            let full = Row::full(holes).0;
            let all: Vec<Stroke> = (0..strokes)
                .map(|_| Stroke::Needles(Row(self.chance.random::<u16>() & full)))
                .collect();
            for (n, part) in all.chunks(STROKES_A_MESSAGE).enumerate() {
                let strokes = part.iter().copied().collect();
                let first = (n * STROKES_A_MESSAGE) as u16;
                self.ready
                    .push_back(HostToUnit::Strokes { id, first, strokes });
            }
        }
        self.ready.pop_front().expect("just filled")
    }
}

pub fn saturate(load: Load) -> Figures {
    let mut ends = TwoEnds::open(1, DELAY_US);
    (ends.up.byte_ns, ends.down.byte_ns) = (BYTE_NS, BYTE_NS);
    let mut source = Source {
        chance: ChaCha8Rng::seed_from_u64(4),
        load,
        card: 0,
        ready: VecDeque::new(),
    };
    let mut waiting: Option<HostToUnit> = None;
    let mut expected = VecDeque::new();
    let (mut figures, mut strokes) = (Figures::default(), 0);
    ends.sent_up.clear();
    let began = ends.now;
    let until = ends.now + RUN_US;
    while ends.now < until {
        loop {
            let message = waiting.take().unwrap_or_else(|| source.next());
            if ends.host.send(&message).is_err() {
                waiting = Some(message);
                break;
            }
            expected.push_back(message);
        }
        if let Load::CardsAndReadings = load {
            let samples = [0x7F; 192].into_iter().collect();
            let lines = UnitToHost::Lines {
                id: ID,
                first: 0,
                samples,
            };
            while ends.unit.send(&lines).is_ok() {}
        }
        ends.step(until);
        ends.host_messages();
        for message in ends.unit_messages() {
            let right = expected.pop_front().as_ref() == Some(&message);
            figures.strokes_arrived_wrong += u32::from(!right);
            if let HostToUnit::Strokes { strokes: part, .. } = message {
                strokes += part.len();
            }
        }
    }
    // The last frame may end a little after the run.
    let took_us = ends.up.room_at().max(ends.now) - began;
    measure(&ends, &mut figures, strokes, took_us);
    figures
}

fn measure(ends: &TwoEnds, figures: &mut Figures, strokes: usize, took_us: u64) {
    let (mut row_bytes, mut all_bytes, mut rows) = (0, 0, 0);
    let mut seen = BTreeSet::new();
    for (_, wire) in &ends.sent_up {
        all_bytes += wire.len() as u64;
        let mut bytes = wire.as_slice();
        let mut reader = FrameReader::new();
        let packet = reader.next_frame(&mut bytes).expect("just encoded").packet;
        if let Packet::Data {
            sequence, message, ..
        } = packet
            && let Ok(HostToUnit::Strokes { strokes, .. }) = postcard::from_bytes(message)
            && seen.insert(sequence)
        {
            row_bytes += wire.len() as u64;
            rows += strokes.len();
        }
    }
    let share = |bytes: u64| (bytes * BYTE_NS) as f64 / (took_us * 1_000) as f64;
    figures.first_rows_share = share(row_bytes);
    figures.busy_share = share(all_bytes);
    figures.strokes_a_second = strokes as f64 * 1e6 / took_us as f64;
    figures.wire_bytes_a_row = all_bytes as f64 / rows as f64;
    figures.retransmissions =
        ends.host.counters().retransmissions + ends.unit.counters().retransmissions;
}
