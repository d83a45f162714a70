//! cardwright on the host: decks, verdicts, jobs, the ledger, and the programs
//! that lead them over a link to a unit.

pub mod calibrate;
pub mod cli;
pub mod cloth;
pub mod copy;
pub mod daemon;
pub mod deck;
pub mod engine;
pub mod firmware;
mod input;
pub mod job;
pub mod judge;
pub mod lacing;
pub mod ledger;
pub mod loom;
pub mod order;
pub mod output;
pub mod paper;
pub mod picture;
pub mod report;
pub mod rig;
pub mod service;
pub mod stack;
pub mod wear;
pub mod weave;
pub mod wif;
mod words;
