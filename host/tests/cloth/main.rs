//! The cloth: from squares to cards, to the woven cloth, and back. One risk a
//! file.
//!
//! Sources beside the checks: Bell, Jacquard Weaving and Designing, 1895.
//! Taylor, Cotton Weaving and Designing, 6th ed., 1909. Brooks, Cotton
//! Manufacturing. Posselt, The Jacquard Machine Analyzed and Explained, 1888.
//! Wolfensberger, Theory of Silk Weaving.

mod back;
mod breaks;
mod checks;
mod clear;
mod files;
mod handbooks;
mod making;
mod seams;
mod support;
mod woven;
