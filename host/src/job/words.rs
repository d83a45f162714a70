//! What a stop means, and what a person does about it.

use cardwright_protocol::unit_to_host::{BadSetting, StopReason};

/// Why outputs went off, in words.
#[must_use]
pub fn stop_words(reason: StopReason) -> &'static str {
    match reason {
        StopReason::PowerOn => "the unit has just been switched on",
        StopReason::GuardOpen => "the guard is open",
        StopReason::StopPressed => "the stop button was pressed",
        StopReason::SupplyLow => "the supply to the coils is too low",
        StopReason::SupplyHigh => "the supply to the coils is too high",
        StopReason::HostSilent => "the unit heard nothing from this program for a second",
        StopReason::HostReplaced => "a new connection was opened while the unit was started",
        StopReason::HostStop => "the host ordered a stop",
        StopReason::StrokeNotDown => "the punch block did not reach the bottom in time",
        StopReason::StrokeNotUp => "the punch block did not come back up in time",
        StopReason::StrokeSensors => "both sensors of the punch block say yes",
        StopReason::FeedStalled => "a card did not move on as it should",
        StopReason::DoubleFeed => "two cards were fed together",
        StopReason::GrossMisread => "too many holes of one row read wrong",
        StopReason::LampFault => "the reader has too little light, or light without its lamp",
        StopReason::Watchdog => "the unit hung and was restarted by its watchdog",
        StopReason::Internal => "the unit's firmware met a state it cannot be in",
    }
}

/// What a person does about a stop before a reset.
#[must_use]
pub fn remedy_of_stop(reason: StopReason) -> &'static str {
    match reason {
        StopReason::PowerOn
        | StopReason::HostSilent
        | StopReason::HostReplaced
        | StopReason::HostStop => "see that nobody's hands are in the machine",
        StopReason::GuardOpen => "shut the guard",
        StopReason::StopPressed => "see why it was pressed, then pull the stop button out",
        StopReason::SupplyLow | StopReason::SupplyHigh => {
            "have the supply and its wiring checked by a competent person"
        }
        StopReason::StrokeNotDown | StopReason::StrokeNotUp => {
            "cut the power, free the punch block, look for a bent punch or a wad of card"
        }
        StopReason::StrokeSensors => "cut the power and check the punch block's two sensors",
        StopReason::FeedStalled => {
            "cut the power, take the jammed card out, look for torn paper in the feed"
        }
        StopReason::DoubleFeed => "take both cards out and fan the stack in the magazine",
        StopReason::GrossMisread => {
            "look at the card: did it slip, is a punch broken, is the reader clean?"
        }
        StopReason::LampFault => "clean the light bar, check its lamp, shade it from daylight",
        StopReason::Watchdog | StopReason::Internal => {
            "note what the machine was doing and look for a newer firmware"
        }
    }
}

/// Why a reset was not accepted.
#[must_use]
pub fn unsafe_words(reason: StopReason) -> String {
    format!(
        "the unit does not accept the reset: {}; {}",
        stop_words(reason),
        remedy_of_stop(reason)
    )
}

/// Why settings were not accepted, in words.
#[must_use]
pub fn setting_words(setting: BadSetting) -> String {
    let name = match setting {
        BadSetting::Holes => "the number of holes a row",
        BadSetting::StepsPerMetre => "feed steps a metre",
        BadSetting::Geometry => "a pitch, length or number of samples",
        BadSetting::Speed => "a feed speed or the acceleration",
        BadSetting::CoilsAtOnce => "the number of coils switched on at once",
        BadSetting::CoilOnTime => "the longest on-time of a coil",
        BadSetting::CoilDuty => "the duty of a coil",
        BadSetting::StrokeTimeout => "the longest time of a stroke",
        BadSetting::Supply => "the supply's lowest and highest voltage",
        BadSetting::Loom => {
            return "the unit refuses the loom's settings: a line may settle for at most 200 ms, and \
                    an event of the take-up needs an edge; change it in the loom file"
                .to_string();
        }
    };
    format!(
        "the unit refuses the settings: {name} is outside its own limits; change it in the rig file \
         (`cardwright rig info` shows the limits)"
    )
}
