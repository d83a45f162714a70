//! The USB identity of a unit, for both ends.

/// Vendor.
pub const VENDOR: u16 = 0x1209;
/// Product.
pub const PRODUCT: u16 = 0x0001;
/// Manufacturer string.
pub const MANUFACTURER: &str = "cardwright";
/// Product string.
pub const PRODUCT_NAME: &str = "cardwright rig";
