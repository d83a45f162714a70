//! Risk: the program drives a machine that nobody meant, does not find the one
//! that is there, or takes somebody else's device for a rig.

use cardwright::rig::{Chosen, FoundPort, RigAsked, choose, newcomer, sorted};
use serialport::{SerialPortInfo, SerialPortType, UsbPortInfo};

const ONE: &str = "E6616408431F00AB";
const OTHER: &str = "E661640843330C22";

fn usb(port: &str, strings: Option<(&str, &str, &str)>) -> SerialPortInfo {
    SerialPortInfo {
        port_name: port.to_string(),
        port_type: SerialPortType::UsbPort(UsbPortInfo {
            vid: 0x1209,
            pid: 0x0001,
            manufacturer: strings.map(|(manufacturer, ..)| manufacturer.to_string()),
            product: strings.map(|(_, product, _)| product.to_string()),
            serial_number: strings.map(|(.., serial)| serial.to_string()),
        }),
    }
}

fn board(port: &str, serial: &str) -> SerialPortInfo {
    usb(port, Some(("cardwright", "cardwright rig", serial)))
}

fn built_in(port: &str) -> SerialPortInfo {
    SerialPortInfo {
        port_name: port.to_string(),
        port_type: SerialPortType::PciPort,
    }
}

/// Everything that is not a board: numbers for testing are used by others too.
fn strangers() -> Vec<SerialPortInfo> {
    let mut other_numbers = board("/dev/ttyACM4", ONE);
    if let SerialPortType::UsbPort(port) = &mut other_numbers.port_type {
        port.pid = 0x0002;
    }
    vec![
        built_in("/dev/ttyS0"),
        usb("/dev/ttyACM1", None),
        usb("/dev/ttyACM2", Some(("cardwright", "loom clock", ONE))),
        usb("/dev/ttyACM3", Some(("somebody", "cardwright rig", ONE))),
        board("/dev/ttyACM5", "e6616408431f00ab"),
        board("/dev/ttyACM6", ""),
        other_numbers,
    ]
}

fn asked(text: &str) -> RigAsked {
    text.parse()
        .unwrap_or_else(|error| panic!("{text}: {error}"))
}

fn choice(text: &str, ports: &[FoundPort]) -> Result<Chosen, String> {
    let asked = (!text.is_empty()).then(|| asked(text));
    choose(asked.as_ref(), ports).map_err(|error| error.to_string())
}

fn on(port: &str, serial: &str) -> Result<Chosen, String> {
    Ok(Chosen::Board {
        port: port.to_string(),
        serial: serial.to_string(),
    })
}

#[test]
fn the_one_board_is_found_among_strangers_without_being_named() {
    let mut list = strangers();
    list.push(board("/dev/ttyACM9", ONE));
    let ports = sorted(list);
    for text in ["", "usb", &format!("usb:{ONE}"), "usb:e6616408431f00ab"] {
        assert_eq!(choice(text, &ports), on("/dev/ttyACM9", ONE), "{text}");
    }
    assert_eq!(choice("virtual", &ports), Ok(Chosen::Virtual));
    let named = Ok(Chosen::Port("/dev/ttyS0".to_string()));
    assert_eq!(choice("/dev/ttyS0", &ports), named);
}

#[test]
fn no_stranger_is_taken_for_a_board() {
    let ports = sorted(strangers());
    assert!(ports.iter().all(|port| port.board.is_none()), "{ports:?}");
    assert_eq!(choice("", &ports), Ok(Chosen::NoBoard));
    assert_eq!(choice("", &[]), Ok(Chosen::NoBoard));
    insta::assert_snapshot!(choice("usb", &ports).expect_err("there is no board"));
    assert_eq!(choice("usb", &[]), choice(&format!("usb:{ONE}"), &ports));
}

#[test]
fn between_several_boards_a_person_chooses() {
    let ports = sorted(vec![
        board("/dev/ttyACM1", OTHER),
        built_in("/dev/ttyS0"),
        board("/dev/ttyACM0", ONE),
    ]);
    assert_eq!(
        choice(&format!("usb:{OTHER}"), &ports),
        on("/dev/ttyACM1", OTHER)
    );
    insta::assert_snapshot!(choice("usb", &ports).expect_err("there are two"));
    assert_eq!(choice("", &ports), choice("usb", &ports));
    insta::assert_snapshot!(choice("usb:0123", &ports).expect_err("it is not there"));
}

#[test]
fn boards_are_listed_first_and_strangers_called_unknown() {
    let ports = sorted(vec![
        built_in("/dev/ttyS0"),
        usb("/dev/ttyACM0", Some(("somebody", "loom clock", "7"))),
        usb("/dev/ttyACM2", None),
        board("/dev/ttyACM1", ONE),
    ]);
    let lines = ports
        .iter()
        .map(|port| format!("{}  {}", port.port, port.words()));
    insta::assert_snapshot!(lines.collect::<Vec<_>>().join("\n"));
    insta::assert_snapshot!(serde_json::to_string_pretty(&ports[..2]).expect("plain data"));
}

#[test]
fn a_board_just_flashed_is_told_from_one_that_was_there() {
    let before = sorted(vec![board("/dev/ttyACM0", ONE), built_in("/dev/ttyS0")]);
    let now = sorted(vec![
        board("/dev/ttyACM0", ONE),
        board("/dev/ttyACM1", OTHER),
    ]);
    assert_eq!(newcomer(&before, &before), None);
    let found = Some(("/dev/ttyACM1".to_string(), OTHER.to_string()));
    assert_eq!(newcomer(&before, &now), found);
}

#[test]
fn a_rig_that_is_not_named_is_refused() {
    for text in ["", "usb:"] {
        let error = text.parse::<RigAsked>().expect_err("it names nothing");
        assert!(error.contains("usb:SERIAL"), "{error}");
    }
}
