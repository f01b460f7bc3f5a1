//! Whole flows, one module each.

mod commands;
mod demo;
mod hostile;
mod kill;
mod package;
