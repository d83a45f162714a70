//! The program itself, as a person or a script starts it: a child process, its
//! lines, its exit status. One risk a file.

mod bad_input;
mod bad_ports;
mod calibrate;
mod cloth;
mod copies;
mod daemon;
mod default_rig;
mod drafts;
mod everyday;
mod flash;
mod full_disk;
mod json;
mod old_cards;
#[path = "../paper_drawn/mod.rs"]
mod paper_drawn;
mod scanned_paper;
mod sigkill;
mod support;
mod virtual_port;
mod weave;
mod weaving;
mod written_over;
