//! Rigs: how one is built, how fast it cuts, and on which port one is.

mod choose;
mod file;
mod ports;
mod rate;

pub use choose::{ChooseError, Chosen, RigAsked, choose, newcomer};
pub use file::{RigFile, RigFileError};
pub use ports::{BoardRole, FoundPort, port_of_board, ports, sorted, words as port_words};
pub use rate::{NoRate, Rate};
