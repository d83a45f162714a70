//! The weave plan and the walk along it. One risk a file.
//!
//! Source beside the checks: Bell, Jacquard Weaving and Designing, 1895.

mod demo;
mod expanded;
mod made;
mod refusals;
mod trade;
mod walks;
