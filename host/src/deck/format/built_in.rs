//! The formats of the trade, embedded. Each is an ordinary format file.

/// Name and text of every built-in format.
pub const BUILT_IN: [(&str, &str); 9] = [
    ("100", include_str!("../../../formats/100.toml")),
    ("200", include_str!("../../../formats/200.toml")),
    ("200-half", include_str!("../../../formats/200-half.toml")),
    ("300", include_str!("../../../formats/300.toml")),
    ("300-half", include_str!("../../../formats/300-half.toml")),
    ("300-eight", include_str!("../../../formats/300-eight.toml")),
    ("400", include_str!("../../../formats/400.toml")),
    ("500", include_str!("../../../formats/500.toml")),
    ("600", include_str!("../../../formats/600.toml")),
];

/// The names, for messages.
pub(super) fn names() -> String {
    BUILT_IN.map(|(name, _)| name).join(", ")
}
