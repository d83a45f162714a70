//! Which rig a command works with. Enters: what was asked for and which ports
//! there are. Leaves: one port, or the virtual rig. Refuses: a choice between
//! several boards, which is a person's.

use std::str::FromStr;

use super::FoundPort;

/// What a person asks for with `--rig`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RigAsked {
    /// `virtual`
    Virtual,
    /// `usb`: the one board that is attached.
    Usb,
    /// `usb:SERIAL`: this board.
    Board(String),
    /// A serial port.
    Port(String),
}

impl FromStr for RigAsked {
    type Err = String;

    fn from_str(text: &str) -> Result<RigAsked, String> {
        let nothing = "nothing is named; give a serial port, usb, usb:SERIAL or virtual";
        match (text, text.strip_prefix("usb:")) {
            ("", _) | (_, Some("")) => Err(nothing.to_string()),
            ("virtual", _) => Ok(RigAsked::Virtual),
            ("usb", _) => Ok(RigAsked::Usb),
            (_, Some(serial)) => Ok(RigAsked::Board(serial.to_ascii_uppercase())),
            (port, None) => Ok(RigAsked::Port(port.to_string())),
        }
    }
}

/// The rig to be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Chosen {
    /// The virtual one, because it was asked for.
    Virtual,
    /// The virtual one, because nothing was asked for and no board is attached.
    NoBoard,
    /// A port that was named.
    Port(String),
    /// A board found by its USB identity.
    Board {
        /// The port it is on.
        port: String,
        /// Its serial number.
        serial: String,
    },
}

/// Why no rig could be chosen.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ChooseError {
    /// There is no board.
    #[error(
        "no cardwright board is attached by USB; plug it in, put the firmware on it if it is new (`cardwright rig flash`), name a port with --rig PORT (`cardwright rig find` lists them), or work with --rig virtual"
    )]
    NoBoard,
    /// There are boards, and not this one.
    #[error(
        "board {serial} is not attached by USB; attached: {}; plug it in or give one of these", list(.boards)
    )]
    NotThisBoard {
        /// The serial number asked for.
        serial: String,
        /// Ports and serial numbers of those that are.
        boards: Vec<(String, String)>,
    },
    /// There are several.
    #[error(
        "{} boards are attached: {}; say which one with --rig usb:SERIAL or --rig PORT", .boards.len(), list(.boards)
    )]
    Several {
        /// Their ports and serial numbers.
        boards: Vec<(String, String)>,
    },
}

fn list(boards: &[(String, String)]) -> String {
    let each = boards
        .iter()
        .map(|(port, serial)| format!("{port} (serial {serial})"));
    each.collect::<Vec<_>>().join(", ")
}

/// Chooses among `ports`.
///
/// # Errors
/// [`ChooseError`] if that is not one rig.
pub fn choose(asked: Option<&RigAsked>, ports: &[FoundPort]) -> Result<Chosen, ChooseError> {
    let boards: Vec<(String, String)> = ports
        .iter()
        .filter_map(|port| Some((port.port.clone(), port.board.clone()?)))
        .collect();
    let one = |boards: Vec<(String, String)>| match <[_; 1]>::try_from(boards) {
        Ok([(port, serial)]) => Ok(Chosen::Board { port, serial }),
        Err(boards) if boards.is_empty() => Err(ChooseError::NoBoard),
        Err(boards) => Err(ChooseError::Several { boards }),
    };
    match asked {
        Some(RigAsked::Virtual) => Ok(Chosen::Virtual),
        Some(RigAsked::Port(port)) => Ok(Chosen::Port(port.clone())),
        None if boards.is_empty() => Ok(Chosen::NoBoard),
        None | Some(RigAsked::Usb) => one(boards),
        Some(RigAsked::Board(serial)) => {
            let here = boards.iter().find(|(_, board)| board == serial);
            match here.cloned() {
                Some((port, serial)) => Ok(Chosen::Board { port, serial }),
                None if boards.is_empty() => Err(ChooseError::NoBoard),
                None => Err(ChooseError::NotThisBoard {
                    serial: serial.clone(),
                    boards,
                }),
            }
        }
    }
}

/// The board that is there now and was not before: its port and serial number.
#[must_use]
pub fn newcomer(before: &[FoundPort], now: &[FoundPort]) -> Option<(String, String)> {
    let was_there = |serial: &str| before.iter().any(|p| p.board.as_deref() == Some(serial));
    now.iter().find_map(|port| {
        let serial = port.board.clone().filter(|serial| !was_there(serial))?;
        Some((port.port.clone(), serial))
    })
}
