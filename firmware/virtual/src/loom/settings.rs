//! How the modelled loom and its sensors really are. Times are in microseconds,
//! lengths in millimetres.

use super::Act;

/// The rate up to which the default times of the movements leave room, in picks
/// a minute: power looms ran at 120 to 200 (Bell, ch. II), hand looms far below.
pub const FULL_RATE: f64 = 200.0;

/// The loom.
#[derive(Clone, Debug, PartialEq)]
pub struct LoomWorld {
    /// One card's turn of the cylinder.
    pub turn_us: u64,
    /// The griffe's way up.
    pub lift_us: u64,
    /// The griffe's way down.
    pub lower_us: u64,
    /// The shuttle's way through the shed.
    pub throw_us: u64,
    /// The batten's way to the cloth and back.
    pub beat_us: u64,
    /// For how long a light beat is seen at the cloth.
    pub light_us: u64,
    /// Winding a millimetre of cloth on or off.
    pub wind_us_a_mm: u64,
    /// How much longer or shorter a movement takes from time to time (share of
    /// 1).
    pub unevenness: f64,
    /// For how long a line chatters at most after it has changed. Chatter is
    /// over when the act is, and on a track of a pair when the vane has gone on
    /// by a quarter.
    pub bounce_us: u64,
    /// How often it goes off and on again in that time, at most.
    pub most_bounces: u8,
    /// Edges of the take-up's two tracks together in a centimetre of cloth, up to
    /// 1,000.
    pub edges_a_cm: f64,
    /// Whether every pick in the cloth is kept, or only the last few.
    pub keep_cloth: bool,
}

impl Default for LoomWorld {
    /// Our own loom (times: common practice, no source). The shortest level that
    /// a line keeps after its bounce is above 10 ms.
    fn default() -> LoomWorld {
        LoomWorld {
            turn_us: 80_000,
            lift_us: 25_000,
            lower_us: 25_000,
            throw_us: 40_000,
            beat_us: 45_000,
            light_us: 20_000,
            wind_us_a_mm: 40_000,
            unevenness: 0.05,
            bounce_us: 8_000,
            most_bounces: 3,
            edges_a_cm: 20.0,
            keep_cloth: true,
        }
    }
}

impl LoomWorld {
    /// The same loom with all times, the bounce too, short enough for this many
    /// picks a minute. Up to 200 nothing has to be shorter.
    #[must_use]
    pub fn for_picks_a_minute(self, picks: f64) -> LoomWorld {
        let factor = (picks / FULL_RATE).max(1.0);
        let faster = |us: u64| (us as f64 / factor).round() as u64;
        LoomWorld {
            turn_us: faster(self.turn_us),
            lift_us: faster(self.lift_us),
            lower_us: faster(self.lower_us),
            throw_us: faster(self.throw_us),
            beat_us: faster(self.beat_us),
            light_us: faster(self.light_us),
            wind_us_a_mm: faster(self.wind_us_a_mm),
            bounce_us: faster(self.bounce_us),
            ..self
        }
    }

    /// How long an act takes when it takes neither more nor less than usual.
    #[must_use]
    pub fn time_us(&self, act: Act) -> u64 {
        match act {
            Act::Turn(_) | Act::TurnHalfAndBack(_) => self.turn_us,
            Act::Lift => self.lift_us,
            Act::Lower => self.lower_us,
            Act::Throw | Act::ThrowBack => self.throw_us,
            Act::Beat => self.beat_us,
            // The way to the cloth and back takes what a full beat's does.
            Act::BeatLightly => self.light_us + self.beat_us * 45 / 100,
            Act::TakeUp(_) | Act::LetOff(_) => {
                // One millimetre more for the roller to come to rest.
                ((act.wound_mm().abs() + 1.0) * self.wind_us_a_mm as f64) as u64
            }
            Act::Wait(us) => us,
        }
    }

    /// The last edge of the take-up's tracks passed when so much is wound on. The
    /// loom begins midway between two.
    #[must_use]
    pub fn edge_at(&self, wound_mm: f64) -> i64 {
        (wound_mm * self.edges_a_mm() + 0.5).floor() as i64
    }

    /// Where that edge is passed.
    #[must_use]
    pub fn edge_mm(&self, edge: i64) -> f64 {
        (edge as f64 - 0.5) / self.edges_a_mm()
    }

    fn edges_a_mm(&self) -> f64 {
        self.edges_a_cm.clamp(0.0, 1_000.0) / 10.0
    }
}
