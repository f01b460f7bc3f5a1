//! Whole flows, one module each.
#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod browser;
mod commands;
mod decimal_cases;
mod demo;
mod faults;
mod hostile;
mod kill;
mod kill_loop;
mod locales;
mod numerals;
mod package;
mod report;
mod words;
