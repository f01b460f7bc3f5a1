//! Support for the whole-flow tests.

pub mod browser;
