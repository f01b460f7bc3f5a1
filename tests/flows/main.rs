//! Whole flows, one module each.

mod browser;
