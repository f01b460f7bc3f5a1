//! Whole flows, one module each.
#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod browser;
mod certification;
mod commands;
mod counterpart;
mod decimal_cases;
mod demo;
mod district;
mod drawings;
mod faults;
mod frames;
mod hostile;
mod keys;
mod kill;
mod kill_loop;
mod locales;
mod looks;
mod numerals;
mod package;
mod paper;
mod placing;
mod processes;
mod quiz;
mod registration;
mod report;
mod roster;
mod teacher;
mod templates;
mod words;
