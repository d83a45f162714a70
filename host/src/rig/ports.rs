//! Serial ports a unit may be on. Enters: what the system lists. Leaves: ports,
//! boards first, which are told by their USB identity. Whether a unit answers
//! on any of the others is found out over the link.

use std::path::Path;

use cardwright_protocol::unit_to_host::Role;
use cardwright_protocol::usb;
use serde::Serialize;
use serialport::{SerialPortInfo, SerialPortType};

/// Where the system keeps its list of serial ports.
const LIST: &str = "/sys/class/tty";

/// What a board says it is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BoardRole {
    /// A rig, which may have the loom's sensors too.
    Rig,
    /// The loom's sensors alone.
    Loom,
}

/// A serial port.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FoundPort {
    /// Its name, to be given as `--rig`.
    pub port: String,
    /// The serial number of the cardwright board behind it, if it is one.
    pub board: Option<String>,
    /// What that board is for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub role: Option<BoardRole>,
    /// What the system knows of what is plugged in.
    pub what: String,
}

impl FoundPort {
    /// What is there, in a few words.
    #[must_use]
    pub fn words(&self) -> String {
        words(self.board.as_deref(), &self.what)
    }
}

/// What is on a port, in a few words.
#[must_use]
pub fn words(board: Option<&str>, what: &str) -> String {
    match board {
        Some(serial) => format!("board {serial}"),
        None => format!("unknown port ({what})"),
    }
}

/// Every serial port of this computer: boards first, then the others, by name.
///
/// # Errors
/// What the system says if it cannot list them.
pub fn ports() -> Result<Vec<FoundPort>, String> {
    // a closed-off system has no list at all, and so no ports
    if !Path::new(LIST).is_dir() {
        return Ok(Vec::new());
    }
    let list = serialport::available_ports().map_err(|error| {
        format!("the serial ports cannot be listed: {error}; name the port with --rig")
    })?;
    Ok(sorted(list))
}

/// Where the board with this serial number is now, if it is attached.
#[must_use]
pub fn port_of_board(serial: &str) -> Option<String> {
    let is_it = |port: &FoundPort| port.board.as_deref() == Some(serial);
    let found = ports().ok()?.into_iter().find(is_it)?;
    Some(found.port)
}

/// As [`ports`], of a list.
#[must_use]
pub fn sorted(list: Vec<SerialPortInfo>) -> Vec<FoundPort> {
    let mut found: Vec<FoundPort> = list
        .into_iter()
        .map(|port| {
            let (board, role) = board(&port.port_type).unzip();
            FoundPort {
                board,
                role,
                what: what(&port.port_type),
                port: port.port_name,
            }
        })
        .collect();
    found.sort_by(|a, b| (a.board.is_none(), &a.port).cmp(&(b.board.is_none(), &b.port)));
    found
}

/// The board's serial number and role, if everything says that it is ours: the
/// numbers are for testing and others use them too.
fn board(kind: &SerialPortType) -> Option<(String, BoardRole)> {
    let SerialPortType::UsbPort(port) = kind else {
        return None;
    };
    let ours = (port.vid, port.pid) == (usb::VENDOR, usb::PRODUCT)
        && port.manufacturer.as_deref() == Some(usb::MANUFACTURER);
    let product = port.product.as_deref().filter(|_| ours)?;
    let (_, role) = [(Role::Rig, BoardRole::Rig), (Role::Loom, BoardRole::Loom)]
        .into_iter()
        .find(|(role, _)| product == usb::product_name(*role))?;
    let serial = port.serial_number.as_deref()?;
    usb::is_serial(serial).then(|| (serial.to_string(), role))
}

fn what(kind: &SerialPortType) -> String {
    match kind {
        SerialPortType::UsbPort(usb) => {
            let names = [&usb.manufacturer, &usb.product, &usb.serial_number];
            let names: Vec<&str> = names.into_iter().flatten().map(String::as_str).collect();
            format!("USB {:04x}:{:04x} {}", usb.vid, usb.pid, names.join(" "))
                .trim()
                .to_string()
        }
        SerialPortType::BluetoothPort => "Bluetooth".to_string(),
        SerialPortType::PciPort => "built in".to_string(),
        SerialPortType::Unknown => "serial port".to_string(),
    }
}
