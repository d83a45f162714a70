//! What a unit says of itself, in words.

use cardwright_protocol::usb;

use crate::job::{UnitInfo, UpkeepNews, remedy_of_stop, stop_words};

/// A unit in a few words.
pub(in crate::cli) fn board_text(info: &UnitInfo) -> String {
    let identity = &info.identity;
    // as its USB serial number
    let serial = usb::serial(&identity.board);
    format!(
        "{} ({:?}, firmware {})",
        String::from_utf8_lossy(&serial),
        identity.role,
        identity.firmware
    )
}

/// What a unit says of itself, for a person.
pub(in crate::cli) fn info_text(info: &UnitInfo) -> String {
    let UnitInfo {
        identity,
        status,
        counters,
        protocol,
        program_speaks: (lowest, highest),
    } = info;
    let limits = identity.limits;
    let duty = |on: u64| 100.0 * on as f64 / (counters.working_us.max(1)) as f64;
    let coils: Vec<String> = counters
        .coil_on_us
        .iter()
        .take(usize::from(identity.channels))
        .map(|on| format!("{:.0}", duty(*on)))
        .collect();
    format!(
        "board        {}, boot {}\n\
         protocol     {protocol} in use; this program speaks {lowest} to {highest}\n\
         has          {} punches and light channels, room for {} strokes and {} cards\n\
         state        {:?}; last stop: {} ({})\n\
         inputs       guard {}, stop button {}, supply {:.1} V\n\
         limits       coil on {} ms and {} %, {} coils at once, stroke {} ms, host silent {} ms\n\
         counted      {} strokes, {} cards begun, {} read to the end\n\
         waited       {} us for rows, {} us for records, {} us for cards, {} us for coils to cool\n\
         link         {} frames sent again, {} received damaged\n\
         worst        poll {} us, off {} us after the inputs were last seen good\n\
         coils on     {} % of working time",
        board_text(info),
        identity.boot,
        identity.channels,
        identity.stroke_room,
        identity.card_room,
        status.state,
        stop_words(status.last_stop),
        remedy_of_stop(status.last_stop),
        if status.inputs.guard_shut {
            "shut"
        } else {
            "OPEN"
        },
        if status.inputs.stop_out {
            "out"
        } else {
            "PRESSED"
        },
        f64::from(status.inputs.supply_mv) / 1000.0,
        limits.coil_on_us / 1000,
        limits.coil_duty_permille / 10,
        limits.coils_at_once,
        limits.stroke_us / 1000,
        limits.host_silent_us / 1000,
        counters.strokes,
        counters.cards_begun,
        counters.cards_complete,
        counters.waited_rows_us,
        counters.waited_record_us,
        counters.waited_card_us,
        counters.waited_cool_us,
        counters.retransmissions,
        counters.frames_damaged,
        counters.worst_poll_us,
        counters.worst_off_us,
        coils.join(" "),
    )
}

/// What the ledger knows of its reader and punches, for a person.
pub(in crate::cli) fn upkeep_text(known: &UpkeepNews) -> String {
    let day = |at: &String| at.get(..10).unwrap_or(at).to_string();
    let when = known
        .calibrated
        .as_ref()
        .map_or("never".to_string(), |at| format!("on {}", day(at)));
    let width = known.holes.map_or(String::new(), |holes| {
        format!(", for cards of {holes} holes a row")
    });
    let mut lines = vec![format!("calibrated   {when}{width}")];
    lines.extend(
        known
            .advice
            .iter()
            .map(|line| format!("advice       {line}")),
    );
    lines.extend(
        known
            .words
            .iter()
            .map(|line| format!("punches      {line}")),
    );
    lines.join("\n")
}
