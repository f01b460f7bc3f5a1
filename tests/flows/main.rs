//! Whole flows, one module each.
#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod browser;
mod commands;
mod decimal_cases;
mod demo;
mod hostile;
mod keys;
mod kill;
mod locales;
mod numerals;
mod package;
mod registration;
mod report;
mod words;
