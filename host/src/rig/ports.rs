//! Serial ports a unit may be on. Enters: what the system lists. Leaves: ports
//! by name, in order. Whether a unit answers there is found out over the link.

use serde::Serialize;
use serialport::SerialPortType;

/// A serial port.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FoundPort {
    /// Its name, to be given as `--rig`.
    pub port: String,
    /// What the system knows of what is plugged in.
    pub what: String,
}

/// Every serial port of this computer, by name.
///
/// # Errors
/// What the system says if it cannot list them.
pub fn ports() -> Result<Vec<FoundPort>, String> {
    let list = serialport::available_ports().map_err(|error| {
        format!("the serial ports cannot be listed: {error}; name the port with --rig")
    })?;
    let mut found: Vec<FoundPort> = list
        .into_iter()
        .map(|port| FoundPort {
            what: what(&port.port_type),
            port: port.port_name,
        })
        .collect();
    found.sort_by(|a, b| a.port.cmp(&b.port));
    Ok(found)
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
