//! A piece of our own invention, written into a ledger by hand: two days, three
//! sessions, with all that can happen at a loom.

use cardwright::ledger::{
    Ledger, NewPiece, NewWeaving, PieceNumber, UnixMillis, WeavingKind, Woven,
};
use serde_json::{Value, json};
use std::error::Error;

/// 11 May 2026, 08:00 UTC.
pub const START: i64 = 1_778_486_400_000;
const NIGHT: i64 = 86_400_000;

pub const PLAN: &str = "name = \"Sedge runners\"\nsett = { picks = 60, per = \"in\" }\n";

/// Somebody at a loom, and what is written down of it.
pub struct Loom {
    pub now: i64,
    pub next: u64,
    pub in_cloth: i64,
    pub records: Vec<NewWeaving>,
    /// Millimetres of cloth that the take-up has seen.
    wound: f64,
    faults: u32,
}

impl Loom {
    pub fn new() -> Loom {
        Loom {
            now: START,
            next: 0,
            in_cloth: 0,
            records: Vec::new(),
            wound: 0.0,
            faults: 0,
        }
    }

    pub fn say(&mut self, kind: WeavingKind, detail: Value) {
        self.records.push(NewWeaving {
            at: UnixMillis(self.now),
            kind,
            detail,
        });
    }

    pub fn begin(&mut self) {
        let place = json!({ "next": self.next, "in_cloth": self.in_cloth });
        self.say(WeavingKind::Began, place);
    }

    pub fn leave(&mut self) {
        let place = json!({ "next": self.next, "in_cloth": self.in_cloth });
        self.say(WeavingKind::Left, place);
    }

    pub fn wait(&mut self, ms: i64) {
        self.now += ms;
    }

    /// Picks, each a while after the one before; `stretch` is by how much longer the
    /// cloth gets than the sett says.
    pub fn weave(&mut self, picks: u64, ms: i64, stretch: f64) {
        for _ in 0..picks {
            self.now += ms + (self.next as i64 * 37) % 11 * 40;
            self.pick(stretch);
        }
    }

    fn pick(&mut self, stretch: f64) {
        let pick = self.next;
        self.in_cloth += 1;
        self.next += 1;
        self.wound += 25.4 / 60.0 * stretch;
        let carded = pick >= 30;
        let detail = json!({
            "pick": pick,
            "section": if carded { "panel" } else { "hem" },
            "card": carded.then(|| (pick - 30) % 160 + 1),
            "deck": carded.then_some("sedge"),
            "weft": if carded { "linen" } else { "white" },
            "in_cloth": self.in_cloth,
            "length_mm": self.in_cloth as f64 * 25.4 / 60.0,
            "take_up_mm": (self.wound / 4.0).floor() * 4.0,
        });
        self.say(WeavingKind::Pick, detail);
    }

    pub fn fault(&mut self, kind: &str, words: &str) -> u32 {
        let id = self.faults;
        self.faults += 1;
        let pick = self.next;
        let detail = json!({
            "id": id, "kind": { "kind": kind, "passed": { "deck": 0, "card": 7 } },
            "pick": pick, "event": 4 * pick, "words": words,
            "evidence": format!("what was seen before pick {}", pick + 1),
            "remedy": "what is to be done with both hands, and said",
        });
        self.say(WeavingKind::Fault, detail);
        id
    }

    pub fn righted(&mut self, fault: u32, by: &str) {
        self.say(WeavingKind::Righted, json!({ "fault": fault, "by": by }));
    }

    pub fn decide(&mut self, detail: Value) {
        self.say(WeavingKind::Decided, detail);
    }

    pub fn unweave(&mut self, picks: u64) {
        self.next -= picks;
        self.in_cloth -= picks as i64;
        self.wound -= 25.4 / 60.0 * picks as f64;
        self.decide(json!({ "decided": "unwove", "picks": picks }));
    }

    /// Puts the piece into a ledger.
    pub fn keep(self, ledger: &mut Ledger, name: &str) -> Result<PieceNumber, Box<dyn Error>> {
        let place = json!({ "place": { "next": self.next, "in_cloth": self.in_cloth } });
        let piece = ledger.begin_piece(&NewPiece {
            name: name.to_string(),
            plan_sha256: "5e".repeat(32),
            plan: PLAN.to_string(),
            at: UnixMillis(START),
            place: place.clone(),
            instead_of: Vec::new(),
        })?;
        ledger.woven(&Woven {
            piece,
            events: Vec::new(),
            ended: self.records.iter().any(|r| r.kind == WeavingKind::Finished),
            records: self.records,
            place,
            unit: None,
        })?;
        Ok(piece)
    }
}

/// What is true of [`two_days`], by how it is made.
pub struct Truth {
    pub picks: usize,
    pub taken_out: usize,
    pub in_cloth: i64,
    pub pauses_ms: i64,
    pub stops_before: Vec<u64>,
    pub righted_after_ms: Vec<Option<i64>>,
}

/// Two days at the loom. The first ends in an evening with a fault open, the second has
/// a session in which the program was killed.
pub fn two_days() -> (Loom, Truth) {
    let mut loom = Loom::new();
    loom.begin();
    loom.wait(40_000);
    loom.decide(json!({ "decided": "chain_ready" }));
    loom.weave(100, 2_000, 1.02);
    loom.say(WeavingKind::Paused, json!({}));
    loom.wait(600_000);
    loom.say(WeavingKind::Resumed, json!({}));
    loom.weave(150, 1_800, 1.02);
    loom.wait(90_000);
    loom.weave(100, 2_200, 1.02);
    let twice = loom.fault("turned_twice", "card turned twice");
    loom.wait(12_000);
    loom.righted(twice, "loom");
    loom.weave(50, 2_000, 1.02);
    let weft = loom.fault("no_weft", "no weft");
    loom.wait(30_000);
    loom.unweave(3);
    loom.righted(weft, "weaver");
    loom.weave(103, 1_700, 1.03);
    loom.say(
        WeavingKind::Note,
        json!({ "text": "new quills from here on; the edge was loose" }),
    );
    let evening = loom.fault("turned_twice", "card turned twice");
    loom.wait(8_000);
    loom.leave();

    loom.now = START + NIGHT + 3_600_000;
    loom.begin();
    loom.wait(5_000);
    loom.decide(json!({ "decided": "fault", "fault": evening, "choice": "leave_out" }));
    loom.next += 1;
    loom.righted(evening, "weaver");
    loom.weave(60, 2_000, 1.03);
    // the program is killed
    loom.wait(1_200_000);
    loom.begin();
    loom.say(
        WeavingKind::Caught,
        json!({ "taken": true, "events": 16, "turns": 4, "beats": 4 }),
    );
    let began = loom.now;
    loom.now -= 600_000;
    loom.weave(4, 2_500, 1.10);
    loom.now = began;
    loom.weave(300, 2_100, 1.10);
    loom.fault("apart", "count and plan apart");
    loom.wait(10_000);
    loom.leave();
    let truth = Truth {
        picks: 100 + 150 + 100 + 50 + 103 + 60 + 4 + 300,
        taken_out: 3,
        in_cloth: 864,
        pauses_ms: 600_000,
        stops_before: vec![251, 398],
        righted_after_ms: vec![Some(12_000), Some(30_000), Some(13_000), None],
    };
    (loom, truth)
}
