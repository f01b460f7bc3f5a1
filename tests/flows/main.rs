//! Whole flows, one module each.

mod browser;
mod commands;
mod decimal_cases;
mod demo;
mod hostile;
mod kill;
mod package;
mod words;
